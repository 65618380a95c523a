"""The middle car solved in each state: what flows where while nothing is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.solver.network import Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import solve_operating_point


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedState:
    """One car in one operating state.

    Parameters
    ----------
    car : Car
        The car.
    state : OperatingState
        The state.
    network : Network
        Its branches, one draw.
    point : OperatingPoint
        The operating point of that draw.
    branch_amps : Mapping[str, float]
        Current of each branch, from its first end to its second. [A]
    node_volts : Mapping[str, float]
        Voltage of each node against the reference. [V]
    """

    car: Car
    state: OperatingState
    network: Network
    point: OperatingPoint
    branch_amps: Mapping[str, float]
    node_volts: Mapping[str, float]

    @property
    def is_settled(self) -> bool:
        """Whether everything came to rest."""
        return bool(self.point.is_settled.all())

    def part_amps(self, part: str) -> float:
        """Return the current of a part's main branch.

        Parameters
        ----------
        part : str
            Its name.

        Returns
        -------
        float
            [A]
        """
        return self.branch_amps[part]

    def volts(self, node: str) -> float:
        """Return the voltage of a node against the reference.

        Parameters
        ----------
        node : str
            Its name.

        Returns
        -------
        float
            [V]
        """
        return self.node_volts[node]


def solved_state(
    model: CarModel,
    state: OperatingState,
    changed: dict[str, Values] | None = None,
) -> SolvedState:
    """Return a car in one state.

    Parameters
    ----------
    model : CarModel
        Of one draw.
    state : OperatingState
        One of the car's.
    changed : dict[str, Values] or None
        Changed values by part, such as those of a fault.

    Returns
    -------
    SolvedState
        Settled or not.
    """
    network = model.network(state, changed)
    return _solved(model.car, state, network, solve_operating_point(network))


def _solved(
    car: Car, state: OperatingState, network: Network, point: OperatingPoint
) -> SolvedState:
    amps = point.branch_amps(network)[0].tolist()
    return SolvedState(
        car=car,
        state=state,
        network=network,
        point=point,
        branch_amps=dict(zip(network.branches, amps, strict=True)),
        node_volts=dict(zip(network.nodes, point.volts[0].tolist(), strict=True)),
    )


def solved_states(model: CarModel) -> tuple[SolvedState, ...]:
    """Return a car in every state in which its battery is connected.

    Parameters
    ----------
    model : CarModel
        Of one draw.

    Returns
    -------
    tuple[SolvedState, ...]
        In the order of the states, settled or not.
    """
    states = [state for state in model.car.states if state.is_battery_connected]
    if not states:
        return ()
    # together: the way the car is solved is worked out once for all of them
    whole = model.networks(states)
    points = solve_operating_point(whole)
    networks = whole.apart(len(states))
    rows = np.arange(whole.n_draws).reshape(len(states), -1)
    return tuple(
        _solved(model.car, state, network, points.take(of_state))
        for state, network, of_state in zip(states, networks, rows, strict=True)
    )
