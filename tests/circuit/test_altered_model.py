"""A circuit with a lead added or a part taken off, against Ohm's law worked by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.altered_model import (
    LEAD,
    EveryNth,
    altered_model,
    lead_part,
    turns_starter,
)
from diagnose.circuit.car import Car, Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Middle, Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_ON,
    make_car,
    make_fuse,
    make_resistor,
    make_source,
)

ON = frozenset({"key-on"})


def solved(model: CarModel, *branches: str, looked: str = "") -> FloatArray:
    """Return the currents of branches, then 1 where a fuse holds, else 0."""
    probes = [Probe(branch=b, state="key-on", is_current=True) for b in branches]
    if looked:
        probes.append(Probe(branch=looked, state="key-on", is_current=False))
    shown = Predictor(model, (), probes).predict([()])
    return np.asarray(shown.probes[0, 0], dtype=np.float64)


def bench(*parts: Part) -> CarModel:
    return CarModel(make_car(parts, KEY_ON), Middle(n_draws=1))


def test_lead_over_a_bad_joint_feeds_the_pump() -> None:
    # By hand: 12 V, a joint of 1 ohm, a pump of 1.2 ohm (10 A at 12 V). Without a lead
    # 12 / 2.2 = 5.45 A. The lead of .03 ohm beside the joint makes .0291 ohm of it:
    # 12 / 1.2291 = 9.763 A, of which 1 / 1.03 = .971, 9.479 A, go through the lead. It
    # has .03 ohm of 2 m of 2.5 mm² there (.01724 ohm mm²/m: 13.8 mohm) and three times
    # 5 mohm.
    car = bench(
        make_source("feed", 12.0),
        make_resistor("feed", "pump", 1.0, "joint"),
        make_resistor("pump", GROUND, 1.2, "pump"),
    )
    lead = lead_part("feed", "pump", is_cable=False)

    before = solved(altered_model(car, states=ON), "pump")
    after = solved(altered_model(car, states=ON, lead=lead), "pump", LEAD)

    assert before[0] == pytest.approx(12.0 / 2.2, rel=1e-4)
    assert after.tolist() == pytest.approx([9.763, 9.479], rel=1e-4)


def test_cable_beside_a_bad_engine_strap_lets_the_starter_turn() -> None:
    # By hand: 12.4 V behind 9 mohm, a starter of 50 mohm, a strap of .3 ohm. Without a
    # cable 12.4 / .359 = 34.5 A; with 4 mohm beside the strap it has 3.947 mohm:
    # 12.4 / .062947 = 197.0 A. The 4 mohm are 3 m of 25 mm² (2.1 mohm) and two clamps.
    car = bench(
        make_source("plus", 12.4, 0.009),
        make_resistor("plus", "engine", 0.05, "starter"),
        make_resistor("engine", GROUND, 0.3, "strap"),
    )
    lead = lead_part(GROUND, "engine", is_cable=True)

    before = solved(altered_model(car, states=ON), "starter")
    after = solved(altered_model(car, states=ON, lead=lead), "starter")

    assert before[0] == pytest.approx(12.4 / 0.359, rel=1e-4)
    assert after[0] == pytest.approx(197.0, rel=1e-3)


def test_fuse_holds_without_the_shorted_load() -> None:
    # By hand: the shorted load of 20 mohm draws 12 / .025 = 480 A through a 15 A fuse
    # of 5 mohm; the other, of 2 ohm, 6 A.
    car = bench(
        make_source("feed", 12.0),
        make_fuse("fuse", "feed", "fed", rating_amps=15.0),
        make_resistor("fed", GROUND, 0.02, "shorted"),
        make_resistor("fed", GROUND, 2.0, "other"),
    )

    before = solved(altered_model(car, states=ON), "other", looked="fuse")
    after = solved(
        altered_model(car, states=ON, unplugged="shorted"), "other", looked="fuse"
    )

    assert before.tolist() == pytest.approx([0.0, 0.0], abs=1e-6)
    assert after == pytest.approx([12.0 / 2.005, 1.0], rel=1e-4)


def test_changed_car_has_some_draws_and_states_of_the_whole_one() -> None:
    parts = (make_source("feed", 12.0), make_resistor("feed", GROUND, 2.0, "load"))
    whole = CarModel(make_car(parts, KEY_ON, CRANKING), Sample(n_draws=8))

    some = altered_model(whole, states=ON, every=4)

    assert [state.name for state in some.car.states] == ["key-on"]
    assert some.sample.n_draws == 2
    assert len(some.values["load"]["ohms"]) == 2


def test_every_fourth_draw_keeps_its_quantile() -> None:
    whole = Sample(n_draws=8)

    few = EveryNth(whole, 4)

    assert few.probabilities("x").tolist() == whole.probabilities("x")[::4].tolist()


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


@pytest.mark.parametrize(
    ("first", "second", "turns"),
    [
        ("battery.plus", "starter-solenoid.86", True),
        ("starter-solenoid.86", "starter-solenoid.30", True),
        ("battery.minus", "starter.case", False),
        ("battery.minus", "starter-solenoid.86", False),
        ("battery.plus", "fuel-pump.plus", False),
    ],
)
def test_lead_on_the_solenoid_turns_the_starter(
    first: str, second: str, turns: bool, sedan: Car
) -> None:
    lead = lead_part(first, second, is_cable=False)

    assert turns_starter(lead, sedan) is turns


def test_whoever_turns_the_starter_by_a_lead_has_the_key_in_run(sedan: Car) -> None:
    model = CarModel(sedan, Middle(n_draws=1))
    by_lead = lead_part("battery.plus", "starter-solenoid.86", is_cable=False)
    other = lead_part("battery.plus", "fuel-pump.plus", is_cable=False)
    cranking = frozenset({"cranking"})

    found = [
        altered_model(model, states=cranking, lead=lead).car.state("cranking")
        for lead in (by_lead, other)
    ]

    assert [one.switch_positions["ignition-switch"] for one in found] == [
        "run",
        "crank",
    ]
