"""Extreme numbers in one circuit: never nan, and what Ohm's law says."""

from __future__ import annotations

import math
import pathlib

import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import open_model
from tests.circuit.small_circuits import (
    GROUND,
    make_resistor,
    make_source,
    solve_circuit,
)

# What holds a point that nothing else does, as the solver has it.
INSULATION_OHMS = 1e12


@pytest.mark.parametrize("least", [1e-9, 1e-6, 1e-3])
@pytest.mark.parametrize("most", [1e3, 1e6, 1e9])
def test_eighteen_powers_of_ten_in_one_circuit(least: float, most: float) -> None:
    # By hand: a wire of `least`, a lamp of 2 ohm beside a leak of `most`, a ground of
    # `least`. The leak takes next to nothing, so 12 V drive 12/2 A through the lamp.
    solved = solve_circuit(
        [
            make_source("feed", 12.0, 1e-6),
            make_resistor("feed", "lamp", least),
            make_resistor("lamp", "stud", 2.0, "filament"),
            make_resistor("lamp", "stud", most, "leak"),
            make_resistor("stud", GROUND, least),
            make_resistor("lamp", "nowhere", most, "to-nowhere"),
        ]
    )
    amps = 12.0 / (2.0 * most / (2.0 + most) + 2 * least + 1e-6)

    assert solved.branch_amps["filament"] == pytest.approx(
        amps * most / (2.0 + most), rel=1e-6
    )
    # the end of the second leak is held by insulation alone, a million megohm
    lost = solved.drop_volts("lamp", GROUND) * most / INSULATION_OHMS
    assert solved.drop_volts("lamp", "nowhere") == pytest.approx(
        lost, rel=0.01, abs=1e-6
    )


def test_parts_that_touch_nothing_else_leave_the_rest_alone() -> None:
    solved = solve_circuit(
        [
            make_source("feed", 12.0),
            make_resistor("feed", GROUND, 4.0, "load"),
            make_resistor("adrift", "afloat", 2.0, "alone"),
        ]
    )

    assert solved.branch_amps["load"] == pytest.approx(3.0, rel=1e-6)
    assert all(math.isfinite(volts) for volts in solved.node_volts.values())
    assert solved.branch_amps["alone"] == pytest.approx(0.0, abs=1e-9)


THREE_WIRES = """car-file: 1
title: Invented lamp on a plank
system: 12 V
places: {plank: 1 min}
metal: {body: plank, engine: plank}
battery: {place: plank}
circuits:
  lamp: {from: battery.plus via 14 AWG 1 ft, load: 21 W lamp, ground: body}
wires:
  earth: {from: battery.minus, to: engine, wire: 4 AWG 1 ft}
  strap: {from: engine, to: body, wire: 4 AWG 1 ft}
"""


def test_a_car_of_three_wires_is_answered(
    knowledge: Knowledge, tmp_path: pathlib.Path
) -> None:
    path = tmp_path / "plank.yaml"
    path.write_text(THREE_WIRES)
    car = load_car(path, knowledge)
    diagnosis = Diagnosis(open_model(car, knowledge, n_draws=16))
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state="key-off", red="lamp.plus", black=GROUND
    )
    # no volts at a lamp that is wired straight to the battery: its feed or its battery
    answer = diagnosis.tell(ReadingFact(reading=reading, value=0.0))

    (first, *_) = answer.causes
    assert first.name.startswith(("lamp-", "battery"))
