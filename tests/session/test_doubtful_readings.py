"""Readings that are hardly meant as typed are asked about, all others are taken."""

from __future__ import annotations

import math

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact, SymptomFact
from diagnose.session.ready_car import Model


@pytest.fixture(scope="module")
def diagnosis(sedan_model: Model) -> Diagnosis:
    """Return one in which the battery was read with the key off."""
    begun = Diagnosis(sedan_model)
    begun.tell(ComplaintFact(complaint="fan-does-not-run"))
    begun.tell(volts("battery.plus", 12.5, state="key-off"))
    return begun


def volts(red: str, value: float, *, state: str = "key-on") -> ReadingFact:
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state=state, red=red, black="battery.minus"
    )
    return ReadingFact(reading=reading, value=value, rounded_to=0.1)


# What sound cars and burnt joints give is never asked about.
@pytest.mark.parametrize("value", [12.4, 12.0, 0.0, 0.01, 6.0, 10.5])
def test_what_some_fault_gives_is_taken(diagnosis: Diagnosis, value: float) -> None:
    assert diagnosis.doubt(volts("fan-relay.30", value)) is None


@pytest.mark.parametrize(
    ("typed", "meant", "because"),
    [
        (-12.4, 12.4, "leads swapped"),
        (1.24, 12.4, "the point one place off"),
    ],
)
def test_a_slip_of_sign_or_point_is_asked_about(
    diagnosis: Diagnosis, typed: float, meant: float, because: str
) -> None:
    doubt = diagnosis.doubt(volts("battery.plus", typed))

    assert doubt is not None
    assert doubt.meant is not None
    assert doubt.meant.value == pytest.approx(meant)
    assert because in doubt.because


# A starter that turns, however slowly, is fed; with the key off it is not.
def test_a_reading_that_the_state_before_gives_is_asked_about(
    sedan_model: Model,
) -> None:
    begun = Diagnosis(sedan_model)
    begun.tell(ComplaintFact(complaint="cranks-slowly"))
    begun.tell(SymptomFact(symptom="engine-cranks", is_present=True))
    begun.tell(volts("battery.plus", 12.6, state="key-off"))

    doubt = begun.doubt(volts("starter.plus", 0.0, state="cranking"))
    assert doubt is not None
    assert doubt.meant is not None
    assert doubt.meant.reading.state == "key-off"
    assert "the car as before: key off" in doubt.because


def test_what_nothing_gives_is_asked_about(diagnosis: Diagnosis) -> None:
    # a 12 V car: nothing on it gives 19 V, nor a tenth or ten times of it
    doubt = diagnosis.doubt(volts("fan-relay.30", 19.0))

    assert doubt is not None
    assert doubt.meant is None


def test_what_is_told_before_anything_else_is_taken(sedan_model: Model) -> None:
    assert Diagnosis(sedan_model).doubt(volts("battery.plus", -12.4)) is None


def test_over_range_is_as_good_as_any_high_resistance(diagnosis: Diagnosis) -> None:
    reading = Reading(
        kind=ReadingKind.OHMS, state="isolated", red="fan.plus", black="fan.minus"
    )
    fact = ReadingFact(reading=reading, value=math.inf)

    assert diagnosis.doubt(fact) is None
