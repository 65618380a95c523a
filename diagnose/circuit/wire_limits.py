"""What a wire may carry for good, which would do, and which fuse still protects it.

From published tables and the resistance of the metal. Leaves areas of gauges and the
resistance of a conductor to `wires`.
"""

from __future__ import annotations

from types import MappingProxyType

from diagnose.circuit.wires import (
    REFERENCE_CELSIUS,
    SAE_GAUGES,
    conductor_ohms,
    sae_area_mm2,
)

# Current [A] that a gauge may carry for good, one conductor in 30 °C air with
# insulation rated 105 °C: 33 CFR 183.425 table 5 (read).
_ALLOWABLE_AMPS = MappingProxyType(
    {18: 20.0, 16: 25.0, 14: 35.0, 12: 45.0, 10: 60.0, 8: 80.0, 6: 120.0, 4: 160.0}
)


# Most that a fuse may be rated at, in allowable currents of the wire it protects:
# 33 CFR 183.455 (read). [1]
MOST_PROTECTION_FACTOR = 1.5


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
