"""Sizes and amounts as people write them in a car file: `14 AWG`, `6 ft`, `1.5 ohm`.

A unit is always required: a bare number is the commonest way to be wrong by a factor
of three. Leaves readings typed during a diagnosis to `units`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.wires import METRES_PER_FOOT
from diagnose.files.common_words import write_instead
from diagnose.files.grammar import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One kind of quantity and the units people write it in.

    Parameters
    ----------
    name : str
        In words, for messages.
    factors : Mapping[str, float]
        Accepted unit to its factor to the SI unit; the usual ones first.
    examples : str
        What a message shows.
    least, most : float
        What can be believed on a car, in the SI unit: own choice, wide.
    """

    name: str
    factors: Mapping[str, float]
    examples: str
    least: float = 1e-9
    most: float = 1e9


def _measure(
    name: str, examples: str, limits: tuple[float, float], /, **factors: float
) -> Measure:
    """Return a measure whose units are plain words."""
    return Measure(
        name=name,
        factors=MappingProxyType(factors),
        examples=examples,
        least=limits[0],
        most=limits[1],
    )


# A length of wire. [m] Limits are own choice: a wire end, and several cars in a row.
LENGTH = Measure(
    name="length",
    factors=MappingProxyType(
        {
            "ft": METRES_PER_FOOT,
            "m": 1.0,
            "in": METRES_PER_FOOT / 12,
            "cm": 0.01,
            "mm": 0.001,
        }
    ),
    examples="6 ft, 1.8 m, 10 in or 25 cm",
    least=0.001,
    most=50.0,
)

# A voltage. [V] Limits are own choice: beyond what a meter tells, and far above 24 V.
VOLTAGE = _measure("voltage", "12 V or 700 mV", (1e-6, 100.0), V=1.0, mV=0.001)

# A current. [A] Limits are own choice: beyond what a meter tells, and a starter of a
# lorry.
CURRENT = _measure("current", "15 A or 20 mA", (1e-6, 2000.0), A=1.0, mA=0.001)

# A resistance. [Ω] Limits are own choice: a busbar, and dry insulation.
RESISTANCE = _measure(
    "resistance",
    "1.5 ohm or 10 mohm",
    (1e-6, 1e9),
    ohm=1.0,
    mohm=0.001,
    kohm=1e3,
    Mohm=1e6,
)

# A power. [W] Limits are own choice: below an indicator diode, and a large starter.
POWER = _measure("power", "55 W", (0.01, 5000.0), W=1.0)

# Minutes of a person's time. [min] Limits are own choice: none, and a working day and
# more.
TIME = _measure("time", "2 min", (0.0, 600.0), min=1.0)

# How long something lasts by itself. [s] Limits are own choice: the shortest that a
# meter's highest value shows, and what nobody calls a moment any more.
DURATION = _measure("duration", "2 s", (0.1, 600.0), s=1.0)

# A speed of rotation. [1/min] Limits are own choice: turned by hand, and an alternator
# at its fastest.
SPEED = _measure("speed of rotation", "850 rpm", (1.0, 20000.0), rpm=1.0)

# Resistance of a metre of resistance wire. [Ω/m] No closer limits than those of any
# measure.
LINEAR_RESISTANCE = Measure(
    name="resistance per length",
    factors=MappingProxyType({"ohm/ft": 1 / METRES_PER_FOOT, "ohm/m": 1.0}),
    examples="0.35 ohm/ft or 1.15 ohm/m",
)

# How the name of a parameter ends, and the measure it is in.
_BY_SUFFIX: Mapping[str, Measure] = MappingProxyType(
    {
        "_volts": VOLTAGE,
        "_amps": CURRENT,
        "_ohms": RESISTANCE,
        "ohms": RESISTANCE,
        "_watts": POWER,
        "_rpm": SPEED,
        "_minutes": TIME,
    }
)

# A number, and whatever stands behind it.
_AMOUNT = re.compile(
    r"(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[+-]?\d+)?)(?P<unit>.*)"
)


def measure_of(parameter: str) -> Measure | None:
    """Return the measure that a parameter's name ends in.

    Parameters
    ----------
    parameter : str
        Such as ``coil_ohms``.

    Returns
    -------
    Measure or None
        None for a bare number.
    """
    for suffix, measure in _BY_SUFFIX.items():
        if parameter.endswith(suffix):
            return measure
    return None


def parse_amount(found: object, measure: Measure) -> float:
    """Read an amount with its unit.

    Parameters
    ----------
    found : object
        What the file holds, such as ``"15 A"``.
    measure : Measure
        What it should be.

    Returns
    -------
    float
        The amount in the measure's SI unit.

    Raises
    ------
    ValueError
        If it is no number with one of the measure's units.

    Examples
    --------
    >>> parse_amount("10 mohm", RESISTANCE)
    0.01
    """
    matched = _AMOUNT.fullmatch(as_written(found))
    if matched is None:
        raise ValueError(
            f"found {shown(found)}, expected a {measure.name} "
            f"such as {measure.examples}"
        )
    unit = matched["unit"].strip()
    units = " or ".join(measure.factors)
    if not unit:
        raise ValueError(
            f'"{found}" has no unit; a {measure.name} needs {units}, '
            f"such as {measure.examples}"
        )
    if unit not in measure.factors:
        raise ValueError(
            f'unit "{unit}" in "{found}" is not known for a {measure.name}; use {units}'
            f"{write_instead(str(found))}"
        )
    amount = float(matched["number"]) * measure.factors[unit]
    if not math.isfinite(amount):
        raise ValueError(f'"{found}" is too large to be a {measure.name}')
    return amount


def parse_positive(found: object, measure: Measure) -> float:
    """Read an amount that is greater than zero and can be on a car.

    Parameters
    ----------
    found : object
        What the file holds, such as ``"15 A"``.
    measure : Measure
        What it should be.

    Returns
    -------
    float
        The amount in the measure's SI unit.

    Raises
    ------
    ValueError
        If it is no number with one of the measure's units, or is beyond its limits.
    """
    amount = parse_amount(found, measure)
    if amount <= 0:
        raise ValueError(f'{measure.name} "{found}" must be greater than 0')
    if not measure.least <= amount <= measure.most:
        raise ValueError(
            f'{measure.name} "{found}" can\'t be on a car; check number and unit'
        )
    return amount


def as_written(found: object) -> str:
    """Return text or a number as text; anything else as empty text.

    Parameters
    ----------
    found : object
        What the file holds.
    """
    if isinstance(found, bool) or not isinstance(found, int | float | str):
        return ""
    return str(found).strip()
