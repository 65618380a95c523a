"""A step line by line: where, which lead on what, what the car does, what to mind."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import StepCard
from diagnose.session.words.instructions import part_words
from diagnose.session.words.step_cards import reading_card
from diagnose.terminal.preparation.car_files import published_knowledge

TOURER = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"


PROCEDURES = published_knowledge().procedures


@pytest.fixture(scope="module")
def tourer(knowledge: Knowledge) -> Car:
    return load_car(TOURER, knowledge)


def lines(card: StepCard) -> dict[str, str]:
    return {line.name: line.text for line in card.lines}


def of_volts(car: Car, red: str, black: str = "battery.minus") -> StepCard:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state="key-on", red=red, black=black)
    return reading_card(reading, car, PROCEDURES)


def test_volts_say_place_leads_and_what_the_car_does(tourer: Car) -> None:
    card = of_volts(tourer, "fuel-pump.plus")

    assert card.act == "DC volts"
    assert list(lines(card)) == ["place", "red", "black", "car"]
    assert lines(card)["place"] == tourer.test_points["fuel-pump.plus"]
    assert lines(card)["red"] == "fuel-pump.plus"
    assert lines(card)["car"] == tourer.state("key-on").label


def test_the_colour_and_the_note_of_a_wire_stand_with_its_lead(tourer: Car) -> None:
    wire = tourer.part("fuel-pump-wire")
    parts = tuple(
        replace(one, colour="red/white", note="behind the tank strap")
        if one == wire
        else one
        for one in tourer.parts
    )
    card = of_volts(replace(tourer, parts=parts), "fuel-pump.plus")

    assert lines(card)["red"] == "fuel-pump.plus (red/white)"
    assert lines(card)["note"] == "behind the tank strap"


def test_a_fuse_is_looked_at_with_the_key_off(tourer: Car) -> None:
    reading = Reading(
        kind=ReadingKind.LOOK, state="key-off", red="fuel-pump-fuse", black=""
    )
    card = reading_card(reading, tourer, PROCEDURES)

    assert card.act == "blown or sound?"
    assert lines(card)["car"] == "key off"
    assert "fuel-pump-fuse" in lines(card)["fuse"]


def test_ohms_are_never_read_on_a_post(tourer: Car) -> None:
    reading = Reading(
        kind=ReadingKind.OHMS,
        state="isolated",
        red="fuel-pump.minus",
        black=tourer.reference,
    )

    assert (
        "never the battery's own post"
        in lines(reading_card(reading, tourer, PROCEDURES))["black"]
    )


def test_a_state_that_lasts_seconds_says_how_it_is_read(tourer: Car) -> None:
    state = next(one for one in tourer.states if one.name == "idle-loaded")
    reading = Reading(
        kind=ReadingKind.DC_VOLTS,
        state=state.name,
        red="fan.plus",
        black="battery.minus",
    )
    card = reading_card(reading, tourer, PROCEDURES)

    assert lines(card)["car"] == "idling, light-switch at head; fan on"
    assert lines(card)["how"] == state.how
    assert state.how.startswith("fan: let the engine get hot")


def test_a_test_lamp_is_clipped_to_the_battery_and_its_tip_goes_elsewhere(
    tourer: Car,
) -> None:
    def ends(red: str, black: str) -> tuple[str, str]:
        reading = Reading(kind=ReadingKind.LAMP, state="key-off", red=red, black=black)
        found = lines(reading_card(reading, tourer, PROCEDURES))
        return found["clip"], found["tip"]

    # the spark is where the tip touches: not at the battery's gas
    assert ends("battery.plus", "fan.minus") == ("battery.plus", "fan.minus")
    assert ends("fan.plus", "battery.minus") == ("battery.minus", "fan.plus")


def test_a_clamp_says_what_it_goes_round(tourer: Car) -> None:
    def clamped(name: str) -> str:
        reading = Reading(kind=ReadingKind.AMPS, state="key-off", red=name, black="")
        return lines(reading_card(reading, tourer, PROCEDURES))["clamp"]

    assert clamped("battery") == "round all the cables on one post of battery together"
    assert clamped("fan-fuse") == "round one of the two wires of fan-fuse"


def test_what_must_draw_is_not_said_across_open_contacts(tourer: Car) -> None:
    reading = Reading(
        kind=ReadingKind.DC_VOLTS,
        state="key-on",
        red="fuel-pump-relay.30",
        black="fuel-pump-relay.87",
    )
    drop, gap = (
        reading_card(reading, tourer, PROCEDURES, is_drop=is_drop)
        for is_drop in (True, False)
    )

    assert "must be on and drawing" in lines(drop)["mind"]
    assert "mind" not in lines(gap)


def test_a_wire_is_found_by_its_ends(tourer: Car) -> None:
    words = part_words(tourer.part("fuel-pump-wire"), tourer)

    assert words.startswith("between ")
    for node in tourer.part("fuel-pump-wire").terminals.values():
        assert node in words
