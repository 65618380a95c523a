"""The list of stored cases: quick to begin, and safe to read."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import CaseStore
from diagnose.terminal.reports.case_listing import list_cases
from tests.terminal.conftest import clock

LIGHT = """
import sys
from diagnose.cli import main
main(["cases", "--data-folder", sys.argv[1]])
heavy = {"numpy", "pydantic", "yaml"} & sys.modules.keys()
print(sorted(heavy))
"""


def listed(folder: Path) -> str:
    sink = io.StringIO()
    list_cases(folder, sink)
    return sink.getvalue()


def test_cases_are_listed_the_latest_first_over_many_pages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    with CaseStore(tmp_path, clock=clock) as store:
        store.rows("PRAGMA synchronous = OFF")
        for number in range(450):
            store.create(name=f"case-{number}", car_path="car.yaml", car_text="")
        row = FactRow(kind="undo", content={})
        store.append("case-7", [row], after=0, standing="pump wire 60 %")
    lines = listed(tmp_path).splitlines()

    assert lines[:2] == [
        "case-7 2031-05-04 19:30 UTC 1 facts car.yaml",
        "  pump wire 60 %",
    ]
    assert lines[2].startswith("case-449 ")
    assert len(lines) == 451


def test_a_name_with_a_line_break_makes_no_second_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    with CaseStore(tmp_path, clock=clock) as store:
        store.create(name="sunday", car_path="a\nmonday 2031\x1b[2J.yaml", car_text="")

    assert listed(tmp_path) == (
        "sunday 2031-05-04 19:30 UTC 0 facts a monday 2031.yaml\n"
    )


def test_what_compiled_cars_take_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    entry = tmp_path / "diagnose" / "compiled" / "a.arrays"
    entry.mkdir(parents=True)
    (entry / "volts.npy").write_bytes(bytes(3_000_000))

    told = listed(tmp_path / "data").splitlines()[-1]
    assert told == (
        f"compiled cars take 3 MB in {entry.parent}; they are made anew when deleted"
    )


def test_the_list_of_cases_loads_nothing_heavy(tmp_path: Path) -> None:
    shown = subprocess.run(
        [sys.executable, "-c", LIGHT, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stdout.splitlines()[-1] == "[]"
