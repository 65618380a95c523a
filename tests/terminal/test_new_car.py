"""`diagnose new` as it is typed: through a pipe, taken up again, on a file there."""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.kept_answers import KeptAnswers
from tests.terminal.test_evening import hold

DESCRIBED = Path(__file__).parents[1] / "asking" / "described"
WAGON = (DESCRIBED / "wagon.answers").read_text(encoding="utf-8")


class NewCar:
    """A file to write, and what the program says while it is asked for."""

    def __init__(
        self,
        path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        self.path = path
        self._monkeypatch = monkeypatch
        self._capsys = capsys

    def __call__(self, typed: str) -> str:
        self._monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        assert main(["new", str(self.path), "--width", "100"]) == 0
        return self._capsys.readouterr().out


@pytest.fixture
def new(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> NewCar:
    return NewCar(tmp_path / "car.yaml", monkeypatch, capsys)


@dataclass(frozen=True, slots=True)
class Wagon:
    """The file of the wagon, asked for in one go, and what was said meanwhile."""

    text: str
    said: str

    def write(self, path: Path) -> None:
        path.write_text(self.text, encoding="utf-8")


@pytest.fixture(scope="module")
def wagon(tmp_path_factory: pytest.TempPathFactory) -> Wagon:
    path = tmp_path_factory.mktemp("wagon") / "car.yaml"
    done = hold("new", path, "--width", "100", text_in=WAGON)
    assert done.returncode == 0
    return Wagon(text=path.read_text(encoding="utf-8"), said=done.stdout.decode())


def test_a_car_is_asked_for_written_checked_drawn_and_audited(new: NewCar) -> None:
    said = new(WAGON)

    order = [said.index(margin) for margin in ("Check:", "Drawn:", "Audit:", "Surpris")]
    assert order == sorted(order)
    assert (new.path.parent / "car-1.svg").exists()

    (new.path.parent / "car-1.svg").unlink()
    new.path.unlink()
    said = new(f"{WAGON}draw\naudit\nleave\n")

    assert f"{new.path}: sound. Invented wagon" in " ".join(said.split())
    assert "nothing protects sense-wire" in " ".join(said.split())
    assert (new.path.parent / "car-1.svg").exists()
    assert "Source: 33 CFR 183.455" in " ".join(said.split())
    assert not KeptAnswers.beside(new.path).path.exists()


def test_what_to_rewire_stands_behind_its_caution(wagon: Wagon) -> None:
    surprised = wagon.said[wagon.said.index("Surprised:") :]
    assert surprised.index("Caution:") < surprised.index("nothing protects")


def test_a_car_left_in_the_middle_goes_on_there(new: NewCar, wagon: Wagon) -> None:
    lines = WAGON.splitlines(keepends=True)

    left = new("".join(lines[:9]))
    taken_up = new("".join(lines[9:]))

    assert "Go on by the same command" in " ".join(left.split())
    assert "9 answers were kept" in taken_up
    assert "Surprised:" in wagon.said
    assert new.path.read_text(encoding="utf-8") == wagon.text


def test_ways_back_are_kept_too(new: NewCar) -> None:
    new("One car\ninjection\nback\nundo\n")

    said = new("\n")

    assert "0 answers" not in said
    assert said.index("What do you call the car?") < said.index("What was changed")
    assert "Enter alone answers: My car" in said


def test_an_impossible_answer_is_asked_again(new: NewCar) -> None:
    said = new("A car\nnone\n13 volts\n")

    again = said[said.index("Again:") :]
    assert "13" in again
    assert "Is it a 6 V, 12 V or 24 V car?" in again


EDITED = "# my own words about the fuse panel\n"


def test_a_file_that_is_there_is_added_to(
    new: NewCar, knowledge: Knowledge, wagon: Wagon
) -> None:
    text = wagon.text.replace("panels:", f"{EDITED}panels:")
    text = text.replace("title: Invented", "title: My own   # by hand\n#")
    new.path.write_text(text, encoding="utf-8")

    said = new(
        "fog-lamps, work-light\n"
        "relay engine-controller high\n"
        "feed constant, fuse 10 A, switch dash, load 30 W led-lamp\n"
        "none\n"
    )

    after = new.path.read_text(encoding="utf-8")
    lines = iter(after.splitlines())
    assert all(line in lines for line in text.splitlines())  # in their order
    assert "sound" in said
    car = load_car(new.path, knowledge)
    names = {part.name for part in car.parts}
    assert {"fog-lamps", "work-light-switch.out-contact"} <= names
    output = car.part("engine-controller.fog-lamps-output")
    # the high side joins the controller's supply to what hangs on it
    assert output.terminals["out"] == car.part("engine-controller").terminals["supply"]


def test_a_name_that_is_there_is_refused(new: NewCar, wagon: Wagon) -> None:
    wagon.write(new.path)

    said = new("fan\n")

    assert '"fan" is there already' in said


def test_a_broken_file_is_not_added_to(new: NewCar) -> None:
    new.path.write_text("car-file: 1\ntitle: x\n", encoding="utf-8")

    assert main(["new", str(new.path)]) == 1
    assert new.path.read_text(encoding="utf-8") == "car-file: 1\ntitle: x\n"


def test_a_name_without_its_ending_stands_for_the_file(
    new: NewCar,
    wagon: Wagon,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wagon.write(new.path)
    monkeypatch.chdir(new.path.parent)

    assert main(["check", "car"]) == 0

    assert "car is taken for car.yaml" in capsys.readouterr().err


def test_a_file_beside_that_is_called_like_a_shipped_car_is_told(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "pickup.yaml").write_text("mine\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    assert main(["check", "pickup"]) == 0

    assert "for the file beside you type pickup.yaml" in capsys.readouterr().err


def test_a_full_disk_is_told_and_nothing_is_lost(
    new: NewCar, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(KeptAnswers, "append", fail)

    said = new(WAGON)

    assert "No space left on device" in " ".join(said.split())
    assert new.path.exists()


def test_a_diagram_that_cannot_be_written_costs_nothing_else(new: NewCar) -> None:
    for number in range(1, 10):  # folders stand where its sheets would
        (new.path.parent / f"car-{number}.svg").mkdir()

    said = new(f"{WAGON}draw\nleave\n")

    assert said.count("is not written") == 2
    assert "Surprised:" in said
    assert new.path.exists()
