"""The path of a reading in characters: supply first, ground last, leads marked."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.paperwork.drawing.path_rows import path_rows
from diagnose.session.words.instructions import lead_words


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


def shown(car: Car, red: str, black: str = "") -> list[str]:
    return [f"{row.sign} {row.text}" for row in path_rows(car, red, black)]


def test_the_pump_is_followed_from_the_battery_to_its_stud(sedan: Car) -> None:
    # every wire as in the car file: 1, 2, 1, 15 and 3 ft; the black lead is on the post
    assert shown(sedan, "fuel-pump.plus", "battery.minus") == [
        "o battery.plus",
        ">> plus-clamp",
        "o plus-clamp.clamp",
        "| main-feed, 8 AWG 0.3 m",
        "[=] main-fuse, 60 A slow-fuse",
        "| main-wire, 8 AWG 0.61 m",
        "o fuse-panel.constant",
        "[=] fuel-pump-fuse, 15 A",
        "| fuel-pump-relay-wire, 12 AWG 0.3 m",
        "/ fuel-pump-relay 30 to 87",
        "| fuel-pump-wire, 12 AWG 4.6 m",
        "* fuel-pump.plus  <- red lead",
        "(M) fuel-pump, 7 A",
        "| fuel-pump-ground, 12 AWG 0.91 m",
        "o rear-stud.stud, on body",
        "* battery.minus  <- black lead",
    ]


def test_a_drop_is_followed_by_the_part_between_its_leads(sedan: Car) -> None:
    for leads in (
        ("fuse-panel.constant", "fuse-panel.switched"),
        ("fuse-panel.switched", "fuse-panel.constant"),
    ):
        rows = shown(sedan, *leads)
        at = [rows.index(row) for row in rows if row.startswith("* ")]

        assert len(at) == 2
        assert rows[at[0] + 1 : at[1]] == ["/ panel-relay 30 to 87"]
        assert rows[0] == "o battery.plus"
        assert "on " in rows[-1]


def test_a_fuse_that_is_looked_at_is_marked_itself(sedan: Car) -> None:
    rows = path_rows(sedan, "fan-fuse")

    assert [row.text for row in rows if row.is_probed] == ["fan-fuse, 30 A  <- here"]
    assert rows[0].text == "battery.plus"


@pytest.mark.parametrize(
    "red", ["battery.plus", "battery.minus", "body.metal", "alternator.exciter"]
)
def test_every_point_has_a_path(sedan: Car, red: str) -> None:
    assert any(red in text for text in shown(sedan, red, "battery.minus"))


def test_every_point_of_the_car_is_on_its_own_path(sedan: Car) -> None:
    for node in sedan.nodes:
        (mark,) = [row.text for row in path_rows(sedan, node) if row.is_probed]
        assert mark.startswith(node)


def test_the_colours_at_a_point_are_told_where_a_lead_goes(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    text = shipped_cars()["sedan"].read_text(encoding="utf-8")
    path = tmp_path / "car.yaml"
    path.write_text(
        text.replace("wire: 12 AWG 15 ft\n", "wire: 12 AWG 15 ft red/white\n"),
        encoding="utf-8",
    )
    car = load_car(path, knowledge)

    assert lead_words("fuel-pump.plus", car) == "fuel-pump.plus (red/white)"
    assert lead_words("battery.minus", car) == "battery.minus"
    assert "| fuel-pump-wire, 12 AWG 4.6 m, red/white" in shown(car, "fuel-pump.plus")
