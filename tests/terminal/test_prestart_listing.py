"""The readings before the first start as text, Markdown and JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.session.ready_car import Model
from diagnose.session.sheets.first_start import Prestart, prestart
from diagnose.terminal.reports.sheets.prestart_data import prestart_json
from diagnose.terminal.reports.sheets.prestart_pages import (
    BLANK,
    prestart_markdown,
    prestart_text,
)

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"


@pytest.fixture(scope="module")
def listed(model: Model) -> Prestart:
    return prestart(model)


@pytest.mark.parametrize("width", [60, 100])
def test_no_line_is_longer_than_the_width(listed: Prestart, width: int) -> None:
    lines = prestart_text(listed, car_name="car.yaml", width=width).splitlines()

    assert max(len(line) for line in lines) <= width


def test_every_reading_has_a_blank_to_write_in(listed: Prestart) -> None:
    text = prestart_text(listed, car_name="car.yaml", width=80)

    assert text.count(BLANK) == len(listed.readings)


def test_safety_note_stands_before_the_first_reading(listed: Prestart) -> None:
    text = prestart_text(listed, car_name="car.yaml", width=80)

    assert text.index("Work on a car can hurt") < text.index("\n1. ")


def test_ohms_say_first_that_the_clamp_is_meant(listed: Prestart) -> None:
    text = prestart_text(listed, car_name="sedan", width=200)

    said = text.index("the clamp taken off, never the battery's own post")
    assert said < text.index("1. ohms:")


def test_cranking_caution_stands_before_its_readings(
    model: Model, listed: Prestart
) -> None:
    markdown = prestart_markdown(listed, car_name="car.yaml")
    caution = model.knowledge.cautions["cranking"]
    first = next(
        number
        for number, one in enumerate(listed.readings, start=1)
        if one.reading.state == "cranking"
    )

    assert markdown.index(caution) < markdown.index(f"| {first}. |")


def test_text_says_how_to_go_on_in_a_diagnosis(listed: Prestart) -> None:
    text = prestart_text(listed, car_name="car.yaml", width=200)

    assert "diagnose start car.yaml --prestart" in text


def test_causes_left_out_of_the_end_are_counted(listed: Prestart) -> None:
    text = prestart_text(listed, car_name="car.yaml", width=200, most_unshown=3)

    assert f"and {len(listed.unshown) - 3} less likely ones" in text


def test_json_has_every_reading_with_its_limits(listed: Prestart) -> None:
    content = json.loads(prestart_json(listed, car_name="car.yaml"))

    assert [one["name"] for one in content["readings"]] == [
        one.reading.name for one in listed.readings
    ]
    # The ohms from the battery's plus clamp to its minus clamp, everything off: only
    # insulation is left (car file).
    plus = next(one for one in content["readings"] if one["red"] == "battery.plus")
    assert (plus["kind"], plus["low"], plus["high"]) == ("ohms", "OL", "OL")


def test_unknown_history_is_refused_with_those_known(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status = main(["prestart", str(CAR), "--history", "wirring=fresh"])

    assert status == 1
    assert "known: wiring, began, touched" in capsys.readouterr().err
