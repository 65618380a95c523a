"""Currents that take a way nobody meant: missing grounds, backfeed, key-off drain.

None of them is written down anywhere; they come out of the whole network's solution.
Worked by hand on the bench, and shown on the shipped car.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import Cause, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from tests.circuit.small_circuits import (
    GROUND,
    IDEAL_OHMS,
    OPEN_OHMS,
    SolvedCircuit,
    make_resistor,
    make_source,
    solve_circuit,
)

N_DRAWS = 4


def cranking(*, strap_ohms: float) -> SolvedCircuit:
    """Return a starter on an engine that is grounded to the body by a strap.

    A controller's ground wire (.05 ohm) goes to the engine, and its case (.01 ohm) to
    the body; the battery's ground cable goes to the body.
    """
    return solve_circuit(
        [
            make_source("battery.plus", 12.6, ohms=0.01),
            make_resistor("battery.plus", "starter.plus", 0.005),
            make_resistor("starter.plus", "engine", 0.065, name="starter"),
            make_resistor("engine", "body", strap_ohms, name="strap"),
            make_resistor("controller.ground", "engine", 0.05, name="ground-wire"),
            make_resistor("controller.ground", "body", 0.01, name="case"),
            make_resistor("body", GROUND, 0.001),
        ]
    )


# By hand: 12.6 V over .01 + .005 + .065 + .06 + .001 ohm is 89 A, all of it through the
# ground wire, whose end at the controller stands .9 V over the body.
def test_missing_engine_strap_sends_cranking_current_through_a_controller() -> None:
    solved = cranking(strap_ohms=OPEN_OHMS)

    assert solved.branch_amps["starter"] == pytest.approx(89.4, rel=0.005)
    assert -solved.branch_amps["ground-wire"] == pytest.approx(89.4, rel=0.005)
    assert solved.drop_volts("controller.ground", "body") == pytest.approx(
        0.89, abs=0.01
    )


# By hand: a strap of half a milliohm beside 60 milliohm leaves them a hundred and
# twentieth of 154 A, 1.3 A.
def test_sound_engine_strap_leaves_the_controllers_ground_an_ampere() -> None:
    solved = cranking(strap_ohms=0.0005)

    assert -solved.branch_amps["ground-wire"] == pytest.approx(1.27, rel=0.02)


def rear_lamps(*, ground_ohms: float) -> SolvedCircuit:
    """Return brake lamps (3.4 ohm) that share a ground with tail lamps (4.5 ohm).

    Brake on, lights off; the dash lamps (18 ohm) hang on the tail lamps' feed and have
    a ground of their own.
    """
    return solve_circuit(
        [
            make_source("battery.plus", 12.0),
            make_resistor("battery.plus", "brake.plus", IDEAL_OHMS),
            make_resistor("brake.plus", "stud", 3.4, name="brake-lamps"),
            make_resistor("tail.plus", "stud", 4.5, name="tail-lamps"),
            make_resistor("tail.plus", GROUND, 18.0, name="dash-lamps"),
            make_resistor("stud", GROUND, ground_ohms, name="ground"),
        ]
    )


# By hand: 12 V over 3.4 + 4.5 + 18 ohm is .463 A, backwards through the tail lamps.
def test_open_shared_ground_lights_the_dash_lamps_by_the_brake() -> None:
    solved = rear_lamps(ground_ohms=OPEN_OHMS)

    assert -solved.branch_amps["tail-lamps"] == pytest.approx(0.463, rel=0.005)
    assert solved.drop_volts("tail.plus") == pytest.approx(8.34, rel=0.005)


def test_sound_shared_ground_leaves_the_dash_lamps_dark() -> None:
    solved = rear_lamps(ground_ohms=0.001)

    assert solved.drop_volts("tail.plus") == pytest.approx(0.0, abs=0.005)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The shipped car, ready to be solved under some of its faults."""

    model: CarModel
    causes: Mapping[str, Cause]

    def amps(self, state: str, branch: str, *faults: str) -> FloatArray:
        """Return a branch's current in every draw, shape (n_draws,). [A]."""
        values = changed_values(self.model, [self.causes[name] for name in faults])
        network = self.model.network(self.model.car.state(state), values)
        point = solve_operating_point(network)
        column = network.branch_indices()[branch]
        return np.asarray(point.branch_amps(network)[:, column])


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Bench:
    car = load_car(Path(str(shipped_cars()["sedan"])), knowledge)
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    causes = {cause.name: cause for cause in catalogue(car, knowledge.modes)}
    return Bench(model=model, causes=causes)


# Rule of the trade: without its cable to the engine the battery cranks through the body
# lead, which is a 10 AWG wire, as long as that lasts.
def test_open_ground_cable_sends_cranking_current_through_the_body_lead(
    sedan: Bench,
) -> None:
    sound = np.abs(sedan.amps("cranking", "body-lead"))
    missing = np.abs(sedan.amps("cranking", "body-lead", "ground-cable:open_circuit"))

    assert sound.max() < 40.0
    assert missing.min() > 100.0


# The instruments and the radio lose their ground; what is left for them leads through
# the dash lamps, backwards, and the tail lamps.
def test_open_dash_stud_lights_the_dash_lamps_backwards(sedan: Bench) -> None:
    sound = sedan.amps("key-on", "dash-lamps")
    open_stud = sedan.amps("key-on", "dash-lamps", "dash-stud:open_circuit")

    assert np.abs(sound).max() < 1e-3
    assert open_stud.max() < -0.2


DRAINS = (
    ("fan-relay.contacts:welded", "fan-fuse", 10.0),
    ("fuel-pump-relay.contacts:welded", "fuel-pump-fuse", 4.0),
    ("brake-switch.out-contact:stuck_closed", "brake-feed-fuse", 3.0),
    ("ignition-switch.accessory-contact:stuck_closed", "radio-fuse", 0.5),
)


# By hand: the loads' own currents; the drain is the current out of the battery.
@pytest.mark.parametrize(("fault", "fuse", "least_amps"), DRAINS)
def test_key_off_drain_shows_at_the_fuse_of_its_branch(
    fault: str, fuse: str, least_amps: float, sedan: Bench
) -> None:
    sound = -sedan.amps("key-off", "battery")
    drain = -sedan.amps("key-off", "battery", fault) - sound

    branch = sedan.amps("key-off", fuse, fault) - sedan.amps("key-off", fuse)

    assert drain.min() > least_amps
    assert np.abs(branch) == pytest.approx(drain, rel=0.02)


@pytest.mark.parametrize(("fault", "fuse", "least_amps"), DRAINS)
def test_pulling_that_fuse_takes_the_drain_away(
    fault: str, fuse: str, least_amps: float, sedan: Bench
) -> None:
    without = -sedan.amps("key-off", "battery", fault, f"{fuse}:blown")

    # rule of the trade: 50 mA is the limit
    assert without.max() < 0.050 < least_amps


def test_key_off_drain_splits_between_the_three_feeds_of_the_battery(
    sedan: Bench,
) -> None:
    fault = "fan-relay.contacts:welded"
    drain = -sedan.amps("key-off", "battery", fault)
    feeds = ("main-feed", "charge-feed", "battery-cable")

    total = sum(np.abs(sedan.amps("key-off", feed, fault)) for feed in feeds)

    assert total == pytest.approx(drain, rel=1e-3)
