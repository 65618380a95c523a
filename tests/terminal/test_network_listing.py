"""The network export: to a file or standard output, and what it refuses."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest

from diagnose.errors import DiagnoseError
from diagnose.session.model import Model
from diagnose.terminal.network_listing import NetworkOptions, write_network


def exported(model: Model, **changed: object) -> str:
    wanted = {"form": "bif", "has_symptoms": False, "history": {}, "out": None}
    sink = StringIO()
    write_network(
        model.car,
        model.knowledge,
        NetworkOptions(**{**wanted, **changed}),  # type: ignore[arg-type]
        open_model=lambda: model,
        sink=sink,
    )
    return sink.getvalue()


def test_network_of_causes_has_a_node_for_the_battery(model: Model) -> None:
    text = exported(model)

    assert text.startswith("network hill_climber {")
    assert "variable battery {" in text


def test_network_with_symptoms_has_one_node_for_the_cause(
    model: Model, tmp_path: Path
) -> None:
    out = tmp_path / "car.xml"

    assert exported(model, form="xmlbif", has_symptoms=True, out=out) == ""
    text = out.read_text(encoding="utf-8")
    assert "<FOR>engine_cranks</FOR>\n      <GIVEN>cause</GIVEN>" in text


@pytest.mark.parametrize(
    ("history", "message"),
    [
        ({"watr": "wet"}, r'"watr" is no question \(did you mean "water"\?\)'),
        ({"water": "damp"}, '"damp" is no answer to water; known: dry, wet'),
    ],
)
def test_unknown_history_is_refused(
    history: dict[str, str], message: str, model: Model
) -> None:
    with pytest.raises(DiagnoseError, match=message):
        exported(model, history=history)


def test_file_that_can_not_be_written_is_one_message(
    model: Model, tmp_path: Path
) -> None:
    with pytest.raises(DiagnoseError, match="No such file"):
        exported(model, out=tmp_path / "none" / "car.bif")
