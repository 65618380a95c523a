"""Joints, batteries and leaks as cars have them: no gap between sound and faulty."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Distribution
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


def ends(distribution: Distribution) -> tuple[float, float]:
    """Return what all but one in a thousand, either way, lies between."""
    low, high = distribution.quantile(np.array([0.001, 0.999]))
    return float(low), float(high)


def fault(knowledge: Knowledge, kind: str, name: str, parameter: str) -> Distribution:
    (mode,) = (m for m in knowledge.modes if (m.kind, m.name) == (kind, name))
    (change,) = (c for c in mode.changes if c.parameter == parameter)
    return change.amount


# Rule: what is worse than any sound joint is a fault, however little worse.
@pytest.mark.parametrize(
    ("part", "parameter", "mode"),
    [
        ("battery-cable", "joint_a_ohms", "cable_high_resistance_a"),
        ("ground-cable", "joint_b_ohms", "cable_high_resistance_b"),
        ("engine-strap", "joint_a_ohms", "cable_high_resistance_a"),
        ("fuel-pump-wire", "joint_a_ohms", "high_resistance_a"),
        ("ignition-ground", "joint_b_ohms", "high_resistance_b"),
        ("body-stud", "joint_ohms", "high_resistance"),
        ("blower-switch.out-contact", "contact_ohms", "burnt"),
    ],
)
def test_poor_contact_begins_where_sound_joints_end(
    part: str, parameter: str, mode: str, sedan: Car, knowledge: Knowledge
) -> None:
    sound = sedan.part(part)
    worst = ends(sound.values[parameter].distribution)[1]
    mildest = ends(fault(knowledge, sound.kind, mode, parameter))[0]

    assert mildest <= worst


# Rule: poor contact goes on through 3 and 300 ohm to open; 10 A through a cable's 3 ohm
# leave nothing for a starter.
@pytest.mark.parametrize(
    ("kind", "mode", "parameter", "ohms"),
    [
        ("wire", "high_resistance_a", "joint_a_ohms", 12.0),
        ("wire", "high_resistance_b", "joint_b_ohms", 250.0),
        ("wire", "cable_high_resistance_a", "joint_a_ohms", 0.00085),
        ("wire", "cable_high_resistance_b", "joint_b_ohms", 2.5),
        ("joint", "high_resistance", "joint_ohms", 250.0),
        ("fuse", "poor_contact", "ohms", 250.0),
        ("slow-fuse", "poor_contact", "ohms", 12.0),
        ("breaker", "poor_contact", "ohms", 12.0),
        ("contacts", "burnt", "contact_ohms", 12.0),
        ("switch-contact", "burnt", "contact_ohms", 12.0),
    ],
)
def test_poor_contact_has_no_hard_end(
    kind: str, mode: str, parameter: str, ohms: float, knowledge: Knowledge
) -> None:
    low, high = ends(fault(knowledge, kind, mode, parameter))

    assert low <= ohms <= high


# By hand: 12 V over 600 ohm are 20 mA, over .6 ohm 20 A, where the short begins.
def test_drains_and_shorts_leave_no_gap(knowledge: Knowledge) -> None:
    leak = ends(fault(knowledge, "wire", "leak_to_ground", "leak_ohms"))
    short = ends(fault(knowledge, "wire", "short_to_ground", "leak_ohms"))
    diode = ends(fault(knowledge, "alternator", "diode_shorted", "diode_leak_ohms"))

    assert 12.0 / leak[1] == pytest.approx(0.02, rel=0.02)
    assert 12.0 / leak[0] == pytest.approx(20.0, rel=0.02)
    assert short[1] == pytest.approx(leak[0], rel=0.02)
    assert 12.0 / diode[1] <= 0.02 <= 20.0 <= 12.0 / diode[0]


# Service practice: 9.6 V is the least at the posts of a sound car that cranks at
# 20 °C, 10 to 11 V are usual and 11.5 V is the most.
def test_sound_car_cranks_at_the_usual_volts(sedan: Car) -> None:
    state = sedan.state("cranking")
    model = CarModel(sedan, Sample(n_draws=64))
    network = model.network(state)
    point = solve_operating_point(network)
    volts = point.volts[:, network.node_indices()["battery.plus"]]

    low, middle, high = np.quantile(volts, [0.05, 0.5, 0.95])
    assert 10.0 <= low <= middle <= 11.05
    assert high <= 11.5
    assert float(volts.min()) >= 9.6


# Rule: supplies stay up to 6 or 7 V and come back a volt above; from 7.0 to 7.3 V what
# came before says whether a controller is up.
def test_controllers_between_reset_and_restart_may_be_up_or_down(
    knowledge: Knowledge,
) -> None:
    values = knowledge.defaults["controller"]
    reset = ends(values["reset_volts"].distribution)
    restart = ends(values["restart_volts"].distribution)

    assert reset[0] < 6.0
    assert 7.0 < reset[1] < restart[0] < 7.3
    assert restart[1] > 8.0


# By hand: 1.6 V between a full battery and 14.2 V, over .13 ohm times or by the factor
# that two standard deviations are, exp(2 x .45) = 2.46.
def test_sound_batteries_take_5_to_30_amps(knowledge: Knowledge) -> None:
    ohms = knowledge.defaults["battery"]["acceptance_ohms"].distribution
    low, high = ohms.quantile(np.array([0.023, 0.977]))

    assert 1.6 / high == pytest.approx(5.0, rel=0.02)
    assert 1.6 / low == pytest.approx(30.0, rel=0.02)


# Rule: rest volts from flat to full without a gap, and a few volts are possible.
def test_batteries_rest_at_any_volts_from_two_up(knowledge: Knowledge) -> None:
    flat = ends(fault(knowledge, "battery", "deeply_discharged", "empty_volts"))
    empty = ends(knowledge.defaults["battery"]["empty_volts"].distribution)

    assert flat[0] == pytest.approx(2.0, abs=0.1)
    assert flat[1] >= empty[0]
