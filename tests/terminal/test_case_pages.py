"""Replaying and recording from the command line, on the small invented car."""

from __future__ import annotations

import contextlib
import io
import shutil
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.files.cases.case_file import load_case
from diagnose.session.ready_car import Model

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"


@pytest.fixture(scope="module")
def case_folder(model: Model, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a case recorded by the command, and the data it used."""
    folder = tmp_path_factory.mktemp("recorded")
    assert model.car.name == "hill-climber"
    options = ["--complaint", "first-start-fails", "--seed", "3"]
    fault = ["--fault", "fuel-pump-ground:open_circuit"]
    places = ["--out", str(folder / "case.yaml")]
    assert main(["record", str(CAR), *fault, *options, *places]) == 0
    return folder


@pytest.fixture
def recorded(case_folder: Path, tmp_path: Path) -> Path:
    """Return a copy of the recorded case, to spoil."""
    return Path(shutil.copy(case_folder / "case.yaml", tmp_path))


@pytest.fixture(scope="module")
def replayed(case_folder: Path) -> tuple[int, str]:
    """Return the exit code and the text of the recorded case replayed."""
    places = ["--width", "200"]
    with contextlib.redirect_stdout(io.StringIO()) as shown:
        code = main(["replay", str(case_folder / "case.yaml"), *places])
    return code, shown.getvalue()


def test_recorded_case_is_replayed_to_its_end(replayed: tuple[int, str]) -> None:
    code, shown = replayed

    assert code == 0
    assert shown.splitlines()[-1].endswith(" hold.")


def test_cautions_come_before_the_step_they_belong_to(
    replayed: tuple[int, str],
) -> None:
    _, shown = replayed

    steps = [step for step in shown.split("\nStep ")[1:] if "Red lead on" in step]
    first = next(step for step in steps if "Car: key on" in step)
    caution = first.index("Caution: Turning the key on")
    assert caution < first.index("Red lead on")


def test_case_that_does_not_hold_is_told_and_exits_1(
    recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = recorded.read_text().replace(
        "at-start: {advice: open", "at-start: {advice: stop"
    )
    recorded.write_text(text)

    code = main(["replay", str(recorded)])

    shown = capsys.readouterr()
    assert code == 1
    assert "FAILS: advice stop (is open)" in shown.out
    assert "1 of " in shown.err


def test_car_beside_the_case_file_is_found(
    recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (recorded.parent / "mine.yaml").write_text(CAR.read_text())
    text = recorded.read_text().replace(
        f"car: {load_case(recorded).car}", "car: mine.yaml"
    )
    recorded.write_text(text.replace(f'car: "{CAR}"', "car: mine.yaml"))

    code = main(["replay", str(recorded)])

    assert (code, capsys.readouterr().err) == (0, "")


def test_unknown_case_names_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["replay", "no-such-case"])

    assert code == 1
    assert "cases that come with the program: " in capsys.readouterr().err


def test_recording_overwrites_nothing(
    recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = recorded.read_text()

    code = main(
        ["record", "sedan", "--fault", "x", "--complaint", "y", "--out", str(recorded)]
    )

    assert (code, recorded.read_text()) == (1, before)
    assert "exists already" in capsys.readouterr().err
