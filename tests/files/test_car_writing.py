"""Car files as text: what is written is read back, what is there stays as it is."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diagnose.errors import DiagnoseError
from diagnose.files.car.writing.additions import with_entries
from diagnose.files.car.writing.entry_text import (
    FileEntry,
    Written,
    entry_lines,
    scalar,
)
from diagnose.files.common_words import as_meant
from diagnose.files.kept_answers import KeptAnswers, Step
from diagnose.files.yaml_positions import read_document


def read(text: str) -> dict[str, object]:
    return dict(read_document(Path("car.yaml"), wanted="car file", text=text).data)


@pytest.mark.parametrize(
    "text",
    [
        "plain",
        "12",
        "true",
        "null",
        "1e3",
        "a: b",
        "a #b",
        'with "quotes"',
        "{brace",
        "comma, here",
        "- dash",
        "'",
        "Größe 5 °C",
        "back\\slash",
        "100%",
        "@at",
        "&anchor",
        "*alias",
        "!tag",
    ],
)
def test_text_is_read_back_as_that_text(text: str) -> None:
    lines = entry_lines(FileEntry(path=(), name="key", value={"inner": text}), 0)

    assert read("\n".join(lines)) == {"key": {"inner": text}}
    assert read(f"key: {scalar(text)}") == {"key": text}


def test_a_long_entry_is_written_key_by_key() -> None:
    value: Written = {"one": "a" * 60, "two": {"three": "b" * 60, "four": ["c", "d"]}}

    lines = entry_lines(FileEntry(path=(), name="key", value=value), 0)

    assert len(lines) > 2
    assert read("\n".join(lines)) == {"key": value}


BEFORE = """\
# mine
car-file: 1
places: {bay: 1 min, tank: 2 min}   # here
grounds:
  stud: {bolted-to: body, place: bay}  # rusty

  # behind the last one
controllers:
  ecu:
    place: bay
    outputs:
      pump: {side: low}   # blue

wires:
  # the big one
  cable:
    from: a
    to: b
# end
"""

ADDED = [
    FileEntry(path=("places",), name="roof", value="3 min"),
    FileEntry(path=("grounds",), name="new-stud", value={"place": "bay"}),
    FileEntry(
        path=("controllers", "ecu", "outputs"), name="fan", value={"side": "low"}
    ),
    FileEntry(path=("wires",), name="more", value={"from": "c"}, comment="assumed"),
    FileEntry(path=("circuits",), name="fan", value={"from": "d"}),
]


def test_entries_are_added_and_every_line_before_stays() -> None:
    after = with_entries(Path("car.yaml"), BEFORE, ADDED)

    data = read(after)
    assert data["places"] == {"bay": "1 min", "tank": "2 min", "roof": "3 min"}
    assert list(data["grounds"]) == ["stud", "new-stud"]  # type: ignore[call-overload]
    assert data["controllers"]["ecu"]["outputs"]["fan"] == {"side": "low"}  # type: ignore[index]
    assert data["wires"]["more"] == {"from": "c"}  # type: ignore[index]
    assert data["circuits"] == {"fan": {"from": "d"}}
    kept = [line for line in BEFORE.splitlines() if not line.startswith("places")]
    assert [line for line in after.splitlines() if line in kept] == kept
    assert "# here" in after


@pytest.mark.parametrize(
    "text",
    [
        "wires: {}",
        "wires: {a: {from: x}}",
        "wires: {a: {from: x},}",
        "wires: {\n  a: {from: x}  # note\n}\n",
        "wires: {\n  a: {from: x},\n}\n",
        "wires:\n  a: {from: x}",
        "wires:\n  a:\n    from: x\n    to: |\n      long\n",
        "wires:\r\n  a: {from: x}\r\nmore: 1\r\n",
        "other: 1",
    ],
)
def test_an_entry_is_added_however_the_section_is_written(text: str) -> None:
    before = read(text)

    after = with_entries(
        Path("car.yaml"), text, [FileEntry(path=("wires",), name="b", value="c")]
    )

    wires = before.get("wires", {})
    assert read(after) == {**before, "wires": {**wires, "b": "c"}}  # type: ignore[dict-item]


def test_an_entry_that_is_there_is_refused() -> None:
    entry = FileEntry(path=("grounds",), name="stud", value="x")

    with pytest.raises(DiagnoseError, match="grounds stud is there already"):
        with_entries(Path("car.yaml"), BEFORE, [entry])


def test_answers_are_kept_line_by_line(tmp_path: Path) -> None:
    kept = KeptAnswers.beside(tmp_path / "car.yaml")
    steps = [Step("answer", "title", "Über: car"), Step("back"), Step("undo")]

    for step in steps:
        kept.append(step)

    assert kept.path.name == "car.yaml.answers"
    assert kept.read() == tuple(steps)


def test_a_line_cut_off_by_a_power_failure_costs_that_line_alone(
    tmp_path: Path,
) -> None:
    kept = KeptAnswers.beside(tmp_path / "car.yaml")
    for text in ("one", "two"):
        kept.append(Step("answer", "title", text))
    torn = kept.path.read_text(encoding="utf-8")[:-5]
    kept.path.write_text(torn, encoding="utf-8")

    kept.append(Step("answer", "title", "three"))

    assert [step.text for step in kept.read()] == ["one", "three"]


def test_another_file_is_not_taken_for_answers(tmp_path: Path) -> None:
    kept = KeptAnswers.beside(tmp_path / "car.yaml")
    kept.path.write_text(json.dumps({"car-answers": 2}), encoding="utf-8")

    with pytest.raises(DiagnoseError, match="holds no answers"):
        kept.read()


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("10 ga 5 feet", "10 AWG 5 ft"),
        ("10ga 5ft", "10 AWG 5 ft"),
        ("1/0 gauge 2 feet", "1/0 AWG 2 ft"),
        ("40 amp", "40 A"),
        ("14 ga. 5'", "14 AWG 5 ft"),
        ("15 amp.", "15 A"),
        ("15a", "15 A"),
        ("110 watts bulbs", "110 W lamps"),
        ("rear-light via 12 AWG 3 ft", "rear-light via 12 AWG 3 ft"),
        ("2.5 mm² 2 m", "2.5 mm2 2 m"),
        ("fan-relay.87 via 14 AWG 2 ft", "fan-relay.87 via 14 AWG 2 ft"),
        ("14 AWG 6 ft red/white", "14 AWG 6 ft red/white"),
    ],
)
def test_what_people_write_is_understood(written: str, meant: str) -> None:
    assert as_meant(written) == meant
