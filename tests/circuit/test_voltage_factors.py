"""How values for a 12 V car follow the system voltage, by the rule each is made by."""

from __future__ import annotations

import pytest

from diagnose.circuit.system_voltage import VOLTAGE_EXPONENTS, voltage_factor

# The same power at twice the volts takes a quarter of the conductance: P = U²/R.
SAME_POWER_OHMS = ("field_ohms", "stall_ohms", "coil_ohms")
# Twice the cells, or twice the turns for half the current, in series.
IN_SERIES_OHMS = ("internal_ohms", "acceptance_ohms", "surface_ohms", "ripple_ohms")
VOLTS = tuple(name for name in VOLTAGE_EXPONENTS if name.endswith("_volts"))
AMPS = tuple(name for name in VOLTAGE_EXPONENTS if name.endswith("_amps"))


# By hand, from 12 V to 24 V: volts double, the current of the same power is halved.
@pytest.mark.parametrize(
    ("names", "factor"),
    [
        (VOLTS, 2.0),
        (AMPS, 0.5),
        (("belt_amps_per_rpm",), 0.5),
        (SAME_POWER_OHMS, 4.0),
        (IN_SERIES_OHMS, 2.0),
        (("contact_ohms", "rating_amps", "wire_ohms"), 1.0),
    ],
    ids=["volts", "amps", "belt", "same power", "in series", "as they are"],
)
def test_value_of_a_24_volt_car_is_that_of_twice_the_cells(
    names: tuple[str, ...], factor: float
) -> None:
    assert {name: voltage_factor(name, 24.0) for name in names} == dict.fromkeys(
        names, pytest.approx(factor)
    )


def test_a_6_volt_starter_takes_twice_the_current_for_the_same_power() -> None:
    assert voltage_factor("cranking_amps", 6.0) == pytest.approx(2.0)


def test_each_value_that_follows_the_voltage_has_a_rule_here() -> None:
    ruled = {*VOLTS, *AMPS, *SAME_POWER_OHMS, *IN_SERIES_OHMS, "belt_amps_per_rpm"}

    assert ruled == set(VOLTAGE_EXPONENTS)
