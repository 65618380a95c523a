"""What people type becomes SI, and back; nonsense is refused in plain words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import ReadingError
from diagnose.typed_readings import parse_measured, parse_reading
from diagnose.units import (
    MOST_OHMS,
    MOST_VOLTS,
    Unit,
    format_band,
    format_minutes,
    format_probability,
    format_quantity,
    format_typed,
)


# Expected values: by hand, from the definitions of the SI prefixes and IEC 60062.
@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("12.4", 12.4, None),
        ("12,4", 12.4, None),
        ("12.", 12.0, None),
        (" 12.4 V ", 12.4, Unit.VOLTS),
        ("12.4v", 12.4, Unit.VOLTS),
        ("12.4 V DC", 12.4, Unit.VOLTS),
        ("12.4 volts", 12.4, Unit.VOLTS),
        ("820 mV", 0.82, Unit.VOLTS),
        ("820 MV", 0.82, Unit.VOLTS),
        ("820 millivolts", 0.82, Unit.VOLTS),
        ("-0.3 V", -0.3, Unit.VOLTS),
        ("\u22120.3", -0.3, None),
        ("+12.4", 12.4, None),
        (".4", 0.4, None),
        (",4", 0.4, None),
        ("0.4 ohm", 0.4, Unit.OHMS),
        ("0.4 \u03a9", 0.4, Unit.OHMS),
        ("0.4 \u2126", 0.4, Unit.OHMS),
        ("0,400 ohm", 0.4, Unit.OHMS),
        ("4k7", 4700.0, Unit.OHMS),
        ("4k7 ohm", 4700.0, Unit.OHMS),
        ("7v4", 7.4, Unit.VOLTS),
        ("7V4 V", 7.4, Unit.VOLTS),
        ("12v", 12.0, Unit.VOLTS),
        ("0,4", 0.4, None),
        (".8", 0.8, None),
        ("no reading", 0.0, None),
        ("0R4", 0.4, Unit.OHMS),
        ("1M2", 1.2e6, Unit.OHMS),
        ("2.2 kohm", 2200.0, Unit.OHMS),
        ("2.2K", 2200.0, Unit.OHMS),
        ("20 Mohm", 20e6, Unit.OHMS),
        ("20 mohm", 0.02, Unit.OHMS),
        ("7 amps", 7.0, Unit.AMPS),
        ("0.5 A", 0.5, Unit.AMPS),
        ("350 mA", 0.35, Unit.AMPS),
        ("50 \u00b5A", 50e-6, Unit.AMPS),
        ("1e-3 A", 1e-3, Unit.AMPS),
        ("OL", math.inf, Unit.OHMS),
        ("o.l", math.inf, Unit.OHMS),
        ("0L Mohm", math.inf, Unit.OHMS),
        ("open", math.inf, Unit.OHMS),
        ("\u221e", math.inf, Unit.OHMS),
    ],
)
def test_typed_readings_are_understood(
    typed: str, value: float, unit: Unit | None
) -> None:
    measured = parse_measured(typed)

    assert (measured.value, measured.unit) == (value, unit)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("", "no reading typed; type the number the meter shows"),
        (
            "bright",
            '"bright" is not a reading; '
            "type a number such as 12.4, 820 mV, 0.4 ohm or OL",
        ),
        (
            "12 bar",
            '"bar" is not a unit known here; use V, mV, ohm, kohm, Mohm, A or mA',
        ),
        ("1,200 ohm", '"1,200" can be read in two ways; type 1200 or 1.200'),
        ("1,200,000 ohm", '"1,200,000" is in groups of digits; type 1200000'),
        ("12.4.1", '"12.4.1" has two decimal points; type it with one'),
        ("4k7 V", '"4k7 V" is not a reading; type for instance 4.7 kohm, 4k7 or 7.4 V'),
        (
            "5 qV",
            '"qV" is not a unit known here; use V, mV, ohm, kohm, Mohm, A or mA',
        ),
        (
            "5 mx",
            '"mx" is not a unit known here; use V, mV, ohm, kohm, Mohm, A or mA',
        ),
        (
            "nan",
            '"nan" is not a reading; type a number such as 12.4, 820 mV, 0.4 ohm or OL',
        ),
    ],
)
def test_nonsense_is_refused_in_plain_words(typed: str, message: str) -> None:
    with pytest.raises(ReadingError) as refused:
        parse_measured(typed)

    assert str(refused.value) == message


def test_a_bare_number_takes_the_unit_of_the_question() -> None:
    assert parse_reading("12,4", Unit.VOLTS).value == 12.4


def test_another_unit_than_asked_is_refused() -> None:
    with pytest.raises(ReadingError, match='"3 ohm" is in ohms; this reading is in'):
        parse_reading("3 ohm", Unit.VOLTS)


def test_over_range_is_refused_where_volts_are_asked() -> None:
    with pytest.raises(ReadingError, match="is in ohms"):
        parse_reading("OL", Unit.VOLTS)


def test_nine_hundred_volts_are_refused() -> None:
    with pytest.raises(ReadingError) as refused:
        parse_reading("900 V", Unit.VOLTS)

    assert str(refused.value) == (
        "900 V can't be: readings on a car lie between -60 and 60 V; "
        "check the number, and whether the meter shows milli"
    )


def test_two_thousand_amps_are_refused() -> None:
    with pytest.raises(ReadingError, match="2000 A can't be"):
        parse_reading("2000", Unit.AMPS)


def test_negative_ohms_are_refused_and_point_to_a_live_circuit() -> None:
    with pytest.raises(ReadingError, match=r"-5 ohm can't be.*disconnect the battery"):
        parse_reading("-5 ohm", Unit.OHMS)


def test_finite_ohms_above_any_meter_are_refused() -> None:
    with pytest.raises(ReadingError, match="type OL"):
        parse_reading("900 Mohm", Unit.OHMS)


# Expected texts: by hand, from the rounding rule in the function's docstring.
@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (12.43, Unit.VOLTS, "12.4 V"),
        (12.0, Unit.VOLTS, "12 V"),
        (0.0321, Unit.VOLTS, "0.032 V"),
        (-0.0321, Unit.VOLTS, "-0.032 V"),
        (0.00001, Unit.VOLTS, "0 V"),
        (-0.00001, Unit.VOLTS, "0 V"),
        (0.4, Unit.OHMS, "0.4 ohm"),
        (4700.0, Unit.OHMS, "4.7 kohm"),
        (20e6, Unit.OHMS, "20 Mohm"),
        (math.inf, Unit.OHMS, "OL"),
        (1e9, Unit.OHMS, "OL"),
        (0.032, Unit.AMPS, "32 mA"),
        (0.499, Unit.AMPS, "499 mA"),
        (0.5, Unit.AMPS, "0.5 A"),
        (0.54, Unit.AMPS, "0.54 A"),
        (163.7, Unit.AMPS, "164 A"),
        (1234.0, Unit.AMPS, "1234 A"),
    ],
)
def test_quantities_are_written_as_people_say_them(
    value: float, unit: Unit, text: str
) -> None:
    assert format_quantity(value, unit) == text


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (0.1, 0.4, Unit.VOLTS, "0.1 to 0.4 V"),
        (12.01, 12.04, Unit.VOLTS, "12 V"),
        (800.0, 2200.0, Unit.OHMS, "800 ohm to 2.2 kohm"),
        (2e7, math.inf, Unit.OHMS, "20 Mohm to OL"),
        (math.inf, math.inf, Unit.OHMS, "OL"),
        (0.02, 0.05, Unit.AMPS, "20 to 50 mA"),
        (0.02, 7.0, Unit.AMPS, "0.02 to 7 A"),
        (0.0, 0.0, Unit.VOLTS, "0 V"),
    ],
)
def test_bands_are_written_in_one_unit(
    low: float, high: float, unit: Unit, text: str
) -> None:
    assert format_band(low, high, unit) == text


@given(
    st.floats(min_value=-MOST_VOLTS, max_value=MOST_VOLTS).map(lambda v: round(v, 3))
)
def test_typed_volts_survive_being_written_and_read(volts: float) -> None:
    assert parse_reading(format_typed(volts, Unit.VOLTS), Unit.VOLTS).value == volts


@given(st.floats(min_value=0.001, max_value=MOST_OHMS / 10))
def test_written_ohms_read_back_within_half_a_digit(ohms: float) -> None:
    text = format_quantity(ohms, Unit.OHMS)

    # Three significant digits, but never finer than 0.001 of the shown prefix.
    assert parse_reading(text, Unit.OHMS).value == pytest.approx(
        ohms, rel=0.006, abs=0.0006
    )


@given(st.text(max_size=12))
def test_any_text_is_a_reading_or_a_reading_error(text: str) -> None:
    try:
        measured = parse_measured(text)
    except ReadingError:
        return

    assert not math.isnan(measured.value)


def test_minutes_are_written_in_words_people_use() -> None:
    written = [format_minutes(minutes) for minutes in (0.2, 1.0, 59.6, 60.0, 75.0)]

    assert written == ["under 1 min", "1 min", "1 h", "1 h", "1 h 15 min"]


def test_a_probability_is_never_written_as_certain() -> None:
    written = [format_probability(p) for p in (0.0, 0.0099, 0.42, 0.9901, 1.0)]

    assert written == ["under 1 %", "under 1 %", "42 %", "over 99 %", "over 99 %"]


@pytest.mark.parametrize(
    ("typed", "value", "rounded_to"),
    [
        ("12", 12.0, 1.0),
        ("12.4", 12.4, 0.1),
        ("12,40 V", 12.4, 0.01),
        ("820 mV", 0.82, 0.001),
        ("4k7", 4700.0, 100.0),
        ("1.5e-3", 0.0015, 0.0001),
        ("0", 0.0, 1.0),
        ("dead", 0.0, 1.0),
        ("Nothing", 0.0, 1.0),
    ],
)
def test_a_number_is_as_sharp_as_its_last_digit(
    typed: str, value: float, rounded_to: float
) -> None:
    measured = parse_measured(typed)

    assert measured.value == pytest.approx(value)
    assert measured.rounded_to == pytest.approx(rounded_to)


def test_nothing_on_the_ohms_range_is_asked_about() -> None:
    # no resistance, or no way through: the two are opposites
    with pytest.raises(ReadingError, match="OL where the meter finds no way"):
        parse_reading("nothing", Unit.OHMS)
