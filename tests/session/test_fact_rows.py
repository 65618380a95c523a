"""Facts survive being written as rows, and rows that are no facts are refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.fact_rows import fact_from_row, fact_to_row
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.store.case_rows import FactRow

VOLTS = ReadingFact(
    reading=Reading(
        kind=ReadingKind.DC_VOLTS,
        state="key-on",
        red="pump.plus",
        black="battery.minus",
    ),
    value=11.2,
)
OVER_RANGE = ReadingFact(
    reading=Reading(
        kind=ReadingKind.OHMS, state="isolated", red="pump.plus", black="pump.minus"
    ),
    value=math.inf,
)
EVERY_FACT: tuple[Fact, ...] = (
    ContextFact(context="wiring", answer="fresh"),
    ComplaintFact(complaint="no-start"),
    SymptomFact(symptom="engine-cranks", is_present=False),
    VOLTS,
    OVER_RANGE,
    replace(VOLTS, while_it_shows=False),
    RepairFact(cause="pump-wire:open_circuit"),
    SkipFact(step=SymptomCheck(symptom="engine-cranks")),
    PrestartFact(),
    LimitFact(limit="clamp", is_lacking=True),
    TakesFact(subject="tank", minutes=15.0),
    UndoFact(),
)


@pytest.mark.parametrize("fact", EVERY_FACT)
def test_a_fact_survives_its_row_and_strict_json(fact: Fact) -> None:
    row = fact_to_row(fact)
    content = json.loads(json.dumps(dict(row.content), allow_nan=False))

    assert fact_from_row(FactRow(kind=row.kind, content=content)) == fact


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (FactRow(kind="rumour", content={}), '"rumour" is not a kind of fact'),
        (
            FactRow(kind="symptom", content={"symptom": "cranks", "is_present": 1}),
            '"is_present" must be true or false, found 1',
        ),
        (
            FactRow(kind="complaint", content={}),
            '"complaint" must be text, found None',
        ),
        (
            FactRow(
                kind="reading",
                content={"kind": "hertz", "state": "", "red": "", "black": ""},
            ),
            '"hertz" is not a kind of reading; known are: volts, ac, ohms, amps, fuse, '
            "lamp, look",
        ),
        (
            FactRow(
                kind="reading",
                content={
                    "kind": "volts",
                    "state": "",
                    "red": "",
                    "black": "",
                    "value": True,
                },
            ),
            '"value" must be a number or "OL", found True',
        ),
    ],
)
def test_rows_that_are_no_facts_are_refused(row: FactRow, message: str) -> None:
    with pytest.raises(ReadingError) as refused:
        fact_from_row(row)

    assert message in str(refused.value)
