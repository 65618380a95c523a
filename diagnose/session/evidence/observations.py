"""What was seen, from what was told: repeated readings and answers put together.

Independent of the order in which readings were told between repairs. Leaves what an
observation says of causes to `weighing`.

Decisions that bind it:

- Readings of one point that agree are one observation: each may have been a slip, but
  the car strays once. They are put together by value, not by time, so that they are the
  same in any order.
- Readings of one point that disagree beyond the meter all count: one of them is a slip
  for what lasts, and all are what a fault that comes and goes gives.
- An answer to a question that the car, as told, can't answer counts for nothing:
  whether the battery goes flat over drives, of a car that does not start.
- An answer told again counts again: a complaint that is still there after a repair is
  tested twice, and two such answers are no mistake.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from diagnose.inference.belief.meter_loading import OVER_RANGE_OHMS
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.measurement.symptoms import Join
from diagnose.measurement.where_to_measure import meaningless_ohms
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
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
    """

    epoch: int
    observation: Observation
    is_complaint: bool
    times: int = 1
    n_shared: float = 1.0
    before: bool | None = None


def observations_of(
    facts: Sequence[Fact], model: Model
) -> tuple[tuple[Noted, ...], tuple[str, ...]]:
    """Return what was seen, and the names of the causes that were mended.

    Parameters
    ----------
    facts : Sequence[Fact]
        Those that stand, in the order they were told.
    model : Model
        The car, made ready for diagnosis.

    Returns
    -------
    tuple[tuple[Noted, ...], tuple[str, ...]]
        The observations in order, and `Cause.name` of each repair.

    Notes
    -----
    A complaint counts as the symptoms it implies, unless they are told otherwise. The
    readings of one point in one state since a repair that agree are one observation,
    wherever they were told. A question answered again counts again if the answer is the
    same; else it was answered wrongly before, as was a fuse looked at again. Ohms of
    electronics mean nothing and are left out.
    """
    repairs: list[str] = []
    found: list[Noted] = []
    latest: dict[object, Noted] = {}
    told = {
        fact.symptom for fact in _before_repairs(facts) if isinstance(fact, SymptomFact)
    }
    for fact in facts:
        match fact:
            case ComplaintFact():
                answers = model.knowledge.complaints[fact.complaint].answers
                for symptom, present in answers.items():
                    usable = model.can_tell(symptom)
                    if usable and symptom not in told:
                        told.add(symptom)
                        implied = SymptomFact(symptom=symptom, is_present=present)
                        found.append(Noted(0, implied, is_complaint=True))
            case ReadingFact() if meaningless_ohms(fact.reading, model.car):
                pass
            case ReadingFact() | SymptomFact() | SubstitutionFact():
                noted = Noted(len(repairs), fact, is_complaint=False)
                _take_in(noted, found, latest)
            case RepairFact():
                repairs.append(fact.cause)
            case _:
                pass
    seen = _put_together(_answerable(found, model), model)
    return _with_what_was_before(seen), tuple(repairs)


def _with_what_was_before(found: Sequence[Noted]) -> tuple[Noted, ...]:
    """Return observations, tests with what was told of the car as it stands."""
    told = {
        (noted.epoch, noted.observation.symptom): noted.observation.is_present
        for noted in found
        if isinstance(noted.observation, SymptomFact)
    }
    result = list(found)
    for place, noted in enumerate(found):
        fact = noted.observation
        if isinstance(fact, SubstitutionFact) and isinstance(fact.seen, SymptomFact):
            before = told.get((noted.epoch, fact.seen.symptom))
            result[place] = noted._replace(before=before)
    return tuple(result)


def _answerable(found: Sequence[Noted], model: Model) -> list[Noted]:
    """Return observations without answers that the car, as told, can't give."""
    denied: dict[int, set[str]] = {}
    for noted in found:
        if isinstance(noted.observation, SymptomFact) and not is_yes(noted.observation):
            denied.setdefault(noted.epoch, set()).add(noted.observation.symptom)
    return [
        noted
        for noted in found
        if noted.is_complaint
        or not isinstance(noted.observation, SymptomFact)
        or not _is_denied(
            needed_for(noted.observation.symptom, model),
            # a no does not keep itself from being an answer
            denied.get(noted.epoch, set()) - {noted.observation.symptom},
            model,
        )
    ]


def needed_for(name: str, model: Model) -> str:
    """Return the symptom that a question or a test needs to have an answer.

    Parameters
    ----------
    name : str
        Of the symptom or test.
    model : Model
        The car, made ready for diagnosis.

    Returns
    -------
    str
        Its own need, or that of its operating state; empty where there is none, and
        for the symptom by which a car is found not to get into that state.
    """
    asked = model.asked(name)
    needed = asked.needs or model.car.state(asked.state).exists_when
    return "" if needed == name else needed


def _is_denied(name: str, denied: Set[str], model: Model) -> bool:
    """Return whether a symptom was denied, or one that it can't be without."""
    if name in denied:
        return True
    symptom = model.knowledge.symptoms.get(name)
    if symptom is None or symptom.when.join is not Join.ALL:
        return False
    return any(
        isinstance(member, str) and _is_denied(member, denied, model)
        for member in symptom.when.members
    )


def _take_in(noted: Noted, found: list[Noted], latest: dict[object, Noted]) -> None:
    """Append an observation in place of the one that it stands in for, if any."""
    same = _same_look(noted)
    said = None if same is None else latest.pop(same, None)
    if said is not None:
        is_answer = isinstance(seen_of(noted.observation), SymptomFact)
        if is_answer and said.observation == noted.observation:
            noted = noted._replace(times=1 + said.times)
        found.remove(said)
    if same is not None:
        latest[same] = noted
    found.append(noted)


def _same_look(noted: Noted) -> object:
    """Return what is the same for looks of which the latest stands in for the earlier.

    None for a reading of a value: readings of one point are put together instead.
    """
    fact = noted.observation
    if isinstance(fact, SubstitutionFact):
        # the same test made again
        return noted.epoch, fact.step
    if isinstance(fact, SymptomFact):
        return noted.epoch, fact.symptom
    is_look = fact.reading.kind is ReadingKind.LOOK
    return (noted.epoch, fact.reading) if is_look else None


def _put_together(found: Sequence[Noted], model: Model) -> tuple[Noted, ...]:
    """Return observations with readings that agree as one, in the place of the last."""
    alike: dict[tuple[int, Reading], list[tuple[float, int]]] = {}
    for place, noted in enumerate(found):
        if isinstance(noted.observation, ReadingFact):
            key = noted.epoch, noted.observation.reading
            alike.setdefault(key, []).append((shown(noted.observation), place))
    result: dict[int, Noted] = dict(enumerate(found))
    for values in alike.values():
        if len(values) < 2:
            continue
        for group in _agreeing(sorted(values), found, model):
            places = sorted(place for _, place in group)
            for place in places[:-1]:
                del result[place]
            last = found[places[-1]]
            if len(group) > 1 and isinstance(last.observation, ReadingFact):
                mean = float(np.mean([value for value, _ in group]))
                result[places[-1]] = last._replace(
                    observation=replace(
                        last.observation,
                        value=mean,
                        rounded_to=min(_rounding(found[place]) for place in places),
                    ),
                    times=len(group),
                )
    return tuple(result[place] for place in sorted(result))


def _rounding(noted: Noted) -> float:
    """Return what one of the last digit told is worth. [unit of the reading]."""
    observation = noted.observation
    return observation.rounded_to if isinstance(observation, ReadingFact) else 0.0


def _agreeing(
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


def _before_repairs(facts: Sequence[Fact]) -> Sequence[Fact]:
    """Return the facts told before the first repair."""
    for number, fact in enumerate(facts):
        if isinstance(fact, RepairFact):
            return facts[:number]
    return facts


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


def is_yes(observation: Observation) -> bool:
    """Return whether an observation is a yes to a question."""
    return isinstance(observation, SymptomFact) and observation.is_present
