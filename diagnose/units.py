"""Units at the edge: what is believable on a car, and how numbers are written.

Inside the program every quantity is a plain float in volts, ohms, amps or minutes.
Leaves to `typed_readings` what a typed number means, to `session` what a reading means.
"""

from __future__ import annotations

import math
from enum import Enum

from diagnose.errors import ReadingError

# Highest believable magnitude of a DC volts reading. [V] ISO 6469-3:2021: voltage class
# A ends at 60 V DC; no 6, 12 or 24 V car passes it.
MOST_VOLTS = 60.0

# Highest believable magnitude of an amps reading. [A] From memory: the starter of a
# large petrol engine stalls under 1000 A; half as much again for a clamp meter's peak.
MOST_AMPS = 1500.0

# Highest resistance that a hand-held meter shows before OL. [Ω] From memory: top ranges
# end between 20 and 100 Mohm.
MOST_OHMS = 1.0e8

# Longest believable time for one step. [min] Own choice: a day.
MOST_MINUTES = 1440.0

# Digits of a number on the screen. [1] Own choice: as many as a meter of 2000 counts
# shows for sure.
SIGNIFICANT_DIGITS = 3

# Digits of a number that is written back as it was typed. [1] Own choice: more than any
# hand-held meter shows.
TYPED_DIGITS = 6

# Most decimals of a number. [1] Own choice: a millivolt is the last digit that counts.
MOST_DECIMALS = 3

# What is written as 0. [in the unit written] Derived: half of the last decimal.
LEAST_WRITTEN = 0.0005

# Amps below which milliamps are written. [A] Own choice: half an amp is said as amps,
# what is less as milliamps.
LEAST_WHOLE_AMPS = 0.5

# Ohms from which on kilo and mega are written. [Ω] The SI prefixes.
KILO_OHMS, MEGA_OHMS = 1e3, 1e6

# Probabilities below and above which no percent is told. [1] Own choice: nothing is
# certain, so nothing is written as 0 % or 100 %.
LEAST_TOLD, MOST_TOLD = 0.01, 0.99


class Unit(Enum):
    """The units a meter shows; the value is the text used on screen and in files."""

    VOLTS = "V"
    OHMS = "ohm"
    AMPS = "A"

    @property
    def words(self) -> str:
        """Its name in a sentence: ``volts``."""
        return self.name.lower()


def check_range(value: float, unit: Unit) -> None:
    """Refuse a value no sound reading on a 6, 12 or 24 V car has.

    Parameters
    ----------
    value : float
        In `unit`. [V, Ω or A]
    unit : Unit
        What the meter was set to.

    Raises
    ------
    ReadingError
        If the value is not a number or out of range.
    """
    if math.isnan(value):
        raise ReadingError("the reading is not a number; type what the meter shows")
    if unit is Unit.OHMS:
        _check_ohms(value)
        return
    most = MOST_VOLTS if unit is Unit.VOLTS else MOST_AMPS
    if abs(value) > most:
        raise ReadingError(
            f"{value:g} {unit.value} can't be: readings on a car lie between "
            f"{-most:g} and {most:g} {unit.value}; "
            "check the number, and whether the meter shows milli"
        )


def check_minutes(minutes: float) -> None:
    """Refuse a time that nobody spends on one step.

    Parameters
    ----------
    minutes : float
        The time. [min]

    Raises
    ------
    ReadingError
        If it is not a number, below 0 or beyond a day.
    """
    if not 0.0 <= minutes <= MOST_MINUTES:
        raise ReadingError(
            f"{minutes:g} min can't be; a step takes from 0 to {MOST_MINUTES:g} min"
        )


def format_quantity(value: float, unit: Unit) -> str:
    """Return a quantity as it is written on the screen.

    Parameters
    ----------
    value : float
        In `unit`. [V, Ω or A]
    unit : Unit
        Its unit.

    Returns
    -------
    str
        With `SIGNIFICANT_DIGITS` and a unit people say: never ``0.004 A`` but ``4 mA``.

    Examples
    --------
    >>> format_quantity(12.43, Unit.VOLTS)
    '12.4 V'
    >>> format_quantity(0.032, Unit.AMPS)
    '32 mA'
    """
    return _written(value, unit, digits=SIGNIFICANT_DIGITS)


def format_typed(value: float, unit: Unit) -> str:
    """Return a reading with the digits it was typed with, up to `TYPED_DIGITS`.

    Parameters
    ----------
    value : float
        In `unit`. [V, Ω or A]
    unit : Unit
        Its unit.

    Returns
    -------
    str
        As from `format_quantity`.

    Examples
    --------
    >>> format_typed(12.43, Unit.VOLTS)
    '12.43 V'
    """
    return _written(value, unit, digits=TYPED_DIGITS)


def format_band(low: float, high: float, unit: Unit) -> str:
    """Return a band in one unit, as one number when both ends read the same.

    Ohms and kilohms are not mixed: a quick eye would take the one for the other.

    Parameters
    ----------
    low, high : float
        Ends of the band, `low` not above `high`. [V, Ω or A]
    unit : Unit
        Their unit.

    Returns
    -------
    str
        For instance ``0.1 to 0.4 V``.

    Examples
    --------
    >>> format_band(0.1, 0.4, Unit.VOLTS)
    '0.1 to 0.4 V'
    >>> format_band(3.2, float("inf"), Unit.OHMS)
    '3.2 ohm to OL'
    >>> format_band(147.0, 8660.0, Unit.OHMS)
    '147 ohm to 8.66 kohm'
    """
    leading = max(abs(low), abs(high), key=lambda size: size if size < MOST_OHMS else 0)
    of_low = low if unit is Unit.OHMS and low >= LEAST_WRITTEN else leading
    (first, first_symbol), (second, second_symbol) = (
        _number_and_symbol(end, of_end, unit, digits=SIGNIFICANT_DIGITS)
        for end, of_end in ((low, of_low), (high, leading))
    )
    if (first, first_symbol) == (second, second_symbol):
        return f"{first} {first_symbol}".strip()
    if not second_symbol:
        return f"{first} {first_symbol} to {second}"
    if first_symbol != second_symbol:
        return f"{first} {first_symbol} to {second} {second_symbol}"
    return f"{first} to {second} {second_symbol}"


def format_minutes(minutes: float) -> str:
    """Return a duration the way people say it.

    Parameters
    ----------
    minutes : float
        The duration. [min]

    Returns
    -------
    str
        In whole minutes, and hours from one on.

    Examples
    --------
    >>> format_minutes(0.4), format_minutes(4.4), format_minutes(75.0)
    ('under 1 min', '4 min', '1 h 15 min')
    """
    whole = round(minutes)
    if whole < 1:
        return "under 1 min"
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def format_probability(probability: float) -> str:
    """Return a probability in whole percent, never as 0 % or 100 %.

    Parameters
    ----------
    probability : float
        From 0 to 1. [1]

    Returns
    -------
    str
        From ``under 1 %`` to ``over 99 %``.

    Examples
    --------
    >>> format_probability(0.423), format_probability(0.001)
    ('42 %', 'under 1 %')
    """
    if probability < LEAST_TOLD:
        return "under 1 %"
    if probability > MOST_TOLD:
        return "over 99 %"
    return f"{round(100 * probability)} %"


def _check_ohms(ohms: float) -> None:
    """Refuse a resistance below zero, or finite above what a meter shows."""
    if ohms < 0:
        raise ReadingError(
            f"{ohms:g} ohm can't be: a resistance is never below 0; a meter shows "
            "that on a live circuit, so disconnect the battery and measure again"
        )
    if MOST_OHMS < ohms < math.inf:
        raise ReadingError(
            f"{ohms:g} ohm is above what a meter shows ({MOST_OHMS:g} ohm); type OL"
        )


def _written(value: float, unit: Unit, *, digits: int) -> str:
    """Return a quantity with its unit and so many digits, at least `MOST_DECIMALS`."""
    number, symbol = _number_and_symbol(value, value, unit, digits=digits)
    return f"{number} {symbol}".strip()


def _number_and_symbol(
    value: float, leading: float, unit: Unit, *, digits: int
) -> tuple[str, str]:
    """Return the number and its unit, with the prefix that suits `leading`."""
    if unit is Unit.OHMS and abs(value) >= MOST_OHMS:
        return "OL", ""
    factor, prefix = _prefix_for(abs(leading), unit)
    scaled = value / factor
    if abs(scaled) < LEAST_WRITTEN:
        return "0", prefix + unit.value
    before_point = math.floor(math.log10(abs(scaled))) + 1
    decimals = min(max(digits - before_point, 0), MOST_DECIMALS)
    rounded = f"{scaled:.{decimals}f}"
    if "." in rounded:
        rounded = rounded.rstrip("0").rstrip(".")
    return rounded, prefix + unit.value


def _prefix_for(size: float, unit: Unit) -> tuple[float, str]:
    """Return the factor and letters people use for a size of this unit."""
    if unit is Unit.OHMS and size >= MEGA_OHMS:
        return MEGA_OHMS, "M"
    if unit is Unit.OHMS and size >= KILO_OHMS:
        return KILO_OHMS, "k"
    if unit is Unit.AMPS and 0 < size < LEAST_WHOLE_AMPS:
        return 1e-3, "m"
    return 1.0, ""
