"""The expansion of a car file as lines."""

from __future__ import annotations

import io
from pathlib import Path

from diagnose.terminal.reports.listings import list_expansion

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"


def test_an_expansion_has_the_colour_and_the_note_of_a_wire(tmp_path: Path) -> None:
    text = CAR.read_text(encoding="utf-8").replace(
        "wire: 12 AWG 2 ft}", "wire: 12 AWG 2 ft red/white, note: behind the column}"
    )
    path = tmp_path / "car.yaml"
    path.write_text(text, encoding="utf-8")
    sink = io.StringIO()

    list_expansion(str(path), sink)

    lines = sink.getvalue().splitlines()
    (number,) = [n for n, line in enumerate(lines) if line.startswith("switch-feed (")]
    assert lines[number].endswith(", red/white)")
    assert lines[number + 1] == "  note: behind the column"
