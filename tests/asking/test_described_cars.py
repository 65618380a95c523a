"""Cars told by a description: few answers, a sound file, the readings of that car.

`NAME.md` describes an invented car as its owner would, `NAME.answers` is what he types.
"""

from __future__ import annotations

import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.car.checks.doubts import car_warnings
from diagnose.files.car.checks.unworked import uncovered
from diagnose.files.car.writing.car_text import car_text
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.paperwork.asking.car_questions import ask_car
from diagnose.paperwork.asking.entries.car_entries import car_entries
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Interview
from diagnose.terminal.preparation.car_files import car_file

FOLDER = Path(__file__).parent / "described"
NAMES = ("wagon", "truck", "roadster", "pickup", "van")
# What the project promises for a car of 40 wires.
MOST_ANSWERS = 60
MOST_SECONDS = 0.1
FEWEST_WIRES = 40
LAYOUTS = load_layouts()


def answered(lines: list[str]) -> CarPlan:
    """Return the car that answers describe; every one of them must be taken."""
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    for line in lines:
        interview.answer(line)
    assert interview.question is None, interview.question.asks
    return interview.outcome


def answers(name: str) -> list[str]:
    return (FOLDER / f"{name}.answers").read_text(encoding="utf-8").splitlines()


def written(plan: CarPlan, folder: Path, knowledge: Knowledge) -> Car:
    path = folder / "car.yaml"
    path.write_text(car_text(car_entries(plan, LAYOUTS)), encoding="utf-8")
    return load_car(path, knowledge)


@pytest.mark.parametrize("name", NAMES)
def test_a_described_car_takes_few_answers_and_its_file_is_clean(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    lines = answers(name)

    car = written(answered(lines), tmp_path, knowledge)

    assert len(lines) <= MOST_ANSWERS
    assert sum(part.kind == "wire" for part in car.parts) >= FEWEST_WIRES
    assert [str(warning) for warning in car_warnings(car)] == []
    assert list(uncovered(car, knowledge.states)) == []


@pytest.mark.parametrize("name", [name for name in NAMES if name != "wagon"])
def test_a_shipped_car_is_what_its_answers_make_and_a_plug(name: str) -> None:
    made = car_text(car_entries(answered(answers(name)), LAYOUTS))
    with car_file(name) as path:
        shipped = path.read_text(encoding="utf-8").splitlines()

    by_hand = Counter(shipped)
    by_hand.subtract(made.splitlines()[1:])  # the first line says who wrote it

    assert min(by_hand.values()) == 0
    added = [line for line in +by_hand if line and not line.lstrip().startswith("#")]
    assert all(
        line.startswith(("plugs:", "  rear-plug:", "  bed-plug:")) for line in added
    )


@pytest.mark.parametrize("layout", LAYOUTS.layouts)
def test_every_layout_makes_a_sound_car_without_a_word_typed(
    layout: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    interview = Interview(lambda: ask_car(LAYOUTS, {"layouts": layout}))
    while interview.question is not None:
        is_layouts = interview.question.key == "layouts"
        interview.answer(layout if is_layouts else "")

    car = written(interview.outcome, tmp_path, knowledge)

    assert [str(warning) for warning in car_warnings(car)] == []


def test_layouts_combine(tmp_path: Path, knowledge: Knowledge) -> None:
    chosen = "injection, second-battery, headlamp-relays"
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    while interview.question is not None:
        interview.answer(chosen if interview.question.key == "layouts" else "")

    car = written(interview.outcome, tmp_path, knowledge)

    names = {part.name for part in car.parts}
    assert {"second-battery", "fuel-pump", "headlamps", "split-relay.coil"} <= names


def test_each_answer_is_taken_at_once() -> None:
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    longest = 0.0
    for line in answers("wagon"):
        began = time.process_time()
        interview.answer(line)
        longest = max(longest, time.process_time() - began)

    assert longest < MOST_SECONDS


def sound_volts(car: Car) -> dict[tuple[str, str], np.ndarray]:
    """Return state and node to the volts of a sound car, shape (n_draws,)."""
    model = CarModel(car, Sample(n_draws=64))
    found = {}
    for state in car.states:
        network = model.network(state)
        point = solve_operating_point(network)
        reference = point.volts[:, network.nodes.index(car.reference)]
        for index, node in enumerate(network.nodes):
            found[state.name, node] = point.volts[:, index] - reference
    return found


def test_answers_read_as_the_same_car_written_by_hand(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    asked = sound_volts(written(answered(answers("wagon")), tmp_path, knowledge))
    by_hand = sound_volts(load_car(FOLDER / "wagon.yaml", knowledge))
    common = sorted(set(asked) & set(by_hand))

    apart = [
        point
        for point in common
        if not asked[point].min() - 0.01
        <= np.median(by_hand[point])
        <= asked[point].max() + 0.01
    ]

    assert len(common) > 400
    assert apart == []


def test_another_pump_wire_reads_otherwise(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    lines = answers("wagon")
    at = next(i for i, line in enumerate(lines) if "12 AWG 17 ft" in line)
    thin = [*lines]
    thin[at] = lines[at].replace("12 AWG 17 ft", "20 AWG 17 ft")

    usual = sound_volts(written(answered(lines), tmp_path, knowledge))
    other = sound_volts(written(answered(thin), tmp_path, knowledge))

    point = ("idle", "fuel-pump.plus")
    assert np.median(other[point]) < usual[point].min()
