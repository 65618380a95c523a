"""A car with drawn values: from parts to branches, state by state.

Puts the records of `car`, the table of kinds in `elements` and the draws together.
Leaves solving to `solver` and `changes`, and changed values to `faults`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Branch, Setting, Values
from diagnose.circuit.solver.network import Network, build_network, curve, stacked
from diagnose.circuit.tolerance_draws import Draws

# Role of the one relay that has no socket: it is bolted down, and stays where all that
# has a plug is out (rule of the trade).
BOLTED_RELAY = "starter-solenoid"


class CarModel:
    """One car with one set of tolerance draws.

    Parameters
    ----------
    car : Car
        Complete and checked.
    sample : Draws
        Which draws.
    values : Mapping[str, Values] or None
        As the attribute, where they are drawn elsewhere; None: drawn here from
        `sample`.
    unplugged : frozenset[str]
        What is taken off its wires as a whole (`Part.assembly`), in every state.

    Attributes
    ----------
    car, sample
        As given.
    parts : Mapping[str, Part]
        Parts by name.
    values : Mapping[str, Values]
        Part to parameter to draws, shape (n_draws,), in the unit of the parameter.
    """

    def __init__(
        self,
        car: Car,
        sample: Draws,
        values: Mapping[str, Values] | None = None,
        *,
        unplugged: frozenset[str] = frozenset(),
    ) -> None:
        self.car = car
        self.sample = sample
        self.parts: Mapping[str, Part] = {part.name: part for part in car.parts}
        self.values = _drawn_values(car, sample) if values is None else values
        self._bolted = frozenset(
            part.assembly for part in car.parts if part.role == BOLTED_RELAY
        )
        self._unplugged = unplugged
        self._is_positive_ground = car.is_positive_ground
        self._gated: dict[str, list[Part]] = {}
        for part in car.parts:
            if part.gate is not None:
                self._gated.setdefault(part.gate, []).append(part)

    def touched_parts(self, changed: Iterable[str]) -> tuple[Part, ...]:
        """Return the parts whose branches depend on the values of some parts.

        Parameters
        ----------
        changed : Iterable[str]
            Names of parts.

        Returns
        -------
        tuple[Part, ...]
            These and what they switch: a coil's values are read by its contacts too.
        """
        touched: dict[str, Part] = {}
        for name in changed:
            touched[name] = self.parts[name]
            for gated in self._gated.get(name, ()):
                touched[gated.name] = gated
        return tuple(touched.values())

    def part_branches(
        self,
        part: Part,
        state: OperatingState,
        values: Mapping[str, Values] | None = None,
    ) -> tuple[Branch, ...]:
        """Return the branches of one part in one state.

        Parameters
        ----------
        part : Part
            Of this car.
        state : OperatingState
            What the car is doing.
        values : Mapping[str, Values] or None
            Changed values by part; parts not in it keep their drawn values.

        Returns
        -------
        tuple[Branch, ...]
            Off, all of them, where the part is unplugged.
        """
        changed = values or {}
        positions = self.car.switches.get(part.assembly, ("",))
        gate_part = None if part.gate is None else self.parts[part.gate]
        gate_values = None
        if gate_part is not None:
            gate_values = changed.get(gate_part.name, self.values[gate_part.name])
        element = ELEMENTS[part.kind]
        setting = Setting(
            part=part,
            values=changed.get(part.name, self.values[part.name]),
            gate_part=gate_part,
            gate_values=gate_values,
            state=state,
            position=state.switch_positions.get(part.assembly, positions[0]),
            body=self.car.body,
            scale=self.car.system_volts / 12.0,
            is_mirrored=self._is_positive_ground and element.has_ground_side,
        )
        branches = element.branches(setting)
        is_out = state.is_unplugged and self._is_pluggable(part)
        if not (is_out or part.assembly in self._unplugged):
            return branches
        off = np.full(self.sample.n_draws, -1.0)
        return tuple(replace(one, forced=off) for one in branches)

    def _is_pluggable(self, part: Part) -> bool:
        """Return whether a part is out where everything is that has a plug."""
        return ELEMENTS[part.kind].is_pluggable and part.assembly not in self._bolted

    def network(
        self, state: OperatingState, values: Mapping[str, Values] | None = None
    ) -> Network:
        """Return the whole car in one operating state as arrays.

        Parameters
        ----------
        state : OperatingState
            What the car is doing.
        values : Mapping[str, Values] or None
            As for `part_branches`.

        Returns
        -------
        Network
            Branches in the order of the parts; nodes as in `Car.nodes`.
        """
        branches = [
            branch
            for part in self.car.parts
            for branch in self.part_branches(part, state, values)
        ]
        return build_network(branches, nodes=self._nodes())

    def networks(self, states: Sequence[OperatingState]) -> Network:
        """Return the whole car in some states as one network.

        Parameters
        ----------
        states : Sequence[OperatingState]
            What the car is doing, at least one.

        Returns
        -------
        Network
            All draws of the first state first, then those of the others.
        """
        # what is the same in every state is worked out once
        known: dict[str, list[tuple[Branch, FloatArray]]] = {}

        def rows(part: Part, state: OperatingState) -> list[tuple[Branch, FloatArray]]:
            follows = ELEMENTS[part.kind].follows_state or state.is_unplugged
            if not follows and part.name in known:
                return known[part.name]
            found = [(one, curve(one)) for one in self.part_branches(part, state)]
            if not follows:
                known[part.name] = found
            return found

        def network(state: OperatingState) -> Network:
            every = [row for part in self.car.parts for row in rows(part, state)]
            branches, curves = zip(*every, strict=True)
            return build_network(branches, nodes=self._nodes(), curves=curves)

        return stacked([network(state) for state in states])

    def _nodes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.car.nodes, self.car.body)))


def _drawn_values(car: Car, sample: Draws) -> Mapping[str, Values]:
    return {
        part.name: {
            name: value.distribution.quantile(
                sample.probabilities(f"{part.name}/{name}")
            )
            for name, value in part.values.items()
        }
        for part in car.parts
    }
