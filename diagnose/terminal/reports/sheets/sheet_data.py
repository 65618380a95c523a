"""The expected-readings sheet for other programs: CSV and JSON, one reading each.

Numbers are in volts or ohms; over-range is ``OL``. Leaves the numbers to
`session.sheets.expected_readings`.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence

from diagnose.measurement.readings import ReadingKind
from diagnose.session.fact_rows import OVER_RANGE
from diagnose.session.sheets.charge_balance import ChargeBalance
from diagnose.session.sheets.sheet import Band, Cell, Row, Sheet
from diagnose.session.words.wording import unit_symbol
from diagnose.terminal.reports.sheets.branch_words import branch_data

# The header of the CSV, one name for each column.
COLUMNS = (
    "place",
    "quantity",
    "red",
    "black",
    "state",
    "unit",
    "healthy_low",
    "healthy_middle",
    "healthy_high",
    "fault_low",
    "fault_middle",
    "fault_high",
    "tells",
)
# A value of a reading; a text where the meter is over its range.
Number = float | str


def sheet_csv(sheet: Sheet) -> str:
    """Return the sheet as CSV (RFC 4180) with a header."""
    sink = io.StringIO()
    writer = csv.writer(sink)
    writer.writerow(COLUMNS)
    for row in sheet.rows:
        for cell in row.cells:
            faulty = cell.faulty
            writer.writerow(
                (
                    row.place,
                    cell.kind.value,
                    row.red,
                    row.black,
                    cell.state,
                    unit_symbol(cell.kind),
                    *_numbers(cell.healthy, cell.kind),
                    *(("", "", "") if faulty is None else _numbers(faulty, cell.kind)),
                    "yes" if cell.tells else "no",
                )
            )
    return sink.getvalue()


def sheet_json(sheet: Sheet, *, car_name: str) -> str:
    """Return the sheet as one JSON object."""
    fault = sheet.fault
    content = {
        "car": car_name,
        "title": sheet.car.title,
        "reference": sheet.car.reference,
        "safety_note": sheet.safety_note,
        "cautions": list(sheet.cautions),
        "fault": None if fault is None else {"name": fault.name, "says": fault.says},
        "unreached_states": list(sheet.unreached),
        "unsteady_states": list(sheet.unsteady),
        "charging": [
            _charging(balance, is_faulty=is_faulty)
            for is_faulty, balances in (
                (False, sheet.balances),
                (True, sheet.faulty_balances),
            )
            for balance in balances
        ],
        "branches": [branch_data(branch) for branch in sheet.branches],
        "values": {"default": sheet.default_values, "car_file": sheet.own_values},
        "states": {state.name: state.label for state in sheet.states},
        "readings": [
            _reading(row, cell, sheet.cautions)
            for row in sheet.rows
            for cell in row.cells
        ],
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _charging(balance: ChargeBalance, *, is_faulty: bool) -> dict[str, object]:
    """Return where the current comes from and goes to in a state, in amps."""
    is_finite = math.isfinite(balance.minutes_left)
    return {
        "state": balance.state,
        "with_fault": is_faulty,
        "most_amps": round(balance.most_amps, 1),
        "given_amps": round(balance.given_amps, 1),
        "charge_amps": round(balance.charge_amps, 1),
        "loads": {load.name: round(load.amps, 1) for load in balance.loads},
        "field_amps": round(balance.field_amps, 1),
        "loads_amps": round(balance.loads_amps, 1),
        "excess": list(balance.excess),
        "is_excess_enough": balance.is_excess_enough,
        "minutes_left": round(balance.minutes_left) if is_finite else None,
    }


def _reading(row: Row, cell: Cell, cautions: Sequence[str]) -> dict[str, object]:
    """Return one reading; its cautions by their places in the sheet's list, from 0."""
    faulty = cell.faulty
    return {
        "place": row.place,
        "quantity": cell.kind.value,
        "red": row.red,
        "black": row.black,
        "state": cell.state,
        "unit": unit_symbol(cell.kind),
        "healthy": _band(cell.healthy, cell.kind),
        "fault": None if faulty is None else _band(faulty, cell.kind),
        "tells": cell.tells,
        "cautions": [cautions.index(caution) for caution in row.cautions],
    }


def _band(band: Band, kind: ReadingKind) -> dict[str, Number]:
    names = ("low", "middle", "high")
    return dict(zip(names, _numbers(band, kind), strict=True))


def _numbers(band: Band, kind: ReadingKind) -> tuple[Number, ...]:
    return tuple(_number(value, kind) for value in (band.low, band.middle, band.high))


def _number(value: float, kind: ReadingKind) -> Number:
    """Return a value without digits that mean nothing."""
    if math.isinf(value):
        return OVER_RANGE
    if kind in (ReadingKind.DC_VOLTS, ReadingKind.AC_VOLTS):
        return round(value, 3) + 0.0  # no minus before a nought
    return float(f"{value:.4g}")
