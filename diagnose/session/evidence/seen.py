"""One thing that was seen, and the value by which a reading is judged."""

from __future__ import annotations

import math
from typing import NamedTuple

from diagnose.inference.compiled.meter_loading import OVER_RANGE_OHMS
from diagnose.measurement.readings import ReadingKind
from diagnose.session.facts import (
    ReadingFact,
    SubstitutionFact,
    SymptomFact,
)

# What was seen: a value read, a yes or no, or either of the car with its circuit
# changed for a test.
Observation = ReadingFact | SymptomFact | SubstitutionFact


class Noted(NamedTuple):
    """An observation with its place in the diagnosis.

    Parameters
    ----------
    epoch : int
        How many repairs were done before it. [1]
    observation : ReadingFact, SymptomFact or SubstitutionFact
        Of a reading taken several times, the mean.
    is_complaint : bool
        It is what brought the owner here, and so surer than an answer to a question.
    times : int
        How many readings or answers that agree it stands for. [1]
    n_shared : float
        As how many readings that go together the error of the car file counts in it,
        itself included, see `shared_errors`. [1]
    before : bool or None
        Of a symptom in a test with the circuit changed: what was told of it as the car
        stands; None where nothing was.
    beside : ReadingFact or None
        The reading with which it is compared, where both move together, see
        `shared_errors`.
    against : int
        How many times the question was answered otherwise. [1]
    is_past : bool
        A complaint says so of an engine that ran, and it was told that it no longer
        starts: the fault may have come between.
    """

    epoch: int
    observation: Observation
    is_complaint: bool
    times: int = 1
    n_shared: float = 1.0
    before: bool | None = None
    beside: ReadingFact | None = None
    against: int = 0
    is_past: bool = False


def last_digit(noted: Noted) -> float:
    """Return what one of the last digit told is worth. [unit of the reading]."""
    observation = noted.observation
    return observation.rounded_to if isinstance(observation, ReadingFact) else 0.0


def shown(fact: ReadingFact) -> float:
    """Return the value of a reading as it is judged.

    Megohms count as OL, an infinite value. Along a fuse the leads may be either way
    round, so the sign is dropped.
    """
    kind = fact.reading.kind
    if kind is ReadingKind.FUSE:
        return abs(fact.value)
    is_over = kind is ReadingKind.OHMS and fact.value > OVER_RANGE_OHMS
    return float("inf") if is_over else fact.value


def rounding_deviation(fact: ReadingFact) -> float:
    """Return how far a value may be off because it was told in few digits.

    Returns
    -------
    float
        Standard deviation of a value anywhere in what rounds to it, 1/sqrt(12) of the
        last digit's worth. [unit of the reading]
    """
    return fact.rounded_to / math.sqrt(12.0)


def seen_of(observation: Observation) -> ReadingFact | SymptomFact:
    """Return what was read or answered, in a test or of the car as it stands."""
    if isinstance(observation, SubstitutionFact):
        return observation.seen
    return observation


def while_it_shows(observation: Observation) -> bool | None:
    """Return whether something was read while the trouble was there, where told."""
    seen = seen_of(observation)
    return seen.while_it_shows if isinstance(seen, ReadingFact) else None


def is_yes(observation: Observation) -> bool:
    """Return whether an observation is a yes to a question."""
    return isinstance(observation, SymptomFact) and observation.is_present
