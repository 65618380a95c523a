"""How the values of parts follow the system voltage: 6 V and 24 V from 12 V.

What a fault sets follows it too, what it adds does not: a relay that pulls in late does
so at half the volts in a 6 V car, but a lost cell is 2 V in any battery. Leaves the
values themselves to knowledge/ and the car file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

# Power of volts/12 that a value for a 12 V car is multiplied by (derived: cells in
# series for the battery, the same power at another voltage for the rest). What is not
# named here, such as the ohms of a joint, does not follow the volts.
VOLTAGE_EXPONENTS: Mapping[str, int] = MappingProxyType(
    {
        "empty_volts": 1,
        "full_volts": 1,
        "internal_ohms": 1,
        "acceptance_ohms": 1,
        "surface_volts": 1,
        "surface_ohms": 1,
        "set_volts": 1,
        "droop_volts": 1,
        "sense_limit_volts": 1,
        "sense_backup_volts": 1,
        "belt_amps_per_rpm": -1,
        "ripple_ohms": 1,
        "field_ohms": 2,
        "sense_error_volts": 1,
        "cranking_amps": -1,
        "stall_ohms": 2,
        "coil_ohms": 2,
        "pull_in_volts": 1,
        "release_volts": 1,
        "supply_amps": -1,
        "reset_volts": 1,
        "restart_volts": 1,
        "lamp_volts": 1,
        "led_volts": 1,
        "knee_volts": 1,
        "motor_volts": 1,
        "motor_amps": -1,
        "load_volts": 1,
        "load_amps": -1,
        "standing_amps": -1,
    }
)


# An amount of volts in running text.
_VOLTS = re.compile(r"\b(\d+(?:\.\d+)?) V\b")


def voltage_factor(parameter: str, system_volts: float) -> float:
    """Return what a value for a 12 V car is multiplied by in another car.

    Parameters
    ----------
    parameter : str
        Its unit ends the name.
    system_volts : float
        6, 12 or 24. [V]

    Returns
    -------
    float
        1 for a value that does not follow the system voltage. [1]

    Examples
    --------
    >>> voltage_factor("coil_ohms", 24.0), voltage_factor("contact_ohms", 24.0)
    (4.0, 1.0)
    """
    return float((system_volts / 12.0) ** VOLTAGE_EXPONENTS.get(parameter, 0))


def words_at(text: str, system_volts: float) -> str:
    """Return words for a 12 V car as they are for another, by the volts in them.

    Parameters
    ----------
    text : str
        What is asked or said.
    system_volts : float
        6, 12 or 24. [V]

    Returns
    -------
    str
        Unchanged for 12 V.

    Examples
    --------
    >>> words_at("does it charge (13.2 V or more)?", 6.0)
    'does it charge (6.6 V or more)?'
    """
    factor = system_volts / 12.0
    return _VOLTS.sub(lambda found: f"{float(found[1]) * factor:g} V", text)
