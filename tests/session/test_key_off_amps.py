"""Amps with the key off: as sharp as what they were read with, and on the sheet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.weighing.scatter import Scatter
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Choice, Sheet
from diagnose.terminal.reports.sheets.branch_words import branch_words

DRAIN = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")


def drain(amps: float, last_digit: float) -> ReadingFact:
    return ReadingFact(reading=DRAIN, value=amps, rounded_to=last_digit)


def chance_of_a_fault(model: Model, fact: ReadingFact) -> float:
    diagnosis = Diagnosis(model)
    diagnosis.tell(fact)
    return 1.0 - diagnosis.answer.sound_probability


@pytest.mark.parametrize(
    ("amps", "last_digit", "deviation"),
    [
        # a clamp: 5 counts of .1 A and 3 % are .5 A, two standard deviations
        (0.1, 0.1, 0.5 / 2.0),
        # 10 A jack: 3 counts of .01 A
        (0.08, 0.01, 0.03 / 2.0),
        # jack for milliamps: 3 counts of .1 mA
        (0.0823, 0.0001, 0.0003 / 2.0),
        # more than the jack bears was read by a clamp, whatever its digits
        (30.0, 0.01, 0.5 / 2.0),
    ],
)
def test_amps_are_as_sharp_as_what_they_are_read_with(
    model: Model, amps: float, last_digit: float, deviation: float
) -> None:
    spread = Scatter(model).of_fact(drain(amps, last_digit))

    # of a car that draws nothing; .01 A of clocks that no file names comes on top
    found = float(spread.deviation(np.array(0.0)))
    assert found == pytest.approx(np.hypot(deviation, 0.01), rel=1e-6)


def test_amps_with_the_key_on_are_those_of_a_clamp(model: Model) -> None:
    reading = Reading(kind=ReadingKind.AMPS, state="idle", red="battery", black="")
    fact = ReadingFact(reading=reading, value=0.08, rounded_to=0.01)

    spread = Scatter(model).of_fact(fact)
    assert float(spread.deviation(np.array(0.0))) == pytest.approx(0.25)


@pytest.mark.parametrize(("amps", "last_digit"), [(0.08, 0.01), (0.8, 0.01)])
def test_a_small_drain_read_in_series_moves_the_ranking(
    model: Model, amps: float, last_digit: float
) -> None:
    sound = chance_of_a_fault(model, drain(0.0, last_digit))
    found = chance_of_a_fault(model, drain(amps, last_digit))

    assert found > 4.0 * sound
    diagnosis = Diagnosis(model)
    diagnosis.tell(drain(amps, last_digit))
    first = diagnosis.answer.causes[0]
    # what draws a little with the key off: a wire that leaks, a diode of the
    # alternator, a load that the file does not list
    assert any(word in first.name for word in ("leak", "diode", "unlisted"))


def test_a_small_drain_by_a_clamp_moves_little(model: Model) -> None:
    sound = chance_of_a_fault(model, drain(0.0, 0.1))

    assert chance_of_a_fault(model, drain(0.1, 0.1)) < 1.5 * sound


@pytest.fixture(scope="module")
def sheet(knowledge: Knowledge) -> Sheet:
    car = load_car(Path(str(shipped_cars()["sedan"])), knowledge)
    choice = Choice(parts=("brake-feed-fuse", "battery", "controller-memory-fuse"))
    return expected_sheet(car, knowledge, choice)


def test_the_sheet_has_milliamps_by_branch(sheet: Sheet) -> None:
    branches = {branch.name: branch for branch in sheet.branches}

    assert next(iter(branches)) == "battery"
    # 5 mA of the controller's memory, by the car file
    (memory,) = branches["controller-memory-fuse"].key_off
    assert memory.healthy.middle == pytest.approx(0.005, rel=0.1)
    (all_of_it,) = branches["battery"].key_off
    assert all_of_it.healthy.middle >= memory.healthy.middle


def test_the_sheet_has_millivolts_along_each_fuse(sheet: Sheet) -> None:
    words = list(branch_words(sheet))

    # 15 A: .127 ohm x 15^-1.22 = 4.67 mohm; the brake lamps take 3.75 A: 17.5 mV
    (along,) = [line for line in words if line.startswith("along brake-feed-fuse")]
    low, high = (float(word) for word in along.split() if word.isdigit())
    assert along.startswith("along brake-feed-fuse: held ")
    assert low < 17.5 < high
    assert any(line.startswith("key-off, battery: ") for line in words)
    assert "with the key off under 0.1 mA each: 1 of the branches asked for" in words
