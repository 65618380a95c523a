"""What an owner may come with about one part, made for every part of a car.

Where knowledge/ lists a complaint that says the same of the same part, that one stays
and none is made beside it. Leaves what can be seen of a part to `part_symptoms`.

Decisions that bind it:

- A complaint says of the car what its owner would have noticed by then: who complains
  of lamps has a car that cranks, who complains of what works with a running engine has
  one that runs.
- Its name alone tells by which symptom it is tested and what is cured, so that a stored
  case is understood without its car.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.measurement.of_parts.part_claims import LAMP_KINDS, key_for, words_for
from diagnose.measurement.of_parts.sound_work import SoundWork
from diagnose.measurement.quantities import (
    claimed_parts,
    claims_of,
    role_parts,
    usable_symptoms,
)
from diagnose.measurement.symptoms import Complaint, Symptom, moved


@dataclass(frozen=True, slots=True, kw_only=True)
class Aspect:
    """One thing that can be wrong with a part.

    Parameters
    ----------
    symptom : str
        What the name of the symptom ends with by which it is tested.
    cured_answer : bool
        The answer to it that means cured.
    says : str
        The owner's words, after the part's own.
    """

    symptom: str
    cured_answer: bool
    says: str


# What a complaint's name ends with to what it is about; the order they are listed in.
ASPECTS: Mapping[str, Aspect] = MappingProxyType(
    {
        "dead": Aspect(symptom="works", cured_answer=True, says="dead"),
        "down": Aspect(symptom="is-up", cured_answer=True, says="dead"),
        "dim": Aspect(symptom="is-dim", cured_answer=False, says="lit, but dim"),
        "slow": Aspect(symptom="is-slow", cured_answer=False, says="slow"),
        "weak": Aspect(symptom="is-weak", cured_answer=False, says="weak"),
        "stays-on": Aspect(
            symptom="stays-on", cured_answer=False, says="on when meant to be off"
        ),
        "on-with-another": Aspect(
            symptom="on-with-another",
            cured_answer=False,
            says="on with another switch, when something else is switched on",
        ),
        "cuts-out": Aspect(
            symptom="comes-and-goes",
            cured_answer=False,
            says="out now and then, comes and goes (cuts out)",
        ),
        "blows-fuse-at-once": Aspect(
            symptom="fuse-blows-at-once",
            cured_answer=False,
            says="fuse blows at once",
        ),
        "blows-fuse-later": Aspect(
            symptom="fuse-blows-later",
            cured_answer=False,
            says="fuse blows after a while",
        ),
        "resets": Aspect(
            symptom="resets",
            cured_answer=False,
            says="resets, goes off and on by itself",
        ),
        "not-charged": Aspect(
            symptom="is-charged",
            cured_answer=True,
            says="not charged with the engine running",
        ),
        "silent": Aspect(symptom="clicks", cured_answer=True, says="silent, no click"),
        "clicks-for-nothing": Aspect(
            symptom="for-nothing",
            cured_answer=False,
            says="clicks, but nothing follows",
        ),
        "buzzes": Aspect(
            symptom="chatters", cured_answer=False, says="chatters, buzzes"
        ),
    }
)

# Kinds of part whose dead, in words, is said by what they do.
_DEAD_WORDS: Mapping[str, str] = MappingProxyType(
    {"motor": "dead, not running", **dict.fromkeys(LAMP_KINDS, "dead, no light")}
)

# Symptoms of the whole car that a complaint of one part implies, where the car has
# them: it cranks, and its starter does not run on.
_CRANKS = MappingProxyType({"engine-cranks": True, "starter-runs-on": False})


def part_complaints(
    car: Car,
    work: SoundWork,
    symptoms: Mapping[str, Symptom],
    listed: Mapping[str, Complaint],
) -> Iterator[Complaint]:
    """Yield what an owner may come with about the parts of a car.

    Parameters
    ----------
    car : Car
        The car.
    work : SoundWork
        What works on it.
    symptoms : Mapping[str, Symptom]
        Those of knowledge/ and those of its parts, by name.
    listed : Mapping[str, Complaint]
        Those of knowledge/, by name.

    Yields
    ------
    Complaint
        Part by part; where a listed one says the same, that one with its part.
    """
    taken = dict(_standing_for(car, symptoms, listed))
    names = [
        *work.loads,
        *work.controllers,
        *(relay.contacts.name for relay in work.relays),
        *work.charged,
    ]
    for name in names:
        part = car.part(name)
        for ending, aspect in ASPECTS.items():
            same = taken.get((name, ending))
            if same is not None:
                yield replace(listed[same], part=name)
                continue
            tested = f"{key_for(part)}-{aspect.symptom}"
            key = f"{key_for(part)}-{ending}"
            if key in listed or not _can_be_told(part, ending, tested, car, symptoms):
                continue
            yield Complaint(
                name=key,
                says=f"{words_for(part).capitalize()}: {_says(part, ending, aspect)}",
                answers=_answers(part, ending, tested, car, symptoms),
                retest=tested,
                cured_answer=aspect.cured_answer,
                part=name,
            )


def standing_still(
    complaint: Complaint, symptom: Symptom, work: SoundWork, car: Car
) -> tuple[Complaint, Symptom]:
    """Return a listed complaint and what tests it, with the engine off where it can be.

    Parameters
    ----------
    complaint : Complaint
        One that stands for what is made for its part.
    symptom : Symptom
        By which it is tested.
    work : SoundWork
        What works on the sound car.
    car : Car
        The car.

    Returns
    -------
    tuple[Complaint, Symptom]
        As they are where the part works with a running engine only, or is looked at
        with a standing one already.
    """
    load = work.loads.get(complaint.part)
    has_to_run = car.state(symptom.state).is_engine_running
    if load is None or not has_to_run or not complaint.cured_answer:
        return complaint, symptom
    if car.state(load.state).is_engine_turning:
        return complaint, symptom
    running = {s.exists_when for s in car.states if s.is_engine_running}
    answers = {n: a for n, a in complaint.answers.items() if n not in running}
    return (
        replace(complaint, answers=MappingProxyType({**answers, **_CRANKS})),
        moved(symptom, {symptom.state: load.state}),
    )


def told_complaint(name: str, listed: Mapping[str, Complaint]) -> Complaint | None:
    """Return how a complaint is tested, by its name alone.

    Parameters
    ----------
    name : str
        Of a listed complaint, or of one made for a part.
    listed : Mapping[str, Complaint]
        Those of knowledge/, by name.

    Returns
    -------
    Complaint or None
        None where it is neither; of one made for a part, without its other answers.
    """
    if name in listed:
        return listed[name]
    for ending in sorted(ASPECTS, key=len, reverse=True):
        part = name.removesuffix(f"-{ending}")
        if part and part != name:
            aspect = ASPECTS[ending]
            tested = f"{part}-{aspect.symptom}"
            return Complaint(
                name=name,
                says=f"{part.replace('-', ' ').capitalize()}: {aspect.says}",
                answers=MappingProxyType({tested: not aspect.cured_answer}),
                retest=tested,
                cured_answer=aspect.cured_answer,
                part=part,
            )
    return None


def _standing_for(
    car: Car, symptoms: Mapping[str, Symptom], listed: Mapping[str, Complaint]
) -> Iterator[tuple[tuple[str, str], str]]:
    """Yield part and ending to the listed complaint that says the same of it.

    One that is about several parts with a role says it of none of them alone.
    """
    usable = frozenset(usable_symptoms(car, symptoms))
    for complaint in listed.values():
        for ending, role in complaint.stands_for.items():
            parts = [one for one in role_parts(car, role) if one.kind != "coil"]
            if len(parts) == 1 and complaint.retest in usable:
                yield (parts[0].name, ending), complaint.name


def _can_be_told(
    part: Part,
    ending: str,
    tested: str,
    car: Car,
    symptoms: Mapping[str, Symptom],
) -> bool:
    """Return whether there is a symptom by which a complaint can be tested."""
    if ending == "cuts-out":
        return part.kind not in ("contacts", "battery")
    found = symptoms.get(tested)
    if found is None or found.part:
        return found is not None and found.part == part.name
    # a listed symptom that asks the same under the same name
    claims = claims_of(found.when, symptoms)
    looked_at = {one.name for c in claims for one in claimed_parts(c, car)}
    return looked_at == {part.name}


def _says(part: Part, ending: str, aspect: Aspect) -> str:
    if ending == "dead":
        return _DEAD_WORDS.get(part.kind, aspect.says)
    return aspect.says


def _answers(
    part: Part,
    ending: str,
    tested: str,
    car: Car,
    symptoms: Mapping[str, Symptom],
) -> Mapping[str, bool]:
    """Return what a complaint implies: its own answer, and what the car still does."""
    told = {tested: not ASPECTS[ending].cured_answer}
    if ending == "clicks-for-nothing":
        told[f"{key_for(part)}-clicks"] = True
    symptom = symptoms.get(tested)
    state = car.state(symptom.state) if symptom is not None else None
    if state is None or state.is_cranking:
        return MappingProxyType(told)
    needed = state.exists_when
    if needed in symptoms:
        roles = {c.role for c in claims_of(symptoms[needed].when, symptoms)}
        if part.role is None or part.role not in roles:
            told[needed] = True
    elif part.kind in ("lamp", "led-lamp", "motor", "load", "electronics"):
        told |= _CRANKS
    return MappingProxyType(told)
