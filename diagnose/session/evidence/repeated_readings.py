"""A reading taken again: whether it agrees, and how far it may differ."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import ReadingKind, meter_range
from diagnose.session.evidence.seen import Noted, shown
from diagnose.session.facts import (
    ReadingFact,
)
from diagnose.session.ready_car import Model

# How many of the meter's errors two readings of one point may be apart before they
# disagree. [1] Own choice: a charging car moves by as much between two looks.
CLASH_DEVIATIONS = 4.0


# The least such error, but along a fuse. [V, Ω, A] Own choice: less changes between two
# looks at any car.
LEAST_CLASH = 0.05


# The chance that what shows the same is told the same again. [1] From memory: nine in
# ten say the same of a test lamp.
SAYS_AGAIN = 0.9


def agreeing(
    values: Sequence[tuple[float, int]], found: Sequence[Noted], model: Model
) -> list[list[tuple[float, int]]]:
    """Return values in groups within which each agrees with the next.

    Parameters
    ----------
    values : Sequence[tuple[float, int]]
        Rising values, each with its place in `found`.
    """
    groups: list[list[tuple[float, int]]] = []
    for value, place in values:
        observation = found[place].observation
        before = found[groups[-1][-1][1]].observation if groups else None
        if (
            isinstance(before, ReadingFact)
            and isinstance(observation, ReadingFact)
            and not disagree(before, observation, model)
        ):
            groups[-1].append((value, place))
        else:
            groups.append([(value, place)])
    return groups


def disagree(first: ReadingFact, second: ReadingFact, model: Model) -> bool:
    """Return whether two readings of one point differ beyond what the meter may err."""
    range_ = meter_range(first.reading.kind, model.knowledge.meter)
    values = shown(first), shown(second)
    if range_ is None or np.isinf(values).any():
        return values[0] != values[1]
    half = repeat_error(first.reading.kind, max(values, key=abs), range_)
    half += 0.5 * max(first.rounded_to, second.rounded_to) / CLASH_DEVIATIONS
    return abs(values[1] - values[0]) > CLASH_DEVIATIONS * half


def repeat_error(kind: ReadingKind, value: float, range_: MeterRange) -> float:
    """Return by how much a reading may differ when it is taken again.

    Parameters
    ----------
    kind : ReadingKind
        What is read.
    value : float
        What the meter showed. [unit of the reading]
    range_ : MeterRange
        The meter's accuracy.

    Returns
    -------
    float
        The meter's limit, or what the car moves by. [unit of the reading]
    """
    least = 0.0 if kind is ReadingKind.FUSE else LEAST_CLASH
    return max(float(range_.half_width(np.array(abs(value)))), least)


def repeat_density(observation: ReadingFact, model: Model) -> float:
    """Return the density of a value that a right reading shows when taken again.

    Returns
    -------
    float
        At the value itself; a chance for what is no number. [1 over the unit, or 1]
    """
    range_ = meter_range(observation.reading.kind, model.knowledge.meter)
    if range_ is None or np.isinf(observation.value):
        return SAYS_AGAIN
    half = repeat_error(observation.reading.kind, shown(observation), range_)
    # the difference of two errors, the meter's limit being two standard deviations
    return float(1.0 / (np.sqrt(2.0) * 0.5 * half * np.sqrt(2.0 * np.pi)))
