"""Known faults of the shipped car, measured on hidden cars, and what is made of them.

A hidden car has tolerances and a severity of its own, and a meter that errs within its
accuracy; seeds are fixed.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Answer, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import play

POST = "battery.minus"
CAREFUL = Errors(slip_probability=0.0)

Place = tuple[str, str, str, str]
FAULTS: Mapping[str, tuple[str, tuple[Place, ...]]] = {
    "fuel-pump-ground:open_circuit": (
        "pump-does-not-run",
        (
            ("volts", "priming", "fuel-pump.plus", POST),
            ("volts", "priming", "fuel-pump.minus", POST),
        ),
    ),
    "fan-relay.contacts:welded": (
        "fan-does-not-stop",
        (
            ("volts", "key-on", "fan-relay.86", "fan-relay.85"),
            ("volts", "key-on", "fan-relay.87", POST),
        ),
    ),
    "alternator:dead": (
        "charge-lamp-stays-lit",
        (("volts", "idle", "alternator.output", POST),),
    ),
    "headlamps-ground:high_resistance_b": (
        "headlamps-dead",
        (
            ("volts", "idle-loaded", "headlamps.plus", POST),
            ("volts", "idle-loaded", "headlamps.minus", POST),
        ),
    ),
    "engine-controller-feed-wire:open_circuit": (
        "controller-dead",
        (
            ("volts", "key-on", "engine-controller-feed-fuse.out", POST),
            ("volts", "key-on", "engine-controller.supply", POST),
        ),
    ),
    "ignition-switch.run-contact:open_circuit": (
        "instruments-dead",
        (
            ("volts", "key-on", "ignition-switch.run", POST),
            ("volts", "key-on", "ignition-switch.battery", POST),
            ("volts", "key-on", "ignition-switch.ignition", POST),
        ),
    ),
    # Rule: a controller on a feed that is dead in crank starts nothing.
    "ignition-switch.ignition-contact:dead_while_cranking": (
        "first-start-fails",
        (
            ("volts", "key-on", "fuse-panel.switched", POST),
            ("volts", "cranking", "fuse-panel.switched", POST),
            ("volts", "cranking", "ignition-switch.ignition", POST),
        ),
    ),
    "tail-lamps-fuse:blown": (
        "tail-lamps-dead",
        (("look", "key-off", "tail-lamps-fuse", ""),),
    ),
}
"""A cause, the complaint it brings, and where a mechanic would measure."""


@pytest.fixture(scope="module")
def stock(sedan_model: Model) -> HiddenCars:
    return HiddenCars(sedan_model, n_cars=8, seed=3)


def number_of(name: str, model: Model) -> int:
    names = [cause.name for cause in model.compiled.causes]
    return names.index(name)


def answer_after(cause: str, stock: HiddenCars) -> Answer:
    """Return the answer after the complaint and the readings of a hidden car."""
    complaint, places = FAULTS[cause]
    faults = (number_of(cause, stock.model),)
    car = HiddenCar(stock, 0, faults, errors=CAREFUL, seed=0)
    facts: list[ComplaintFact | ReadingFact] = [ComplaintFact(complaint=complaint)]
    for kind, state, red, black in places:
        place = Reading(kind=ReadingKind(kind), state=state, red=red, black=black)
        facts.append(ReadingFact(reading=place, value=car.measures(place)))
    diagnosis = Diagnosis(stock.model)
    diagnosis.recall(facts)
    return diagnosis.answer


@pytest.mark.parametrize("cause", FAULTS)
def test_readings_of_a_known_fault_name_it_first(cause: str, stock: HiddenCars) -> None:
    answer = answer_after(cause, stock)

    assert cause in answer.causes[0].members
    assert answer.causes[0].probability > 0.5
    assert answer.fit.disagrees == ""


def test_broken_feed_is_found_mended_and_proved(stock: HiddenCars) -> None:
    model = stock.model
    cause = "engine-controller-feed-wire:open_circuit"
    car = HiddenCar(stock, 1, (number_of(cause, model),), errors=CAREFUL, seed=1)

    game = play(model, car, "controller-dead", seed=1)

    assert (game.first_rank, game.wrong_repairs, game.is_fixed) == (1, 0, True)


def test_two_faults_are_both_named(sedan_model: Model) -> None:
    # Two fuses in circuits that share nothing but the battery.
    looks = [
        ReadingFact(
            reading=Reading(kind=ReadingKind.LOOK, state="key-off", red=fuse, black=""),
            value=1.0,
        )
        for fuse in ("fan-fuse", "tail-lamps-fuse")
    ]
    dark = SymptomFact(symptom="tail-lamps-shine", is_present=False)
    diagnosis = Diagnosis(sedan_model)
    diagnosis.recall([ComplaintFact(complaint="fan-does-not-run"), dark, *looks])

    circuits = {line.name.split("-")[0] for line in diagnosis.answer.causes[:2]}
    assert circuits == {"fan", "tail"}


def test_fault_that_no_reading_fits_is_not_forced_on_a_cause(
    sedan_model: Model,
) -> None:
    # No battery of a 12 V car rests at 19 V and has 3 V with the key on.
    volts = [
        ReadingFact(
            reading=Reading(
                kind=ReadingKind.DC_VOLTS, state=state, red="battery.plus", black=POST
            ),
            value=value,
        )
        for state, value in (("key-off", 19.0), ("key-on", 3.0))
    ]
    diagnosis = Diagnosis(sedan_model)
    diagnosis.recall([ComplaintFact(complaint="fan-does-not-run"), *volts])

    assert diagnosis.answer.advice.verdict is Verdict.NOTHING_FITS
