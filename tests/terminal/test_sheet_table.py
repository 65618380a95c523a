"""The expected-readings sheet as text, Markdown, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Choice, Sheet
from diagnose.terminal.reports.sheets.sheet_data import COLUMNS, sheet_csv, sheet_json
from diagnose.terminal.reports.sheets.sheet_listing import changed_rows
from diagnose.terminal.reports.sheets.sheet_table import sheet_markdown, sheet_text

ROOT = Path(__file__).resolve().parents[2]
CAR = ROOT / "tests" / "cars" / "hill-climber.yaml"
SHORT = "fuel-pump-wire:short_to_ground"


@pytest.fixture(scope="module")
def sheet(knowledge: Knowledge) -> Sheet:
    car = load_car(CAR, knowledge)
    return expected_sheet(car, knowledge, Choice(fault=SHORT, has_drops=True))


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_longer_than_the_width(sheet: Sheet, width: int) -> None:
    lines = sheet_text(sheet, width=width, car_name="car.yaml").splitlines()

    assert max(len(line) for line in lines) <= width


def test_wide_table_has_more_states_side_by_side(sheet: Sheet) -> None:
    def first_head(width: int) -> int:
        text = sheet_text(sheet, width=width, car_name="car.yaml")
        return next(line for line in text.splitlines() if "[V]" in line).count("[")

    assert first_head(120) > first_head(80)


def test_every_test_point_is_in_the_table(sheet: Sheet) -> None:
    text = sheet_text(sheet, width=80, car_name="car.yaml")

    points = set(sheet.car.test_points) - {sheet.car.reference}
    assert [point for point in points if f"\n{point} " not in text] == []


def test_fault_stands_under_the_reading_it_changes(sheet: Sheet) -> None:
    lines = sheet_text(sheet, width=80, car_name="car.yaml").splitlines()

    place = next(
        n for n, line in enumerate(lines) if line.startswith("fuel-pump.plus ")
    )
    assert lines[place + 1].startswith("  with the fault ")
    # blown fuse, so the pump is at the body's 0 V
    assert lines[place + 1].split()[3] == "0*"


def test_one_line_before_the_first_reading_points_at_the_cautions(
    sheet: Sheet,
) -> None:
    text = sheet_text(sheet, width=80, car_name="car.yaml")

    assert text.count("Caution:") == 1
    assert text.index("Caution: before the first reading") < text.index("battery.plus ")


def test_every_caution_stands_at_the_end(sheet: Sheet) -> None:
    text = " ".join(sheet_text(sheet, width=80, car_name="car.yaml").split())
    end = text[text.rindex("cautions - ") :]

    cautions = (sheet.safety_note, *sheet.cautions)
    assert [caution for caution in cautions if caution not in end] == []


def test_with_a_fault_only_the_rows_it_changes_are_kept(sheet: Sheet) -> None:
    kept = changed_rows(sheet, has_looks=False).rows

    assert 0 < len(kept) < len(sheet.rows)
    assert all(any(cell.tells for cell in row.cells) for row in kept)


def test_a_fault_that_changes_nothing_shown_says_so(sheet: Sheet) -> None:
    text = sheet_text(replace(sheet, rows=()), width=80, car_name="car.yaml")

    assert "The fault changes none of the readings asked for." in text


def test_command_shows_every_row_only_with_all(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = ["expect", str(CAR), "--fault", SHORT, "--state", "key-on"]
    main(asked)
    few = capsys.readouterr().out
    main([*asked, "--all"])

    assert "\nbattery.plus " not in few
    assert "\nbattery.plus " in capsys.readouterr().out


def test_defaults_are_counted_and_findable(sheet: Sheet) -> None:
    text = " ".join(sheet_text(sheet, width=80, car_name="car.yaml").split())

    assert f"{sheet.default_values} of the " in text
    assert text.endswith("diagnose expand car.yaml")


def test_blown_fuse_is_named(sheet: Sheet) -> None:
    text = sheet_text(sheet, width=120, car_name="car.yaml")

    assert "with the fault: fuel-pump-fuse blown, the other fuses sound" in text


def test_markdown_rows_have_as_many_cells_as_the_head(sheet: Sheet) -> None:
    rows = [
        line
        for line in sheet_markdown(sheet, car_name="car.yaml").splitlines()
        if line.startswith("|")
    ]

    assert len(rows) > 20
    assert {row.count("|") for row in rows} == {len(sheet.states) + 2}


def test_csv_has_one_row_for_each_reading(sheet: Sheet) -> None:
    rows = list(csv.reader(io.StringIO(sheet_csv(sheet))))

    assert tuple(rows[0]) == COLUMNS
    assert len(rows) - 1 == sum(len(row.cells) for row in sheet.rows)


def test_json_holds_every_reading_with_its_numbers(sheet: Sheet) -> None:
    content = json.loads(sheet_json(sheet, car_name="car.yaml"))

    assert len(content["readings"]) == sum(len(row.cells) for row in sheet.rows)
    look = next(r for r in content["readings"] if r["red"] == "fuel-pump-fuse")
    assert (look["quantity"], look["fault"]["middle"]) == ("look", 1.0)


def test_json_readings_point_at_their_cautions(sheet: Sheet) -> None:
    content = json.loads(sheet_json(sheet, car_name="car.yaml"))

    tank = next(r for r in content["readings"] if r["place"] == "tank")
    told = [content["cautions"][place] for place in tank["cautions"]]
    assert any(caution.startswith("Fuel lines hold pressure") for caution in told)


def test_command_prints_one_place(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["expect", str(CAR), "--place", "tank", "--state", "key-on"])

    shown = capsys.readouterr().out
    assert code == 0
    assert "-- tank" in shown
    assert "-- bay" not in shown


def test_unknown_place_is_one_message(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["expect", str(CAR), "--place", "tunk"])

    assert code == 1
    assert 'no place "tunk"; nearest: "tank"' in capsys.readouterr().err


def test_sheet_needs_no_network_library() -> None:
    program = (
        "import sys\n"
        "from diagnose.cli import main\n"
        f"main(['expect', {str(CAR)!r}, '--format', 'csv', '--state', 'key-on'])\n"
        "print([name for name in ('pgmpy', 'pandas') if name in sys.modules])\n"
    )
    shown = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stdout.splitlines()[-1] == "[]"


def test_a_sheet_says_what_the_alternator_gives(sheet: Sheet) -> None:
    text = " ".join(sheet_text(sheet, width=80, car_name="car.yaml").split())

    # the hill climber: 65 A at 6000 rpm give .6 of that at 800 rpm of the engine
    assert "charging, idle: the alternator gives" in text
    assert "could give 40 A there" in text


def test_markdown_has_the_balance_under_a_heading(sheet: Sheet) -> None:
    lines = sheet_markdown(sheet, car_name="car.yaml").splitlines()

    place = lines.index("## charging")
    assert lines[place + 2].startswith("- charging, idle: the alternator gives")


def test_a_discharging_state_names_loads_and_time(knowledge: Knowledge) -> None:
    car = load_car(CAR, knowledge)
    dead = expected_sheet(car, knowledge, Choice(fault="alternator:dead"))
    text = " ".join(sheet_text(dead, width=80, car_name="car.yaml").split())

    start = text.index("charging with the fault, idle:")
    words = text[start : text.index("cautions -", start)]
    assert "the battery gives the missing" in words
    assert "The largest loads: fuel-pump" in words
    assert "is down in about" in words


def test_json_has_the_balance_of_each_state(sheet: Sheet) -> None:
    found = json.loads(sheet_json(sheet, car_name="car.yaml"))["charging"]

    assert {(one["state"], one["with_fault"]) for one in found} == {
        (state, is_faulty) for state in ("idle",) for is_faulty in (False, True)
    }


def test_a_sheet_about_other_parts_has_no_balance(knowledge: Knowledge) -> None:
    car = load_car(CAR, knowledge)
    other = expected_sheet(car, knowledge, Choice(parts=("fuel-pump",)))

    assert other.balances == ()
