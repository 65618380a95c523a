"""What the simulated owner says, and what he complains of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.measurement.steps import step_of_name
from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.complaints import complaints_of, further_complaints
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import _mend, _ranks, told

EXACT = Errors(slip_probability=0.0, has_meter_error=False, has_report_error=False)
DEAD_PUMP = "fuel-pump-fuse:blown"
WEAK_BATTERY = "battery:shorted_cell"
FLAT_BATTERY = "battery:discharged"


def hidden(model: Model, *names: str) -> HiddenCar:
    causes = [cause.name for cause in model.compiled.causes]
    faults = tuple(sorted(causes.index(name) for name in names))
    return HiddenCar(
        HiddenCars(model, n_cars=1, seed=1), 0, faults, errors=EXACT, seed=1
    )


def test_owner_of_a_car_that_does_not_run_says_so(model: Model) -> None:
    step = Diagnosis(model).expect(
        step_of_name("volts|idle|fuel-pump.plus|battery.minus")
    )

    assert told(step, hidden(model, DEAD_PUMP)) == SymptomFact(
        symptom="runs-at-idle", is_present=False
    )
    assert isinstance(told(step, hidden(model)), ReadingFact)


def test_each_of_two_faults_brings_a_complaint(model: Model) -> None:
    car = hidden(model, DEAD_PUMP, FLAT_BATTERY)

    further = further_complaints(car, model, "pump-does-not-run")

    # Alone the blown fuse leaves the cranking as it is, and the flat battery the pump.
    assert further is not None
    of_battery = complaints_of(hidden(model, FLAT_BATTERY), model)
    assert len(further) == 1
    assert set(further) <= set(of_battery)
    assert "pump-does-not-run" not in of_battery


def test_fault_that_shows_nothing_is_no_second_fault(model: Model) -> None:
    # Twenty ohm or more to ground behind a blown fuse: nothing flows, nothing is seen.
    car = hidden(model, DEAD_PUMP, "fuel-pump-wire:leak_to_ground")

    assert further_complaints(car, model, "pump-does-not-run") is None


def test_breaker_that_cycles_shows_two_values(model: Model) -> None:
    car = hidden(model)
    car._stock.with_faults(()).prediction.is_settled[:] = np.float32(0.7)
    step = Diagnosis(model).expect(
        step_of_name("volts|key-off|battery.plus|battery.minus")
    )

    found = [told(step, car) for _ in range(400)]

    shown = [fact.value for fact in found if isinstance(fact, ReadingFact)]
    usual = np.median(shown)
    share = np.mean([abs(value - usual) < 1e-9 for value in shown])
    assert share == pytest.approx(0.7, abs=0.07)  # three standard deviations
    assert min(shown) < 1.0


def verdicts(model: Model, *facts: Fact) -> list[Verdict]:
    diagnosis = Diagnosis(model)
    return [diagnosis.tell(fact).advice.verdict for fact in facts]


def test_case_is_closed_when_every_complaint_is_gone(model: Model) -> None:
    pump = SymptomFact(symptom="pump-primes", is_present=True)
    flat = SymptomFact(symptom="battery-goes-flat", is_present=False)
    found = verdicts(
        model,
        ComplaintFact(complaint="battery-goes-flat"),
        ComplaintFact(complaint="pump-does-not-run"),
        RepairFact(cause=DEAD_PUMP),
        pump,
        RepairFact(cause=WEAK_BATTERY),
        flat,
    )

    assert found[3] is not Verdict.FIXED
    assert found[5] is Verdict.FIXED


def test_what_jumps_on_a_positive_ground_car_shows_negative_volts(
    model: Model,
) -> None:
    car = hidden(model)

    caught = [car._caught() for _ in range(50)]
    turned = replace(model.car, reference="battery.plus")
    car._stock.model = replace(model, car=turned)
    below = [car._caught() for _ in range(50)]

    assert min(caught) >= 0.0 >= max(below)
    assert max(np.abs(below)) <= 12.0


def test_a_repair_that_mends_a_lesser_fault_with_it_is_right(model: Model) -> None:
    # who cleans both ends of a cable cleans the one that was poor
    film, poor = "ground-cable:cable_film", "ground-cable:cable_high_resistance_b"
    answer = Diagnosis(model).tell(ComplaintFact(complaint="no-crank"))
    line = replace(answer.causes[0], name=film, members=(film,))
    clamp = replace(line, name="engine-strap:open_circuit", members=())
    car = hidden(model, poor)

    assert _ranks(replace(answer, causes=(clamp, line)), car.faults, model) == [2]
    assert not _mend(clamp, car, model)
    assert _mend(line, car, model)
