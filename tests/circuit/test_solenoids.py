"""A starter's solenoid: what pulls it in and holds it, and wires on the wrong stud."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.network import Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.faults.causes import catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars

# In the middle: part-kinds.yaml, the sedan's file, and copper that is 15 K above 20 °C
# (.00393 a kelvin).
WARMTH = 1.0 + 0.00393 * 15.0
PULL_IN_VOLTS, COIL_OHMS = 8.0 * WARMTH, 1.3 * WARMTH


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


def cranked(
    car: Car, part: str, parameter: str, value: float
) -> tuple[Network, OperatingPoint]:
    """Return the middle car while cranking with one value changed."""
    model = CarModel(car, Middle(n_draws=1))
    values = {part: {**model.values[part], parameter: np.array([value])}}
    network = model.network(car.state("cranking"), values)
    return network, solve_operating_point(network)


def starter_amps(found: tuple[Network, OperatingPoint]) -> float:
    network, point = found
    amps = point.branch_amps(network)[0]
    return float(abs(amps[network.branches.index("starter")]))


def test_a_solenoid_needs_most_of_the_volts(sedan: Car) -> None:
    # Ohm's law: 12.5 V over a feed of R and the coil leave it
    # 12.5 COIL / (COIL + R); it pulls in above PULL_IN_VOLTS, so below this R.
    most_ohms = COIL_OHMS * (12.5 / PULL_IN_VOLTS - 1.0)
    assert most_ohms == pytest.approx(0.66, abs=0.02)

    # the feed's own wires, contacts and links have some tenth of an ohm
    good = cranked(sedan, "start-wire", "extra_ohms", most_ohms - 0.35)
    bad = cranked(sedan, "start-wire", "extra_ohms", most_ohms + 0.05)

    assert starter_amps(good) > 80.0
    assert starter_amps(bad) < 1.0


def test_a_relay_is_content_with_less(sedan: Car, knowledge: Knowledge) -> None:
    pull_in = {
        name: sedan.part(f"{name}.coil").values["pull_in_volts"].distribution.nominal
        for name in ("starter-solenoid", "fuel-pump-relay")
    }

    assert pull_in == {"starter-solenoid": 8.0, "fuel-pump-relay": 7.5}
    assert set(knowledge.attached) == {
        "starter/joint",
        "starter-solenoid/coil",
        "contactor/coil",
    }


def test_a_solenoid_whose_feed_breaks_down_clatters(sedan: Car) -> None:
    # Closed, it hangs the starter, some .03 ohm at a standstill, on a battery of .15
    # ohm: 12.5 V x .03 / .18 = 2 V, less than holds it; open, it has 12 V less .15 ohm
    # times 9 A. So it pulls in and lets go again.
    network, point = cranked(sedan, "battery", "internal_ohms", 0.15)

    assert not point.is_settled[0]
    solenoid = network.branches.index("starter-solenoid.contacts")
    assert point.flips[0, solenoid] > 2


def test_an_old_feed_on_the_motor_s_stud_leaves_the_car_dead(
    sedan: Car, knowledge: Knowledge
) -> None:
    causes = catalogue(sedan, knowledge.modes)
    cause = next(one for one in causes if one.name == "old-main-feed:on_wrong_stud")
    model = CarModel(sedan, Middle(n_draws=1))
    values = changed_values(model, [cause])

    def volts(state: str) -> float:
        network = model.network(sedan.state(state), values)
        point = solve_operating_point(network)
        return float(point.volts[0, network.nodes.index("old-junction.splice")])

    assert abs(volts("key-off")) < 0.1
    # nothing triggers the solenoid without the old feed, so it stays dead
    assert abs(volts("cranking")) < 0.1


def test_only_wires_with_a_stud_beside_theirs_can_be_on_it(
    sedan: Car, knowledge: Knowledge
) -> None:
    causes = catalogue(sedan, knowledge.modes)
    wrong = {one.part.name for one in causes if one.mode.name == "on_wrong_stud"}

    assert wrong == {
        "main-wire",
        "old-main-feed",
        "battery-cable",
        "old-box-battery",
        "old-box-ignition",
        "old-box-accessory",
    }
