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
- What a complaint says of a running engine was so before. Once it is told that the
  engine does not start, that counts little: what died on the road and stays dead may
  have come while it drove.
- An answer told again counts again: a complaint that is still there after a repair is
  tested twice, and two such answers are no mistake.
- One told otherwise than before counts little, and a third decides. When the last word
  stood for certain, one wrong answer late in an evening undid three right ones.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

import numpy as np

from diagnose.measurement.points.where_to_measure import meaningless_ohms
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.symptoms import Join
from diagnose.session.evidence.repeated_readings import agreeing
from diagnose.session.evidence.seen import Noted, is_yes, last_digit, seen_of, shown
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model


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
    A complaint counts as the symptoms it implies, unless they are told otherwise; an
    answer that agrees with it adds nothing, and makes it no less sure. The
    readings of one point in one state since a repair that agree are one observation,
    wherever they were told. A question answered again counts again if the answer is the
    same, and answers that differ count against each other; a fuse looked at again was
    seen wrongly before. Ohms of electronics mean nothing and are left out.
    """
    repairs: list[str] = []
    found: list[Noted] = []
    latest: dict[object, Noted] = {}
    told = {
        (fact.symptom, fact.is_present)
        for fact in _before_repairs(facts)
        if isinstance(fact, SymptomFact)
    }
    complained: set[str] = set()
    sure = {
        symptom
        for fact in facts
        if isinstance(fact, ComplaintFact)
        for symptom, present in model.knowledge.complaints[
            fact.complaint
        ].answers.items()
        if model.can_tell(symptom) and (symptom, not present) not in told
    }
    for fact in facts:
        match fact:
            case ComplaintFact():
                answers = model.knowledge.complaints[fact.complaint].answers
                for symptom, present in answers.items():
                    is_otherwise = (symptom, not present) in told
                    is_new = symptom not in complained and not is_otherwise
                    if is_new and model.can_tell(symptom):
                        complained.add(symptom)
                        implied = SymptomFact(symptom=symptom, is_present=present)
                        found.append(Noted(0, implied, is_complaint=True))
            case ReadingFact() if meaningless_ohms(fact.reading, model.car):
                pass
            case SymptomFact() if not repairs and fact.symptom in sure:
                # the complaint says so already, and surer
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
    told: set[str] = set()
    for noted in found:
        if isinstance(noted.observation, SymptomFact) and not is_yes(noted.observation):
            name = noted.observation.symptom
            denied.setdefault(noted.epoch, set()).add(name)
            if not noted.is_complaint and noted.epoch == 0:
                told.add(name)

    def can_be(noted: Noted) -> bool:
        if noted.is_complaint or not isinstance(noted.observation, SymptomFact):
            return True
        name = noted.observation.symptom
        # a no does not keep itself from being an answer
        rest = denied.get(noted.epoch, set()) - {name}
        return not _is_denied(needed_for(name, model), rest, model)

    return [
        noted._replace(is_past=noted.is_complaint and _is_outrun(noted, told, model))
        for noted in found
        if can_be(noted)
    ]


def _is_outrun(noted: Noted, denied: Set[str], model: Model) -> bool:
    """Return whether an engine is said to have run that does not start any more."""
    seen = noted.observation
    if not isinstance(seen, SymptomFact) or not is_yes(seen):
        return False
    needed = needed_for(seen.symptom, model)
    return any(_is_denied(name, denied, model) for name in (seen.symptom, needed))


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
        if isinstance(seen_of(noted.observation), SymptomFact):
            times, against = said.times, said.against
            if said.observation != noted.observation:
                times, against = against, times
            noted = noted._replace(times=1 + times, against=against)
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
    alike: dict[tuple[int, Reading, bool | None], list[tuple[float, int]]] = {}
    for place, noted in enumerate(found):
        if isinstance(noted.observation, ReadingFact):
            told = noted.observation
            # what was read while it was bad and while it was fine are two looks
            key = noted.epoch, told.reading, told.while_it_shows
            alike.setdefault(key, []).append((shown(noted.observation), place))
    result: dict[int, Noted] = dict(enumerate(found))
    for values in alike.values():
        if len(values) < 2:
            continue
        for group in agreeing(sorted(values), found, model):
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
                        rounded_to=min(last_digit(found[place]) for place in places),
                    ),
                    times=len(group),
                )
    return tuple(result[place] for place in sorted(result))


def _before_repairs(facts: Sequence[Fact]) -> Sequence[Fact]:
    """Return the facts told before the first repair."""
    for number, fact in enumerate(facts):
        if isinstance(fact, RepairFact):
            return facts[:number]
    return facts
