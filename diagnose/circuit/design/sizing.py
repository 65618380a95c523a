"""Which wire would do: for a current, a fuse or a drop.

Leaves the published tables to `circuit.wires`.
"""

from __future__ import annotations

from diagnose.circuit.car import Car, Part
from diagnose.circuit.wire_limits import (
    allowable_amps,
    area_for_drop_mm2,
    thinnest_gauge_carrying,
    thinnest_sae_gauge,
)
from diagnose.circuit.wires import SAE_GAUGES, conductor_ohms, gauge_name, sae_area_mm2

# The thinnest gauge with a published current. [SAE gauge] 33 CFR 183.425.
THINNEST_GAUGE = 18

# The thickest gauge with a published current. [SAE gauge] 33 CFR 183.425.
THICKEST_GAUGE = 4


def counted_gauge(wire: Part) -> int | None:
    """Return the gauge of the published currents that a wire counts as.

    Parameters
    ----------
    wire : Part
        A wire of copper.

    Returns
    -------
    int or None
        A wire between two gauges counts as the thinner one, one thinner than the table
        as its thinnest; None where it is thicker than the table.
    """
    area_mm2 = wire.values["area_mm2"].distribution.nominal
    even = [gauge for gauge in SAE_GAUGES if gauge % 2 == 0]
    held = [gauge for gauge in even if sae_area_mm2(gauge) <= area_mm2]
    gauge = held[-1] if held else THINNEST_GAUGE
    return None if gauge < THICKEST_GAUGE else min(gauge, THINNEST_GAUGE)


def wire_allowable_amps(wire: Part) -> float | None:
    """Return what a wire may carry for good, None when no current is published.

    Parameters
    ----------
    wire : Part
        A wire of copper.

    Returns
    -------
    float or None
        By 33 CFR 183.425 table 5. [A]
    """
    gauge = counted_gauge(wire)
    return None if gauge is None else allowable_amps(gauge)


def gauge_that_would_do(amps: float, area_mm2: float = 0.0) -> str:
    """Return the gauge that carries a current and has so much copper.

    Parameters
    ----------
    amps : float
        What it must be allowed to carry for good. [A]
    area_mm2 : float
        Copper it must have at least. [mm²]

    Returns
    -------
    str
        Such as ``10 AWG``; empty when no gauge known here would do.
    """
    try:
        # the thicker of the two: gauges count down
        gauge = min(thinnest_gauge_carrying(amps), thinnest_sae_gauge(area_mm2))
    except ValueError:
        return ""
    return f"{gauge_name(gauge)} AWG"


def gauge_for_drop(
    car: Car,
    wire: Part,
    *,
    amps: float,
    allowed_volts: float,
    is_brief: bool = False,
) -> str:
    """Return which gauge keeps an allowed drop in place of a wire.

    Parameters
    ----------
    car : Car
        The car.
    wire : Part
        A wire of copper in it.
    amps : float
        What it carries now. [A]
    allowed_volts : float
        What its copper may drop. [V]
    is_brief : bool
        Whether it carries this for seconds only, as a starter cable does.

    Returns
    -------
    str
        Such as ``10 AWG``; empty when no gauge known here would do.
    """
    length_m, area_mm2, ohms = (
        wire.values[name].distribution.nominal
        for name in ("length_m", "area_mm2", "wire_ohms")
    )
    left = 1.0 - amps * ohms / car.system_volts
    if left <= 0.0 or allowed_volts <= 0.0:
        return ""
    # with a better wire a resistive load takes more
    amps /= left
    # as warm as this wire is
    warmth = ohms / conductor_ohms(length_m, area_mm2)
    area_needed = area_for_drop_mm2(
        amps, length_m, allowed_volts=allowed_volts / warmth
    )
    return gauge_that_would_do(0.0 if is_brief else amps, area_needed)
