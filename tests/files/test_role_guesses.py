"""Roles taken from names: said out loud, and only where nothing else claims them."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.measurement.quantities import usable_symptoms
from diagnose.terminal.reports.listings import check_car_file

SEDAN = shipped_cars()["sedan"].read_text(encoding="utf-8")
RENAMED = (
    SEDAN.replace("fuel-pump", "pump")
    .replace("engine-controller", "ecu")
    .replace("headlamps", "headlights")
)


@pytest.fixture
def load(tmp_path: Path, knowledge: Knowledge) -> Callable[[str], Car]:
    def read(text: str) -> Car:
        path = tmp_path / "car.yaml"
        path.write_text(text, encoding="utf-8")
        return load_car(path, knowledge)

    return read


def roles(car: Car) -> dict[str, str]:
    return {part.name: part.role for part in car.parts if part.role}


def test_names_decide_nothing(load: Callable[[str], Car], knowledge: Knowledge) -> None:
    usual, renamed = load(SEDAN), load(RENAMED)

    assert sorted(roles(usual).values()) == sorted(roles(renamed).values())
    assert usable_symptoms(usual, knowledge.symptoms) == usable_symptoms(
        renamed, knowledge.symptoms
    )
    assert dict(renamed.guessed_roles) == {
        "pump": "fuel-pump",
        "ecu": "engine-controller",
        "headlights": "headlamps",
    }
    assert not usual.guessed_roles


def test_a_role_that_is_given_is_no_guess(load: Callable[[str], Car]) -> None:
    car = load(
        RENAMED.replace("    place: tank\n", "    place: tank\n    role: fuel-pump\n")
    )

    assert "pump" not in car.guessed_roles
    assert roles(car)["pump"] == "fuel-pump"
    assert roles(car)["pump-relay.contacts"] == "fuel-pump-relay"


def test_two_names_that_fit_are_taken_for_nothing(load: Callable[[str], Car]) -> None:
    washer = (
        "  lift-pump: {from: old-fuse-box.ignition, fuse: 5 A, wire: 16 AWG 3 ft, "
        "load: 2 A motor, ground: body, place: firewall}\n  wipers:"
    )

    car = load(RENAMED.replace("  wipers:", washer))

    assert "fuel-pump" not in roles(car).values()


def test_what_a_car_is_taken_for_and_lacks_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    text = RENAMED.replace("  pump:\n", "  juice:\n")
    path.write_text(text.replace("pump-relay", "juice-relay"), encoding="utf-8")

    check_car_file(str(path), sys.stdout)

    said = capsys.readouterr().out
    assert '"ecu" is taken for the role engine-controller' in said
    assert "no part has these roles" in said
    assert "\n  fuel-pump: " in said
