"""Typed readings: what people type becomes a number in SI, with its unit.

The one place that knows milli and kilo, decimal commas, letter codes and OL. Leaves to
`units` what is believable and how a number is written, to `session` what a reading
means.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from diagnose.errors import ReadingError
from diagnose.units import Unit, check_range


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A number as typed, in SI, with the unit when one was typed.

    Parameters
    ----------
    value : float
        The number; ``math.inf`` for OL. [V, Ω, A or the unit of the question]
    unit : Unit or None
        None for a bare number.
    rounded_to : float
        What one of the last digit typed is worth: 1 for ``12``, .1 for ``12.4``. The
        number may be half of it off. [as the number]
    """

    value: float
    unit: Unit | None
    rounded_to: float = 0.0


# What meters show, and people type, for a resistance above the meter's top range. From
# memory of meters' displays; ``0l`` is OL read as a digit.
OVER_RANGE_WORDS = frozenset(
    ("ol", "o.l", "o.l.", "0l", "0.l", "overload", "over", "open", "infinite", "inf")
)

# What people say where a meter shows nothing worth a number. Common practice, no
# source: a few tenths of a volt are nothing to most.
NOTHING_WORDS = frozenset(("zero", "nothing", "dead", "none", "nil", "no reading"))

# Names of units, in small letters. SI, and the words and letters people type.
_NAMES_OF_UNITS = {
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

# Prefixes written out. [1] SI; ``meg`` is how mega is said of ohms.
_PREFIX_WORDS = {
    "milli": 1e-3,
    "kilo": 1e3,
    "mega": 1e6,
    "meg": 1e6,
    "micro": 1e-6,
}

# Prefixes as letters. [1] SI; ``K`` and ``u`` are what keyboards and packages have.
_PREFIX_LETTERS = {"m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "u": 1e-6, "μ": 1e-6}

# Factor of the letter that stands where the point would. [1] IEC 60062: R, K and M.
_LETTER_FACTORS = {"r": 1.0, "v": 1.0, "k": 1e3, "m": 1e6}

# A letter and digit code: 4k7, 0R4. IEC 60062; 7V4 is written the same way of volts.
_LETTER_CODE = re.compile(r"(\d+)([rRkKMvV])(\d+)")

# The letter that stands where the point of volts would.
_VOLTS_LETTER = "v"

# A number with a sign, an exponent and a unit, each of which may be missing.
_NUMBER_THEN_UNIT = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<number>\d[\d.,]*|[.,]\d+)(?P<exponent>[eE][+-]?\d+)?"
    r"\s*(?P<unit>[^\d\s].*)?"
)

# Whole digits in groups of three: a thousand to some, a decimal comma to others.
_GROUPED = re.compile(r"[1-9]\d{0,2}(,\d{3})+")

# Digits kept of a number times its prefix. [1] Derived: a float has 15 to 17, and the
# last of them are noise of binary fractions.
_KEPT_DIGITS = 12


def parse_measured(text: str) -> Measured:
    """Return a number with an optional unit, read the way people type it.

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
    Measured(value=0.82, unit=<Unit.VOLTS: 'V'>, rounded_to=0.001)
    >>> parse_measured("dead").value
    0.0
    >>> parse_measured("4k7").value
    4700.0
    >>> parse_measured("7v4")
    Measured(value=7.4, unit=<Unit.VOLTS: 'V'>, rounded_to=0.1)
    """
    plain = _plain(text)
    if not plain:
        raise ReadingError("no reading typed; type the number the meter shows")
    over_range = re.sub(r"\s*(m|k)?ohms?$", "", plain.lower())
    if over_range in OVER_RANGE_WORDS or plain == "∞":
        return Measured(value=math.inf, unit=Unit.OHMS)
    if plain.lower() in NOTHING_WORDS:
        return Measured(value=0.0, unit=None, rounded_to=1.0)
    coded = _LETTER_CODE.match(plain)
    if coded is not None:
        return _parse_letter_code(plain, coded)
    found = _NUMBER_THEN_UNIT.fullmatch(plain)
    if found is None:
        raise ReadingError(
            f'"{text.strip()}" is not a reading; '
            "type a number such as 12.4, 820 mV, 0.4 ohm or OL"
        )
    digits, exponent = _decimal(found["number"]), found["exponent"] or ""
    number = float(digits + exponent)
    factor, unit = _unit_of(found["unit"] or "")
    sign = -1.0 if found["sign"] == "-" else 1.0
    last = float(f"1e{-len(digits.partition('.')[2])}") * float(f"1{exponent}")
    return Measured(
        value=_scaled(sign * number, factor),
        unit=unit,
        rounded_to=_scaled(last, factor),
    )


def parse_reading(text: str, unit: Unit) -> Measured:
    """Return a number that must be in a given unit and believable on a car.

    Parameters
    ----------
    text : str
        As for `parse_measured`; a bare number is taken in `unit`.
    unit : Unit
        What the meter was set to.

    Returns
    -------
    Measured
        The value in `unit`; ``math.inf`` for an over-range resistance. [V, Ω or A]

    Raises
    ------
    ReadingError
        If the text is no reading, has another unit, or is out of range; and for a
        resistance told as nothing, which may be none or OL.

    Examples
    --------
    >>> parse_reading("12,4", Unit.VOLTS).value
    12.4
    """
    if unit is Unit.OHMS and _plain(text).lower() in NOTHING_WORDS - {"zero"}:
        raise ReadingError(
            f'"{text.strip()}" can be read in two ways; type 0 where the points are '
            "joined, OL where the meter finds no way between them"
        )
    measured = parse_measured(text)
    if measured.unit is not None and measured.unit is not unit:
        raise ReadingError(
            f'"{text.strip()}" is in {measured.unit.words}; '
            f"this reading is in {unit.words}"
        )
    check_range(measured.value, unit)
    return measured


def _plain(text: str) -> str:
    """Return the text in plain characters: one kind of minus, ohm sign and space."""
    folded = unicodedata.normalize("NFKC", text).strip()
    return " ".join(folded.replace("−", "-").replace("–", "-").split())


def _decimal(number: str) -> str:
    """Return the digits with a decimal point, refusing what reads two ways."""
    if _GROUPED.fullmatch(number):
        whole = number.replace(",", "")
        if number.count(",") > 1:
            raise ReadingError(f'"{number}" is in groups of digits; type {whole}')
        raise ReadingError(
            f'"{number}" can be read in two ways; '
            f"type {whole} or {number.replace(',', '.')}"
        )
    pointed = number.rstrip(".,").replace(",", ".")
    if pointed.count(".") > 1:
        raise ReadingError(f'"{number}" has two decimal points; type it with one')
    return pointed


def _parse_letter_code(plain: str, coded: re.Match[str]) -> Measured:
    """Return the value of a letter code such as 4k7 or 7v4, with an optional unit."""
    unit = Unit.VOLTS if coded[2].lower() == _VOLTS_LETTER else Unit.OHMS
    rest = plain[coded.end() :].strip().lower()
    if rest and _NAMES_OF_UNITS.get(rest) is not unit:
        raise ReadingError(
            f'"{plain}" is not a reading; type for instance 4.7 kohm, 4k7 or 7.4 V'
        )
    factor = _LETTER_FACTORS[coded[2].lower()]
    value = _scaled(float(f"{coded[1]}.{coded[3]}"), factor)
    last = _scaled(float(f"1e-{len(coded[3])}"), factor)
    return Measured(value=value, unit=unit, rounded_to=last)


def _scaled(number: float, factor: float) -> float:
    """Return number times factor without the last-digit noise of binary fractions."""
    return number if factor == 1.0 else float(f"{number * factor:.{_KEPT_DIGITS}g}")


def _unit_of(typed: str) -> tuple[float, Unit | None]:
    """Return the factor and the unit of what stood behind the number."""
    words = re.sub(r"\s+dc$", "", typed.strip().rstrip("."), flags=re.IGNORECASE)
    joined = words.replace(" ", "")
    if not joined:
        return 1.0, None
    lowered = joined.lower()
    if lowered in _NAMES_OF_UNITS:
        return 1.0, _NAMES_OF_UNITS[lowered]
    for word, factor in _PREFIX_WORDS.items():
        if lowered.startswith(word) and lowered[len(word) :] in _NAMES_OF_UNITS:
            return factor, _NAMES_OF_UNITS[lowered[len(word) :]]
    if joined in ("k", "K", "M") or lowered == "meg":
        return (1e3 if lowered == "k" else 1e6), Unit.OHMS
    unit = _NAMES_OF_UNITS.get(lowered[1:])
    factor = _PREFIX_LETTERS.get(joined[0], 0.0)
    if unit is None or not factor:
        raise ReadingError(
            f'"{typed.strip()}" is not a unit known here; '
            "use V, mV, ohm, kohm, Mohm, A or mA"
        )
    if unit is not Unit.OHMS and joined[0] == "M":
        factor = 1e-3  # capitals lock: nobody means megavolts on a car
    return factor, unit
