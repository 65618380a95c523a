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
