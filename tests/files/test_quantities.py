"""Sizes and amounts as people write them; expected values by definition or by hand."""

from __future__ import annotations

import pytest

from diagnose.circuit.wires import awg_area_mm2, sae_area_mm2
from diagnose.files.car.grammar.load_sizes import (
    FuseSize,
    LoadSize,
    parse_fuse,
    parse_load,
)
from diagnose.files.car.grammar.sizes import (
    Connection,
    WireSize,
    parse_connection,
    parse_wire,
)
from diagnose.files.quantities import (
    CURRENT,
    LENGTH,
    RESISTANCE,
    TIME,
    Measure,
    measure_of,
    parse_amount,
)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("6 ft", 1.8288),
        ("1.8 m", 1.8),
        ("10 in", 0.254),
        ("25 cm", 0.25),
        ("9mm", 0.009),
    ],
)
def test_lengths_are_read_in_the_usual_units(text: str, metres: float) -> None:
    # A foot is 0.3048 m and an inch 0.0254 m by definition.
    assert parse_amount(text, LENGTH) == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "measure", "amount"),
    [
        ("15 A", CURRENT, 15.0),
        ("20 mA", CURRENT, 0.02),
        ("1.5 ohm", RESISTANCE, 1.5),
        ("10 mohm", RESISTANCE, 0.01),
        ("1e-3 ohm", RESISTANCE, 0.001),
        (".5 A", CURRENT, 0.5),
        ("2 min", TIME, 2.0),
    ],
)
def test_amounts_are_read_into_si_units(
    text: str, measure: Measure, amount: float
) -> None:
    assert parse_amount(text, measure) == pytest.approx(amount)


@pytest.mark.parametrize(
    "found", [None, True, [], {}, "", "A", "1 2 A", "nan A", "1,5 A"]
)
def test_what_is_no_amount_is_refused(found: object) -> None:
    with pytest.raises(ValueError, match=r"current"):
        parse_amount(found, CURRENT)


def test_an_amount_too_large_for_a_number_is_refused() -> None:
    with pytest.raises(ValueError, match="too large"):
        parse_amount("1e999 A", CURRENT)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("14 AWG 6 ft", WireSize(length_m=6 * 0.3048, area_mm2=awg_area_mm2(14))),
        ("14 AWG, 6 ft", WireSize(length_m=6 * 0.3048, area_mm2=awg_area_mm2(14))),
        ("14awg 6ft", WireSize(length_m=6 * 0.3048, area_mm2=awg_area_mm2(14))),
        ("2/0 AWG 1 m", WireSize(length_m=1.0, area_mm2=awg_area_mm2(-1))),
        ("0 AWG 1 m", WireSize(length_m=1.0, area_mm2=awg_area_mm2(0))),
        ("14 SAE 1 m", WireSize(length_m=1.0, area_mm2=sae_area_mm2(14))),
        ("2.5 mm2 2 m", WireSize(length_m=2.0, area_mm2=2.5)),
        (
            "2.5 mm2 2 m Red/White",
            WireSize(length_m=2.0, area_mm2=2.5, colour="red/white"),
        ),
        (
            "2.5 mm2 2 m light-blue",
            WireSize(length_m=2.0, area_mm2=2.5, colour="light-blue"),
        ),
        ("2.5 mm² 2 m", WireSize(length_m=2.0, area_mm2=2.5)),
        ("1.15 ohm/m 2 m", WireSize(length_m=2.0, ohms_per_m=1.15)),
    ],
)
def test_wires_are_read_as_people_write_them(text: str, size: WireSize) -> None:
    assert parse_wire(text) == size


def test_resistance_wire_is_read_per_foot() -> None:
    # 0.35 ohm a foot is 0.35 / 0.3048 = 1.1483 ohm a metre, by hand.
    assert parse_wire("0.35 ohm/ft 4 ft").ohms_per_m == pytest.approx(1.1483, rel=1e-4)


@pytest.mark.parametrize("text", ["5/0 AWG 1 m", "100 AWG 1 m", "1/0.5 AWG 1 m"])
def test_a_gauge_that_does_not_exist_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="there is no AWG gauge"):
        parse_wire(text)


def test_a_connection_without_a_wire_sits_on_its_terminal() -> None:
    assert parse_connection("body") == Connection(to="body", wire=None)


def test_a_connection_by_a_wire_has_the_wire() -> None:
    assert parse_connection("body via 1 mm2 2 m") == Connection(
        to="body", wire=WireSize(length_m=2.0, area_mm2=1.0)
    )


@pytest.mark.parametrize("text", ["body 1 mm2 2 m", "body via", "via 1 mm2 2 m", ""])
def test_a_connection_of_another_form_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="expected a"):
        parse_connection(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("7 A motor", LoadSize(kind="motor", parameter="motor_amps", amount=7.0)),
        ("110 W lamps", LoadSize(kind="lamp", parameter="lamp_watts", amount=110.0)),
        ("3 W led-lamp", LoadSize(kind="led-lamp", parameter="led_watts", amount=3.0)),
        ("3 W lamp", LoadSize(kind="lamp", parameter="lamp_watts", amount=3.0)),
        ("500 mA load", LoadSize(kind="load", parameter="load_amps", amount=0.5)),
    ],
)
def test_loads_are_read_with_their_kind(text: str, size: LoadSize) -> None:
    assert parse_load(text) == size


@pytest.mark.parametrize("text", ["7 A", "motor", "55 W motor", "9 A lamp"])
def test_a_load_of_another_form_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"expected a load|is not known for a"):
        parse_load(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("15 A", FuseSize(kind="fuse", rating_amps=15.0)),
        ("30 A breaker", FuseSize(kind="breaker", rating_amps=30.0)),
        ("60 A fusible-link", FuseSize(kind="fusible-link", rating_amps=60.0)),
    ],
)
def test_fuses_are_read_with_their_kind(text: str, size: FuseSize) -> None:
    assert parse_fuse(text) == size


@pytest.mark.parametrize("text", ["breaker", "0 A", "-5 A", "15 A relay"])
def test_a_fuse_of_another_form_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="current"):
        parse_fuse(text)


def test_a_parameter_without_a_unit_in_its_name_is_a_bare_number() -> None:
    assert measure_of("pulley_ratio") is None
