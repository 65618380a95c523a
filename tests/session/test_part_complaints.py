"""A part is complained of: a cause is behind it, and the readings lead to it."""

from __future__ import annotations

import time

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.compiled.shown_symptoms import symptom_there
from diagnose.measurement.of_parts.part_complaints import ASPECTS
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import ComplaintFact, SymptomFact
from diagnose.session.ready_car import LEAST_CAUSED, Model
from diagnose.session.words.vocabulary import vocabulary_of
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import play

# What a sound car may be complained of for. [1] Rule: one in a hundred.
LEAST_DOUBT = 0.01

GAMES = (
    ("wipers-slow", "wipers:worn"),
    ("tail-lamps-on-with-another", "rear-plug.tail-lamps-ground-pin:open_circuit"),
    ("fan-blows-fuse-at-once", "fan-wire:short_to_ground"),
)
"""A complaint of a part of the shipped car, and the fault that is hidden in it."""


def likely(model: Model, name: str) -> FloatArray:
    """Return how likely a symptom or sign is with no cause, then with each alone."""
    compiled = model.compiled
    sign = model.signs.get(name)
    if sign is not None:
        lasting: list[tuple[int, ...]] = [
            (),
            *((n,) for n in range(compiled.n_lasting)),
        ]
        coming = sign.reaction(compiled.presence).mean(axis=1)
        return np.concatenate([sign.lasting_reacts(lasting), coming])
    seen = symptom_there(compiled, compiled.singles, name)
    return np.asarray(seen.mean(axis=1))


def test_a_cause_is_behind_every_complaint_of_a_part(sedan_model: Model) -> None:
    without, doubted = [], []
    for complaint in sedan_model.knowledge.complaints.values():
        if not complaint.part or complaint.stands_for:
            continue
        seen = likely(sedan_model, complaint.retest)
        if complaint.cured_answer:
            seen = 1.0 - seen
        if seen[1:].max() < LEAST_CAUSED:
            without.append(complaint.name)
        if seen[0] > LEAST_DOUBT:
            doubted.append(complaint.name)

    assert without == []
    assert doubted == []


def test_a_lamp_that_shares_no_ground_lights_with_no_other(sedan_model: Model) -> None:
    known = sedan_model.knowledge.complaints

    # By the car file: tail and brake lamps share a plug and a stud, the headlamps have
    # a relay and a ground of their own.
    assert "tail-lamps-on-with-another" in known
    assert "headlamps-on-with-another" not in known


@pytest.mark.parametrize(("complaint", "cause"), GAMES)
def test_the_fault_is_found_by_the_readings_that_are_proposed(
    complaint: str, cause: str, sedan_model: Model
) -> None:
    stock = HiddenCars(sedan_model, n_cars=1, seed=6)
    number = [one.name for one in sedan_model.compiled.causes].index(cause)
    car = HiddenCar(stock, 0, (number,), errors=Errors(), seed=3)

    game = play(sedan_model, car, complaint, seed=3)

    assert 1 <= game.first_rank <= 3
    assert game.is_fixed
    assert game.wrong_repairs == 0


def test_what_comes_and_goes_is_told_from_what_lasts(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="blower-cuts-out"))

    leading = diagnosis.answer.causes[:5]

    assert all("comes_and_goes" in one.name for one in leading)
    assert all(one.name.split(":")[0] in _BLOWER_CIRCUIT for one in leading), [
        one.name for one in leading
    ]


_BLOWER_CIRCUIT = {
    *("blower-wire", "blower-ground", "blower-feed-wire", "blower-feed-fuse"),
    *("blower-switch.high-contact", "blower-switch.out-contact", "old-box-accessory"),
    *("ignition-switch.accessory-contact", "body-stud", "old-main-fuse"),
    *("old-main-feed", "old-main-wire", "plus-clamp", "minus-clamp", "body-lead"),
    *("battery-cable", "ground-cable", "engine-strap"),
    *("old-switch-feed", "old-junction"),
}
"""What the blower's current goes through, by the car file."""


def test_a_knock_that_helps_speaks_for_what_shaking_brings(sedan_model: Model) -> None:
    def chance(*signs: str) -> float:
        told = [SymptomFact(symptom=sign, is_present=True) for sign in signs]
        complaint = ComplaintFact(complaint="pump-does-not-run")
        beliefs = Reasoner(sedan_model).conclude((complaint, *told)).beliefs
        causes = sedan_model.compiled.causes
        found: list[float] = beliefs.cause_probabilities(len(causes)).tolist()
        return sum(
            chance
            for cause, chance in zip(causes, found, strict=True)
            if cause.mode.name in {"comes_and_goes", "stalled", "pump_stalled"}
        )

    assert chance("works-after-a-knock") > 2.0 * chance()


def test_other_parts_are_asked_after_where_one_is_complained_of(
    sedan_model: Model,
) -> None:
    asked = SymptomCheck(symptom="dash-lamps-works")

    def steps(complaint: str) -> set[object]:
        diagnosis = Diagnosis(sedan_model)
        diagnosis.tell(ComplaintFact(complaint=complaint))
        return {one.step for one in diagnosis.candidates()}

    assert asked in steps("tail-lamps-dim")
    assert asked not in steps("first-start-fails")


def test_signs_are_told_and_never_asked_for(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="cuts-out-over-bumps"))

    steps = {one.step for one in diagnosis.candidates()}

    told = {SymptomCheck(symptom=name) for name in sedan_model.signs}
    assert told
    assert not steps & told


def test_a_part_is_listed_with_all_that_can_be_complained_of_it(
    sedan_model: Model,
) -> None:
    words = vocabulary_of(sedan_model)

    assert words.part_complaints["fan"][:2] == ("fan-does-not-run", "fan-does-not-stop")
    assert set().union(*words.part_complaints.values()) <= set(words.complaints)
    assert "fan-works" not in words.symptoms
    assert {f"fan-{ending}" for ending in ("slow", "cuts-out")} <= set(words.complaints)
    assert "fan-is-slow" in words.part_symptoms
    assert ASPECTS["slow"].symptom == "is-slow"


def test_a_symptom_of_a_part_is_worked_out_in_little_time(sedan_model: Model) -> None:
    compiled = sedan_model.compiled
    names = [n for n, one in sedan_model.knowledge.symptoms.items() if one.part]
    start = time.process_time()
    for name in names:
        symptom_there(compiled, compiled.singles, name)
    each = (time.process_time() - start) / len(names)

    # some 10 ms each for seven hundred causes; ten times that on a loaded machine
    assert each < 0.1
    assert not set(names) & set(compiled.symptom_names)
