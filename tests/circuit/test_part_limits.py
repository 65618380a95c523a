"""What parts do beyond their usual range: asleep, gassing, burning, at other volts."""

from __future__ import annotations

import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.system_voltage import voltage_factor
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    GROUND,
    make_car,
    make_fuse,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
)

ON = OperatingState(
    name="on",
    label="output on",
    switch_positions={},
    commands=frozenset({"controller.pin"}),
)


def make_controller() -> Part:
    """Return a controller that is up from 7.5 V on."""
    return make_part(
        "controller",
        "controller",
        "plus",
        GROUND,
        supply_amps=0.8,
        reset_volts=6.5,
        restart_volts=7.5,
        is_working=1.0,
    )


# By hand: 6 V, below its restart, over the 2 kohm that a controller in reset is taken
# for ("a few milliamps", memory).
def test_controller_in_reset_draws_three_milliamps() -> None:
    solved = solve_circuit([make_source("plus", 6.0), make_controller()])

    assert solved.branch_amps["controller/standby"] == pytest.approx(0.003, rel=0.01)
    assert solved.branch_amps["controller"] == pytest.approx(0.0, abs=1e-9)


# By hand: up to 14.9 V, where it gasses, a battery of 12.6 V takes 2.3 V over .18 ohm,
# 12.78 A; each further .1 V are 5 A through .02 ohm (memory: an unregulated alternator
# of 50 to 100 A is held to some 16 to 17 V).
@pytest.mark.parametrize(
    ("volts", "amps"), [(14.4, 10.0), (14.9, 12.78), (15.5, 42.78), (16.5, 92.78)]
)
def test_battery_that_gasses_takes_what_comes(volts: float, amps: float) -> None:
    battery = make_part(
        "battery",
        "battery",
        "plus",
        GROUND,
        state_of_charge=1.0,
        empty_volts=11.8,
        full_volts=12.6,
        internal_ohms=0.009,
        acceptance_ohms=0.18,
        surface_volts=0.0,
        surface_ohms=0.1,
    )

    solved = solve_circuit([make_source("plus", volts), battery])

    # 1e-3: the source's own resistance drops 50 uV, 2.5 mA
    assert solved.branch_amps["battery"] == pytest.approx(amps, rel=1e-3)


# Derived: the ripple across a battery is what its inner resistance makes of a rectified
# current, and that resistance goes with the number of cells in series: an ampere leaves
# half the ripple in a 6 V car and twice as much in a 24 V car.
@pytest.mark.parametrize(("system_volts", "factor"), [(6.0, 0.5), (24.0, 2.0)])
def test_ripple_of_an_ampere_goes_with_the_cells_in_series(
    system_volts: float, factor: float
) -> None:
    assert voltage_factor("ripple_ohms", system_volts) == pytest.approx(factor)
    assert voltage_factor("internal_ohms", system_volts) == pytest.approx(factor)


def survivors(*, limit_amps: float, fuse_amps: float) -> tuple[bool, bool]:
    """Return whether an output at its limit and the fuse before its load stay whole."""
    output = make_part(
        "driver",
        "controller.pin",
        "pin",
        GROUND,
        gate="controller",
        on_ohms=0.25,
        limit_amps=limit_amps,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        is_short_proof=0.0,
    )
    parts = [
        make_source("plus", 12.0),
        make_controller(),
        make_fuse("fuse", "plus", "load.in", rating_amps=fuse_amps),
        make_resistor("load.in", "pin", 0.5, "load"),
        output,
    ]
    names = ("controller.pin", "fuse")
    probes = [Probe(branch=name, state="on", is_current=False) for name in names]
    model = CarModel(make_car(parts, ON), Sample(n_draws=1))
    shown = Predictor(model, [], probes).predict([()]).probes[0, 0].tolist()
    return shown[0] == 1.0, shown[1] == 1.0


# By hand: an output is gone after 1 s at its limit (memory), that is 16 A² s at 4 A. A
# fuse of 2.5 A that opens in .045 s at 15 A takes 10.1 A² s, .63 s at 4 A; one of 3.1 A
# takes 15.6 A² s, .97 s; one of 3.17 A takes 16.3 A² s, 1.02 s.
@pytest.mark.parametrize(
    ("fuse_amps", "is_output_whole"), [(2.5, True), (3.1, True), (3.17, False)]
)
def test_output_burns_after_a_second_at_its_limit(
    fuse_amps: float, is_output_whole: bool
) -> None:
    output, fuse = survivors(limit_amps=4.0, fuse_amps=fuse_amps)

    assert (output, fuse) == (is_output_whole, not is_output_whole)
