"""Numbers at the edge: what people type becomes SI, and SI becomes what they read.

Inside the program every quantity is a plain float in volts, ohms, amps or minutes;
this module is the one place that knows milli and kilo, commas and OL. Leaves to
`session` what a reading means.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from enum import Enum

from diagnose.errors import ReadingError


class Unit(Enum):
    """The units a meter shows; the value is the text used on screen and in files."""

    VOLTS = "V"
    OHMS = "ohm"
    AMPS = "A"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A number as typed, in SI, with the unit when one was typed."""

    value: float
    unit: Unit | None


MOST_VOLTS = 60.0
"""Highest believable magnitude of a DC volts reading. [V]

ISO 6469-3:2021, voltage class A ends at 60 V DC; no 6, 12 or 24 V car passes it.
"""

MOST_AMPS = 1500.0
"""Highest believable magnitude of an amps reading. [A]

Common practice: a large petrol engine's starter stalls under 1000 A (from memory),
with half as much again for a clamp meter's peak.
"""

MOST_OHMS = 1.0e8
"""Highest resistance a hand-held meter shows before OL. [Ω]

Common practice: top ranges end between 20 and 100 Mohm (from memory).
"""

MOST_MINUTES = 1440.0
"""Longest believable time for one step: a day. Own choice. [min]"""

OVER_RANGE_WORDS = frozenset(
    ("ol", "o.l", "o.l.", "0l", "0.l", "overload", "over", "open", "infinite", "inf")
)
"""What meters show, and people type, for a resistance above the meter's top range.

``0L`` is OL read as a digit.
"""

_UNIT_WORDS = {
    "v": Unit.VOLTS,
    "volt": Unit.VOLTS,
    "volts": Unit.VOLTS,
    "vdc": Unit.VOLTS,
    "ohm": Unit.OHMS,
    "ohms": Unit.OHMS,
    "ω": Unit.OHMS,
    "r": Unit.OHMS,
    "a": Unit.AMPS,
    "amp": Unit.AMPS,
    "amps": Unit.AMPS,
    "ampere": Unit.AMPS,
    "amperes": Unit.AMPS,
    "adc": Unit.AMPS,
}
_PREFIX_WORDS = {
    "milli": 1e-3,
    "kilo": 1e3,
    "mega": 1e6,
    "meg": 1e6,
    "micro": 1e-6,
}
_PREFIX_LETTERS = {"m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "u": 1e-6, "μ": 1e-6}

# IEC 60062, letter and digit code: the letter stands where the point would (4k7, 0R4).
_LETTER_CODE = re.compile(r"(\d+)([rRkKM])(\d+)")
_NUMBER_THEN_UNIT = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<number>\d[\d.,]*|[.,]\d+)(?P<exponent>[eE][+-]?\d+)?"
    r"\s*(?P<unit>[^\d\s].*)?"
)
_GROUPED = re.compile(r"[1-9]\d{0,2}(,\d{3})+")


def parse_measured(text: str) -> Measured:
    """Read a number with an optional unit, the way people type it.

    Parameters
    ----------
    text : str
        For instance ``12.4``, ``12,4 V``, ``820 mV``, ``4k7``, ``7 amps`` or ``OL``.

    Returns
    -------
    Measured
        The value in SI; ``math.inf`` with `Unit.OHMS` for OL.

    Raises
    ------
    ReadingError
        If the text is no number, has an unknown unit, or can be read in two ways.

    References
    ----------
    IEC 60062:2016, Marking codes for resistors and capacitors, clause 4 (4k7, 0R4).

    Examples
    --------
    >>> parse_measured("820 mV")
    Measured(value=0.82, unit=<Unit.VOLTS: 'V'>)
    >>> parse_measured("4k7").value
    4700.0
    """
    plain = _plain(text)
    if not plain:
        raise ReadingError("no reading typed; type the number the meter shows")
    over_range = re.sub(r"\s*(m|k)?ohms?$", "", plain.lower())
    if over_range in OVER_RANGE_WORDS or plain == "∞":
        return Measured(value=math.inf, unit=Unit.OHMS)
    coded = _LETTER_CODE.match(plain)
    if coded is not None:
        return _parse_letter_code(plain, coded)
    found = _NUMBER_THEN_UNIT.fullmatch(plain)
    if found is None:
        raise ReadingError(
            f'"{text.strip()}" is not a reading; '
            "type a number such as 12.4, 820 mV, 0.4 ohm or OL"
        )
    number = float(_decimal(found["number"]) + (found["exponent"] or ""))
    factor, unit = _unit_of(found["unit"] or "")
    sign = -1.0 if found["sign"] == "-" else 1.0
    return Measured(value=_scaled(sign * number, factor), unit=unit)


def parse_reading(text: str, unit: Unit) -> float:
    """Read a number that must be in a given unit and believable on a car.

    Parameters
    ----------
    text : str
        As for `parse_measured`; a bare number is taken in `unit`.
    unit : Unit
        What the meter was set to.

    Returns
    -------
    float
        The value in `unit`; ``math.inf`` for an over-range resistance. [V, Ω or A]

    Raises
    ------
    ReadingError
        If the text is no reading, has another unit, or is out of range.

    Examples
    --------
    >>> parse_reading("12,4", Unit.VOLTS)
    12.4
    """
    measured = parse_measured(text)
    if measured.unit is not None and measured.unit is not unit:
        raise ReadingError(
            f'"{text.strip()}" is in {_WORDS[measured.unit]}; '
            f"this reading is in {_WORDS[unit]}"
        )
    check_range(measured.value, unit)
    return measured.value


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

    Raises
    ------
    ReadingError
        If it is not a number, below 0 or beyond a day.
    """
    if not 0.0 <= minutes <= MOST_MINUTES:
        raise ReadingError(
            f"{minutes:g} min can't be; a step takes from 0 to {MOST_MINUTES:g} min"
        )


def format_quantity(value: float, unit: Unit, *, significant_digits: int = 3) -> str:
    """Write a quantity for the screen.

    Parameters
    ----------
    value : float
        In `unit`. [V, Ω or A]
    unit : Unit
        Its unit.
    significant_digits : int
        How many digits to keep; volts and amps never show more than three decimals.

    Returns
    -------
    str
        With a unit people say: never ``0.004 A`` but ``4 mA``.

    Examples
    --------
    >>> format_quantity(12.43, Unit.VOLTS)
    '12.4 V'
    >>> format_quantity(0.032, Unit.AMPS)
    '32 mA'
    """
    number, symbol = _number_and_symbol(value, value, unit, digits=significant_digits)
    return f"{number} {symbol}".strip()


def format_typed(value: float, unit: Unit) -> str:
    """Write a reading back with the digits its typist gave, up to six.

    Examples
    --------
    >>> format_typed(12.43, Unit.VOLTS)
    '12.43 V'
    """
    return format_quantity(value, unit, significant_digits=6)


def format_band(low: float, high: float, unit: Unit) -> str:
    """Write a band in one unit, as one number when both ends read the same.

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
    """
    leading = max(abs(low), abs(high), key=lambda size: size if size < MOST_OHMS else 0)
    first, first_symbol = _number_and_symbol(low, leading, unit, digits=3)
    second, second_symbol = _number_and_symbol(high, leading, unit, digits=3)
    if (first, first_symbol) == (second, second_symbol):
        return f"{first} {first_symbol}".strip()
    if not second_symbol:
        return f"{first} {first_symbol} to {second}"
    return f"{first} to {second} {second_symbol}"


def format_minutes(minutes: float) -> str:
    """Write a duration the way people say it.

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
    """Write a probability in whole percent, never as 0 % or 100 %.

    Examples
    --------
    >>> format_probability(0.423), format_probability(0.001)
    ('42 %', 'under 1 %')
    """
    if probability < 0.01:
        return "under 1 %"
    if probability > 0.99:
        return "over 99 %"
    return f"{round(100 * probability)} %"


_WORDS = {Unit.VOLTS: "volts", Unit.OHMS: "ohms", Unit.AMPS: "amps"}


def _plain(text: str) -> str:
    """Return the text in plain characters: one kind of minus, ohm sign and space."""
    folded = unicodedata.normalize("NFKC", text).strip()
    return " ".join(folded.replace("−", "-").replace("–", "-").split())


def _decimal(number: str) -> str:
    """Return the digits with a decimal point, refusing what reads two ways."""
    if _GROUPED.fullmatch(number):
        whole = number.replace(",", "")
        raise ReadingError(
            f'"{number}" can be read in two ways; '
            f"type {whole} or {number.replace(',', '.', 1)}"
        )
    pointed = number.rstrip(".,").replace(",", ".")
    if pointed.count(".") > 1:
        raise ReadingError(f'"{number}" has two decimal points; type it with one')
    return pointed


def _parse_letter_code(plain: str, coded: re.Match[str]) -> Measured:
    """Return the resistance of a letter code such as 4k7, with an optional ohm."""
    rest = plain[coded.end() :].strip().lower()
    if rest and _UNIT_WORDS.get(rest) is not Unit.OHMS:
        raise ReadingError(
            f'"{plain}" is not a reading; type for instance 4.7 kohm or 4k7'
        )
    factor = {"r": 1.0, "k": 1e3, "m": 1e6}[coded[2].lower()]
    value = _scaled(float(f"{coded[1]}.{coded[3]}"), factor)
    return Measured(value=value, unit=Unit.OHMS)


def _scaled(number: float, factor: float) -> float:
    """Return number times factor without the last-digit noise of binary fractions."""
    return number if factor == 1.0 else float(f"{number * factor:.12g}")


def _unit_of(typed: str) -> tuple[float, Unit | None]:
    """Return the factor and the unit of what stood behind the number."""
    words = re.sub(r"\s+dc$", "", typed.strip().rstrip("."), flags=re.IGNORECASE)
    joined = words.replace(" ", "")
    if not joined:
        return 1.0, None
    lowered = joined.lower()
    if lowered in _UNIT_WORDS:
        return 1.0, _UNIT_WORDS[lowered]
    for word, factor in _PREFIX_WORDS.items():
        if lowered.startswith(word) and lowered[len(word) :] in _UNIT_WORDS:
            return factor, _UNIT_WORDS[lowered[len(word) :]]
    if joined in ("k", "K", "M") or lowered == "meg":
        return (1e3 if lowered == "k" else 1e6), Unit.OHMS
    unit = _UNIT_WORDS.get(lowered[1:])
    factor = _PREFIX_LETTERS.get(joined[0], 0.0)
    if unit is None or not factor:
        raise ReadingError(
            f'"{typed.strip()}" is not a unit known here; '
            "use V, mV, ohm, kohm, Mohm, A or mA"
        )
    if unit is not Unit.OHMS and joined[0] == "M":
        factor = 1e-3  # capitals lock: nobody means megavolts on a car
    return factor, unit


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


def _number_and_symbol(
    value: float, leading: float, unit: Unit, *, digits: int
) -> tuple[str, str]:
    """Return the number and its unit, with the prefix that suits `leading`."""
    if unit is Unit.OHMS and abs(value) >= MOST_OHMS:
        return "OL", ""
    factor, prefix = _prefix_for(abs(leading), unit)
    scaled = value / factor
    if scaled == 0 or abs(scaled) < 0.0005:
        return "0", prefix + unit.value
    before_point = math.floor(math.log10(abs(scaled))) + 1
    decimals = min(max(digits - max(before_point, 0), 0), 3)
    rounded = f"{scaled:.{decimals}f}"
    if "." in rounded:
        rounded = rounded.rstrip("0").rstrip(".")
    return ("0" if rounded == "-0" else rounded), prefix + unit.value


def _prefix_for(size: float, unit: Unit) -> tuple[float, str]:
    """Return the factor and letters people use for a size of this unit."""
    if unit is Unit.OHMS and size >= 1e6:
        return 1e6, "M"
    if unit is Unit.OHMS and size >= 1e3:
        return 1e3, "k"
    if unit is Unit.AMPS and 0 < size < 0.5:
        return 1e-3, "m"
    return 1.0, ""
