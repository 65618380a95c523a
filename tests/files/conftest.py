"""A small sound car as text, and a way to load a changed copy of it."""

from __future__ import annotations

import pathlib
from collections.abc import Callable

import pytest

from diagnose.circuit.car import Car
from diagnose.errors import InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car

SMALL_CAR = """\
# An invented car.
car-file: 1
title: Invented test car
system: 12 V
places: {bay: 1 min, dash: 5 min}
metal: {body: bay, engine: bay}
battery: {place: bay}
alternator: {place: bay}
panels:
  panel: {place: bay, buses: [constant]}
switches:
  key: {place: dash, live: {off: [], run: [out]}}
circuits:
  main: {from: battery.plus via 8 AWG 1 ft, fuse: 60 A, to: panel.constant}
  key-feed: {from: panel.constant, fuse: 10 A, wire: 16 AWG 4 ft, to: key.feed}
  horn: {from: key.out, wire: 14 AWG 6 ft, load: 6 A load, ground: body via 14 AWG 1 ft}
wires:
  ground-cable: {from: battery.minus, to: body, wire: 2 AWG 2 ft}
  charge-wire: {from: alternator.output, to: battery.plus, wire: 6 AWG 4 ft}
  engine-strap: {from: engine, to: body, wire: 4 AWG 1 ft}
states:
  key-on: {switches: {key: run}}
"""


@pytest.fixture
def small_car() -> str:
    return SMALL_CAR


@pytest.fixture
def load(tmp_path: pathlib.Path, knowledge: Knowledge) -> Callable[[str], Car]:
    def load_text(text: str) -> Car:
        path = tmp_path / "car.yaml"
        path.write_text(text, encoding="utf-8")
        return load_car(path, knowledge)

    return load_text


@pytest.fixture
def problems(load: Callable[[str], Car]) -> Callable[[str], list[str]]:
    """Return what is wrong with a text, as ``line:column: message``."""

    def find(text: str) -> list[str]:
        with pytest.raises(InvalidFileError) as caught:
            load(text)
        return [
            f"{problem.line}:{problem.column}: {problem.message}"
            for problem in caught.value.problems
        ]

    return find
