"""What the alternator gives and the loads take, in words below a sheet.

Leaves the amps to `session.sheets.charge_balance`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from diagnose.session.sheets.charge_balance import DOWN_CHARGE, ChargeBalance
from diagnose.session.sheets.sheet import Sheet
from diagnose.units import format_minutes, format_probability

# Stands before whatever holds with the fault that was asked for.
FAULT_LABEL = "with the fault"

# Loads named where the alternator is too small. Own choice.
MOST_LOADS = 5


def charging_words(sheet: Sheet) -> Iterator[str]:
    """Yield what the alternator gives and the loads take, one text for each state."""
    for balance in sheet.balances:
        yield _balance_words(balance, "charging")
    for balance in sheet.faulty_balances:
        yield _balance_words(balance, f"charging {FAULT_LABEL}")


def _balance_words(balance: ChargeBalance, start: str) -> str:
    """Return where the current of one state comes from and goes to."""
    words = (
        f"{start}, {balance.state}: the alternator gives {balance.given_amps:.0f} A "
        f"and could give {balance.most_amps:.0f} A there, the loads take "
        f"{balance.loads_amps:.0f} A, its field {balance.field_amps:.0f} A"
    )
    if not math.isfinite(balance.minutes_left):
        return f"{words}, the battery is charged with {balance.charge_amps:.0f} A."
    largest = ", ".join(
        f"{load.name} {load.amps:.0f} A" for load in balance.loads[:MOST_LOADS]
    )
    left = format_minutes(_rounded(balance.minutes_left))
    return (
        f"{words}, the battery gives the missing {-balance.charge_amps:.0f} A and is "
        f"down in about {left}. The largest loads: {largest}. {_excess_words(balance)} "
        "The time is a guess: a sound battery at 20 °C, from its charge in the car "
        f"file down to {format_probability(DOWN_CHARGE)}, by Peukert's law."
    )


def _rounded(minutes: float) -> float:
    """Return a guess of minutes without digits that mean nothing."""
    step = 5.0 if minutes < 60.0 else 15.0
    return max(step * round(minutes / step), step)


def _excess_words(balance: ChargeBalance) -> str:
    """Return which loads are too many."""
    if not balance.excess:
        return "Nothing that can be switched off makes the difference."
    names = ", ".join(balance.excess)
    if balance.is_excess_enough:
        return f"Without {names} the alternator would carry the rest."
    return f"Even without {names} it would not be enough."
