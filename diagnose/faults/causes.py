"""Causes: each fault mode of each part of one car, and what it changes there.

A mode is a cause only where it would change some reading: what changes nothing can't be
found and need not be. The roles of a mode say so (the terminals of a coil exchanged
count only with a suppression diode, those of contacts only with 87a in use). What a
fault sets follows the system voltage, what it adds does not: a relay that pulls in late
does so at half the volts in a 6 V car, but a lost cell is 2 V in any battery.

Leaves the readings under a cause to `predictor` and its probability to `inference`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.system_voltage import voltage_factor
from diagnose.circuit.values import Shape
from diagnose.faults.modes import Change, FaultMode, Operation
from diagnose.faults.surroundings import Surroundings

# Numbers of the causes present together, rising; () is the sound car.
FaultSet = tuple[int, ...]

# How severe a cause is: a probability of its severity's distribution, the same in every
# draw or one for each. [1]
Level = float | tuple[float, ...]

# Levels at which a cause is solved to find the severity that suits the facts. [1]
# Derived: predictions are interpolated between neighbours, which lie a seventh apart;
# the ends leave out what the outermost hundredth would add.
LADDER_LEVELS = tuple(float(level) for level in np.linspace(0.01, 0.99, 8))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A fault mode of one part of this car.

    Parameters
    ----------
    name : str
        ``part:mode``.
    part : Part
        The part that fails.
    mode : FaultMode
        The way it fails.
    says : str
        One line for the screen.
    repair : str
        What mends it, in the owner's words.
    """

    name: str
    part: Part
    mode: FaultMode
    says: str
    repair: str


def part_words(part: Part) -> str:
    """Return how a person calls a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    str
        Its name with spaces for points.

    Examples
    --------
    >>> part_words(
    ...     Part(
    ...         name="pump-relay.coil", assembly="pump-relay", kind="coil", terminals={}
    ...     )
    ... )
    'pump-relay coil'
    """
    return part.name.replace(".", " ")


def catalogue(car: Car, modes: Sequence[FaultMode]) -> tuple[Cause, ...]:
    """Return every cause a car can have, in the order of its parts.

    Parameters
    ----------
    car : Car
        The car.
    modes : Sequence[FaultMode]
        All that knowledge/ has.

    Returns
    -------
    tuple[Cause, ...]
        One for each part and mode of its kind and role. Those that come and go stand
        behind those that last, whose predictions they use.
    """
    causes = []
    around = Surroundings(car)
    for part in car.parts:
        for mode in modes:
            if mode.kind != part.kind or part.role in mode.except_roles:
                continue
            if mode.roles and part.role not in mode.roles:
                continue
            if not mode.needs <= around.of(part):
                continue
            words = part_words(part)
            causes.append(
                Cause(
                    name=f"{part.name}:{mode.name}",
                    part=part,
                    mode=mode,
                    says=mode.says.replace("{part}", words),
                    repair=mode.repair.action.replace("{part}", words).replace(
                        "{assembly}", part.assembly
                    ),
                )
            )
    return tuple(sorted(causes, key=lambda cause: not cause.mode.lasts))


def lasting_cause(cause: Cause, causes: Sequence[Cause]) -> int:
    """Return the number of the lasting cause that one that comes and goes acts as.

    Parameters
    ----------
    cause : Cause
        One that comes and goes.
    causes : Sequence[Cause]
        All causes of the car.

    Returns
    -------
    int
        Its place among `causes`.

    Raises
    ------
    StopIteration
        If the car has no such cause.
    """
    wanted = f"{cause.part.name}:{cause.mode.acts_as}"
    return next(n for n, other in enumerate(causes) if other.name == wanted)


def _changed(
    healthy: FloatArray,
    change: Change,
    probabilities: FloatArray,
    *,
    system_volts: float,
) -> FloatArray:
    """Return a changed value; an amount that is set is meant for a 12 V car."""
    amount = change.amount.quantile(probabilities)
    if change.operation is Operation.SET:
        return amount * voltage_factor(change.parameter, system_volts)
    if change.operation is Operation.TIMES:
        return healthy * amount
    return healthy + amount


class Severity(NamedTuple):
    """How severe one cause of a fault set is.

    Parameters
    ----------
    cause : int
        Its number.
    level : float or tuple[float, ...]
        A probability of its severity's distribution, the same in every draw or one for
        each. [1]
    """

    cause: int
    level: Level


def _severity_key(cause: Cause) -> str | None:
    """Return the key of a cause's first severity, the one a level is for."""
    for number, change in enumerate(cause.mode.changes):
        if change.amount.shape is not Shape.FIXED:
            return _change_key(cause, number, change)
    return None


def _change_key(cause: Cause, number: int, change: Change) -> str:
    return f"{cause.name}/{number}/{change.parameter}"


def changed_values(
    model: CarModel,
    causes: Sequence[Cause],
    levels: Mapping[str, Level] | None = None,
) -> Mapping[str, Values]:
    """Return the values of the parts that some causes change.

    Parameters
    ----------
    model : CarModel
        The car with its drawn values.
    causes : Sequence[Cause]
        Present together; later ones act on what earlier ones left.
    levels : Mapping[str, Level] or None
        Causes by name to how severe they are, see `Severity`; others are drawn.

    Returns
    -------
    Mapping[str, Values]
        Part to all its parameters, shape (n_draws,) each.
    """
    result: dict[str, dict[str, FloatArray]] = {}
    for cause in causes:
        level = None if levels is None else levels.get(cause.name)
        for number, change in enumerate(cause.mode.changes):
            for part in _hit(model, cause, change):
                values = result.setdefault(part.name, dict(model.values[part.name]))
                key = _drawn_key(cause, number, change)
                drawn = model.sample.probabilities(key)
                if level is not None and key == _severity_key(cause):
                    drawn = np.broadcast_to(np.array(level), drawn.shape)
                values[change.parameter] = _changed(
                    values[change.parameter],
                    change,
                    drawn,
                    system_volts=model.car.system_volts * part.volts_share,
                )
    return result


def _drawn_key(cause: Cause, number: int, change: Change) -> str:
    """Return the key of what a change is drawn by; that of a whole is drawn once."""
    own = _change_key(cause, number, change)
    return own if change.kind is None else _severity_key(cause) or own


def _hit(model: CarModel, cause: Cause, change: Change) -> tuple[Part, ...]:
    """Return the parts that a change is made to."""
    if change.kind is not None:
        return tuple(
            part
            for part in model.car.parts
            if part.kind == change.kind and _belongs(part, cause.part)
        )
    if change.role is None:
        return (cause.part,)
    named = [part for part in model.car.parts if part.role == change.role]
    members = {member for part in named for member in part.members}
    return tuple(
        part
        for part in model.car.parts
        if part.name in members or (part in named and not part.members)
    )


def _belongs(part: Part, whole: Part) -> bool:
    """Return whether a part is one of those that another one is made of."""
    if whole.members:
        return part.name in whole.members
    return part.assembly == whole.assembly


def has_severity(cause: Cause) -> bool:
    """Return whether the fault can be more or less severe.

    Parameters
    ----------
    cause : Cause
        Any cause.

    Returns
    -------
    bool
        False where it is all or nothing.
    """
    return any(c.amount.shape is not Shape.FIXED for c in cause.mode.changes)
