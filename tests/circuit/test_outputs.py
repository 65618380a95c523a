"""Outputs of controllers on the bench: low and high side, at their limit, burnt out.

By hand; limits of 1 to 2 A are those of relay-driver outputs (memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Origin, Value, fixed
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    GROUND,
    SolvedCircuit,
    make_car,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
)

REST = OperatingState(name="rest", label="output off", switch_positions={})
ON = OperatingState(
    name="on",
    label="output on",
    switch_positions={},
    commands=frozenset({"controller.pin"}),
)
PUMP_OHMS = 13.5 / 7.0
COIL_OHMS = 85.0


def controlled(
    load: Part, *, is_high_side: bool = False, is_short_proof: float = 1.0
) -> list[Part]:
    """Return a controller at 12 V that switches a load by an output of 1.5 A."""
    ends = ("plus", "pin") if is_high_side else ("pin", GROUND)
    return [
        make_source("plus", 12.0),
        make_part(
            "controller",
            "controller",
            "plus",
            GROUND,
            supply_amps=0.8,
            reset_volts=6.5,
            restart_volts=7.5,
            is_working=1.0,
        ),
        make_part(
            "driver",
            "controller.pin",
            *ends,
            gate="controller",
            on_ohms=0.25,
            limit_amps=1.5,
            is_stuck_closed=0.0,
            is_stuck_open=0.0,
            is_short_proof=is_short_proof,
        ),
        load,
    ]


def low_side(ohms: float) -> SolvedCircuit:
    return solve_circuit(controlled(make_resistor("plus", "pin", ohms, "load")), ON)


def high_side(ohms: float) -> SolvedCircuit:
    load = make_resistor("pin", GROUND, ohms, "load")
    return solve_circuit(controlled(load, is_high_side=True), ON)


# By hand: 12 V over 85.25 ohm; the pin stands 35 mV off its rail.
@pytest.mark.parametrize(
    ("solved", "pin_volts"),
    [(low_side(COIL_OHMS), 0.035), (high_side(COIL_OHMS), 11.965)],
    ids=["low-side", "high-side"],
)
def test_output_gives_a_relay_coil_all_its_volts(
    solved: SolvedCircuit, pin_volts: float
) -> None:
    assert solved.branch_amps["load"] == pytest.approx(0.1408, rel=1e-3)
    assert solved.drop_volts("pin") == pytest.approx(pin_volts, abs=1e-3)


# By hand: 1.5 A through the 1.93 ohm of a 7 A pump are 2.9 V, too little to turn it.
@pytest.mark.parametrize(
    "solved", [low_side(PUMP_OHMS), high_side(PUMP_OHMS)], ids=["low-side", "high-side"]
)
def test_output_that_drives_a_pump_directly_gives_it_three_volts(
    solved: SolvedCircuit,
) -> None:
    pump_volts = solved.branch_amps["load"] * PUMP_OHMS

    assert pump_volts == pytest.approx(2.9, abs=0.05)


# A controller that is dead, but fed, switches nothing: its outputs are dead with it.
@pytest.mark.parametrize("is_high_side", [False, True])
def test_output_of_a_dead_controller_switches_nothing(is_high_side: bool) -> None:
    ends = ("pin", GROUND) if is_high_side else ("plus", "pin")
    load = make_resistor(*ends, COIL_OHMS, "load")
    parts = controlled(load, is_high_side=is_high_side)
    dead = Value(distribution=fixed(0.0), origin=Origin.CAR_FILE)
    parts[1] = replace(parts[1], values={**parts[1].values, "is_working": dead})

    solved = solve_circuit(parts, ON)

    assert solved.branch_amps["load"] == pytest.approx(0.0, abs=1e-9)
    assert solved.branch_amps["controller"] == 0.0


def conducts(parts: Sequence[Part]) -> list[float]:
    """Return whether the output carries current, switched on and switched off."""
    states = (ON, REST)
    probes = [
        Probe(branch="controller.pin", state=state.name, is_current=False)
        for state in states
    ]
    model = CarModel(make_car(parts, *states), Sample(n_draws=1))
    values: list[float] = (
        Predictor(model, [], probes).predict([()]).probes[0, 0].tolist()
    )
    return values


@pytest.mark.parametrize(
    ("ohms", "is_short_proof", "on"),
    [
        (PUMP_OHMS, 1.0, 1.0),
        (PUMP_OHMS, 0.0, 0.0),
        (COIL_OHMS, 0.0, 1.0),
    ],
    ids=["limits", "burns", "is-not-overloaded"],
)
def test_overload_burns_an_output_that_is_not_short_proof(
    ohms: float, is_short_proof: float, on: float
) -> None:
    load = make_resistor("plus", "pin", ohms, "load")

    found = conducts(controlled(load, is_short_proof=is_short_proof))

    assert found == [on, 0.0]
