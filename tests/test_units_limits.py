"""Readings, times and texts at the very ends of what is taken, by hand."""

from __future__ import annotations

import math

import pytest

from diagnose.errors import ReadingError
from diagnose.typed_readings import parse_measured, parse_reading
from diagnose.units import (
    Unit,
    check_minutes,
    format_band,
    format_minutes,
    format_probability,
    format_quantity,
)


# 24 V systems under charge stay below 60 V; starters below 1500 A; meters end at 100
# Mohm (the module's limits, which count as believable themselves).
@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("60 V", Unit.VOLTS, 60.0),
        ("-60 V", Unit.VOLTS, -60.0),
        ("1500 A", Unit.AMPS, 1500.0),
        ("-1500 A", Unit.AMPS, -1500.0),
        ("100 Mohm", Unit.OHMS, 1e8),
        ("0 ohm", Unit.OHMS, 0.0),
        ("OL", Unit.OHMS, math.inf),
    ],
)
def test_a_reading_at_the_limit_is_taken(typed: str, unit: Unit, value: float) -> None:
    assert parse_reading(typed, unit).value == value


@pytest.mark.parametrize(
    ("typed", "unit"),
    [
        ("60.1 V", Unit.VOLTS),
        ("-60.1 V", Unit.VOLTS),
        ("1500.1 A", Unit.AMPS),
        ("-1500.1 A", Unit.AMPS),
        ("100.1 Mohm", Unit.OHMS),
        ("-0.1 ohm", Unit.OHMS),
    ],
)
def test_a_reading_beyond_the_limit_is_refused(typed: str, unit: Unit) -> None:
    with pytest.raises(ReadingError, match=r"can't be|type OL"):
        parse_reading(typed, unit)


# A day has 1440 minutes.
@pytest.mark.parametrize("minutes", [0.0, 1440.0])
def test_a_step_may_take_nothing_and_may_take_a_day(minutes: float) -> None:
    check_minutes(minutes)


@pytest.mark.parametrize("minutes", [-0.1, 1440.1, math.inf, math.nan])
def test_a_step_of_more_than_a_day_or_of_less_than_nothing_is_refused(
    minutes: float,
) -> None:
    with pytest.raises(ReadingError, match="a step takes from 0 to 1440 min"):
        check_minutes(minutes)


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("5 meg", 5e6, Unit.OHMS),
        ("5 megohms", 5e6, Unit.OHMS),
        ("3 M", 3e6, Unit.OHMS),
        ("3 k", 3e3, Unit.OHMS),
        ("2 kiloohm", 2e3, Unit.OHMS),
        ("30 MA", 0.03, Unit.AMPS),
        ("30 uA", 30e-6, Unit.AMPS),
        ("30 microamps", 30e-6, Unit.AMPS),
        ("1 kV", 1e3, Unit.VOLTS),
        ("2r2", 2.2, Unit.OHMS),
        ("5 A DC", 5.0, Unit.AMPS),
    ],
)
def test_every_prefix_counts_what_it_says(typed: str, value: float, unit: Unit) -> None:
    found = parse_measured(typed)

    assert found.value == pytest.approx(value, rel=1e-12)
    assert found.unit is unit


# The letter that suits a size changes at 1000 ohm, a million ohm and half an ampere.
@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (999.0, Unit.OHMS, "999 ohm"),
        (1000.0, Unit.OHMS, "1 kohm"),
        (999e3, Unit.OHMS, "999 kohm"),
        (1e6, Unit.OHMS, "1 Mohm"),
        (99e6, Unit.OHMS, "99 Mohm"),
        (1e8, Unit.OHMS, "OL"),
        (0.499, Unit.AMPS, "499 mA"),
        (0.5, Unit.AMPS, "0.5 A"),
        (0.0, Unit.AMPS, "0 A"),
        (0.0004, Unit.VOLTS, "0 V"),
        (0.0006, Unit.VOLTS, "0.001 V"),
        (1.0, Unit.VOLTS, "1 V"),
        (1.234, Unit.VOLTS, "1.23 V"),
        (9.996, Unit.VOLTS, "10 V"),
        (99.96, Unit.AMPS, "100 A"),
        (0.1234, Unit.VOLTS, "0.123 V"),
    ],
)
def test_a_quantity_at_the_end_of_a_range_is_written_in_the_right_one(
    value: float, unit: Unit, text: str
) -> None:
    assert format_quantity(value, unit) == text


def test_a_band_that_ends_where_the_meter_does_keeps_the_unit_of_its_low_end() -> None:
    assert format_band(500.0, 1e8, Unit.OHMS) == "500 ohm to OL"
    assert format_band(-3.0, 1.0, Unit.VOLTS) == "-3 to 1 V"


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0.4, "under 1 min"),
        (0.6, "1 min"),
        (59.4, "59 min"),
        (60.6, "1 h 1 min"),
        (119.0, "1 h 59 min"),
        (120.0, "2 h"),
    ],
)
def test_minutes_turn_into_hours_at_sixty(minutes: float, text: str) -> None:
    assert format_minutes(minutes) == text


@pytest.mark.parametrize(
    ("probability", "text"), [(0.01, "1 %"), (0.99, "99 %"), (0.5, "50 %")]
)
def test_one_and_ninety_nine_percent_are_written_as_they_are(
    probability: float, text: str
) -> None:
    assert format_probability(probability) == text


# By the SI prefixes; a capital K is written for kilo as often as not.
@pytest.mark.parametrize(
    ("typed", "ohms"),
    [
        ("4.7 kohm", 4700.0),
        ("4.7 Kohm", 4700.0),
        ("2.2 Mohm", 2.2e6),
        ("330 mohm", 0.33),
    ],
)
def test_letter_before_the_unit_is_its_prefix(typed: str, ohms: float) -> None:
    assert parse_reading(typed, Unit.OHMS).value == pytest.approx(ohms, rel=1e-12)


def test_a_million_ohms_are_mega() -> None:
    assert format_quantity(1e6, Unit.OHMS).endswith(" Mohm")
    assert format_quantity(9.9e5, Unit.OHMS).endswith(" kohm")
