"""Wires as conductors: gauge to copper area, area to resistance, current to gauge.

Knows the published wire sizes and allowable currents. Leaves end joints and insulation
to `parts.wiring_and_loads`, and how a size is written in a car file to `files`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Metal:
    """A metal: its resistivity at 20 °C, and where its resistance would reach zero."""

    resistivity_ohm_mm2_per_m: float
    zero_celsius: float


class Material(Enum):
    """What a conductor is made of."""

    COPPER = "copper"
    ALUMINIUM = "aluminium"


# Resistivity at 20 °C [Ω mm²/m] and temperature of no resistance [°C] of each metal.
# Copper: 100 % IACS is 1/58 Ω mm²/m, IEC 60028 and NBS Handbook 100 (from memory);
# 234.5 + T is FAA AC 43.13-1B, p. 11-22.
# Aluminium: 0.028264 Ω mm²/m and 228 + T, IEC 60889 and IEC 60287-1-1 (from memory).
_METALS = MappingProxyType(
    {
        Material.COPPER: _Metal(
            resistivity_ohm_mm2_per_m=1.0 / 58.0, zero_celsius=-234.5
        ),
        Material.ALUMINIUM: _Metal(
            resistivity_ohm_mm2_per_m=0.028264, zero_celsius=-228.0
        ),
    }
)

# Temperature that wire tables refer to (NBS Handbook 100, from memory). [°C]
REFERENCE_CELSIUS = 20.0

# Area of a circular mil, a circle 0.001 in (0.0254 mm) across: by definition. [mm²]
MM2_PER_CIRCULAR_MIL = math.pi / 4.0 * 0.0254**2

# The international foot: exact by definition. [m]
METRES_PER_FOOT = 0.3048

# Gauges that the AWG series names: 4/0 is -3, 1/0 is 0, then 1 to 40 (ASTM B258, from
# memory).
AWG_GAUGES = range(-3, 41)

# Copper of each SAE gauge [circular mils], 1/0 as 0 and 2/0 as -1: SAE J1128 (18 to 8)
# and SAE J1127 (6 and 4), secondary copy; the sizes 20, 2, 1, 1/0 and 2/0 are from
# memory of the same tables.
_SAE_CIRCULAR_MILS = MappingProxyType(
    {
        20: 1072.0,
        18: 1537.0,
        16: 2336.0,
        14: 3702.0,
        12: 5833.0,
        10: 9343.0,
        8: 14810.0,
        6: 24538.0,
        4: 37360.0,
        2: 62450.0,
        1: 77790.0,
        0: 98980.0,
        -1: 125100.0,
    }
)

# Gauges of the SAE series known here, thinnest first; 1/0 is 0, 2/0 is -1.
SAE_GAUGES = tuple(_SAE_CIRCULAR_MILS)

# Current [A] that a gauge may carry for good, one conductor in 30 °C air with
# insulation rated 105 °C: 33 CFR 183.425 table 5 (read).
_ALLOWABLE_AMPS = MappingProxyType(
    {18: 20.0, 16: 25.0, 14: 35.0, 12: 45.0, 10: 60.0, 8: 80.0, 6: 120.0, 4: 160.0}
)

# Most that a fuse may be rated at, in allowable currents of the wire it protects:
# 33 CFR 183.455 (read). [1]
MOST_PROTECTION_FACTOR = 1.5


def gauge_name(gauge: int) -> str:
    """Return a gauge as people write it.

    Parameters
    ----------
    gauge : int
        Wire gauge; 0 for 1/0, -1 for 2/0 and so on.

    Returns
    -------
    str
        Such as ``14`` or ``2/0``, without the name of the series.

    Examples
    --------
    >>> gauge_name(14), gauge_name(-1)
    ('14', '2/0')
    """
    return str(gauge) if gauge > 0 else f"{1 - gauge}/0"


def awg_area_mm2(gauge: int) -> float:
    """Return the copper cross-section of a solid AWG wire.

    Parameters
    ----------
    gauge : int
        American wire gauge; 0 for 1/0, -1 for 2/0, -2 for 3/0, -3 for 4/0.

    Returns
    -------
    float
        Cross-section. [mm²]

    Raises
    ------
    ValueError
        If the AWG series has no such gauge.

    Notes
    -----
    Diameter d = 0.127 mm · 92^((36 - n)/39).

    References
    ----------
    ASTM B258, Standard specification for standard nominal diameters and cross-sectional
    areas of AWG sizes of solid round wires (from memory).

    Examples
    --------
    >>> round(awg_area_mm2(14), 3)
    2.081
    """
    if gauge not in AWG_GAUGES:
        raise ValueError(
            f"there is no AWG gauge {gauge}; the series ends at 4/0 and 40"
        )
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39)
    return math.pi / 4.0 * float(diameter_mm * diameter_mm)


def sae_area_mm2(gauge: int) -> float:
    """Return the copper cross-section of an SAE gauge automotive cable.

    Parameters
    ----------
    gauge : int
        SAE gauge; 0 for 1/0, -1 for 2/0.

    Returns
    -------
    float
        Cross-section; 5 to 12 % under the AWG wire of that number. [mm²]

    Raises
    ------
    ValueError
        If the series has no such gauge.

    References
    ----------
    SAE J1128, Low voltage primary cable, and SAE J1127, Low voltage battery cable,
    conductor sizes in circular mils (secondary copy).

    Examples
    --------
    >>> round(sae_area_mm2(14), 3)
    1.876
    """
    if gauge not in _SAE_CIRCULAR_MILS:
        known = ", ".join(gauge_name(size) for size in SAE_GAUGES)
        raise ValueError(
            f"there is no SAE gauge {gauge_name(gauge)} here; known: {known}"
        )
    return _SAE_CIRCULAR_MILS[gauge] * MM2_PER_CIRCULAR_MIL


def conductor_ohms(
    length_m: float,
    area_mm2: float,
    *,
    celsius: float = REFERENCE_CELSIUS,
    material: Material = Material.COPPER,
) -> float:
    """Return the DC resistance of a conductor, end to end.

    Parameters
    ----------
    length_m : float
        Length, one way. [m]
    area_mm2 : float
        Metal cross-section. [mm²]
    celsius : float
        Conductor temperature. [°C]
    material : Material
        What the conductor is made of.

    Returns
    -------
    float
        Resistance. [Ω]

    Raises
    ------
    ValueError
        If `length_m` is negative, or `area_mm2` is not positive.

    Notes
    -----
    R = ρ·l/A at 20 °C, and R(T) in proportion to 234.5 + T for copper; good from -50 to
    200 °C. Nothing is added for the lay of strands (about 2 %) or tinning.

    References
    ----------
    FAA AC 43.13-1B, Acceptable methods, techniques and practices, 1998, p. 11-22.

    Examples
    --------
    >>> round(conductor_ohms(length_m=5.0, area_mm2=1.5), 4)
    0.0575
    """
    if length_m < 0:
        raise ValueError(f"length_m is {length_m}; must not be negative")
    if area_mm2 <= 0:
        raise ValueError(f"area_mm2 is {area_mm2}; must be greater than 0")
    metal = _METALS[material]
    warmth = (celsius - metal.zero_celsius) / (REFERENCE_CELSIUS - metal.zero_celsius)
    return metal.resistivity_ohm_mm2_per_m * warmth * length_m / area_mm2


def copper_warmth(celsius: FloatArray) -> FloatArray:
    """Return the resistance of copper against its resistance at 20 °C.

    Parameters
    ----------
    celsius : FloatArray
        Any shape. [°C]

    Returns
    -------
    FloatArray
        Same shape. [1]

    Notes
    -----
    (234.5 + T) / 254.5, good from -50 to 200 °C.

    References
    ----------
    FAA AC 43.13-1B, Acceptable methods, techniques and practices, 1998, p. 11-22.

    Examples
    --------
    >>> copper_warmth(np.array([100.0])).round(3)
    array([1.314])
    """
    zero = _METALS[Material.COPPER].zero_celsius
    return np.asarray((celsius - zero) / (REFERENCE_CELSIUS - zero))


def area_for_drop_mm2(
    amps: float,
    length_m: float,
    *,
    allowed_volts: float,
    celsius: float = REFERENCE_CELSIUS,
) -> float:
    """Return the copper cross-section that just keeps the allowed drop.

    Parameters
    ----------
    amps : float
        Current. [A]
    length_m : float
        Length the current runs through, there and back. [m]
    allowed_volts : float
        Drop allowed. [V]
    celsius : float
        Conductor temperature. [°C]

    Returns
    -------
    float
        Cross-section. [mm²]

    Raises
    ------
    ValueError
        If `allowed_volts` is not positive.

    Examples
    --------
    >>> round(area_for_drop_mm2(10.0, 6.0, allowed_volts=0.36), 2)
    2.87
    """
    if allowed_volts <= 0:
        raise ValueError(f"allowed_volts is {allowed_volts}; must be greater than 0")
    ohms_mm2 = conductor_ohms(length_m=length_m, area_mm2=1.0, celsius=celsius)
    return amps * ohms_mm2 / allowed_volts


def thinnest_sae_gauge(area_mm2: float) -> int:
    """Return the thinnest even SAE gauge with at least this cross-section.

    The AWG wire of that number has a little more copper, and will do as well.

    Parameters
    ----------
    area_mm2 : float
        Cross-section needed. [mm²]

    Returns
    -------
    int
        SAE gauge; 0 for 1/0.

    Raises
    ------
    ValueError
        If no gauge known here is thick enough.

    Examples
    --------
    >>> thinnest_sae_gauge(2.87)
    12
    """
    for gauge in SAE_GAUGES:
        if gauge % 2 == 0 and sae_area_mm2(gauge) >= area_mm2:
            return gauge
    raise ValueError(f"no SAE gauge known here has {area_mm2:g} mm²")


def allowable_amps(gauge: int) -> float:
    """Return the current a wire may carry for good.

    Parameters
    ----------
    gauge : int
        Wire gauge, even, 18 to 4.

    Returns
    -------
    float
        Current for one conductor in 30 °C air with insulation rated 105 °C. [A]

    Raises
    ------
    ValueError
        If the table has no such gauge.

    References
    ----------
    33 CFR 183.425, table 5 (United States coast guard, boats).

    Examples
    --------
    >>> allowable_amps(14)
    35.0
    """
    if gauge not in _ALLOWABLE_AMPS:
        known = ", ".join(str(size) for size in _ALLOWABLE_AMPS)
        raise ValueError(f"no allowable current for gauge {gauge}; known: {known}")
    return _ALLOWABLE_AMPS[gauge]


def thinnest_gauge_carrying(amps: float) -> int:
    """Return the thinnest gauge that may carry a current for good.

    Parameters
    ----------
    amps : float
        Current, or what `allowable_amps` must be. [A]

    Returns
    -------
    int
        Wire gauge, even, 18 to 4.

    Raises
    ------
    ValueError
        If no gauge of the table may.

    References
    ----------
    33 CFR 183.425, table 5 (United States coast guard, boats).

    Examples
    --------
    >>> thinnest_gauge_carrying(30.0)
    14
    """
    for gauge, allowed in _ALLOWABLE_AMPS.items():
        if allowed >= amps:
            return gauge
    raise ValueError(f"no gauge with an allowable current here carries {amps:g} A")


def most_fuse_amps(gauge: int) -> float:
    """Return the highest fuse rating that still protects a wire.

    Parameters
    ----------
    gauge : int
        Wire gauge, even, 18 to 4.

    Returns
    -------
    float
        Fuse or breaker rating. [A]

    Raises
    ------
    ValueError
        If there is no allowable current for the gauge.

    References
    ----------
    33 CFR 183.455 (United States coast guard, boats).

    Examples
    --------
    >>> most_fuse_amps(14)
    52.5
    """
    return MOST_PROTECTION_FACTOR * allowable_amps(gauge)
