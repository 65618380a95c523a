"""Tests with the circuit changed: what they say of causes, and which are proposed.

On the car of one lamp, where the fault sets can be counted by hand, and on the sedan.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import (
    SubstitutionTest,
    SymptomCheck,
    step_of_name,
)
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.seen import Noted
from diagnose.session.fact_rows import fact_from_row, fact_to_row
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    SubstitutionFact,
    SymptomFact,
    UndoFact,
)
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.substitution_tests import SubstitutionTests
from diagnose.session.substitution.like_parts import like_part
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import told_of_test
from tests.lamp_car import CAR, COMES_AND_GOES, MODES, SHAKEN, make_knowledge

BRIDGE, SWAP, UNPLUG = SubstitutionKind
DARK = SymptomFact(symptom="lamp-shines", is_present=False)
SHINES = SymptomFact(symptom="lamp-shines", is_present=True)
OVER_SWITCH = Substitution(kind=BRIDGE, at="lamp-fuse.out", to="light-switch.out")
OVER_GROUND = Substitution(kind=BRIDGE, at="lamp.minus", to="battery.minus")
OTHER_LAMP = Substitution(kind=SWAP, at="lamp")
NO_LAMP = Substitution(kind=UNPLUG, at="lamp")


def look(fuse: str, *, is_blown: bool) -> ReadingFact:
    return ReadingFact(
        reading=Reading(kind=ReadingKind.LOOK, state="key-off", red=fuse, black=""),
        value=float(is_blown),
    )


def tried(change: Substitution, seen: ReadingFact | SymptomFact) -> SubstitutionFact:
    return SubstitutionFact(substitution=change, seen=seen)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(), n_draws=16)


def chances(model: Model, *facts: Fact) -> dict[str, float]:
    beliefs = Reasoner(model).conclude(facts).beliefs
    found = beliefs.cause_probabilities(len(model.compiled.causes)).tolist()
    return dict(zip((c.name for c in model.compiled.causes), found, strict=True))


def test_lead_over_the_switch_lights_the_lamp_only_of_a_bad_switch(
    lamp_model: Model,
) -> None:
    before = chances(lamp_model, DARK)

    after = chances(lamp_model, DARK, tried(OVER_SWITCH, SHINES))

    name = "light-switch:stuck_open"
    assert before[name] < 0.2
    assert after[name] == max(after.values())
    assert after[name] > 0.9


def test_lead_without_effect_takes_the_switch_off_the_list(lamp_model: Model) -> None:
    after = chances(lamp_model, DARK, tried(OVER_SWITCH, DARK))

    assert after["light-switch:stuck_open"] < 0.01


def test_weight_of_a_lead_is_that_of_the_answer_it_gives(lamp_model: Model) -> None:
    # By hand: with the lead in, a stuck switch shines but for a missed look; an open
    # feed stays dark but for an imagined one. A tenth of the usual .02 and .01, as both
    # looks are side by side: .998 to .001.
    before = chances(lamp_model, DARK)
    after = chances(lamp_model, DARK, tried(OVER_SWITCH, SHINES))
    switch, feed = "light-switch:stuck_open", "feed:open_circuit"

    factor = after[switch] / after[feed] / (before[switch] / before[feed])

    assert factor == pytest.approx(998.0, rel=0.01)


def test_another_lamp_without_a_change_takes_the_lamp_off_the_list(
    lamp_model: Model,
) -> None:
    before = chances(lamp_model, DARK)
    after = chances(lamp_model, DARK, tried(OTHER_LAMP, DARK))

    assert before["lamp:burnt_out"] > 0.08
    # what is left is the lamp beside another fault
    assert after["lamp:burnt_out"] < 0.03
    assert after["feed:open_circuit"] > before["feed:open_circuit"]


def test_another_lamp_that_shines_names_the_lamp(lamp_model: Model) -> None:
    after = chances(lamp_model, DARK, tried(OTHER_LAMP, SHINES))

    assert after["lamp:burnt_out"] > 0.9


def test_fuse_that_blows_without_the_lamp_names_its_feed(lamp_model: Model) -> None:
    # A new fuse is put in for it, so that one blown by itself holds.
    fuse = look("lamp-fuse", is_blown=True)

    blows = chances(lamp_model, DARK, fuse, tried(NO_LAMP, fuse))
    holds = chances(
        lamp_model, DARK, fuse, tried(NO_LAMP, look("lamp-fuse", is_blown=False))
    )

    assert blows["feed:short_to_ground"] > 0.9
    assert holds["feed:short_to_ground"] < 0.05
    assert holds["lamp-fuse:blown"] > 0.9


def test_two_faults_need_both_cured(lamp_model: Model) -> None:
    # A bad ground bridged and the lamp still dark, then another lamp and still dark:
    # either one alone is out, but the two together are not.
    facts = (DARK, tried(OVER_GROUND, DARK), tried(OTHER_LAMP, DARK))
    after = chances(lamp_model, *facts)

    assert after["ground:open_circuit"] < 0.05
    assert after["lamp:burnt_out"] < 0.05


def test_what_was_told_is_of_the_changed_car_only(lamp_model: Model) -> None:
    # Both are true at once, and no contradiction.
    diagnosis = Diagnosis(lamp_model)
    diagnosis.tell(DARK)

    answer = diagnosis.tell(tried(OVER_SWITCH, SHINES))

    assert answer.facts == (
        "lamp-shines: no",
        "with a lead from lamp-fuse.out to light-switch.out: lamp-shines: yes",
    )
    assert answer.fit.disagrees == ""


def test_test_told_again_the_other_way_stands_in_for_the_first(
    lamp_model: Model,
) -> None:
    again = chances(
        lamp_model, DARK, tried(OVER_SWITCH, SHINES), tried(OVER_SWITCH, DARK)
    )

    assert again == chances(lamp_model, DARK, tried(OVER_SWITCH, DARK))


def test_order_of_tests_and_readings_makes_no_difference(lamp_model: Model) -> None:
    volts = ReadingFact(
        reading=Reading(
            kind=ReadingKind.DC_VOLTS,
            state="lit",
            red="lamp.plus",
            black="battery.minus",
        ),
        value=0.02,
    )
    facts = (DARK, tried(OVER_SWITCH, SHINES), volts)

    forward, back = chances(lamp_model, *facts), chances(lamp_model, *facts[::-1])

    assert forward == pytest.approx(back, abs=1e-9)


def test_reading_of_the_changed_car_is_its_own(lamp_model: Model) -> None:
    # By hand: with the lamp off its wires no current flows, and all of the supply is at
    # its terminal unless the feed is open.
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black="battery.minus"
    )
    fact = tried(NO_LAMP, ReadingFact(reading=reading, value=12.5))

    after = chances(lamp_model, DARK, fact)

    assert after["feed:open_circuit"] < 0.01
    before = chances(lamp_model, DARK)
    assert after["lamp:burnt_out"] > 1.2 * before["lamp:burnt_out"]


def test_fault_that_comes_and_goes_is_swapped_away_too() -> None:
    modes = (*MODES, replace(COMES_AND_GOES, kind="wire"))
    knowledge = replace(make_knowledge(modes), triggers={"vibration": SHAKEN})
    model = open_model(CAR, knowledge, n_draws=16)

    after = chances(model, DARK, tried(OVER_GROUND, DARK))

    assert (
        after["ground:comes_and_goes"] < chances(model, DARK)["ground:comes_and_goes"]
    )


def test_fact_is_written_and_read_back() -> None:
    for fact in (
        tried(OVER_SWITCH, SHINES),
        tried(OTHER_LAMP, DARK),
        tried(NO_LAMP, look("lamp-fuse", is_blown=True)),
    ):
        assert fact_from_row(fact_to_row(fact)) == fact
        assert step_of_name(fact.step.name) == fact.step


def test_test_is_taken_back_whole(lamp_model: Model) -> None:
    diagnosis = Diagnosis(lamp_model)
    before = diagnosis.tell(DARK)
    diagnosis.tell(tried(OVER_SWITCH, SHINES))

    after = diagnosis.tell(UndoFact())

    assert after.facts == before.facts
    assert [(c.name, c.probability) for c in after.causes] == [
        (c.name, c.probability) for c in before.causes
    ]


def test_why_names_the_test_and_what_the_cause_would_show(lamp_model: Model) -> None:
    diagnosis = Diagnosis(lamp_model)
    diagnosis.tell(DARK)
    diagnosis.tell(tried(OVER_SWITCH, SHINES))

    why = diagnosis.why("light-switch:stuck_open")

    weights = {one.fact: one for one in why.evidence}
    told = weights[
        "with a lead from lamp-fuse.out to light-switch.out: lamp-shines: yes"
    ]
    assert told.decibans > 5.0
    assert told.expected == "yes in 100 of 100"


def test_hidden_car_answers_a_test(lamp_model: Model) -> None:
    names = [cause.name for cause in lamp_model.compiled.causes]
    errors = Errors(slip_probability=0.0, has_meter_error=False, has_report_error=False)
    stock = HiddenCars(lamp_model, n_cars=2, seed=1)
    switch = (names.index("light-switch:stuck_open"),)
    car = HiddenCar(stock, 0, switch, errors=errors, seed=1)

    def seen(change: Substitution) -> Fact:
        look_for = SymptomCheck(symptom="lamp-shines")
        test = SubstitutionTest(substitution=change, look=look_for)
        return told_of_test(test, car)

    assert seen(OVER_SWITCH) == tried(OVER_SWITCH, SHINES)
    assert seen(OVER_GROUND) == tried(OVER_GROUND, DARK)
    assert seen(OTHER_LAMP) == tried(OTHER_LAMP, DARK)
    assert car.faults == switch


def test_no_change_is_told_of_the_complaint(lamp_model: Model) -> None:
    diagnosis = Diagnosis(lamp_model)
    assert diagnosis.unchanged() is None

    diagnosis.tell(ComplaintFact(complaint="lamp-dead"))

    assert diagnosis.unchanged() == DARK


# The sedan: all of its relays, loads and grounds.


def sedan_lead(first: str, second: str, symptom: str, answer: bool) -> Fact:
    return tried(
        Substitution(kind=BRIDGE, at=first, to=second),
        SymptomFact(symptom=symptom, is_present=answer),
    )


def test_like_relay_is_one_with_the_same_parts(sedan_model: Model) -> None:
    # By the car file: fan, headlamps and panel have a plain relay, the pump's a diode;
    # without the panel's relay the engine stops.
    assert like_part("headlamps-relay", sedan_model.car) == "fan-relay"
    assert like_part("fuel-pump-relay", sedan_model.car) == ""


def test_cable_to_the_engine_that_makes_it_crank_names_strap_and_clamp(
    sedan_model: Model,
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="no-crank"))
    # the cable goes beside both: the strap and the clamp that holds it on the post
    beside = ("ground-cable:", "minus-clamp:")
    before = [belief_in(one, diagnosis) for one in beside]
    diagnosis.tell(sedan_lead("battery.minus", "engine.block", "engine-cranks", True))

    after = [belief_in(one, diagnosis) for one in beside]
    assert diagnosis.answer.causes[0].name.startswith(beside)
    assert diagnosis.answer.causes[1].name.startswith(beside)
    assert sum(after) > 0.3
    assert all(one > 5.0 * old for one, old in zip(after, before, strict=True))


def test_swapped_relay_that_cures_is_first(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="headlamps-dead"))
    shines = SymptomFact(symptom="headlamps-shine", is_present=True)
    diagnosis.tell(tried(Substitution(kind=SWAP, at="headlamps-relay"), shines))

    assert diagnosis.answer.causes[0].name.startswith("headlamps-relay.contacts:")
    assert belief_in("headlamps-relay.", diagnosis) > 0.9


def belief_in(start: str, diagnosis: Diagnosis) -> float:
    """Return the belief in the lines whose leading cause begins so."""
    return sum(
        one.probability for one in diagnosis.answer.causes if one.name.startswith(start)
    )


def test_relay_is_off_the_list_after_another_without_a_change(
    sedan_model: Model,
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="headlamps-dead"))
    before = belief_in("headlamps-relay.", diagnosis)
    unchanged = diagnosis.unchanged()
    assert unchanged is not None
    diagnosis.tell(tried(Substitution(kind=SWAP, at="headlamps-relay"), unchanged))

    assert before > 0.02
    assert belief_in("headlamps-relay.", diagnosis) < 0.1 * before


def test_lead_over_the_relay_is_proposed_where_it_pays(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="fan-does-not-run"))

    found = {
        one.step.name: one
        for one in diagnosis.candidates()
        if isinstance(one.step, SubstitutionTest)
    }

    lead = found["bridge|fan-relay.30|fan-relay.87|symptom|fan-runs"]
    assert lead.pays
    assert lead.bits > 0.3


def test_exchange_with_a_like_relay_is_priced(sedan_model: Model) -> None:
    # By knowledge/effort.yaml and the car file: 3 min for the exchange, 1 to the
    # fender, then the look at the fan.
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="fan-does-not-run"))

    swap = next(
        one
        for one in diagnosis.candidates()
        if one.step.name == "swap|fan-relay|symptom|fan-runs"
    )

    look_at_fan = diagnosis.expect(SymptomCheck(symptom="fan-runs")).minutes
    assert swap.minutes == pytest.approx(look_at_fan + 3.0 + 1.0)


def test_loads_behind_a_blown_fuse_are_unplugged_in_turn(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="fan-does-not-run"))
    diagnosis.tell(look("fan-fuse", is_blown=True))

    names = [
        one.step.name
        for one in diagnosis.candidates()
        if isinstance(one.step, SubstitutionTest)
    ]

    assert "unplug|fan|look|key-off|fan-fuse|" in names


CONTROLLER_FUSE = "engine-controller-feed-fuse"
BEHIND_IT = (
    "engine-controller-feed-wire",
    "fuel-pump-relay-86-wire",
    "fan-relay-86-wire",
)
BARE_OHMS = Reading(
    kind=ReadingKind.OHMS,
    state="unplugged",
    red=f"{CONTROLLER_FUSE}.out",
    black="battery.minus",
)


# Three wires begin at one fuse: ohms to ground are the same whichever of them chafes.
def test_wires_behind_a_blown_fuse_are_taken_off_in_turn(sedan_model: Model) -> None:
    blown = look(CONTROLLER_FUSE, is_blown=True)
    short = ReadingFact(reading=BARE_OHMS, value=0.4)
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="fuse-blows-again"))
    diagnosis.tell(blown)

    answer = diagnosis.tell(short)

    assert {f"{wire}:short_to_ground" for wire in BEHIND_IT} == {
        cause.name for cause in answer.causes[:3]
    }
    taken_off = {
        step.step.substitution.at
        for step in answer.next_steps
        if isinstance(step.step, SubstitutionTest)
    }
    assert taken_off & set(BEHIND_IT)

    wire = BEHIND_IT[1]
    without = Substitution(kind=UNPLUG, at=wire)
    gone = tried(without, ReadingFact(reading=BARE_OHMS, value=2000.0))
    assert diagnosis.tell(gone).causes[0].name == f"{wire}:short_to_ground"


def test_a_wire_is_taken_off_at_both_ends(sedan_model: Model) -> None:
    test = SubstitutionTest(
        substitution=Substitution(kind=UNPLUG, at=BEHIND_IT[0]), look=BARE_OHMS
    )

    says = Diagnosis(sedan_model).expect(test).instruction

    assert f"Take {BEHIND_IT[0]} off at both ends" in says


def test_drawn_values_of_a_told_test_are_those_of_the_car(sedan_model: Model) -> None:
    # The sound car with a lead over its closed relay reads as without: the same car.
    # The controller closes it while it primes.
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state="priming", red="fuel-pump.plus",
        black="battery.minus",
    )  # fmt: skip
    test = SubstitutionTest(
        substitution=Substitution(
            kind=BRIDGE, at="fuel-pump-relay.30", to="fuel-pump-relay.87"
        ),
        look=reading,
    )
    compiled = sedan_model.compiled
    whole = compiled.readings.predicted(compiled.singles, reading, rows=np.array([0]))
    weigher = Reasoner(sedan_model).weigher

    shown, _ = weigher.shown_in_test(compiled.singles, test, rows=np.array([0]))

    # a lead of 30 mohm beside contacts of some 5 takes little of their drop
    assert shown[0, ::4] == pytest.approx(whole[0, ::4], abs=0.05)


# What is refused.


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        ("battery.plus", "battery.minus", "would short the battery"),
        ("battery.plus", "body.metal", "would short the battery"),
        ("battery.plus", "engine.block", "would short the battery"),
        ("fan.plus", "fan.minus", "would overload fan-fuse"),
        ("battery.plus", "battery.plus", "two different points"),
        ("battery.plus", "engine-controller.pump-output", "no lead at"),
        ("battery.minus", "fuel-pump-relay.85", "no lead at"),
        ("battery.plus", "ignition.plus", "no lead at"),
        ("battery.plus", "nowhere", "no test point"),
    ],
)
def test_lead_that_would_hurt_is_refused(
    sedan_model: Model, first: str, second: str, says: str
) -> None:
    diagnosis = Diagnosis(sedan_model)
    before = diagnosis.facts

    with pytest.raises(ReadingError, match=says):
        diagnosis.tell(sedan_lead(first, second, "engine-cranks", True))

    assert diagnosis.facts == before


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (Substitution(kind=SWAP, at="fan-wire"), "no part to swap"),
        (Substitution(kind=UNPLUG, at="battery"), "no part to unplug"),
        (Substitution(kind=SWAP, at="fan-rely"), 'nearest: "fan-relay"'),
    ],
)
def test_what_is_no_part_is_refused(
    sedan_model: Model, change: Substitution, says: str
) -> None:
    seen = SymptomFact(symptom="fan-runs", is_present=True)

    with pytest.raises(ReadingError, match=says):
        Diagnosis(sedan_model).tell(tried(change, seen))


def cautions_of(model: Model, step: str) -> set[str]:
    """Return the keys of the cautions that stand before a step."""
    by_words = {words: key for key, words in model.knowledge.cautions.items()}
    proposed = Diagnosis(model).expect(step_of_name(step))
    return {by_words[words] for words in proposed.cautions}


def test_lead_that_runs_the_pump_warns_of_fuel(sedan_model: Model) -> None:
    step = "bridge|fuel-pump-relay.30|fuel-pump-relay.87|symptom|pump-primes"

    assert {"fused-lead", "lead-runs-pump"} <= cautions_of(sedan_model, step)


def test_lead_that_cranks_warns_of_the_engine(sedan_model: Model) -> None:
    step = "bridge|battery.plus|starter-solenoid.86|symptom|engine-cranks"

    found = cautions_of(sedan_model, step)

    assert {"fused-lead", "lead-cranks", "cranking"} <= found


def test_cable_beside_the_strap_is_a_jump_lead(sedan_model: Model) -> None:
    step = "bridge|battery.minus|engine.block|symptom|engine-cranks"

    proposed = Diagnosis(sedan_model).expect(step_of_name(step))

    assert proposed.instruction.startswith("Jump lead between battery.minus and")
    assert {"jump-lead", "cranking"} <= cautions_of(sedan_model, step)


def test_exchange_of_a_pump_warns_of_fuel(sedan_model: Model) -> None:
    found = cautions_of(sedan_model, "swap|fuel-pump|symptom|pump-primes")

    assert {"swapping", "battery-disconnect", "fuel"} <= found


def test_a_point_that_is_shorted_is_freed_of_what_hangs_on_it(
    sedan_model: Model,
) -> None:
    tests = SubstitutionTests(sedan_model)
    shorted, sound = (
        ReadingFact(
            reading=Reading(
                kind=ReadingKind.OHMS,
                state="isolated",
                red="fan-fuse.out",
                black="battery.minus",
            ),
            value=value,
        )
        for value in (0.2, 2e3)
    )

    def offered(fact: ReadingFact, suspect: str) -> list[str]:
        found = tests.worth_pricing([Noted(0, fact, False)], {suspect: 0.4})
        assert all(one.look == fact.reading for one in found)
        return [one.substitution.at for one in found]

    wires = [
        part.assembly
        for part in sedan_model.car.parts
        if part.kind == "wire" and "fan-fuse.out" in part.terminals.values()
    ]
    # the one suspected most first; a point that is not shorted needs none
    assert offered(shorted, wires[0])[0] == wires[0]
    assert not offered(sound, wires[0])
