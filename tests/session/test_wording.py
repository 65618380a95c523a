"""How to take a reading, in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.causes import Cause
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.words.cautions import cautions_for, repair_cautions
from diagnose.session.words.instructions import instruction
from diagnose.session.words.wording import observation_words, range_words, step_words
from diagnose.terminal.preparation.car_files import published_knowledge

PROCEDURES = published_knowledge().procedures
TOURER = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"


@pytest.fixture(scope="module")
def tourer(knowledge: Knowledge) -> Car:
    return load_car(TOURER, knowledge)


def words(car: Car, red: str, state: str, *, black: str = "battery.minus") -> str:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)
    return instruction(reading, car, PROCEDURES)


def test_a_repair_has_the_cautions_of_the_places_it_leads_to(
    tourer: Car, knowledge: Knowledge
) -> None:
    # The wire runs from the bay to the pump at the tank.
    tank = replace(tourer.places["tank"], caution="fuel")
    car = replace(tourer, places={**tourer.places, "tank": tank})
    wire = car.part("fuel-pump-wire")
    mode = next(
        m for m in knowledge.modes if (m.kind, m.name) == ("wire", "open_circuit")
    )
    cause = Cause(name="", part=wire, mode=mode, says="", repair="")

    found = repair_cautions(cause, car, knowledge)

    assert found == tuple(
        knowledge.cautions[key] for key in ("battery-disconnect", "fuel")
    )


# Rule of the trade: headlamps on for two minutes take the surface charge off.
def test_a_resting_battery_is_freed_of_its_surface_charge_first(tourer: Car) -> None:
    assert "headlamps on for two minutes first" in words(
        tourer, "battery.plus", "key-off"
    )


@pytest.mark.parametrize(
    ("red", "state"),
    [("battery.plus", "idle"), ("junction.splice", "key-off")],
)
def test_elsewhere_surface_charge_does_not_matter(
    red: str, state: str, tourer: Car
) -> None:
    assert "two minutes" not in words(tourer, red, state)


def test_a_positive_ground_car_is_read_with_its_sign(tourer: Car) -> None:
    positive = replace(tourer, reference="battery.plus")

    assert "type the minus sign" in words(
        positive, "battery.minus", "key-on", black="battery.plus"
    )
    assert "minus sign" not in words(tourer, "battery.plus", "key-on")


def test_amps_with_the_key_off_may_be_read_in_series(tourer: Car) -> None:
    drain = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")

    assert (
        "Or, under 10 A, a meter in series: battery's grounded clamp off first, then "
        "the meter between the battery's grounded post and its clamp, red lead in its "
        "fused 10 A jack, under 0.2 A then in its jack for milliamps; key off all the "
        "while, never to crank."
    ) in instruction(drain, tourer, PROCEDURES, in_series=True)
    assert "series" not in instruction(drain, tourer, PROCEDURES)


def test_amps_are_told_where_and_less_than_a_meter_shows_is_nothing(
    tourer: Car,
) -> None:
    reading = Reading(
        kind=ReadingKind.AMPS, state="key-off", red="battery", black="battery"
    )

    told = observation_words(ReadingFact(reading=reading, value=0.6), tourer)

    assert told == "0.6 A at battery, key-off"
    assert step_words(reading, tourer) == "amps at battery, key-off"
    assert range_words(2e-6, 3e-6, ReadingKind.AMPS) == "0 A"
    assert range_words(2e-6, 0.02, ReadingKind.AMPS) == "0 to 20 mA"


def test_amps_while_cranking_are_read_with_a_clamp_only(tourer: Car) -> None:
    start = Reading(kind=ReadingKind.AMPS, state="cranking", red="battery", black="")

    assert "series" not in instruction(start, tourer, PROCEDURES)


def test_ripple_is_read_on_ac_volts(tourer: Car) -> None:
    reading = Reading(
        kind=ReadingKind.AC_VOLTS,
        state="idle",
        red="battery.plus",
        black="battery.minus",
    )

    assert instruction(reading, tourer, PROCEDURES).startswith(
        "Meter on AC volts, lowest range. Red lead on battery.plus, black on "
        "battery.minus."
    )


def test_bolted_fuse_is_looked_at_with_the_battery_off(sedan_model: Model) -> None:
    car, knowledge = sedan_model.car, sedan_model.knowledge
    look = Reading(kind=ReadingKind.LOOK, state="key-off", red="charge-fuse", black="")

    found = cautions_for(look, car, knowledge)

    assert knowledge.cautions["battery-disconnect"] in found
