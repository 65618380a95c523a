"""Values of parts: what the file gives, what knowledge/ supplies, what a size implies.

Leaves which entry gives which value to the modules that add parts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from diagnose.circuit.system_voltage import voltage_factor
from diagnose.circuit.temperature_and_age import USUAL_CELSIUS, Condition
from diagnose.circuit.values import Distribution, Origin, Shape, Value, fixed
from diagnose.circuit.wires import conductor_ohms
from diagnose.files.car.grammar.sizes import WireSize
from diagnose.files.quantities import measure_of, parse_amount

# Kind of part to parameter to its usual value.
Defaults = Mapping[str, Mapping[str, Value]]

# Spread of a wire's resistance, as the standard deviation of its logarithm: length
# measured along a harness, copper to standard. [1] A rule of the trade: 5 %, no source.
WIRE_LOG_SPREAD = 0.05

# What is added to it where nobody knew a wire's size and length, as the square root of
# the sum of squares. [1] Own choice: a third longer or shorter, or one gauge off.
GUESSED_WIRE_LOG_SPREAD = 0.3

# Where the resistance of a wire comes from, and that of one that is about so.
WIRE_SOURCE = "length and size in the car file, at 20 °C"
GUESSED_WIRE_SOURCE = "length and size in the car file, which are about so, at 20 °C"

# Cross-section of the wire that the usual end joint is meant for, 14 AWG. [mm²] A
# thicker wire's lugs touch on more metal, so its joints are lower in proportion to its
# area. From memory: 3 mΩ at a small terminal, 0.1 to 0.2 mΩ at a battery lug.
JOINT_AREA_MM2 = 2.1

# Drop of a bolted fuse or a link at its rated current. [V] From memory.
FUSE_DROP_VOLTS = 0.075

# Drop of a breaker at its rated current: bimetal, contacts and studs in series. [V]
# From memory, three times a fuse's.
BREAKER_DROP_VOLTS = 0.225

# Spread of a bolted lug's resistance, as the standard deviation of its logarithm. [1]
# A rule of the trade: cables with two lugs drop at most .2 V at 160 A. Two standard
# deviations are four times either way, three eight times.
LUG_LOG_SPREAD = 0.7

# Cross-section from which a wire ends in bolted lugs, 6 AWG. [mm²] Own choice: battery
# and starter cables and ground straps.
LUG_AREA_MM2 = 13.0

# Cold resistance of a blade fuse, for one of 1 A; see `BLADE_EXPONENT`. [Ω] Derived by
# a fit to typical data-sheet values recalled from memory: 17.9 mΩ at 5 A, 7.7 at 10 A,
# 4.8 at 15 A, 3.4 at 20 A and 1.9 at 30 A, within 6 %.
BLADE_OHMS = 0.127

# How that resistance falls with the rating: R = `BLADE_OHMS` (rating / A) to this
# power. [1] Derived by the same fit.
BLADE_EXPONENT = -1.22

# How far a value given may be from its usual one, as a factor either way; farther is a
# slip. [1] Own choice, wide: a memory feed is a hundredth of the usual load.
FARTHEST_FACTOR = 1e6


def defaults_for(defaults: Defaults, *, system_volts: float) -> Defaults:
    """Return the defaults of a car with this system voltage.

    Parameters
    ----------
    defaults : Defaults
        Kind to parameter to its value in a 12 V car.
    system_volts : float
        6, 12 or 24. [V]

    Returns
    -------
    Defaults
        The same object for a 12 V car.
    """
    if system_volts == 12.0:
        return defaults
    return {
        kind: {
            parameter: scaled_value(value, voltage_factor(parameter, system_volts))
            for parameter, value in values.items()
        }
        for kind, values in defaults.items()
    }


def scaled_value(
    value: Value, factor: float, *, reason: str = "for this system voltage"
) -> Value:
    """Return a value times a factor, with the same relative spread.

    Parameters
    ----------
    value : Value
        Any value.
    factor : float
        What its middle is multiplied by. [1]
    reason : str
        Why, for its source.

    Returns
    -------
    Value
        The same one for a factor of 1.
    """
    if factor == 1.0:
        return value
    distribution = value.distribution
    second = distribution.second
    if distribution.shape is not Shape.LOGNORMAL:
        second *= factor
    return replace(
        value,
        distribution=replace(
            distribution, first=distribution.first * factor, second=second
        ),
        source=f"{value.source}; times {factor:.3g} {reason}",
    )


def under_conditions(
    values: Mapping[str, Value],
    conditions: Mapping[str, Condition],
    *,
    celsius: float = USUAL_CELSIUS,
    years: float | None = None,
) -> dict[str, Value]:
    """Return a part's values at another air temperature and at its age.

    Parameters
    ----------
    values : Mapping[str, Value]
        Parameter to what it is usually.
    conditions : Mapping[str, Condition]
        Parameter to what it depends on.
    celsius : float
        Air temperature. [°C]
    years : float or None
        Age of the part; None when it is not known. [a]

    Returns
    -------
    dict[str, Value]
        With the same relative spread.
    """
    result = dict(values)
    for parameter, condition in conditions.items():
        factor, words = 1.0, []
        if condition.celsius is not None and celsius != USUAL_CELSIUS:
            factor *= condition.celsius.factor(celsius)
            words.append(f"{celsius:g} °C")
        if condition.years is not None and years is not None:
            factor *= condition.years.factor(years)
            words.append(f"an age of {years:g} years")
        if words and parameter in result:
            reason = f"at {' and '.join(words)}"
            result[parameter] = scaled_value(result[parameter], factor, reason=reason)
    return result


def given_value(amount: float, default: Value | None) -> Value:
    """Return a value the file gives, as uncertain as the default would be.

    Parameters
    ----------
    amount : float
        In the parameter's unit.
    default : Value or None
        What knowledge/ says; its relative spread is kept when it has one.

    Returns
    -------
    Value
        With the amount as its middle.
    """
    distribution = fixed(amount)
    if default is not None and amount > 0:
        usual = default.distribution
        if usual.shape is Shape.LOGNORMAL:
            distribution = replace(usual, first=amount)
        elif usual.shape is Shape.NORMAL and usual.first > 0:
            spread = usual.second * amount / usual.first
            distribution = replace(usual, first=amount, second=spread)
    return Value(distribution=distribution, origin=Origin.CAR_FILE, source="car file")


def read_value(parameter: str, found: object, default: Value) -> float:
    """Return what the file gives for a parameter, in its unit.

    Parameters
    ----------
    parameter : str
        Its unit ends the name.
    found : object
        What the file holds, such as ``"85 ohm"``.
    default : Value
        The usual value, which tells what can be believed.

    Returns
    -------
    float
        The amount.

    Raises
    ------
    ValueError
        If it is no amount in the parameter's unit, or can't be true.
    """
    measure = measure_of(parameter)
    if measure is not None:
        amount = parse_amount(found, measure)
    else:
        try:
            amount = float(str(found))
        except ValueError:
            raise ValueError(f'found "{found}", expected a number') from None
    if parameter.startswith(("is_", "fails_")):
        if amount not in {0.0, 1.0}:
            raise ValueError(f'found "{found}", expected 0 for no or 1 for yes')
        return amount
    usual = default.distribution.nominal
    if amount < 0 < usual or (usual > 0 and amount == 0):
        raise ValueError(f'"{found}" must be greater than 0')
    if amount < 0 and parameter.endswith("ohms"):
        raise ValueError(f'"{found}" must not be negative')
    if usual > 0 and not 1 / FARTHEST_FACTOR <= amount / usual <= FARTHEST_FACTOR:
        raise ValueError(f'"{found}" can\'t be; the usual value is {usual:g}')
    if parameter == "state_of_charge" and amount > 1:
        raise ValueError(f'"{found}" can\'t be; full is 1')
    return amount


def fuse_ohms(kind: str, rating_amps: float, default: Value | None) -> Value:
    """Return the resistance of a fuse of that rating.

    Parameters
    ----------
    kind : str
        One of `PROTECTIVE_KINDS`.
    rating_amps : float
        Its rating. [A]
    default : Value or None
        Gives the spread.

    Returns
    -------
    Value
        In ohms; a default, as the file gives only the rating.
    """
    drop_volts = BREAKER_DROP_VOLTS if kind == "breaker" else FUSE_DROP_VOLTS
    ohms, source = drop_volts / rating_amps, f"{drop_volts} V at the rating"
    if kind == "fuse":
        ohms, source = BLADE_OHMS * rating_amps**BLADE_EXPONENT, "blade fuse, by rating"
    distribution = fixed(ohms)
    if default is not None and default.distribution.shape is Shape.LOGNORMAL:
        distribution = replace(default.distribution, first=distribution.first)
    return Value(
        distribution=distribution,
        origin=Origin.DEFAULT,
        source=source,
    )


def wire_values(size: WireSize, defaults: Mapping[str, Value]) -> dict[str, Value]:
    """Return what a wire's size and length say about it.

    Parameters
    ----------
    size : WireSize
        Size and length.
    defaults : Mapping[str, Value]
        Defaults of a wire; give the spread and the usual end joints.

    Returns
    -------
    dict[str, Value]
        ``wire_ohms`` at 20 °C, ``length_m``, and for copper ``area_mm2`` and, for a
        thick wire, its end joints.
    """
    if size.area_mm2 is None:
        assert size.ohms_per_m is not None
        ohms = size.ohms_per_m * size.length_m
    else:
        ohms = conductor_ohms(size.length_m, size.area_mm2)
    default = defaults.get("wire_ohms")
    spread = WIRE_LOG_SPREAD
    if default is not None and default.distribution.shape is Shape.LOGNORMAL:
        spread = default.distribution.second
    source = WIRE_SOURCE
    if size.is_guessed:
        spread = math.hypot(spread, GUESSED_WIRE_LOG_SPREAD)
        source = GUESSED_WIRE_SOURCE
    values = {
        "wire_ohms": Value(
            distribution=Distribution(shape=Shape.LOGNORMAL, first=ohms, second=spread),
            origin=Origin.CAR_FILE,
            source=source,
        ),
        "length_m": given_value(size.length_m, None),
    }
    if size.area_mm2 is not None:
        values["area_mm2"] = given_value(size.area_mm2, None)
        values.update(_lug_values(size.area_mm2, defaults))
    return values


def _lug_values(area_mm2: float, defaults: Mapping[str, Value]) -> dict[str, Value]:
    """Return the end joints of a thick wire: lower, as its lugs are bigger.

    Those of a cable are bolted, and scatter more than their size tells.
    """
    if area_mm2 <= JOINT_AREA_MM2:
        return {}
    factor = JOINT_AREA_MM2 / area_mm2

    def lug(joint: Distribution) -> Distribution:
        is_bolted = joint.shape is Shape.LOGNORMAL and area_mm2 >= LUG_AREA_MM2
        spread = LUG_LOG_SPREAD if is_bolted else joint.second
        return replace(joint, first=joint.first * factor, second=spread)

    return {
        parameter: replace(
            default,
            distribution=lug(default.distribution),
            source=f"{default.source}; in proportion to the wire's area",
        )
        for parameter in ("joint_a_ohms", "joint_b_ohms")
        if (default := defaults.get(parameter)) is not None
        and default.distribution.shape in {Shape.FIXED, Shape.LOGNORMAL}
    }
