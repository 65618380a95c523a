"""What a repair leaves: the other faults of a set, and what testing it costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model, open_model
from tests.lamp_car import CAR, GROUND, make_knowledge

DARK = SymptomFact(symptom="lamp-shines", is_present=False)
LAMP_FUSE, MAIN_FUSE = "lamp-fuse:blown", "main-fuse:blown"
FLAT = "battery:discharged"


def reading(kind: ReadingKind, state: str, red: str, value: float) -> ReadingFact:
    black = "" if kind is ReadingKind.LOOK else GROUND
    return ReadingFact(
        reading=Reading(kind=kind, state=state, red=red, black=black), value=value
    )


LOOKS = tuple(
    reading(ReadingKind.LOOK, "key-off", fuse, 1.0)
    for fuse in ("lamp-fuse", "main-fuse")
)
REST = reading(ReadingKind.DC_VOLTS, "key-off", "battery.plus", 11.98)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(), n_draws=8)


def probabilities(model: Model, *facts: Fact) -> Mapping[str, float]:
    beliefs = Reasoner(model).conclude(facts).beliefs
    found = beliefs.cause_probabilities(len(model.compiled.causes)).tolist()
    return dict(zip((c.name for c in model.compiled.causes), found, strict=True))


# A look finds both fuses blown. By hand: a new lamp fuse cures nine times in ten (the
# mode's repair) and changes nothing about the main fuse.
def test_new_fuse_leaves_the_other_one_blown(lamp_model: Model) -> None:
    before = probabilities(lamp_model, DARK, *LOOKS)

    after = probabilities(lamp_model, DARK, *LOOKS, RepairFact(cause=LAMP_FUSE))

    assert before[LAMP_FUSE] > 0.5
    assert before[MAIN_FUSE] > 0.5
    # companions of the mended cause join after a repair: 10 %
    assert after[LAMP_FUSE] == pytest.approx(0.1 * before[LAMP_FUSE], rel=0.12)
    assert after[MAIN_FUSE] == pytest.approx(before[MAIN_FUSE], rel=0.12)


def test_both_fuses_renewed_leave_each_its_chance_of_no_cure(lamp_model: Model) -> None:
    repairs = [RepairFact(cause=LAMP_FUSE), RepairFact(cause=MAIN_FUSE)]
    before = probabilities(lamp_model, DARK, *LOOKS)

    after = probabilities(lamp_model, DARK, *LOOKS, *repairs)

    for fuse in (LAMP_FUSE, MAIN_FUSE):
        assert after[fuse] == pytest.approx(0.1 * before[fuse], abs=0.01)


# As above, and a battery at two fifths of its charge at most: of three faults two are
# left, of whichever is mended.
@pytest.mark.parametrize("mended", [LAMP_FUSE, MAIN_FUSE, FLAT])
def test_repair_of_one_of_three_faults_leaves_the_other_two(
    mended: str, lamp_model: Model
) -> None:
    facts: tuple[Fact, ...] = (DARK, *LOOKS, REST, REST)
    before = probabilities(lamp_model, *facts)

    after = probabilities(lamp_model, *facts, RepairFact(cause=mended))

    assert min(before[name] for name in (LAMP_FUSE, MAIN_FUSE, FLAT)) > 0.5
    assert after[mended] == pytest.approx(0.1 * before[mended], abs=0.01)
    for other in {LAMP_FUSE, MAIN_FUSE, FLAT} - {mended}:
        assert after[other] == pytest.approx(before[other], abs=0.01)


# A new battery is put in charged: whatever was wrong with the old one is gone with it,
# while a charger mends no plates.
def test_a_new_battery_is_charged(model: Model) -> None:
    weak = reading(ReadingKind.DC_VOLTS, "key-off", "battery.plus", 11.9)
    before = probabilities(model, weak)
    assert before[FLAT] > 0.1

    renewed = probabilities(model, weak, RepairFact(cause="battery:worn_out"))
    charged = probabilities(model, weak, RepairFact(cause=FLAT))

    assert renewed[FLAT] == pytest.approx(0.02 * before[FLAT], rel=0.3)
    assert charged["battery:worn_out"] >= 0.9 * before["battery:worn_out"]


def test_every_pair_that_a_repair_may_leave_of_three_is_weighed(
    lamp_model: Model,
) -> None:
    sets = set(Reasoner(lamp_model).conclude((DARK, *LOOKS, REST, REST)).beliefs.sets)

    triples = [one for one in sets if len(one) == 3]
    assert triples
    for one in triples:
        assert sets.issuperset(combinations(one, 2))


# Two fuses may be blown, and a look tells which. By hand: each needless repair is
# followed by the test of the complaint, so that a test of an hour makes the look worth
# more than one of half a minute does, by an hour for every needless repair it saves.
def test_look_is_worth_more_where_the_test_after_a_repair_takes_long() -> None:
    knowledge = make_knowledge()
    retest = knowledge.symptoms["lamp-shines"]
    slow = {**knowledge.symptoms, "lamp-shines": replace(retest, minutes=60.0)}

    def saved(model: Model) -> float:
        diagnosis = Diagnosis(model)
        answer = diagnosis.tell(ComplaintFact(complaint="lamp-dead"))
        return max(step.saves_minutes for step in answer.next_steps)

    quick = saved(open_model(CAR, knowledge, n_draws=8))
    long = saved(open_model(CAR, replace(knowledge, symptoms=slow), n_draws=8))
    assert long > quick + 20.0


def test_one_cured_complaint_of_two_lets_the_diagnosis_go_on(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    diagnosis.tell(ComplaintFact(complaint="charge-lamp-dead"))
    diagnosis.tell(RepairFact(cause="charge-lamp:open_circuit"))
    answer = diagnosis.tell(SymptomFact(symptom="charge-lamp-works", is_present=True))

    # the lamp lights, and nothing was done about the pump
    assert answer.advice.verdict is Verdict.OPEN
