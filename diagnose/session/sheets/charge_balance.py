"""What the alternator gives against what the loads take, and how long a battery lasts.

Solves one middle car in each state with a running engine. Leaves the words to
`terminal`, and the readings to `expected_readings`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.elements import CONSUMER_KINDS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.solver.network import AMPS, Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.faults.causes import Cause, changed_values

# Smaller loads are not named, and smaller currents of the battery count as none. [A]
# Own choice.
LEAST_AMPS = 0.5

# Cold-cranking amps of a starter battery for each A h. [1/h] Rule of the trade: 8 to
# 12.
COLD_CRANKING_AMPS_PER_AH = 10.0

# Capacity at the 20 h rate where the car file gives no cold-cranking amps. [A h] Rule
# of the trade for a car of middle size.
USUAL_CAPACITY_AH = 50.0

# How much faster a battery is empty at a higher current: the exponent of Peukert's law.
# [1] From memory: 1.1 to 1.3 for starter batteries.
PEUKERT_EXPONENT = 1.2

# Share of charge below which a battery hardly turns a starter. [1] Rule of the trade:
# 25 to 40 %.
DOWN_CHARGE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCurrent:
    """What one load takes, under the name of its assembly. [A]."""

    name: str
    amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeBalance:
    """Where the current comes from and goes to in one state.

    Parameters
    ----------
    most_amps, given_amps : float
        What the alternator could give at this speed, and what it gives. [A]
    charge_amps : float
        Into the battery; negative when it has to help. [A]
    loads : tuple[LoadCurrent, ...]
        Loads worth naming, the largest first.
    loads_amps : float
        All loads together. [A]
    field_amps : float
        The alternator's own field, if it is told. [A]
    excess : tuple[str, ...]
        Loads beyond those of a bare idle that would have to be off for the battery not
        to help, the largest first; all of them when even that is not enough.
    is_excess_enough : bool
        Whether without these the alternator carries the rest.
    minutes_left : float
        Until the battery is down; inf while it is charged. [min]
    """

    state: str
    most_amps: float
    given_amps: float
    charge_amps: float
    loads: tuple[LoadCurrent, ...]
    loads_amps: float
    field_amps: float
    excess: tuple[str, ...] = ()
    is_excess_enough: bool = True
    minutes_left: float = float("inf")


def charge_balances(
    car: Car, *, states: Sequence[str], fault: Cause | None = None
) -> tuple[ChargeBalance, ...]:
    """Return the balance of the middle car in states with a running engine.

    Parameters
    ----------
    car : Car
    states : Sequence[str]
        Those wanted.
    fault : Cause or None
        Present with the middle of its severity.

    Returns
    -------
    tuple[ChargeBalance, ...]
        Empty for a car without alternator; a state that never settles is left out.
    """
    if not any(part.kind == "alternator" for part in car.parts):
        return ()
    model = CarModel(car, Middle(n_draws=1))
    values = {} if fault is None else changed_values(model, [fault])
    base = _loads_at_bare_idle(model, values)
    found = []
    for state in car.states:
        if state.name in states and state.is_engine_running:
            balance = _balance(model, state, values=values, base=base)
            if balance is not None:
                found.append(balance)
    return tuple(found)


def _loads_at_bare_idle(
    model: CarModel, values: Mapping[str, Values]
) -> Mapping[str, float]:
    """Return what runs in the first state with a running engine. [A]."""
    for state in model.car.states:
        if state.is_engine_running:
            network = model.network(state, values)
            return _loads(model.car, network, solve_operating_point(network))
    return {}


def _loads(car: Car, network: Network, point: OperatingPoint) -> dict[str, float]:
    """Return the current of each load, by its assembly. [A]."""
    amps = np.abs(point.branch_amps(network)[0])
    loads: dict[str, float] = {}
    for branch, name in enumerate(network.parts):
        part = car.part(name)
        if part.kind in CONSUMER_KINDS:
            so_far = loads.get(part.assembly, 0.0)
            loads[part.assembly] = so_far + float(amps[branch])
    return loads


def _balance(
    model: CarModel,
    state: OperatingState,
    *,
    values: Mapping[str, Values],
    base: Mapping[str, float],
) -> ChargeBalance | None:
    network = model.network(state, values)
    point = solve_operating_point(network)
    if not point.is_settled.all():
        return None
    amps = point.branch_amps(network)[0]
    charge = most = given = field = 0.0
    for branch, name in enumerate(network.branches):
        kind = model.parts[network.parts[branch]].kind
        if kind == "battery":
            part = model.parts[network.parts[branch]]
            charge += part.volts_share * float(amps[branch])
        elif kind == "alternator" and name == network.parts[branch]:
            # its first segment is the output limit
            most += float(-network.curves[0, branch, AMPS.start])
            given += max(float(-amps[branch]), 0.0)
        elif kind == "alternator" and name.endswith("/above-set-volts"):
            given -= float(amps[branch])
        elif kind == "alternator" and name.endswith("/field"):
            field += abs(float(amps[branch]))
    loads = _loads(model.car, network, point)
    excess, is_enough = _excess(loads, base, -charge)
    return ChargeBalance(
        state=state.name,
        most_amps=most,
        given_amps=given,
        charge_amps=charge,
        loads=tuple(
            LoadCurrent(name=name, amps=one)
            for name, one in sorted(loads.items(), key=lambda item: -item[1])
            if one >= LEAST_AMPS
        ),
        loads_amps=sum(loads.values()),
        field_amps=field,
        excess=excess,
        is_excess_enough=is_enough,
        minutes_left=_minutes_left(model, values, -charge),
    )


def _excess(
    loads: Mapping[str, float], base: Mapping[str, float], discharge_amps: float
) -> tuple[tuple[str, ...], bool]:
    """Return the fewest loads beyond those of a bare idle that make the difference."""
    if discharge_amps < LEAST_AMPS:
        return (), True
    extra = {name: amps - base.get(name, 0.0) for name, amps in loads.items()}
    chosen: list[str] = []
    saved = 0.0
    for name, amps in sorted(extra.items(), key=lambda item: -item[1]):
        if amps < LEAST_AMPS or saved >= discharge_amps:
            break
        chosen.append(name)
        saved += amps
    return tuple(chosen), saved >= discharge_amps


def _minutes_left(
    model: CarModel, values: Mapping[str, Values], discharge_amps: float
) -> float:
    if discharge_amps < LEAST_AMPS:
        return float("inf")
    battery = next(part for part in model.car.parts if part.kind == "battery")
    drawn = values.get(battery.name, model.values[battery.name])
    return minutes_until_down(
        discharge_amps=discharge_amps,
        state_of_charge=float(drawn["state_of_charge"][0]),
        capacity_ah=battery_capacity_ah(model.car),
    )


def battery_capacity_ah(car: Car) -> float:
    """Return the capacity of a car's battery at the 20 h rate. [A h]."""
    battery = next(part for part in car.parts if part.kind == "battery")
    given = battery.values.get("cold_cranking_amps")
    if given is None:
        return USUAL_CAPACITY_AH
    return float(given.distribution.nominal) / COLD_CRANKING_AMPS_PER_AH


def minutes_until_down(
    *, discharge_amps: float, state_of_charge: float, capacity_ah: float
) -> float:
    """Return how long a battery gives a current until a starter hardly turns.

    Parameters
    ----------
    discharge_amps : float
        Constant. [A]
    state_of_charge : float
        At the start, 0 to 1.
    capacity_ah : float
        At the 20 h rate. [A h]

    Returns
    -------
    float
        0 when it is down already. [min]

    Notes
    -----
    Peukert's law: an empty battery after 20 h (I20 / I)^1.2 with I20 = capacity / 20 h;
    of that the share between the charge and 30 %. At 20 °C, for a sound battery.

    References
    ----------
    W. Peukert, Elektrotechnische Zeitschrift, 1897.

    Examples
    --------
    60 A h give 3 A for 20 h, so from full to 30 % for 14 h.

    >>> round(
    ...     minutes_until_down(
    ...         discharge_amps=3.0, state_of_charge=1.0, capacity_ah=60.0
    ...     )
    ...     / 60.0,
    ...     3,
    ... )
    14.0
    """
    rate_amps = capacity_ah / 20.0
    empty_hours = 20.0 * (rate_amps / discharge_amps) ** PEUKERT_EXPONENT
    share = max(state_of_charge - DOWN_CHARGE, 0.0)
    return float(60.0 * empty_hours * share)
