"""Chances of symptoms: what volts, currents and on/off facts mean for what is noticed.

Turns the values a claim looks at into the chance that it holds, and joins the claims of
a symptom. Leaves the values to `faults`, report errors to `inference.belief.evidence`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.measurement.quantities import (
    LIGHT_EXPONENT,
    Observed,
    claimed_parts,
    is_applicable,
    main_nodes,
    probe_of,
    role_parts,
)
from diagnose.measurement.symptoms import Claim, Group, Join, Quantity, Symptom

# Narrowest blur of a limit, in the unit of the claim. Own choice: keeps a limit that
# knowledge/ gives no blur from dividing by nothing.
LEAST_BLUR = 1e-6

# Least value that another is divided by, in the unit of the claim. Own choice: a
# millivolt or milliampere, less than anybody notices.
LEAST_COMPARED = 1e-3

# Least that stands behind the two ends of a fuse. [Ω] Own choice: a battery and its
# cables alone have more.
LEAST_OHMS = 5e-3


def _part_value(
    quantity: Quantity, part: Part, *, state: str, seen: Observed, scale: float
) -> FloatArray:
    """Return a quantity of a part in a state, shape (n_sets, n_draws).

    Contacts that chatter conduct by half, which is neither open nor closed.
    """
    probe = probe_of(quantity, part, state)
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
    if quantity is Quantity.OVERLOAD:
        return _overload(part, state=state, seen=seen)
    across = np.abs(seen.volts(state, first) - seen.volts(state, second))
    if quantity is Quantity.LIGHT:
        return _light(part, across)
    return np.asarray(across / scale)


def _overload(part: Part, *, state: str, seen: Observed) -> FloatArray:
    """Return what would flow through a fuse that is open, over its rating. [1].

    By the volts across it and what stands behind its two ends, the one that feeds it
    and the other that leads on through its circuit.
    """
    first, second = main_nodes(part)
    across = np.abs(seen.volts(state, first) - seen.volts(state, second))
    ohms = seen.ohms(state, first) + seen.ohms(state, second)
    rating = part.values["rating_amps"].distribution.nominal
    return np.asarray(across / np.maximum(ohms, LEAST_OHMS) / rating)


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
    """Return the chance that a claim holds.

    Parameters
    ----------
    claim : Claim
        One that the car has the parts and states for.
    car : Car
        The car.
    seen : Observed
        What it looks at.

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1]

    Notes
    -----
    A logistic curve around the limit, 1 / (1 + exp(-(value - limit)/blur)); several
    parts with the role must all satisfy the claim.
    """
    if claim.quantity is Quantity.MECHANICAL:
        values = [seen.mechanical(claim.role, "")]
    elif claim.quantity is Quantity.TURNS:
        values = [
            seen.mechanical(claim.quantity.value, part.name)
            for part in role_parts(car, claim.role)
        ]
    else:
        values = [
            _claim_value(claim, part, car=car, seen=seen)
            for part in claimed_parts(claim, car)
        ]
    sign = 1.0 if claim.at_least else -1.0
    steps = [
        sign * (value - claim.limit) / max(claim.blur, LEAST_BLUR) for value in values
    ]
    chances = [0.5 * (1.0 + np.tanh(0.5 * step)) for step in steps]
    return np.asarray(np.minimum.reduce(chances))


def _claim_value(claim: Claim, part: Part, *, car: Car, seen: Observed) -> FloatArray:
    """Return what a claim compares on one part, shape (n_sets, n_draws)."""
    scale = car.system_volts / 12.0
    value = _part_value(claim.quantity, part, state=claim.state, seen=seen, scale=scale)
    if claim.relative_to is None:
        return value
    other = _part_value(
        claim.quantity, part, state=claim.relative_to, seen=seen, scale=scale
    )
    return np.asarray(value / np.maximum(other, LEAST_COMPARED))


def symptom_probability(
    symptom: Symptom,
    *,
    symptoms: Mapping[str, Symptom],
    car: Car,
    seen: Observed,
    known: dict[str, FloatArray] | None = None,
) -> FloatArray:
    """Return the chance that a symptom is really there, report errors left out.

    Parameters
    ----------
    symptom : Symptom
        The symptom.
    symptoms : Mapping[str, Symptom]
        All symptoms by name: many rest on others.
    car : Car
        The car.
    seen : Observed
        What its claims look at.
    known : dict or None
        Symptoms worked out for the same observations before; added to here.

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1]

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
    """Return the chance of a group of independent members, shape (n_sets, n_draws)."""
    if join is Join.ALL:
        return np.asarray(np.multiply.reduce(chances))
    misses = np.multiply.reduce([1.0 - chance for chance in chances])
    return np.asarray(1.0 - misses if join is Join.ANY else misses)
