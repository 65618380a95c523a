"""Readings told in few digits: as sharp as they were told, and no sharper."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.repeated_readings import disagree
from diagnose.session.evidence.seen import rounding_deviation
from diagnose.session.fact_rows import fact_from_row, fact_to_row
from diagnose.session.facts import ComplaintFact, ReadingFact
from diagnose.session.ready_car import Model

PUMP = Reading(
    kind=ReadingKind.DC_VOLTS,
    state="key-on",
    red="fuel-pump.plus",
    black="battery.minus",
)


def best_after(fact: ReadingFact, model: Model) -> tuple[str, float]:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    best = diagnosis.tell(fact).causes[0]
    return best.name, best.probability


def test_a_round_number_may_be_half_of_its_last_digit_off() -> None:
    # evenly spread over a volt: 1 / sqrt(12)
    told = ReadingFact(reading=PUMP, value=12.0, rounded_to=1.0)

    assert rounding_deviation(told) == pytest.approx(0.2887, abs=1e-4)


def test_nothing_and_a_twentieth_of_a_volt_lead_to_the_same_cause(
    model: Model,
) -> None:
    zero = best_after(ReadingFact(reading=PUMP, value=0.0, rounded_to=1.0), model)
    some = best_after(ReadingFact(reading=PUMP, value=0.05, rounded_to=0.01), model)

    assert zero[0] == some[0]
    assert zero[1] == pytest.approx(some[1], rel=0.25)


def test_a_round_number_agrees_with_a_sharp_one_that_rounds_to_it(
    model: Model,
) -> None:
    sharp = ReadingFact(reading=PUMP, value=12.38, rounded_to=0.01)
    # 12.38 rounds to 12; .38 V apart is beyond what a meter errs
    assert not disagree(sharp, replace(sharp, value=12.0, rounded_to=1.0), model)
    assert disagree(sharp, replace(sharp, value=12.0, rounded_to=0.01), model)


def test_how_sharp_a_reading_was_told_is_kept() -> None:
    told = ReadingFact(reading=PUMP, value=12.0, rounded_to=1.0)

    assert fact_from_row(fact_to_row(told)) == told


def test_a_row_without_a_last_digit_is_as_sharp_as_the_meter() -> None:
    sharp = ReadingFact(reading=PUMP, value=math.inf)

    row = fact_to_row(sharp)
    assert "rounded_to" not in row.content
    assert fact_from_row(row) == sharp
