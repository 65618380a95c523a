"""The battery: rest volts, resistance, surface charge, a lost cell, against the trade.

Each test names its source and its basis: read (in the document), copy (in a secondary
copy), memory, or rule (of the trade).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.car import (
    Part,
)
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    GROUND,
    make_car,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
)

KNOWLEDGE = Path(__file__).resolve().parents[2] / "knowledge"
HOT = "battery.plus"
NO_LOAD_OHMS = 1e6


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge(KNOWLEDGE)


def make_battery(
    *,
    state_of_charge: float = 1.0,
    surface_volts: float = 0.0,
    internal_ohms: float = 0.009,
) -> Part:
    """Return a 12 V battery."""
    return make_part(
        "battery",
        "battery",
        HOT,
        GROUND,
        state_of_charge=state_of_charge,
        empty_volts=11.8,
        full_volts=12.6,
        internal_ohms=internal_ohms,
        acceptance_ohms=0.18,
        surface_volts=surface_volts,
        surface_ohms=0.1,
    )


def loaded_volts(battery: Part, load_ohms: float) -> float:
    """Return what a meter shows across a battery with a load on it. [V]."""
    parts = [battery, make_resistor(HOT, GROUND, load_ohms, name="load")]
    return solve_circuit(parts).drop_volts(HOT)


# US Army TM 5-3805-262-20 p. 5-142 (read, 5 % of charge, which is .04 V): 12.0, 12.2,
# 12.4 and 12.6 V at rest are 25, 50, 75 and 100 % of charge.
@pytest.mark.parametrize(
    ("state_of_charge", "volts"), [(0.25, 12.0), (0.5, 12.2), (0.75, 12.4), (1.0, 12.6)]
)
def test_rest_volts_tell_the_charge(state_of_charge: float, volts: float) -> None:
    battery = make_battery(state_of_charge=state_of_charge)

    assert loaded_volts(battery, NO_LOAD_OHMS) == pytest.approx(volts, abs=0.04)


# Cell volts are specific gravity + .84: an Army technical manual (read), 2.06 V at
# 1.22. The trade's table has a gravity of 1.265, 1.225, 1.190 and 1.155 at full, three
# quarters, half and a quarter of charge (memory).
@pytest.mark.parametrize(
    ("state_of_charge", "gravity"),
    [(1.0, 1.265), (0.75, 1.225), (0.5, 1.190), (0.25, 1.155)],
)
def test_rest_volts_go_with_the_gravity_of_the_acid(
    state_of_charge: float, gravity: float
) -> None:
    battery = make_battery(state_of_charge=state_of_charge)

    cell_volts = loaded_volts(battery, NO_LOAD_OHMS) / 6.0
    assert cell_volts == pytest.approx(gravity + 0.84, abs=0.01)


# Service manuals (read): at half its cold-cranking amps a sound battery holds 9.6 V at
# 20 °C. A usual one of 500 A, by its default in knowledge/.
def test_a_usual_battery_passes_the_load_test(knowledge: Knowledge) -> None:
    ohms = knowledge.defaults["battery"]["internal_ohms"].distribution
    # nineteen of twenty have less
    weak = float(ohms.quantile(np.array([0.95]))[0])
    battery = make_battery(internal_ohms=weak)

    assert loaded_volts(battery, 10.0 / 250.0) >= 9.6


# The load test is there to find worn batteries, so most of them must fail it.
def test_a_worn_battery_fails_the_load_test(knowledge: Knowledge) -> None:
    car = make_car([_default_battery(knowledge)])
    model = CarModel(car, Sample(n_draws=16))
    causes = catalogue(car, knowledge.modes)
    worn = next(cause for cause in causes if cause.name == "battery:worn_out")
    ohms = changed_values(model, [worn])["battery"]["internal_ohms"]
    volts = 12.6 - 250.0 * ohms

    assert float(np.mean(volts < 9.6)) > 0.9


def _default_battery(knowledge: Knowledge) -> Part:
    return replace(make_battery(), values=knowledge.defaults["battery"])


# Rule: after a drive the surface charge shows as .2 to .5 V too much, and lamps (10 A)
# take it off at once: 12.6 V less 10 A through .009 ohm are 12.5 V.
def test_surface_charge_shows_without_a_load() -> None:
    battery = make_battery(surface_volts=0.3)

    assert loaded_volts(battery, NO_LOAD_OHMS) == pytest.approx(12.9, abs=0.01)


def test_lamps_take_the_surface_charge_off() -> None:
    charged = make_battery(surface_volts=0.3)
    rested = make_battery()

    # Derived: at 10 A both have the same line, but for the 3 A that the charge gives.
    assert loaded_volts(charged, 1.25) == pytest.approx(
        loaded_volts(rested, 1.25), abs=0.03
    )


def test_surface_charge_must_be_overcome_to_charge() -> None:
    charger = make_part(
        "battery",
        "charger",
        "charger.plus",
        GROUND,
        state_of_charge=1.0,
        empty_volts=0.0,
        full_volts=14.2,
        internal_ohms=1e-4,
        acceptance_ohms=1e-4,
        surface_volts=0.0,
        surface_ohms=0.1,
    )
    lead = make_resistor("charger.plus", HOT, 1e-4, name="lead")
    solved = solve_circuit([make_battery(surface_volts=0.3), charger, lead])

    # (14.2 - 12.6 - .3) / .18 ohm of acceptance is 7.2 A.
    assert solved.branch_amps["lead"] == pytest.approx(7.2, abs=0.1)


# A cell holds 2.1 V: a battery that lost one reads 10.5 V at rest however long it was
# charged (rule).
def test_a_battery_with_a_shorted_cell_rests_at_ten_and_a_half_volts(
    knowledge: Knowledge,
) -> None:
    car = make_car([_default_battery(knowledge)])
    model = CarModel(car, Sample(n_draws=16))
    causes = catalogue(car, knowledge.modes)
    shorted = next(cause for cause in causes if cause.name == "battery:shorted_cell")
    full = changed_values(model, [shorted])["battery"]["full_volts"]

    assert float(full.min()) >= 10.3
    assert float(full.max()) <= 10.8


def charging_amps(name: str, knowledge: Knowledge) -> FloatArray:
    """Return what flows into a battery with a fault from 14.2 V, as solved. [A]."""
    charger = make_source("charger.plus", 14.2, ohms=1e-4)
    lead = make_resistor("charger.plus", HOT, 1e-4, name="lead")
    car = make_car([_default_battery(knowledge), charger, lead])
    causes = catalogue(car, knowledge.modes)
    chosen = tuple(i for i, cause in enumerate(causes) if cause.name == name)
    probe = Probe(branch="lead", state="key-on", is_current=True)
    predictor = Predictor(CarModel(car, Sample(n_draws=64)), causes, [probe])
    return np.asarray(predictor.predict([chosen]).probes[0, :, 0])


# By hand: half charged, 12.2 V at rest; (14.2 - 12.2) / .18 ohm of acceptance are 11 A.
def test_half_charged_battery_takes_what_its_acceptance_lets_through() -> None:
    charger = make_source("charger.plus", 14.2, ohms=1e-4)
    lead = make_resistor("charger.plus", HOT, 1e-4, name="lead")

    found = solve_circuit([make_battery(state_of_charge=0.5), charger, lead])

    assert found.branch_amps["lead"] == pytest.approx(11.1, abs=0.1)


# Rule of the trade: sound batteries take 5 to 30 A at the usual charging volts by age
# and charge, and a flat one 20 to 40 A at first; memory: a worn one takes little, and a
# sulphated one next to nothing.
@pytest.mark.parametrize(
    ("name", "least_amps", "most_amps"),
    [
        ("", 5.0, 30.0),
        ("battery:discharged", 12.0, 70.0),
        ("battery:worn_out", 0.3, 10.0),
    ],
)
def test_charge_a_battery_takes_tells_how_full_and_how_worn_it_is(
    name: str, least_amps: float, most_amps: float, knowledge: Knowledge
) -> None:
    amps = charging_amps(name, knowledge)

    low, middle, high = np.quantile(amps, [0.1, 0.5, 0.9])
    assert least_amps <= low <= middle <= high <= most_amps
