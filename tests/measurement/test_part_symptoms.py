"""What is made for every part of a car: its complaints, and what tests them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.measurement.of_parts.load_symptoms import (
    AT_ONCE,
    WEAK_VOLTS,
    how_weak,
)
from diagnose.measurement.of_parts.part_claims import DEAD_VOLTS, key_for
from diagnose.measurement.of_parts.part_complaints import ASPECTS, told_complaint
from diagnose.measurement.of_parts.sound_work import SoundWork, sound_work
from diagnose.measurement.quantities import Observed, Probe, claims_of
from diagnose.measurement.symptom_chances import symptom_probability
from diagnose.measurement.symptoms import Quantity

CARS = Path(__file__).resolve().parent.parent / "cars"

FILES: Mapping[str, Path] = {
    **{name: Path(str(path)) for name, path in shipped_cars().items()},
    **{path.stem: path for path in sorted(CARS.glob("*.yaml"))},
}


@pytest.fixture(scope="module", params=FILES)
def car(request: pytest.FixtureRequest, knowledge: Knowledge) -> Car:
    return load_car(FILES[request.param], knowledge)


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(FILES["sedan"], knowledge)


@pytest.fixture(scope="module")
def car_knowledge(car: Car, knowledge: Knowledge) -> Knowledge:
    return knowledge.for_car(car)


@pytest.fixture(scope="module")
def car_work(car: Car) -> SoundWork:
    return sound_work(car)


@pytest.fixture(scope="module")
def sedan_knowledge(sedan: Car, knowledge: Knowledge) -> Knowledge:
    return knowledge.for_car(sedan)


@pytest.fixture(scope="module")
def work(sedan: Car) -> SoundWork:
    return sound_work(sedan)


def endings_of(part: str, car: Car, knowledge: Knowledge) -> set[str]:
    """Return what can be complained of a part, by what the names end with."""
    found = set()
    for complaint in knowledge.complaints.values():
        if complaint.part == part:
            listed = set(complaint.stands_for)
            own = complaint.name.removeprefix(f"{key_for(car.part(part))}-")
            found |= listed or {own}
    return found


def test_every_load_has_its_complaints(
    car: Car, car_knowledge: Knowledge, car_work: SoundWork
) -> None:
    for load in car_work.loads.values():
        endings = endings_of(load.part.name, car, car_knowledge)
        wanted = {"dead", how_weak(load.part), "cuts-out"}
        wanted |= {"stays-on"} if load.off_in else set()
        if load.fuse is not None and load.fuse.kind != "breaker":
            wanted |= {"blows-fuse-at-once", "blows-fuse-later"}

        assert wanted <= endings, load.part.name


def test_every_controller_and_relay_has_its_complaints(
    car: Car, car_knowledge: Knowledge, car_work: SoundWork
) -> None:
    for name in car_work.controllers:
        assert {"down", "resets", "cuts-out"} <= endings_of(name, car, car_knowledge)
    for relay in car_work.relays:
        endings = endings_of(relay.contacts.name, car, car_knowledge)
        assert {"silent", "buzzes"} <= endings
        if relay.loads or relay.controllers:
            assert "clicks-for-nothing" in endings


def test_every_load_that_takes_current_is_among_them(work: SoundWork) -> None:
    # All circuits of the car with a load; the controller's memory takes 5 mA.
    assert set(work.loads) == {
        *("fuel-pump", "fan", "headlamps", "ignition", "injectors", "lockup-solenoid"),
        *("tail-lamps", "dash-lamps", "brake-lamps", "horn", "instruments"),
        *("charge-lamp", "wipers", "blower", "radio"),
    }


def test_a_part_is_looked_at_with_the_engine_off_where_it_can_be(
    sedan: Car, work: SoundWork
) -> None:
    running = {
        name
        for name, load in work.loads.items()
        if sedan.state(load.state).is_engine_turning
    }

    # Of the car file: the fan's and the lockup's outputs are on with a running engine
    # only, ignition and injectors draw while it turns.
    assert running == {"fan", "ignition", "injectors", "lockup-solenoid"}


def test_a_load_hangs_on_the_fuse_before_it(work: SoundWork) -> None:
    fuses = {name: load.fuse and load.fuse.name for name, load in work.loads.items()}

    # By the circuits of the car file.
    assert fuses["dash-lamps"] == "tail-lamps-fuse"
    assert fuses["charge-lamp"] == "instruments-fuse"
    assert fuses["lockup-solenoid"] == "transmission-controller-feed-fuse"
    assert fuses["brake-lamps"] == "brake-feed-fuse"
    assert fuses["fan"] == "fan-fuse"
    assert fuses["wipers"] == "wiper-feed-fuse"


def test_what_is_in_line_with_a_load_carries_its_current(
    car: Car, car_work: SoundWork
) -> None:
    # past the open contact of a bypass the way leads to another circuit, and the volts
    # across that contact would count as heat
    open_at_idle = {
        part.name
        for part in car.parts
        if part.kind == "switch-contact" and "bypass" in part.name
    }
    for load in car_work.loads.values():
        if load.state != "cranking":
            assert not open_at_idle & set(load.line), load.part.name


def test_a_listed_complaint_leaves_none_beside_it(
    sedan_knowledge: Knowledge,
) -> None:
    known = sedan_knowledge

    assert known.complaints["headlamps-dead"].retest == "headlamps-shine"
    assert known.complaints["fan-does-not-run"].part == "fan"
    assert "fan-dead" not in known.complaints
    assert "wipers-slow" in known.complaints


def test_two_lamps_in_one_role_have_their_own_complaints(
    sedan: Car, knowledge: Knowledge
) -> None:
    parts = tuple(
        replace(part, role="headlamps") if part.name == "dash-lamps" else part
        for part in sedan.parts
    )
    known = knowledge.for_car(replace(sedan, parts=parts))

    # the listed one says it of both together, and of neither alone
    assert known.complaints["headlamps-dead"].part == ""
    assert known.complaints["dash-lamps-dead"].retest == "dash-lamps-works"


def test_a_complaint_is_understood_by_its_name(
    knowledge: Knowledge, sedan_knowledge: Knowledge
) -> None:
    for complaint in sedan_knowledge.complaints.values():
        told = told_complaint(complaint.name, knowledge.complaints)

        assert told is not None
        assert told.retest == complaint.retest
        assert told.cured_answer is complaint.cured_answer


def test_a_new_fuse_is_put_in_with_its_caution(sedan_knowledge: Knowledge) -> None:
    symptoms = sedan_knowledge.symptoms

    for name in ("fan-fuse-blows-at-once", "fan-fuse-blows-later", "fan-gets-hot"):
        assert symptoms[name].caution == "fuse-rating"


def test_every_ending_says_something_of_its_own() -> None:
    symptoms = [aspect.symptom for aspect in ASPECTS.values()]

    assert len(set(symptoms)) == len(symptoms)


def test_over_sixty_symptoms_are_tied_to_the_circuit(
    car_knowledge: Knowledge,
) -> None:
    symptoms = car_knowledge.symptoms
    tied = [
        name
        for name, one in symptoms.items()
        if any(
            claim.quantity is not Quantity.MECHANICAL
            for claim in claims_of(one.when, symptoms)
        )
    ]

    assert len(tied) >= 60


def seen_at(
    volts: Mapping[str, float], probes: Mapping[tuple[str, bool], float]
) -> Observed:
    """Return one car whose nodes and parts are the same in every state."""

    def probe(wanted: Probe) -> FloatArray:
        return np.array([[probes.get((wanted.branch, wanted.is_current), 0.0)]])

    def at(state: str, node: str) -> FloatArray:
        del state
        return np.array([[volts.get(node, 0.0)]])

    def behind(state: str, node: str) -> FloatArray:
        return at(state, f"{node} ohms")

    def good(name: str, part: str) -> FloatArray:
        del name, part
        return np.array([[1.0]])

    return Observed(volts=at, probe=probe, mechanical=good, ohms=behind)


def chance(name: str, seen: Observed, car: Car, known: Knowledge) -> float:
    symptoms = known.symptoms
    found = symptom_probability(symptoms[name], symptoms=symptoms, car=car, seen=seen)
    return float(found[0, 0])


@pytest.mark.parametrize(
    ("share", "works", "is_slow"),
    [(1.0, True, False), (0.65, True, True), (0.35, False, False)],
)
def test_a_motor_is_slow_between_half_and_three_quarters_of_its_volts(
    share: float,
    works: bool,
    is_slow: bool,
    *,
    sedan: Car,
    work: SoundWork,
    sedan_knowledge: Knowledge,
) -> None:
    wipers = work.loads["wipers"]
    seen = seen_at(
        {"wipers.plus": share * wipers.volts}, {("wipers", True): share * wipers.amps}
    )

    # By hand: half its volts is dead, three quarters is slow.
    assert DEAD_VOLTS < 0.65 < WEAK_VOLTS
    assert (chance("wipers-works", seen, sedan, sedan_knowledge) > 0.9) is works
    assert (chance("wipers-is-slow", seen, sedan, sedan_knowledge) > 0.9) is is_slow


# By hand: the brake lamps' fuse of 15 A has 12 V across it when it is open; .1 ohm
# behind it would take 120 A, eight times its rating, .6 ohm 20 A, 1.33 times, and 2 ohm
# 6 A.
@pytest.mark.parametrize(
    ("ohms", "blows"), [(0.1, "at-once"), (0.6, "later"), (2.0, "")]
)
def test_a_fuse_blows_at_once_by_a_short_and_later_by_an_overload(
    ohms: float, blows: str, *, sedan: Car, sedan_knowledge: Knowledge
) -> None:
    ends = {"old-fuse-box.battery": 12.0, "brake-feed-fuse.out ohms": ohms}
    seen = seen_at(ends, {})
    found = {
        how: chance(f"brake-lamps-fuse-blows-{how}", seen, sedan, sedan_knowledge)
        for how in ("at-once", "later")
    }

    rating = sedan.part("brake-feed-fuse").values["rating_amps"]
    assert rating.distribution.nominal == 15.0
    assert 20.0 / 15.0 < AT_ONCE < 120.0 / 15.0
    assert {how for how, one in found.items() if one > 0.9} == ({blows} - {""})


def test_a_battery_beside_the_cars_own_can_be_complained_of(
    car: Car, car_knowledge: Knowledge, car_work: SoundWork
) -> None:
    # two in series are one battery
    further = [
        part.name
        for part in car.parts
        if part.kind == "battery" and car.battery is not None
        if part.name not in (car.battery.name, *car.battery.members)
    ]

    assert list(car_work.charged) == further
    for name in further:
        assert endings_of(name, car, car_knowledge) == {"not-charged"}
        assert car.state(car_work.charged[name]).is_engine_running


def test_a_car_without_a_fan_is_not_asked_about_one(knowledge: Knowledge) -> None:
    with_fan = knowledge.for_car(load_car(FILES["sedan"], knowledge))
    without = knowledge.for_car(load_car(FILES["roadster"], knowledge))

    name = "stalls-when-fan-cuts-in"
    assert with_fan.complaints[name].says.endswith("when the fan cuts in")
    assert without.complaints[name].says.endswith("when lamps and other loads are on")
    offered = [
        one
        for one in without.complaints.values()
        if not one.stands_for and not one.part
    ]
    assert not any(re.search(r"\bfan\b", one.says) for one in offered)


# Across its posts: a battery alone has 12.6 V, one on charge 13.7 V and more.
@pytest.mark.parametrize(("volts", "is_charged"), [(12.6, False), (13.7, True)])
def test_a_further_battery_is_charged_by_its_own_volts(
    volts: float, is_charged: bool, knowledge: Knowledge
) -> None:
    van = load_car(FILES["van"], knowledge)
    plus = van.part("second-battery").terminals["plus"]
    known = knowledge.for_car(van)

    found = chance("second-battery-is-charged", seen_at({plus: volts}, {}), van, known)

    assert (found > 0.9) is is_charged
    complaint = known.complaints["second-battery-not-charged"]
    assert complaint.answers["second-battery-is-charged"] is False
