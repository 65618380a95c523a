"""Whatever is answered, in whatever order of whims, the file that is written loads."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.car.writing.car_text import car_text
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.paperwork.asking.car_questions import ask_car
from diagnose.paperwork.asking.entries.car_entries import car_entries
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Interview

LAYOUTS = load_layouts()
NAMES = [*LAYOUTS.circuits, "thing", "pump", "gizmo"]
# A refused answer is no step, so a script ends well before.
MOST_LINES = 2000

BY_KEY = {
    "controllers": ["none", "engine-controller", "ecu, tcu", ""],
    "grounded": ["minus", "plus"],
    "panel": ["none", "constant only", "both halves"],
    "coil-feed": ["none", "resistance wire", "straight wire"],
    "system": ["12", "6 V", "24 V"],
}
ON_A_PAGE = [
    *("", "", "", "?", "none", "ask", "fuse none", "switch dash", "feed battery"),
    *("relay switch", "relay ignition", "relay low", "relay high", "relay none"),
    *("feed high", "ground low", "ground low via 14 AWG 3 ft", "ground body"),
    *("feed accessory", "memory constant", "wire ?", "feed run, relay run"),
    *("exciter none", "exciter ignition", "sense battery", "sense panel"),
    *("frame-strap 4 AWG 1 ft", "ground frame", "neutral-switch yes"),
    *("run ignition", "accessory none", "trigger battery", "diode yes"),
    *("feed ignition-switch.start", "note mine: {a} # b", "colour pink"),
    *("inertia-switch trunk", "inertia-switch dash, relay none", "resistor 1"),
    *("inertia-switch under-dash, relay low", "exciter-diode yes", "run-on yes"),
    *("inertia-switch dash, relay none, switch dash", "resistor 2 ohm, switch none"),
]


def some(names: list[str], chance: random.Random, most: int) -> str:
    return ", ".join(chance.sample(names, chance.randint(0, most))) or "none"


def line(key: str, chance: random.Random) -> str:
    if key == "layouts":
        return some(list(LAYOUTS.layouts), chance, 3)
    if key in {"added", "factory"}:
        return chance.choice(["", some(NAMES, chance, 6)])
    return chance.choice(BY_KEY.get(key, ON_A_PAGE))


def answered(seed: int) -> CarPlan:
    chance = random.Random(seed)
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    for _ in range(MOST_LINES):
        if interview.question is None:
            return interview.outcome
        try:
            interview.answer(line(interview.question.key, chance))
        except ValueError:  # refused with a reason, and asked again
            continue
    raise AssertionError("a question takes no answer")


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_answered_makes_a_sound_file(
    seed: int, tmp_path: Path, knowledge: Knowledge
) -> None:
    plan = answered(seed)
    path = tmp_path / "car.yaml"
    path.write_text(car_text(car_entries(plan, LAYOUTS)), encoding="utf-8")

    car = load_car(path, knowledge)

    names = {part.assembly for part in car.parts}
    assert {circuit.name for circuit in plan.circuits} <= names


def test_what_nothing_hangs_on_is_left_out_and_said(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    while interview.question is not None:
        interview.answer("")  # no loads at all
    path = tmp_path / "car.yaml"
    path.write_text(car_text(car_entries(interview.outcome, LAYOUTS)), encoding="utf-8")

    load_car(path, knowledge)

    title = next(
        text
        for text in path.read_text(encoding="utf-8").splitlines()
        if text.startswith("title")
    )
    assert "left out, as nothing hangs on it: light-switch" in title


@pytest.mark.parametrize(
    ("differs", "gone"),
    [
        ({"title": "with a frame", "cables": "frame-strap 4 AWG 1 ft"}, "frame-strap"),
        ({"panel": "none", "cables": "body-lead none"}, "engine-strap"),
    ],
)
def test_a_strap_to_metal_that_nothing_is_on_is_left_out(
    differs: dict[str, str], gone: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    own = {"added": "choke", "factory": "none", "choke": "ground engine", **differs}
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    while interview.question is not None:
        interview.answer(own.get(interview.question.key, ""))
    path = tmp_path / "car.yaml"
    path.write_text(car_text(car_entries(interview.outcome, LAYOUTS)), encoding="utf-8")

    car = load_car(path, knowledge)

    assert gone not in {part.name for part in car.parts}
