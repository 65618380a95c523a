"""What symptoms look at, in terms of nodes and branches of one car.

A claim names a role and a quantity; this module says which node voltages, currents and
on/off facts that takes, and turns their values into the claim's value and probability.
Leaves the values to `faults.predicted`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import (
    Car,
    Part,
)
from diagnose.circuit.elements import ELEMENTS
from diagnose.measurement.symptoms import Claim, Group, Join, Quantity, Symptom

LIGHT_EXPONENT = 3.4
# Light of a tungsten lamp ~ volts**3.4: Fink & Beaty, Standard Handbook for Electrical
# Engineers, 11th ed., p. 22-8 (secondary copy).

CURRENT_QUANTITIES = frozenset({Quantity.AMPS, Quantity.BATTERY_AMPS})
SWITCHED_QUANTITIES = frozenset(
    {Quantity.IS_UP, Quantity.IS_CLOSED, Quantity.IS_BLOWN, Quantity.CHATTERS}
)
MAIN_TERMINALS: Mapping[str, tuple[str, str]] = {
    "battery": ("plus", "minus"),
    "alternator": ("output", "case"),
    "starter": ("plus", "case"),
    "controller": ("supply", "ground"),
    "driver": ("out", "return"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A current or an on/off fact of one branch in one state.

    Parameters
    ----------
    branch : str
        Branch name; a part's main branch has the part's name.
    is_current : bool
        True: the current in amps; False: 1 when the branch conducts, 0 when not, a half
        when it goes on and off by itself.
    """

    branch: str
    state: str
    is_current: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """The values a claim is evaluated on, over fault sets and draws.

    Parameters
    ----------
    volts : Callable[[str, str], FloatArray]
        State and node to volts, shape (n_sets, n_draws). [V]
    probe : Callable[[Probe], FloatArray]
        Value of a probe, shape (n_sets, n_draws).
    mechanical : Callable[[str], FloatArray]
        Value of a mechanical condition, shape (n_sets, n_draws), 1 when good.
    """

    volts: Callable[[str, str], FloatArray]
    probe: Callable[[Probe], FloatArray]
    mechanical: Callable[[str], FloatArray]


def main_nodes(part: Part) -> tuple[str, str]:
    """Return the nodes a part's own voltage is taken between."""
    first, second = MAIN_TERMINALS.get(part.kind, ("a", "b"))
    return part.terminals[first], part.terminals[second]


def role_parts(car: Car, role: str) -> tuple[Part, ...]:
    """Return the parts with a role, those that carry current first of all."""
    return tuple(part for part in car.parts if part.role == role)


def _claims(group: Group, symptoms: Mapping[str, Symptom]) -> tuple[Claim, ...]:
    found: list[Claim] = []
    for member in group.members:
        if isinstance(member, Claim):
            found.append(member)
        elif isinstance(member, Group):
            found.extend(_claims(member, symptoms))
        else:
            found.extend(_claims(symptoms[member].when, symptoms))
    return tuple(found)


def is_applicable(claim: Claim, car: Car) -> bool:
    """Return whether the car has what the claim looks at."""
    states = {state.name for state in car.states}
    if claim.state not in states:
        return False
    if claim.relative_to is not None and claim.relative_to not in states:
        return False
    if claim.quantity is Quantity.MECHANICAL:
        return True
    return any(ELEMENTS[p.kind].terminals for p in role_parts(car, claim.role))


def usable_symptoms(car: Car, symptoms: Mapping[str, Symptom]) -> tuple[str, ...]:
    """Return the names of the symptoms this car can show."""
    return tuple(
        name
        for name, symptom in symptoms.items()
        if any(
            is_applicable(claim, car) and claim.quantity is not Quantity.MECHANICAL
            for claim in _claims(symptom.when, symptoms)
        )
        and symptom.state in {state.name for state in car.states}
    )


def needed_probes(car: Car, symptoms: Mapping[str, Symptom]) -> tuple[Probe, ...]:
    """Return the probes that the car's symptoms need."""
    probes: dict[Probe, None] = {}
    for name in usable_symptoms(car, symptoms):
        for claim in _claims(symptoms[name].when, symptoms):
            if not is_applicable(claim, car):
                continue
            for state in filter(None, (claim.state, claim.relative_to)):
                for part in role_parts(car, claim.role):
                    probe = _probe(claim.quantity, part, state)
                    if probe is not None:
                        probes.setdefault(probe)
    return tuple(probes)


def _probe(quantity: Quantity, part: Part, state: str) -> Probe | None:
    if quantity in CURRENT_QUANTITIES:
        return Probe(branch=part.name, state=state, is_current=True)
    if quantity in SWITCHED_QUANTITIES:
        return Probe(branch=part.name, state=state, is_current=False)
    return None


def _part_value(
    quantity: Quantity, part: Part, *, state: str, seen: Observed, scale: float
) -> FloatArray:
    probe = _probe(quantity, part, state)
    if probe is not None:
        value = seen.probe(probe)
        if quantity is Quantity.IS_BLOWN:
            return 1.0 - value
        if quantity is Quantity.CHATTERS:
            return np.asarray(1.0 - np.abs(2.0 * value - 1.0))
        if quantity is Quantity.BATTERY_AMPS:
            return -value
        return np.abs(value)
    first, second = main_nodes(part)
    across = np.abs(seen.volts(state, first) - seen.volts(state, second))
    if quantity is Quantity.LIGHT:
        return _light(part, across)
    return np.asarray(across / scale)


def _light(part: Part, volts: FloatArray) -> FloatArray:
    """Return a lamp's light, 1 at its rated volts; that of diodes goes with amps."""
    if part.kind == "led-lamp":
        knee, rated = (
            part.values[name].distribution.nominal
            for name in ("knee_volts", "led_volts")
        )
        return np.asarray(np.maximum(volts - knee, 0.0) / (rated - knee))
    rated = part.values["lamp_volts"].distribution.nominal
    return np.asarray((volts / rated) ** LIGHT_EXPONENT)


def claim_probability(claim: Claim, *, car: Car, seen: Observed) -> FloatArray:
    """Return the chance that a claim holds, shape (n_sets, n_draws).

    Notes
    -----
    A logistic curve around the limit, 1 / (1 + exp(-(value - limit)/blur)); several
    parts with the role must all satisfy the claim.
    """
    if claim.quantity is Quantity.MECHANICAL:
        values = [seen.mechanical(claim.role)]
    else:
        values = [
            _relative(claim, part, car=car, seen=seen)
            for part in role_parts(car, claim.role)
        ]
    sign = 1.0 if claim.at_least else -1.0
    steps = [sign * (value - claim.limit) / max(claim.blur, 1e-6) for value in values]
    chances = [0.5 * (1.0 + np.tanh(0.5 * step)) for step in steps]
    return np.asarray(np.minimum.reduce(chances))


def _relative(claim: Claim, part: Part, *, car: Car, seen: Observed) -> FloatArray:
    scale = car.system_volts / 12.0
    value = _part_value(claim.quantity, part, state=claim.state, seen=seen, scale=scale)
    if claim.relative_to is None:
        return value
    other = _part_value(
        claim.quantity, part, state=claim.relative_to, seen=seen, scale=scale
    )
    return np.asarray(value / np.maximum(other, 1e-3))


def symptom_probability(
    symptom: Symptom,
    *,
    symptoms: Mapping[str, Symptom],
    car: Car,
    seen: Observed,
    known: dict[str, FloatArray] | None = None,
) -> FloatArray:
    """Return the chance that a symptom is really there, shape (n_sets, n_draws).

    Report errors are not in it; `inference.belief.evidence` adds them.

    Parameters
    ----------
    known : dict or None
        Symptoms worked out for the same observations, added to here: many rest on
        others.

    Raises
    ------
    ValueError
        If the car has nothing of what the symptom looks at.
    """
    reader = _Reader(symptoms, car, seen, {} if known is None else known)
    chance = reader.symptom(symptom.name, symptom.when)
    if chance is None:
        raise ValueError(f"{symptom.name}: nothing left to look at on this car")
    return chance


@dataclass(frozen=True, slots=True)
class _Reader:
    """Reads symptoms from one set of observations, each of them once."""

    symptoms: Mapping[str, Symptom]
    car: Car
    seen: Observed
    known: dict[str, FloatArray]

    def symptom(self, name: str, when: Group) -> FloatArray | None:
        """Return a symptom's probability; None when the car has nothing of it."""
        if name not in self.known:
            chance = self.group(when)
            if chance is None:
                return None
            self.known[name] = chance
        return self.known[name]

    def group(self, group: Group) -> FloatArray | None:
        """Return a group's probability; None when the car has none of its members."""
        found = [self._member(member) for member in group.members]
        chances = [chance for chance in found if chance is not None]
        return _join(group.join, chances) if chances else None

    def _member(self, member: Claim | Group | str) -> FloatArray | None:
        if isinstance(member, str):
            return self.symptom(member, self.symptoms[member].when)
        if isinstance(member, Group):
            return self.group(member)
        if not is_applicable(member, self.car):
            return None
        return claim_probability(member, car=self.car, seen=self.seen)


def _join(join: Join, chances: Sequence[FloatArray]) -> FloatArray:
    if join is Join.ALL:
        return np.asarray(np.multiply.reduce(chances))
    misses = np.multiply.reduce([1.0 - chance for chance in chances])
    return np.asarray(1.0 - misses if join is Join.ANY else misses)
