"""Cars told by a description: few answers, a sound file, the readings of that car.

`NAME.md` describes an invented car as its owner would, `NAME.answers` is what he types,
and `NAME.yaml` is the same car written by hand from the description.
"""

from __future__ import annotations

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
# Cars of 40 wires and more that were written by hand as well.
BY_HAND = ("wagon", "pickup", "van")
SHIPPED = ("pickup", "roadster", "van", "truck")
# What the project promises for a car of 40 wires.
MOST_ANSWERS = 60
FEWEST_WIRES = 40
# What a car of the project may have: from a small one to a large one.
SMALLEST, LARGEST = range(25, 31), range(145, 156)
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


def wires(car: Car) -> int:
    return sum(part.kind == "wire" for part in car.parts)


@pytest.mark.parametrize("name", sorted({*BY_HAND, *SHIPPED}))
def test_the_file_of_a_described_car_is_clean(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    car = written(answered(answers(name)), tmp_path, knowledge)

    assert [str(warning) for warning in car_warnings(car)] == []
    assert list(uncovered(car, knowledge.states)) == []


@pytest.mark.parametrize("name", BY_HAND)
def test_a_car_of_forty_wires_takes_sixty_answers_at_most(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    lines = answers(name)

    car = written(answered(lines), tmp_path, knowledge)

    assert len(lines) <= MOST_ANSWERS
    assert wires(car) >= FEWEST_WIRES


def test_shipped_cars_are_small_and_large(knowledge: Knowledge) -> None:
    counts = []
    for name in SHIPPED:
        with car_file(name) as path:
            counts.append(wires(load_car(path, knowledge)))

    assert min(counts) in SMALLEST
    assert max(counts) in LARGEST


PLUGS = ("plugs:", "rear-plug:", "bed-plug:", "trailer-plug:")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_car_is_what_its_answers_make_and_a_plug(name: str) -> None:
    made = car_text(car_entries(answered(answers(name)), LAYOUTS))
    with car_file(name) as path:
        shipped = path.read_text(encoding="utf-8").splitlines()

    by_hand = Counter(shipped)
    by_hand.subtract(made.splitlines()[1:])  # the first line says who wrote it

    changed = [line.strip() for line in -by_hand]
    added = [line.strip() for line in +by_hand if line.strip(" #") == line.strip()]
    assert changed == []
    assert all(line.startswith(PLUGS) for line in added if line)


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


@pytest.mark.parametrize("name", BY_HAND)
def test_answers_read_as_the_same_car_written_by_hand(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    asked = sound_volts(written(answered(answers(name)), tmp_path, knowledge))
    by_hand = sound_volts(load_car(FOLDER / f"{name}.yaml", knowledge))
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
