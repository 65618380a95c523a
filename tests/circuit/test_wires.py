"""Wire resistance, drop and gauge choice against published tables.

Basis after each source: read in the document, in a secondary copy, or from memory.
"""

from __future__ import annotations

import math

import pytest

from diagnose.circuit.wire_limits import (
    allowable_amps,
    area_for_drop_mm2,
    most_fuse_amps,
    thinnest_gauge_carrying,
    thinnest_sae_gauge,
)
from diagnose.circuit.wires import (
    METRES_PER_FOOT,
    MM2_PER_CIRCULAR_MIL,
    Material,
    awg_area_mm2,
    conductor_ohms,
    sae_area_mm2,
)

THOUSAND_FEET_M = 1000 * METRES_PER_FOOT


@pytest.mark.parametrize(
    ("gauge", "ohms_per_1000_ft"), [(18, 6.385), (16, 4.016), (14, 2.525), (12, 1.588)]
)
def test_solid_awg_wire_at_20_degc_has_the_handbook_resistance(
    gauge: int, ohms_per_1000_ft: float
) -> None:
    # ASTM B258 with the tables of NBS Handbook 100; secondary copy; 0.1 %.
    ohms = conductor_ohms(THOUSAND_FEET_M, awg_area_mm2(gauge))

    assert ohms == pytest.approx(ohms_per_1000_ft, rel=1e-3)


@pytest.mark.parametrize(
    ("gauge", "ohms_per_1000_ft"), [(14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)]
)
def test_solid_awg_wire_at_75_degc_has_the_code_table_resistance(
    gauge: int, ohms_per_1000_ft: float
) -> None:
    # NEC chapter 9 table 8, solid uncoated copper; secondary copy; 0.5 %.
    ohms = conductor_ohms(THOUSAND_FEET_M, awg_area_mm2(gauge), celsius=75.0)

    assert ohms == pytest.approx(ohms_per_1000_ft, rel=5e-3)


@pytest.mark.parametrize("gauge", [36, 18, 10, 0, -3])
def test_awg_diameter_follows_the_geometric_series(gauge: int) -> None:
    # ASTM B258, diameter 0.127 mm x 92^((36-n)/39); from memory; exact.
    diameter_mm = math.sqrt(4 * awg_area_mm2(gauge) / math.pi)

    assert diameter_mm == pytest.approx(0.127 * 92 ** ((36 - gauge) / 39), rel=1e-12)


def test_awg_4_0_is_0_46_inch_thick() -> None:
    # ASTM B258: 4/0 is defined as 0.4600 in; from memory; exact.
    diameter_in = math.sqrt(4 * awg_area_mm2(-3) / math.pi) / 25.4

    assert diameter_in == pytest.approx(0.46, rel=1e-9)


def test_20_amps_over_50_ft_with_1_volt_needs_a_number_8_wire() -> None:
    # FAA AC 43.13-1B chapter 11 example 1 (28 V system, 1 V allowed); read; exact.
    # Stranded wire has less copper than solid AWG, hence the SAE sizes here.
    area_mm2 = area_for_drop_mm2(20.0, 50 * METRES_PER_FOOT, allowed_volts=1.0)

    assert thinnest_sae_gauge(area_mm2) == 8


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 75.0, 120.0])
def test_copper_resistance_is_in_proportion_to_234_5_plus_temperature(
    celsius: float,
) -> None:
    # FAA AC 43.13-1B p. 11-22; read.
    ratio = conductor_ohms(3.0, 2.0, celsius=celsius) / conductor_ohms(3.0, 2.0)

    assert ratio == pytest.approx((234.5 + celsius) / 254.5, rel=1e-12)


@pytest.mark.parametrize(
    ("area_mm2", "most_milliohms_per_m"),
    [
        (0.5, 39.0),
        (0.75, 26.0),
        (1.0, 19.5),
        (1.5, 13.3),
        (2.5, 7.98),
        (4.0, 4.95),
        (6.0, 3.30),
        (10.0, 1.91),
        (16.0, 1.21),
        (25.0, 0.780),
        (35.0, 0.554),
        (50.0, 0.386),
    ],
)
def test_metric_wire_reads_at_or_under_the_class_5_limit(
    area_mm2: float, most_milliohms_per_m: float
) -> None:
    # IEC 60228 class 5 (flexible), maximum at 20 degC; secondary copy.
    milliohms = 1000 * conductor_ohms(1.0, area_mm2)

    assert 0.8 * most_milliohms_per_m < milliohms <= most_milliohms_per_m


@pytest.mark.parametrize(
    ("gauge", "circular_mils"),
    [
        (18, 1537),
        (16, 2336),
        (14, 3702),
        (12, 5833),
        (10, 9343),
        (8, 14810),
        (6, 24538),
        (4, 37360),
    ],
)
def test_sae_gauge_has_the_published_area(gauge: int, circular_mils: float) -> None:
    # SAE J1128 and J1127 sizes; secondary copy; exact.
    # A circular mil is 506.7075 square micrometres (definition, worked by hand).
    assert sae_area_mm2(gauge) == pytest.approx(circular_mils * 5.067075e-4, rel=1e-6)


@pytest.mark.parametrize("gauge", [18, 16, 14, 12, 10, 8, 6, 4, 2, 1, 0, -1])
def test_sae_gauge_has_5_to_12_percent_less_copper_than_awg(gauge: int) -> None:
    # SAE J1128 and J1127 sizes against ASTM B258; secondary copy.
    shortfall = 1 - sae_area_mm2(gauge) / awg_area_mm2(gauge)

    assert 0.05 <= shortfall <= 0.12


@pytest.mark.parametrize(
    ("amps", "round_trip_ft", "gauge"),
    [
        (5, 10, 18),
        (5, 20, 14),
        (5, 40, 10),
        (5, 100, 6),
        (10, 10, 14),
        (10, 25, 10),
        (10, 50, 6),
        (20, 10, 10),
        (20, 40, 6),
        (20, 60, 4),
    ],
)
def test_gauge_for_3_percent_of_12_volts_matches_the_boat_table(
    amps: float, round_trip_ft: float, gauge: int
) -> None:
    # ABYC E-11 table, 12 V, 3 %: circular mils = 10.75 I L / 0.36; secondary copy.
    # Its 10.75 ohm circular mil a foot is copper at 30 degC (10.37 x 264.5/254.5).
    area_mm2 = area_for_drop_mm2(
        amps, round_trip_ft * METRES_PER_FOOT, allowed_volts=0.36, celsius=30.0
    )

    assert thinnest_sae_gauge(area_mm2) == gauge


def test_area_for_a_drop_matches_the_boat_formula() -> None:
    # ABYC E-11: circular mils = 10.75 x 10 A x 25 ft / 0.36 V = 7465; secondary copy;
    # 0.5 %, as 30 degC stands for 10.76.
    area_mm2 = area_for_drop_mm2(
        10.0, 25 * METRES_PER_FOOT, allowed_volts=0.36, celsius=30.0
    )

    assert area_mm2 / MM2_PER_CIRCULAR_MIL == pytest.approx(7465, rel=5e-3)


@pytest.mark.parametrize(
    ("gauge", "amps"),
    [(18, 20), (16, 25), (14, 35), (12, 45), (10, 60), (8, 80), (6, 120), (4, 160)],
)
def test_allowable_amps_are_those_of_the_boat_regulation(
    gauge: int, amps: float
) -> None:
    # 33 CFR 183.425 table 5, 30 degC air, 105 degC insulation; read; exact.
    assert allowable_amps(gauge) == amps


@pytest.mark.parametrize(
    ("amps", "gauge"), [(20.0, 18), (20.1, 16), (60.0, 10), (61.0, 8), (160.0, 4)]
)
def test_the_thinnest_gauge_for_a_current_is_that_of_the_boat_regulation(
    amps: float, gauge: int
) -> None:
    # 33 CFR 183.425 table 5, as above; read; exact.
    assert thinnest_gauge_carrying(amps) == gauge


def test_no_gauge_of_the_table_carries_more_than_160_amps() -> None:
    with pytest.raises(ValueError, match="carries 161 A"):
        thinnest_gauge_carrying(161.0)


def test_14_gauge_may_be_protected_by_at_most_52_5_amps() -> None:
    # 33 CFR 183.455: 150 % of 35 A; read; exact.
    assert most_fuse_amps(14) == 52.5


def test_aluminium_has_61_percent_of_the_conductivity_of_copper() -> None:
    # 61 % IACS for electrical-grade aluminium; from memory; 0.5 %.
    copper_ohms = conductor_ohms(1.0, 10.0)
    aluminium_ohms = conductor_ohms(1.0, 10.0, material=Material.ALUMINIUM)

    assert copper_ohms / aluminium_ohms == pytest.approx(0.61, rel=5e-3)


def test_no_gauge_outside_the_awg_series() -> None:
    with pytest.raises(ValueError, match="there is no AWG gauge 41"):
        awg_area_mm2(41)


def test_no_sae_gauge_15() -> None:
    with pytest.raises(ValueError, match="there is no SAE gauge 15"):
        sae_area_mm2(15)


def test_a_conductor_of_no_area_is_refused() -> None:
    with pytest.raises(ValueError, match="area_mm2 is 0"):
        conductor_ohms(1.0, 0.0)


def test_a_negative_length_is_refused() -> None:
    with pytest.raises(ValueError, match="length_m is -1"):
        conductor_ohms(-1.0, 1.0)


def test_a_drop_of_nothing_needs_no_such_wire() -> None:
    with pytest.raises(ValueError, match="allowed_volts is 0"):
        area_for_drop_mm2(1.0, 1.0, allowed_volts=0.0)


def test_no_gauge_is_thick_enough_for_a_hundred_mm2() -> None:
    with pytest.raises(ValueError, match="no SAE gauge known here has 100 mm²"):
        thinnest_sae_gauge(100.0)
