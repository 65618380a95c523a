"""What holds of any diagnosis, whatever is told, on cars with known faults."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, Fact, ReadingFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars

ROOT = Path(__file__).resolve().parents[2]
NO_SLIPS = Errors(slip_probability=0.0)
N_CARS, N_FACTS = 3, 5
SEED = 640
COMPLAINT = ComplaintFact(complaint="no-crank")
POST = "battery.minus"


def volts(red: str, state: str, value: float) -> ReadingFact:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=POST)
    return ReadingFact(reading=reading, value=value)


def told(model: Model, *facts: Fact) -> Answer:
    diagnosis = Diagnosis(model)
    diagnosis.recall(facts)
    return diagnosis.answer


def by_cause(answer: Answer) -> dict[str, float]:
    return {line.name: line.probability for line in answer.causes}


@pytest.fixture(scope="module")
def stock(model: Model) -> HiddenCars:
    return HiddenCars(model, n_cars=N_CARS, seed=SEED)


def facts_of(car: HiddenCar, model: Model, rng: np.random.Generator) -> list[Fact]:
    """Return some of what the owner of a car could tell, never twice the same."""
    found: list[Fact] = []
    diagnosis = Diagnosis(model)
    nodes = tuple(diagnosis.vocabulary.nodes)
    states = [state.name for state in model.car.states]
    while len(found) < N_FACTS:
        if rng.random() < 0.3:
            name = str(rng.choice(model.compiled.symptom_names))
            found.append(SymptomFact(symptom=name, is_present=car.sees(name)))
            continue
        state, red = str(rng.choice(states)), str(rng.choice(nodes))
        reading = Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=POST)
        try:
            diagnosis.expect(reading)
        except ReadingError:
            continue
        found.append(
            ReadingFact(reading=reading, value=round(car.measures(reading), 2))
        )
    return found


@pytest.fixture(scope="module")
def cars(model: Model, stock: HiddenCars) -> list[tuple[int, list[Fact]]]:
    """Return the cause of each car, drawn by its rate, and facts about it."""
    rng = np.random.default_rng(SEED)
    n_lasting = model.compiled.n_lasting
    rates = np.array([c.mode.rate for c in model.compiled.causes[:n_lasting]])
    found = []
    for number in range(N_CARS):
        cause = int(rng.choice(n_lasting, p=rates / rates.sum()))
        car = HiddenCar(stock, number, (cause,), errors=NO_SLIPS, seed=number)
        found.append((cause, facts_of(car, model, rng)))
    return found


def test_whatever_is_told_in_another_order_is_the_same(
    model: Model, cars: list[tuple[int, list[Fact]]]
) -> None:
    for _, facts in cars:
        forward = by_cause(told(model, *facts))
        backward = by_cause(told(model, *facts[::-1]))

        assert backward == pytest.approx(forward, abs=1e-5)


def test_the_truth_is_never_impossible_while_its_readings_are_possible(
    model: Model, cars: list[tuple[int, list[Fact]]]
) -> None:
    for cause, facts in cars:
        diagnosis = Diagnosis(model)
        diagnosis.recall(facts)
        name = model.compiled.causes[cause].name

        found = diagnosis.why(name)
        assert found.probability > 0.0
        assert all(math.isfinite(weight.decibans) for weight in found.evidence)


def test_both_leads_on_one_point_are_no_reading(model: Model) -> None:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state="idle", red=POST, black=POST)
    with pytest.raises(ReadingError, match="both leads on battery"):
        Diagnosis(model).tell(ReadingFact(reading=reading, value=0.0))


@pytest.mark.parametrize("value", [12.4, 9.1, 0.0])
def test_a_reading_told_again_and_again_leaves_probabilities(
    value: float, model: Model
) -> None:
    answer = told(model, COMPLAINT, *[volts("battery.plus", "key-off", value)] * 30)
    found = [line.probability for line in answer.causes]

    assert all(math.isfinite(p) and 0.0 <= p <= 1.0 for p in found)
    assert "nan" not in json.dumps(asdict(answer), default=str).lower()


def test_readings_that_contradict_each_other_for_ever_leave_probabilities(
    model: Model,
) -> None:
    both = [volts("battery.plus", "key-off", value) for value in (12.6, 10.4)]
    answer = told(model, COMPLAINT, *both * 15)

    assert all(math.isfinite(line.probability) for line in answer.causes)


IN_A_PROCESS = """
import json, sys
from diagnose.cli import main
sys.exit(main(["start", sys.argv[1], "--json", "--data-folder", sys.argv[2]]))
"""
LINES = "\n".join(
    [
        '{"complaint": "no-crank"}',
        '{"reading": {"kind": "volts", "state": "cranking", "red": "starter.plus",'
        ' "black": "battery.minus", "value": 7.31}}',
        '{"symptom": "engine-starts", "present": false}',
        '{"ask": "answer"}',
    ]
)


def test_two_processes_agree_to_the_last_digit(
    model: Model, compiled_folder: Path, tmp_path: Path
) -> None:
    assert compiled_folder.is_dir()  # the car is ready there
    answers = [
        subprocess.run(
            [
                *(sys.executable, "-c", IN_A_PROCESS),
                *(str(ROOT / "tests" / "cars" / "hill-climber.yaml"), str(tmp_path)),
            ],
            input=LINES,
            capture_output=True,
            text=True,
            cwd=ROOT,
            check=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
        ).stdout.splitlines()[1:]
        for seed in ("1", "2")
    ]

    assert answers[0] == answers[1]
    assert len(answers[0]) == len(LINES.splitlines())
    assert model.car.name == "hill-climber"
