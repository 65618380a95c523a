"""Wires from a spreadsheet: read, asked about, written, and written back the same."""

from __future__ import annotations

import csv
import io
import sys
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.errors import InvalidFileError
from diagnose.files.car.writing.wire_list import read_wire_list

LIST = """\
from;to;length;size;fuse;color;note
battery.plus;starter-solenoid.30;4 feet;2 ga;;red;
battery.minus;engine;3 ft;2 AWG;;black;
engine;body;1 ft;4 AWG;;;braided
starter-solenoid.87;starter.plus;1 ft;2 AWG;;;
key.start;starter-solenoid.86;8 ft;12 AWG;;;
starter-solenoid.85;starter.case;1 ft;12 AWG;;;
alternator.output;battery.plus;1.5 m;10 mm2;;red;
battery.plus;key.battery;6 ft;12 AWG;30 amp;brown;kinked
key.ignition;coil.plus;5 ft;14 AWG;15 A;red/white;along the sill
coil.minus;engine;2 ft;14 AWG;;;new bolt
battery.plus;fan-relay.30;3 ft;10 AWG;30 A;red;
fan-relay.87;fan.plus;4 ft;10 AWG;;;
fan.minus;front-stud;2 ft;10 AWG;;black;
key.ignition;fan-relay.86;5 ft;16 AWG;5 A;;
fan-relay.85;front-stud;2 ft;16 AWG;;;
key.ignition;alternator.exciter;6 ft;16 SAE;;;
key.ignition;horn.plus;6 ft;16 AWG;10 A;;
"""

SAME = ("from", "to", "size", "length", "colour", "fuse", "note")


def typed(monkeypatch: pytest.MonkeyPatch, lines: str, *words: str) -> int:
    monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
    return main(list(words))


def wires(text: str) -> set[tuple[str, ...]]:
    rows = csv.DictReader(io.StringIO(text))
    return {tuple(row[column] for column in SAME) for row in rows}


def test_a_list_becomes_a_sound_car_and_is_written_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "wires.csv").write_text(LIST, encoding="utf-8")
    car, again = str(tmp_path / "car.yaml"), str(tmp_path / "again.yaml")

    typed(monkeypatch, "\n" * 13, "new", car, "--from", str(tmp_path / "wires.csv"))
    said = " ".join(capsys.readouterr().out.split())
    main(["expand", car, "--format", "csv"])
    first = capsys.readouterr().out
    (tmp_path / "first.csv").write_text(first, encoding="utf-8")
    typed(monkeypatch, "\n" * 13, "new", again, "--from", str(tmp_path / "first.csv"))
    capsys.readouterr()
    main(["expand", again, "--format", "csv"])

    assert "sound. My car" in said
    assert "has `assumed` behind it in the file" in said
    written = " ".join(Path(car).read_text(encoding="utf-8").split())
    assert "# assumed: its positions" in written
    assert (
        "key.ignition",
        "coil.plus",
        "14 AWG",
        "5 ft",
        "red/white",
        "15 A",
        "along the sill",
    ) in wires(first)
    assert (
        "alternator.output",
        "battery.plus",
        "10 mm2",
        "1.5 m",
        "red",
        "",
        "",
    ) in wires(first)
    noted = {row[1]: row[-1] for row in wires(first) if row[-1]}
    assert noted == {
        "coil.plus": "along the sill",
        "engine": "new bolt",
        "key.battery": "kinked",
        "body": "braided",
    }
    joined = {row[:3] for row in wires(first) if row[2] == "none"}
    assert joined == {("front-stud", "body", "none"), ("horn.minus", "body", "none")}
    assert len(wires(first)) == len(LIST.splitlines()) - 1 + len(joined)
    # no wire of the list goes to its minus
    assert "# assumed: grounded at the body, where it sits" in " ".join(
        Path(car).read_text(encoding="utf-8").split()
    )
    assert capsys.readouterr().out == first


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("from,to,size\na.b,c.d,14 AWG\n", 'row 1: column "length" is missing'),
        ("from,to,size,length,hue\n", 'row 1: there is no column "hue"'),
        ("from,to,size,length,size\n", 'row 1: column "size" is there twice'),
        ("from,to,size,length\n", "holds no wires"),
        ("from,to,size,length\nbody,engine,14,6 ft\n", "row 2, column size: "),
        ("from,to,size,length\nbody,engine,14 AWG,6\n", "row 2, column length: "),
        ("from,to,size,length\nbody,,14 AWG,6 ft\n", "row 2, column to: is empty"),
        (
            "from,to,size,length,colour\nbody,engine,14 AWG,6 ft,rde\n",
            'row 2, column colour: "rde" is no colour',
        ),
        (
            "from,to,size,length,fuse\nbody,engine,14 AWG,6 ft,big\n",
            "row 2, column fuse: ",
        ),
        ("from,to,size,length\nbody,engine,4 AWG,6 ft,red\n", "more cells than"),
        ("from,to,size,length\nbody,body,4 AWG,6 ft\n", "row 2, column to: is body"),
        (
            'from,to,size,length\nbody,engine,4 AWG,6 ft\n"body,engine,4 AWG,6 ft\n',
            "row 3: a quote opens here",
        ),
        (
            "from,to,size,length,name\nbody,engine,4 AWG,6 ft,strap\n"
            "body,frame,4 AWG,6 ft,strap\n",
            'row 3, column name: "strap" is the name of row 2 too',
        ),
    ],
)
def test_a_broken_list_names_row_and_column(
    text: str, told: str, tmp_path: Path
) -> None:
    path = tmp_path / "wires.csv"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(InvalidFileError) as caught:
        read_wire_list(path)

    assert any(told in line for line in caught.value.lines), caught.value.lines


def test_decimal_commas_are_read_where_semicolons_part_the_cells(
    tmp_path: Path,
) -> None:
    path = tmp_path / "wires.csv"
    path.write_text("from;to;size;length\nbody;engine;2,5 mm2;1,5 m\n")

    assert [row.wire for row in read_wire_list(path)] == ["2.5 mm2 1.5 m"]


def test_every_broken_row_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "wires.csv"
    rows = ["from,to,size,length", "body,engine,14,6 ft", "body,engine,99 AWG,6 ft"]
    path.write_text("\n".join(rows), encoding="utf-8")

    with pytest.raises(InvalidFileError) as caught:
        read_wire_list(path)

    assert [problem.line for problem in caught.value.problems] == [2, 3]


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("a: {b: 1\nc: 2\n", "1:9: is not YAML here: `}` is missing"),
        ("a:\n  b: {c: [1, 2}\n  d: 1\n", "2:15: is not YAML here: `]` is missing"),
        ("a: {b: 1,\n", "1:10: is not YAML here: `}` is missing"),
        ('a: {b: "}"\nc: 1\n', "1:11: is not YAML here: `}` is missing"),
        ("a: {b: 1  # }\nc: 1\n", "1:9: is not YAML here: `}` is missing"),
    ],
)
def test_a_missing_brace_is_named_where_it_is_missing(
    text: str, missing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(text, encoding="utf-8")

    assert main(["check", str(path)]) == 1

    assert missing in capsys.readouterr().err


def test_causes_are_listed_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["causes", "sedan"]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith("fuel-pump-fuse:") for line in lines)
    assert len(lines) > 300
