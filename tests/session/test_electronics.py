"""Ohms at electronics: not proposed, and worth nothing when they are told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import step_of_name
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ComplaintFact, ReadingFact
from diagnose.session.ready_car import Model

SAYS = (
    "ohms mean nothing at ignition: electronics show a meter anything; read volts there"
)


def told(model: Model, *facts: ComplaintFact | ReadingFact) -> Diagnosis:
    diagnosis = Diagnosis(model)
    diagnosis.recall(facts)
    return diagnosis


def ohms(value: float, red: str, black: str = "battery.minus") -> ReadingFact:
    reading = Reading(kind=ReadingKind.OHMS, state="isolated", red=red, black=black)
    return ReadingFact(reading=reading, value=value)


def chance(answer: Answer, cause: str) -> float:
    """Return how likely a cause is; a thousandth where it is not listed."""
    listed = {one.name: one.probability for one in answer.causes}
    return listed.get(cause, 0.001)


COMPLAINT = ComplaintFact(complaint="first-start-fails")


def test_no_ohms_are_proposed_where_electronics_are_fed(sedan_model: Model) -> None:
    points = {
        reading.red
        for reading in proposable_readings(sedan_model.car)
        if reading.kind is ReadingKind.OHMS
    }

    assert not {"ignition.plus", "radio.plus"} & points
    assert not {point for point in points if "-controller." in point}
    # the ends of the wires that feed them are asked for
    assert {"ignition-fuse.out", "engine-controller-feed-fuse.out"} <= points


@pytest.fixture(scope="module")
def complained(tourer_model: Model) -> Diagnosis:
    """Return a diagnosis that was told the complaint alone."""
    return told(tourer_model, COMPLAINT)


@pytest.mark.parametrize("value", [0.3, 40.0, 1e5])
@pytest.mark.parametrize("black", ["battery.minus", "ignition.minus"])
def test_ohms_told_of_an_ignition_module_weigh_nothing(
    value: float, black: str, tourer_model: Model, complained: Diagnosis
) -> None:
    before = complained.answer
    after = told(tourer_model, COMPLAINT, ohms(value, "ignition.plus", black)).answer

    chances = [(cause.name, cause.probability) for cause in after.causes]
    assert chances == [(cause.name, cause.probability) for cause in before.causes]
    assert SAYS in after.notes


def test_ohms_along_the_wire_to_a_module_count(
    tourer_model: Model, complained: Diagnosis
) -> None:
    before = complained.answer
    # round the break by way of the module and what else is fed
    wire = ohms(5e3, "ignition-fuse.out", "ignition.plus")
    after = told(tourer_model, COMPLAINT, wire).answer

    name = "ignition-wire:open_circuit"
    assert chance(after, name) > 3.0 * chance(before, name)
    assert SAYS not in after.notes


def test_asked_for_ohms_of_a_module_are_said_to_mean_nothing(
    complained: Diagnosis,
) -> None:
    step = step_of_name("ohms|isolated|ignition.plus|battery.minus")

    assert complained.expect(step).reason == SAYS


# By hand: milliamps through the feed of a module that waits drop millivolts: what is in
# series with it shows only once the engine turns.
def test_bad_joint_before_a_module_that_waits_is_looked_for_while_cranking(
    complained: Diagnosis,
) -> None:
    step = step_of_name("volts|key-on|ignition-fuse.out|ignition.plus")

    reason = complained.expect(step).reason

    assert reason.startswith("no current flows at ignition-wire in this state")
    assert reason.endswith("they would in: cranking")


UNPLUGGED = Reading(
    kind=ReadingKind.OHMS,
    state="unplugged",
    red="transmission-controller-feed-fuse.out",
    black="battery.minus",
)


def test_ohms_through_electronics_say_nothing_of_what_they_do_not_touch(
    sedan_model: Model,
) -> None:
    # The sound car shows anything from a hundred ohm to seventy kilohm there. Which of
    # its draws comes close says nothing: of two faults elsewhere neither gains.
    compiled = sedan_model.compiled
    noted = Noted(0, ReadingFact(reading=UNPLUGGED, value=15_175.0), is_complaint=False)
    names = [cause.name for cause in compiled.causes]
    elsewhere = [
        1 + names.index(name)
        for name in ("fuel-pump:pump_weak", "starter:worn", "fan-wire:open_circuit")
    ]

    found = Weigher(sedan_model).likelihood(
        compiled.bank.all, noted, rows=np.array([0, *elsewhere])
    )

    assert compiled.readings.unknown_ohms(UNPLUGGED) is not None
    assert np.ptp(found) == pytest.approx(0.0, abs=1e-15)


def test_open_circuit_is_told_by_such_ohms(sedan_model: Model) -> None:
    compiled = sedan_model.compiled
    names = [cause.name for cause in compiled.causes]
    cut = 1 + names.index("transmission-controller-feed-wire:open_circuit")
    fact = ReadingFact(reading=UNPLUGGED, value=math.inf)

    sound, open_ = Weigher(sedan_model).likelihood(
        compiled.bank.all,
        Noted(0, fact, is_complaint=False),
        rows=np.array([0, cut]),
    )

    assert open_.mean() > 20.0 * sound.mean()


def test_ohms_that_the_file_tells_are_known(sedan_model: Model) -> None:
    lamps = replace(UNPLUGGED, state="isolated", red="headlamps.plus")

    assert sedan_model.compiled.readings.unknown_ohms(lamps) is None
