"""Each reading follows a procedure of knowledge/, whose words stand on the page."""

from __future__ import annotations

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.procedures import (
    OF_PROVOCATIONS,
    OF_READINGS,
    OF_TESTS,
    procedure_name,
)
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.ready_car import Model
from diagnose.session.words.step_cards import reading_card


def volts(state: str, red: str, black: str = "battery.minus") -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)


def amps(state: str) -> Reading:
    return Reading(kind=ReadingKind.AMPS, state=state, red="battery", black="")


@pytest.mark.parametrize(
    ("reading", "name"),
    [
        (volts("key-off", "battery.plus"), "rest-volts"),
        (volts("cranking", "battery.plus"), "cranking-volts"),
        (volts("fast-idle", "battery.plus"), "charging-volts"),
        (volts("key-on", "fuel-pump.plus"), "volts"),
        (volts("cranking", "engine.block"), "ground-drop"),
        (volts("idle", "fuel-pump-relay.30", "fuel-pump-relay.87"), "drop-under-load"),
        (volts("cranking", "battery.plus", "starter.plus"), "drop-while-cranking"),
        (
            Reading(
                kind=ReadingKind.OHMS,
                state="unplugged",
                red="fan-relay.86",
                black="fan-relay.85",
            ),
            "coil-ohms",
        ),
        (amps("key-off"), "drain"),
        (amps("idle"), "amps"),
    ],
    ids=lambda value: value if isinstance(value, str) else value.name,
)
def test_reading_follows_the_procedure_of_its_points_and_state(
    reading: Reading, name: str, sedan_model: Model
) -> None:
    assert procedure_name(reading, sedan_model.car) == name


def test_every_reading_that_may_be_proposed_has_a_procedure(
    sedan_model: Model, knowledge: Knowledge
) -> None:
    car = sedan_model.car
    followed = {procedure_name(one, car) for one in proposable_readings(car)}

    assert followed <= set(knowledge.procedures)
    # All but what is offered beside a drain, and what is told without being asked for.
    assert set(OF_READINGS) - followed <= {"drain-in-series", "coil-ohms", "amps"}


def test_knowledge_has_the_procedures_that_are_followed_and_no_others(
    knowledge: Knowledge,
) -> None:
    wanted = {*OF_READINGS, *OF_TESTS, *OF_PROVOCATIONS}

    assert set(knowledge.procedures) == wanted
    assert all(one.spoils and one.lasts for one in knowledge.procedures.values())


def test_page_says_what_must_draw_while_a_drop_is_read(
    sedan_model: Model, knowledge: Knowledge
) -> None:
    reading = volts("idle", "fuel-pump-relay.30", "fuel-pump-relay.87")
    card = reading_card(reading, sedan_model.car, knowledge.procedures)

    minded = [line.text for line in card.lines if line.name == "mind"]
    assert minded == [knowledge.procedures["drop-under-load"].car]


def test_procedure_is_told_in_full_with_its_caution_first(knowledge: Knowledge) -> None:
    told = knowledge.terms["drain in series"]

    assert told.startswith(knowledge.cautions["meter-in-series"])
    assert "jack for milliamps" in told
    assert knowledge.procedures["drain-in-series"].spoils in told


def test_term_that_is_a_procedure_too_says_what_it_is_first(
    knowledge: Knowledge, sedan_model: Model
) -> None:
    car: Car = sedan_model.car
    name = procedure_name(amps("key-off"), car)

    assert knowledge.terms[name].index("amps") >= 0
    assert knowledge.procedures[name].spoils in knowledge.terms[name]
