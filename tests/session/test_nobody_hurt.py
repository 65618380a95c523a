"""Every step that the sedan can propose, and every repair, has the cautions it needs.

The rules are those of the trade; the tests go over all readings, symptoms and causes.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.causes import Cause
from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.points.forbidden_points import electronic_points
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.measurement.symptoms import Symptom
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.seen import Noted
from diagnose.session.facts import (
    ComplaintFact,
    LimitFact,
    ReadingFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.substitution_tests import SubstitutionTests
from diagnose.session.substitution.safety import harm_of
from diagnose.session.words.cautions import (
    cautions_for,
    repair_cautions,
    symptom_cautions,
)
from diagnose.session.words.instructions import instruction
from diagnose.terminal.pages.cautions import caution_lines
from diagnose.terminal.preparation.car_files import open_car
from diagnose.terminal.preparation.prepared_car import prepared_model

# Roles whose work starts with the battery off.
BATTERY_OFF_ROLES = {
    "starter-solenoid", "starter", "alternator", "fuel-pump", "fan",
}  # fmt: skip

# Symptoms that are heard or seen, with nothing of the fuel system opened or touched.
LISTENED = (
    "something-at-key-on", "pump-primes", "pump-runs-while-cranking",
    "pump-runs-with-key-off",
)  # fmt: skip

# Where a drain is read in series.
DRAIN = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")


@pytest.fixture(scope="module")
def readings(sedan_model: Model) -> tuple[Reading, ...]:
    return proposable_readings(sedan_model.car)


def keys_of(cautions: tuple[str, ...], model: Model) -> tuple[str, ...]:
    """Return the keys of cautions, in their order."""
    by_words = {words: key for key, words in model.knowledge.cautions.items()}
    return tuple(by_words[words] for words in cautions)


def of_reading(reading: Reading, model: Model) -> tuple[str, ...]:
    return keys_of(cautions_for(reading, model.car, model.knowledge), model)


def of_repair(cause: Cause, model: Model) -> tuple[str, ...]:
    return keys_of(repair_cautions(cause, model.car, model.knowledge), model)


def asked(model: Model) -> Iterator[tuple[Symptom, tuple[str, ...]]]:
    """Yield every symptom and test that the car can be asked, with its cautions."""
    for name in (*model.compiled.symptom_names, *model.provocations):
        symptom, test = model.asked(name), model.provocations.get(name)
        place = model.car.places.get(test.place) if test is not None else None
        found = symptom_cautions(symptom, place, model.car, model.knowledge)
        yield symptom, keys_of(found, model)


def places_touched(reading: Reading, car: Car) -> set[str]:
    """Return the places of a reading's leads, or of what is clamped or looked at."""
    if not reading.black:
        return {car.part(reading.red).place}
    leads = {reading.red, reading.black} - {car.reference}
    return {car.test_points[node] for node in leads if node in car.test_points}


# Under the car or at the ignition: clipped on first, out from under, then crank.
def test_leads_are_on_and_hands_away_before_the_engine_turns(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    car, found = sedan_model.car, 0
    for reading in readings:
        state = car.state(reading.state)
        places = places_touched(reading, car)
        near = {car.places[p].caution for p in places if p in car.places}
        turns = state.is_cranking or state.engine_rpm > 0.0
        if reading.kind is ReadingKind.LOOK or not turns:
            continue
        if near & {"on-stands", "ignition"}:
            found += 1
            assert of_reading(reading, sedan_model)[0] == "clear-before-cranking"

    assert found > 10


def test_the_spark_is_tried_with_hands_away(sedan_model: Model) -> None:
    found = {symptom.name: keys for symptom, keys in asked(sedan_model)}

    assert found["spark-while-cranking"][0] == "clear-before-cranking"
    assert "cranking" in found["spark-while-cranking"]
    assert "cranking" in found["pump-runs-while-cranking"]


def test_everything_that_cranks_has_the_cranking_caution(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    cranked = [
        r for r in readings if r.state == "cranking" and r.kind is not ReadingKind.LOOK
    ]

    assert cranked
    assert all("cranking" in of_reading(r, sedan_model) for r in cranked)
    assert all(
        "cranking" in keys
        for symptom, keys in asked(sedan_model)
        if symptom.state == "cranking"
    )


# No bare probe, no lamp and no ohms at controllers and at the ignition module.
def test_electronics_are_read_from_behind_the_plug_only(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    electronic = electronic_points(sedan_model.car)
    at_them = [r for r in readings if {r.red, r.black} & electronic]

    assert at_them
    for reading in at_them:
        assert reading.kind is ReadingKind.DC_VOLTS
        assert "back-probing" in of_reading(reading, sedan_model)


def test_no_part_without_electronics_is_back_probed(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    electronic = electronic_points(sedan_model.car)

    assert not any(
        "back-probing" in of_reading(reading, sedan_model)
        for reading in readings
        if not {reading.red, reading.black} & electronic
    )


# Turning the key on may run the pump.
def test_key_on_warns_of_the_pump(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    taken = [
        r for r in readings if r.state == "key-on" and r.kind is not ReadingKind.LOOK
    ]

    assert all("pump-may-run" in of_reading(r, sedan_model) for r in taken)
    assert all(
        "pump-may-run" in keys
        for symptom, keys in asked(sedan_model)
        if symptom.state == "key-on"
    )


# Nothing overdone: no caution of opened fuel lines where one only listens.
def test_listening_has_no_caution_of_fuel_lines(sedan_model: Model) -> None:
    found = {symptom.name: keys for symptom, keys in asked(sedan_model)}

    for name in LISTENED:
        assert "fuel" not in found[name]


# Nothing overdone: with the battery off no fan can start.
def test_nothing_moves_with_the_battery_off(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    car = sedan_model.car
    off = [r for r in readings if not car.state(r.state).is_battery_connected]

    assert off
    assert not any("moving-parts" in of_reading(r, sedan_model) for r in off)
    for cause in sedan_model.compiled.causes:
        keys = of_repair(cause, sedan_model)
        assert not {"battery-disconnect", "moving-parts"} <= set(keys), cause.name


def test_the_battery_comes_off_before_solenoid_alternator_pump_and_fan(
    sedan_model: Model,
) -> None:
    car, seen = sedan_model.car, set()
    for cause in sedan_model.compiled.causes:
        roles = {p.role for p in car.parts if p.assembly == cause.part.assembly}
        if not roles & BATTERY_OFF_ROLES:
            continue
        seen |= roles & BATTERY_OFF_ROLES
        first = [
            key
            for key in of_repair(cause, sedan_model)
            if key not in {"overcharge", "starter-runs-on"}
        ]
        assert first[0] == "battery-disconnect", cause.name

    assert seen == BATTERY_OFF_ROLES


def test_work_at_pump_and_injectors_warns_of_fuel(sedan_model: Model) -> None:
    for cause in sedan_model.compiled.causes:
        if cause.part.role in {"fuel-pump", "injectors"}:
            assert "fuel" in of_repair(cause, sedan_model), cause.name


@pytest.mark.parametrize(
    ("cause", "first", "also"),
    [
        # gas and acid: the engine stops before anything else is done
        ("alternator:set_point_high", "overcharge", "battery-disconnect"),
        ("battery:discharged", "battery", "charging"),
        ("starter-solenoid.contacts:welded", "starter-runs-on", "battery-disconnect"),
        ("starter-solenoid.contacts:solenoid_burnt", "battery-disconnect", "solenoid"),
        ("engine:flooded", "plugs-out", "cranking"),
        ("engine:no_compression_or_timing", "clear-before-cranking", "cranking"),
    ],
)
def test_what_a_repair_needs_stands_before_it(
    sedan_model: Model, cause: str, first: str, also: str
) -> None:
    (found,) = (c for c in sedan_model.compiled.causes if c.name == cause)

    keys = of_repair(found, sedan_model)

    assert keys[0] == first
    assert also in keys


# What the words must say: the things that hurt most.
@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("overcharge", ("engine off", "gas", "no sparks")),
        ("charging", ("charger off", "frozen", "ventilate")),
        ("starter-runs-on", ("grounded clamp off",)),
        ("clear-before-cranking", ("clip", "hands and body", "out from under", "then")),
        ("back-probing", ("no bare probe", "engine stopped", "manual")),
        ("meter-in-series", ("grounded clamp off", "fused 10 a", "never crank")),
    ],
)
def test_cautions_say_what_hurts(
    sedan_model: Model, key: str, said: tuple[str, ...]
) -> None:
    words = sedan_model.knowledge.cautions[key].lower()

    for one in said:
        assert one in words


def test_the_meter_is_in_series_only_where_it_was_found_to_bear_it(
    sedan_model: Model, readings: tuple[Reading, ...]
) -> None:
    car = sedan_model.car

    assert not any(
        "in series" in instruction(reading, car, sedan_model.knowledge.procedures)
        for reading in readings
    )
    assert not any(
        "meter-in-series" in of_reading(reading, sedan_model) for reading in readings
    )


def test_what_is_said_every_time_is_never_shortened(sedan_model: Model) -> None:
    words = sedan_model.knowledge.cautions["clear-before-cranking"]

    (shown,) = caution_lines((words,), sedan_model.knowledge.caution_briefs)

    assert shown.text == words
    assert sedan_model.knowledge.is_said_every_time(words)


# One line is all that is read with probes in hand: it names what must be kept away.
@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("cranking", ("hands", "belts", "fan", "nobody")),
        ("moving-parts", ("hands", "sleeves", "leads", "belts", "fan")),
        ("hot-parts", ("skin", "leads", "exhaust")),
        ("fuel", ("leaks", "no flames", "no sparks")),
        ("battery", ("no sparks", "eyes", "bridge nothing")),
        ("ignition", ("hands off", "coil", "leads", "plugs")),
        ("on-stands", ("never a jack", "nobody under")),
        ("airbag", ("never measure", "clear of them")),
        ("wiggling", ("engine off", "hands clear", "fan", "belts", "airbags")),
        ("warming", ("no fuel vapour", "hands clear", "fan")),
        ("misting", ("clear of fan", "belts", "no water")),
        ("pump-may-run", ("no leaks", "no flames", "key off")),
        ("back-probing", ("volts only", "back", "hands off")),
        ("starter-runs-on", ("clamp off", "hands off belts")),
        ("meter-in-series", ("fused 10 a", "no cranking")),
    ],
)
def test_the_line_of_a_caution_says_where_hands_and_body_must_not_be(
    sedan_model: Model, key: str, said: tuple[str, ...]
) -> None:
    knowledge = sedan_model.knowledge
    line = knowledge.caution_briefs[knowledge.cautions[key]].lower()

    for one in said:
        assert one in line


def test_every_caution_has_one_line_or_is_said_in_full_every_time(
    sedan_model: Model,
) -> None:
    knowledge = sedan_model.knowledge

    for words in knowledge.cautions.values():
        assert (words in knowledge.caution_briefs) != knowledge.is_said_every_time(
            words
        )


# A dead horn, lamps or controller may be a short behind the battery; what one weighs at
# 1 % draws tens of amps through a stuck contact or a wire to ground.
def test_no_suspect_beside_a_meter_in_series_draws_more_than_it_bears(
    sedan_model: Model,
) -> None:
    diagnosis, offered = Diagnosis(sedan_model), 0
    untold = diagnosis.consider(())
    # every third: what is complained of in the same words is suspected of the same
    complaints = tuple(diagnosis.vocabulary.complaints)[:60:3]
    for complaint in complaints:
        diagnosis.take(untold)
        diagnosis.tell(ComplaintFact(complaint=complaint))
        step = diagnosis.expect(DRAIN)
        if "in series" not in step.instruction:
            continue
        offered += 1
        # SERIES_AMPS: the jack of usual meters is fused at 10 A
        assert all(value.high < 10.0 for value in step.expected), complaint

    assert 0 < offered < len(complaints)


# By hand: 0.5 A read at the battery leaves no cause that draws 10 A.
def test_the_meter_is_offered_in_series_once_the_amps_are_known_to_be_few(
    sedan_model: Model,
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="battery-goes-flat"))
    before = diagnosis.expect(DRAIN)
    diagnosis.tell(ReadingFact(reading=DRAIN, value=0.5))

    after = diagnosis.expect(DRAIN)

    series = sedan_model.knowledge.cautions["meter-in-series"]
    assert "in series" not in before.instruction
    assert series not in before.cautions
    assert "grounded clamp off first" in after.instruction
    assert series in after.cautions


def test_without_a_clamp_no_amps_are_proposed_that_the_meter_may_not_bear(
    sedan_model: Model,
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(LimitFact(limit="clamp", is_lacking=True))
    answer = diagnosis.tell(ComplaintFact(complaint="battery-goes-flat"))

    assert "in series" not in diagnosis.expect(DRAIN).instruction
    assert all(step.step != DRAIN for step in answer.next_steps)


# The other post is the grounded one there: a lead from the fed post to metal burns.
def test_no_lead_that_a_car_with_positive_ground_is_offered_does_harm(
    knowledge: Knowledge,
) -> None:
    model = prepared_model(open_car("roadster", knowledge), knowledge)
    tests = SubstitutionTests(model)
    leads = {
        test.substitution
        for symptom in model.compiled.symptom_names
        for is_present in (True, False)
        for test in tests.worth_pricing(
            [Noted(0, SymptomFact(symptom=symptom, is_present=is_present), False)], {}
        )
        if test.substitution.kind is SubstitutionKind.BRIDGE
    }

    harms = {
        harm_of(lead, effects, model.car)
        for lead in leads
        if (effects := model.substituted.effects(lead)) is not None
    }

    assert any("engine" in lead.to for lead in leads)
    assert harms == {""}
