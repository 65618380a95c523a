"""The currents of a sheet's branches in words: key-off milliamps, millivolts along.

Leaves the numbers to `session.sheets.branch_currents`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from diagnose.session.sheets.sheet import Band, BranchCurrents, Cell, Sheet
from diagnose.terminal.reports.sheets.charging_words import FAULT_LABEL
from diagnose.units import Unit, format_band, format_quantity

# Amps with the key off under this are counted and not listed. [A] Own choice: a
# hundredth of a drain that empties a battery in a month.
LEAST_SHOWN_AMPS = 1e-4

# Volts along a fuse under this are not listed: a meter shows nothing. [V] Derived: half
# of the last digit of a usual meter's millivolts.
LEAST_SHOWN_VOLTS = 5e-5


def branch_words(sheet: Sheet) -> Iterator[str]:
    """Yield a line for each branch.

    Parameters
    ----------
    sheet : Sheet
        The sheet.

    Yields
    ------
    str
        Amps with the key off of the battery and by branch, then millivolts along each
        fuse by state; empty where none was asked for.
    """
    quiet = 0
    for branch in sheet.branches:
        for cell in branch.key_off:
            if _most(cell) < LEAST_SHOWN_AMPS:
                quiet += 1
            else:
                yield f"{cell.state}, {branch.name}: {_amps(cell)}"
    if quiet:
        most = format_quantity(LEAST_SHOWN_AMPS, Unit.AMPS)
        yield f"with the key off under {most} each: {quiet} of the branches asked for"
    for branch in sheet.branches:
        parts = [
            f"{cell.state} {_volts(cell)}"
            for cell in branch.along
            if _most(cell) >= LEAST_SHOWN_VOLTS
        ]
        if parts:
            yield f"along {branch.name}: {', '.join(parts)}"


def branch_data(branch: BranchCurrents) -> dict[str, object]:
    """Return the currents of a branch as plain data, in amps and volts.

    Parameters
    ----------
    branch : BranchCurrents
        The battery or a fuse.

    Returns
    -------
    dict[str, object]
        For JSON.
    """
    return {
        "name": branch.name,
        "key_off_amps": {c.state: _data(c) for c in branch.key_off},
        "volts_along": {c.state: _data(c) for c in branch.along},
    }


def _data(cell: Cell) -> dict[str, object]:
    def plain(band: Band) -> list[float]:
        ends = (band.low, band.middle, band.high)
        return [float(f"{value:.3g}") for value in ends]

    faulty = None if cell.faulty is None else plain(cell.faulty)
    return {"healthy": plain(cell.healthy), "fault": faulty}


def _most(cell: Cell) -> float:
    """Return the most that it reads, sound or with the fault."""
    bands = [cell.healthy, *([] if cell.faulty is None else [cell.faulty])]
    return max(band.high for band in bands)


def _amps(cell: Cell) -> str:
    return _both(cell, lambda b: format_band(b.low, b.high, Unit.AMPS))


def _volts(cell: Cell) -> str:
    def words(band: Band) -> str:
        low, high = (f"{1e3 * value:.2g}" for value in (band.low, band.high))
        return f"{low} mV" if low == high else f"{low} to {high} mV"

    return _both(cell, words)


def _both(cell: Cell, words: Callable[[Band], str]) -> str:
    """Return what is sound, and what the fault makes of it where that differs."""
    sound = words(cell.healthy)
    if cell.faulty is None or words(cell.faulty) == sound:
        return sound
    return f"{sound}, {FAULT_LABEL} {words(cell.faulty)}"
