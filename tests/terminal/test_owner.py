"""What a new case knows of its owner."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import DiagnoseError
from diagnose.session.facts import LimitFact, TakesFact
from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.owner import told_of_owner


def owner_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "owner.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_file_and_command_line_add_up(model: Model, tmp_path: Path) -> None:
    path = owner_file(tmp_path, "without: [clamp]\ntakes: {tank: 15}\n")

    facts, remarks = told_of_owner(
        model.car, model.knowledge, without=["helper", "clamp"], path=path
    )
    assert facts == (
        LimitFact(limit="clamp", is_lacking=True),
        LimitFact(limit="helper", is_lacking=True),
        TakesFact(subject="tank", minutes=15.0),
    )
    assert remarks == ()


def test_place_of_another_car_is_left_out_and_said(
    model: Model, tmp_path: Path
) -> None:
    path = owner_file(tmp_path, "takes: {loft: 15}\n")

    facts, remarks = told_of_owner(model.car, model.knowledge, without=(), path=path)
    assert facts == ()
    assert remarks == ("This car has no loft; what it takes is left out.",)


def test_file_that_is_named_must_be_there(model: Model, tmp_path: Path) -> None:
    with pytest.raises(DiagnoseError, match="no such file"):
        told_of_owner(
            model.car, model.knowledge, without=(), path=tmp_path / "none.yaml"
        )
