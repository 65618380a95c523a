"""Why a reading tells nothing, said when it is asked for."""

from __future__ import annotations

import pytest

from diagnose.measurement.steps import step_of_name
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, LimitFact, SymptomFact
from diagnose.session.ready_car import Model

PUMP = "fuel-pump.plus|fuel-pump.minus"


@pytest.fixture(scope="module")
def dead_pump(model: Model) -> Diagnosis:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    return diagnosis


def reason(diagnosis: Diagnosis, step: str) -> str:
    return diagnosis.expect(step_of_name(step)).reason


def test_volts_at_a_pump_switched_off_tell_nothing(dead_pump: Diagnosis) -> None:
    assert reason(dead_pump, f"volts|key-off|{PUMP}") == (
        "no current flows at fuel-pump in this state: neither a break nor a bad joint "
        "would show; they would in: key-on"
    )


def test_volts_without_current_show_a_break_only(model: Model) -> None:
    # of a car that may not crank either
    dead = Diagnosis(model)
    dead.tell(SymptomFact(symptom="pump-primes", is_present=False))

    found = reason(dead, "volts|key-off|fuel-pump-fuse.out|battery.minus")

    assert found.startswith(
        "no current flows at fuel-pump-fuse.out in this state: a break would show, but "
        "a bad joint would not"
    )


def test_volts_at_a_pump_that_should_run_are_just_asked_for(
    dead_pump: Diagnosis,
) -> None:
    assert reason(dead_pump, f"volts|key-on|{PUMP}") == "asked for"


def test_state_that_the_car_does_not_reach_is_said(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="no-crank"))

    found = reason(diagnosis, f"volts|idle|{PUMP}")
    assert found == "with what is suspected the car hardly gets into this state"


def test_what_the_owner_lacks_is_said(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    diagnosis.tell(LimitFact(limit="clamp", is_lacking=True))

    found = reason(diagnosis, "amps|key-on|fuel-pump-fuse|")
    assert found == "you can't take it: no clamp meter, amps can't be read"
