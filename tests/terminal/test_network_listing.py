"""The network export: to a file or standard output, and what it refuses."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest

from diagnose.errors import DiagnoseError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.fact_rows import fact_to_row
from diagnose.session.facts import ComplaintFact, ReadingFact, UndoFact
from diagnose.session.ready_car import Model
from diagnose.store.case_store import CaseStore
from diagnose.terminal.reports.network_listing import (
    NetworkOptions,
    stored_facts,
    write_network,
)
from tests.terminal.conftest import CAR, clock

REST = ReadingFact(
    reading=Reading(
        kind=ReadingKind.DC_VOLTS,
        state="key-off",
        red="battery.plus",
        black="battery.minus",
    ),
    value=12.5,
)


def exported(model: Model, **changed: object) -> str:
    wanted = {
        "form": "bif",
        "has_symptoms": False,
        "history": {},
        "facts": None,
        "out": None,
    }
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


def test_network_of_a_case_has_its_facts(model: Model, tmp_path: Path) -> None:
    with CaseStore(tmp_path, clock=clock) as store:
        store.create(name="sunday", car_path=str(CAR), car_text=CAR.read_text())
        told = (ComplaintFact(complaint="no-crank"), UndoFact(), REST)
        store.append("sunday", [fact_to_row(f) for f in told], after=0, standing="")

    car, facts = stored_facts("sunday", tmp_path, model.knowledge)

    assert (car.name, facts) == ("hill-climber", (REST,))
    assert "variable fact_1_volts_key_off_battery_plus_" in exported(model, facts=facts)


@pytest.mark.parametrize(
    ("history", "message"),
    [
        (
            {"watr": "wet"},
            r'"watr" is no question about the history \(did you mean "water"\?\)',
        ),
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


def test_the_car_file_that_is_read_is_never_written_over(
    model: Model, tmp_path: Path
) -> None:
    source, link = tmp_path / "car.yaml", tmp_path / "other-name.yaml"
    source.write_text("title: mine\n")
    link.symlink_to(source)
    car = replace(model.car, path=str(source))

    for out in (source, link):
        with pytest.raises(DiagnoseError, match="would overwrite"):
            exported(replace(model, car=car), out=out)
    assert source.read_text() == "title: mine\n"
