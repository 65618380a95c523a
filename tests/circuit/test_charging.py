"""Charging: a battery, an alternator, the wires between them, worked against the trade.

Each test names its source and its basis: read (in the document), copy (in a secondary
copy), memory, or rule (of the trade).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Part
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.values import Origin, Value, fixed
from diagnose.faults.knowledge import Knowledge
from tests.circuit.small_circuits import (
    GROUND,
    KEY_OFF,
    OPEN_OHMS,
    SolvedCircuit,
    make_part,
    make_resistor,
    solve_circuit,
)

IDLE = OperatingState(
    name="idle", label="idling", switch_positions={"key": "run"}, engine_rpm=800.0
)
OUTPUT, SENSE, HOT = "alternator.output", "alternator.sense", "battery.plus"
LOAD_OHMS = 0.7
# Derived: 14 V over it are 20 A, a usual load at idle.


def make_battery() -> Part:
    """Return a battery of 12.6 V at rest that takes 8.9 A at 14.2 V (rule)."""
    return make_part(
        "battery",
        "battery",
        HOT,
        GROUND,
        state_of_charge=1.0,
        empty_volts=11.8,
        full_volts=12.6,
        internal_ohms=0.009,
        acceptance_ohms=0.18,
        surface_volts=0.0,
        surface_ohms=0.1,
    )


def make_alternator(*optional: str, **changed: float) -> Part:
    """Return an alternator on the bench, its case on the reference.

    Parameters
    ----------
    optional : str
        Its optional terminals that are joined: sense, exciter.
    """
    part = make_part(
        "alternator",
        "alternator",
        OUTPUT,
        GROUND,
        set_volts=14.2,
        droop_volts=0.25,
        rated_amps=100.0,
        cut_in_rpm=1000.0,
        speed_constant_rpm=1500.0,
        pulley_ratio=2.2,
        field_ohms=4.0,
        is_working=1.0,
        sense_error_volts=0.0,
        sense_limit_volts=2.5,
        sense_backup_volts=1.0,
        belt_amps_per_rpm=10.0,
        ripple_ohms=0.0003,
        diode_leak_ohms=1e9,
    )
    values = {
        name: Value(distribution=fixed(amount), origin=Origin.CAR_FILE)
        for name, amount in changed.items()
    }
    inner = {name: f"alternator.{name}" for name in ("rectifier", *optional)}
    return replace(
        part, terminals={**part.terminals, **inner}, values={**part.values, **values}
    )


def charging(
    *,
    charge_ohms: float = 0.005,
    sense_ohms: float = 0.05,
    sense_at: str = HOT,
    rated_amps: float = 100.0,
) -> SolvedCircuit:
    """Return a car at idle whose regulator senses at the battery."""
    parts = [
        make_battery(),
        make_alternator("sense", rated_amps=rated_amps),
        make_resistor(OUTPUT, HOT, charge_ohms, name="charge-wire"),
        make_resistor(sense_at, SENSE, sense_ohms, name="sense-wire"),
        make_resistor(HOT, GROUND, LOAD_OHMS, name="loads"),
    ]
    return solve_circuit(parts, IDLE)


def test_a_remote_sense_wire_makes_up_for_the_drop_of_the_charge_wire() -> None:
    solved = charging(charge_ohms=0.03)

    # Derived: 20 A of load and 9 A into the battery through .03 ohm drop .9 V, so much
    # higher lies the output; the battery gets the set point less a part of the droop.
    assert solved.drop_volts(HOT) == pytest.approx(14.1, abs=0.1)
    assert solved.drop_volts(OUTPUT, HOT) == pytest.approx(0.87, abs=0.05)


# Memory: a regulator with a sense wire holds its own output to 2 to 3 V above its set
# point, whatever the charge wire does: 16.2 to 17.2 V.
@pytest.mark.parametrize("charge_ohms", [0.2, 0.5, 2.0, 8.0, OPEN_OHMS])
def test_a_bad_charge_wire_leaves_the_output_below_seventeen_volts(
    charge_ohms: float,
) -> None:
    solved = charging(charge_ohms=charge_ohms)

    assert 16.2 <= solved.drop_volts(OUTPUT) <= 17.2


# The battery then carries the loads: 12.6 V less 18 A through .009 ohm is 12.4 V.
def test_an_open_charge_wire_leaves_the_battery_at_its_own_volts() -> None:
    solved = charging(charge_ohms=OPEN_OHMS)

    assert solved.drop_volts(HOT) == pytest.approx(12.44, abs=0.02)


# Memory: a sense lead carries milliamperes, with any fault of the charge wire.
@pytest.mark.parametrize("charge_ohms", [0.005, 0.5, OPEN_OHMS])
def test_the_sense_wire_carries_milliamperes(charge_ohms: float) -> None:
    solved = charging(charge_ohms=charge_ohms)

    assert abs(solved.branch_amps["sense-wire"]) < 0.010


# Memory: with its sense wire broken a regulator falls back on its own output and
# charges .5 to 1.5 V high.
def test_a_broken_sense_wire_charges_a_volt_high() -> None:
    solved = charging(sense_ohms=OPEN_OHMS)

    assert solved.drop_volts(OUTPUT) == pytest.approx(15.2, abs=0.2)


# A sense wire behind a switched feed that is dead sees nothing: the regulator's own
# limit is what is left, 14.2 + 2.5 V and a part of the width of the limit. It takes a
# big alternator to get there against a battery that gasses.
def test_a_sense_wire_on_a_dead_feed_charges_up_to_the_limit() -> None:
    solved = charging(sense_at=GROUND, rated_amps=300.0)

    assert solved.drop_volts(OUTPUT) == pytest.approx(16.85, abs=0.15)


# A sense wire behind 1 V of drop makes the regulator add that volt everywhere else.
def test_a_sense_wire_on_a_feed_that_drops_a_volt_charges_a_volt_high() -> None:
    parts = [
        make_battery(),
        make_alternator("sense"),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_resistor(HOT, "lamp-feed.out", 0.1, name="lamp-feed"),
        make_resistor("lamp-feed.out", GROUND, 1.32, name="lamps"),
        make_resistor("lamp-feed.out", SENSE, 0.05, name="sense-wire"),
    ]
    solved = solve_circuit(parts, IDLE)

    # Derived: lamps of 1.32 ohm behind .1 ohm take 14.1 / 1.42 = 10.7 A.
    assert solved.drop_volts(HOT, "lamp-feed.out") == pytest.approx(1.07, abs=0.05)
    assert solved.drop_volts(SENSE) == pytest.approx(14.1, abs=0.1)


# Rule: a sound alternator leaves 10 to 50 mV AC at the battery.
def test_a_sound_alternator_leaves_millivolts_of_ripple() -> None:
    solved = charging()

    # Derived: .0003 V for each of the 29 A of loads and battery.
    assert solved.drop_volts("alternator.rectifier", OUTPUT) == pytest.approx(
        0.0087, abs=0.001
    )


def test_an_open_charge_wire_leaves_no_ripple() -> None:
    solved = charging(charge_ohms=OPEN_OHMS)

    assert abs(solved.drop_volts("alternator.rectifier", OUTPUT)) < 1e-4


def ripple_share(volts: FloatArray) -> float:
    """Return the alternating part of a wave, root mean square, over its mean."""
    return float(volts.std() / volts.mean())


# Textbooks of power electronics (memory): six pulses a turn leave 4.2 %. With one of
# six diodes open the battery, which holds the volts, gets no current for two of six
# pulses: the square root of 6/4 - 1 (derived). What knowledge/ takes holds that ratio.
def test_an_open_diode_leaves_some_seventeen_times_the_ripple(
    knowledge: Knowledge,
) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 3600, endpoint=False)
    phases = np.sin(turn[:, None] + np.arange(3) * 2.0 * np.pi / 3.0)
    six_pulses = phases.max(axis=1) - phases.min(axis=1)
    four_of_six = np.repeat([1.0, 1.0, 0.0], 1200)

    ratio = ripple_share(four_of_six) / ripple_share(six_pulses)

    assert ripple_share(six_pulses) == pytest.approx(0.042, abs=0.0005)
    assert ratio == pytest.approx(17.0, abs=0.5)
    modes = {mode.name: mode for mode in knowledge.modes if mode.kind == "alternator"}
    (taken,) = (
        change.amount
        for change in modes["diode_open"].changes
        if change.parameter == "ripple_ohms"
    )
    low, high = taken.quantile(np.array([0.0, 1.0])).tolist()
    assert low < ratio < high


def with_belt(alternator_rpm: float, amps_per_rpm: float) -> float:
    """Return what an alternator gives at most with a belt that slips. [A]."""
    state = replace(IDLE, engine_rpm=alternator_rpm / 2.2)
    parts = [
        make_battery(),
        make_alternator(belt_amps_per_rpm=amps_per_rpm),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_resistor(HOT, GROUND, 0.1, name="loads"),
    ]
    return -solve_circuit(parts, state).branch_amps["alternator"]


# Derived: the torque that a belt passes without slipping is the same at every speed, so
# the power and the current at fixed volts rise with the speed.
def test_a_slipping_belt_gives_current_in_proportion_to_speed() -> None:
    idle_amps = with_belt(1760.0, 0.01)

    assert idle_amps == pytest.approx(17.6)
    assert with_belt(4400.0, 0.01) == pytest.approx(2.5 * idle_amps)


def test_a_slipping_belt_does_no_harm_at_small_loads() -> None:
    parts = [
        make_battery(),
        make_alternator(belt_amps_per_rpm=0.01),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_resistor(HOT, GROUND, 2.0, name="loads"),
    ]
    solved = solve_circuit(parts, IDLE)

    assert solved.drop_volts(OUTPUT) == pytest.approx(14.1, abs=0.15)


def excited_by(exciter_ohms: float) -> SolvedCircuit:
    """Return a car at idle whose exciter is fed through a resistance."""
    parts = [
        make_battery(),
        make_alternator("exciter"),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_resistor(HOT, "alternator.exciter", exciter_ohms, name="exciter-path"),
        make_resistor(HOT, GROUND, LOAD_OHMS, name="loads"),
    ]
    return solve_circuit(parts, IDLE)


# Rule: a lamp of 2 to 3 W or a resistor of 50 to 100 ohm excites an alternator;
# derived: into a field of 4 ohm they leave .5 V and more.
@pytest.mark.parametrize("exciter_ohms", [10.0, 50.0, 100.0])
def test_a_lamp_or_a_resistor_excites_the_alternator(exciter_ohms: float) -> None:
    assert excited_by(exciter_ohms).drop_volts(HOT) > 13.8


# Rule: a light-emitting diode in place of the charge lamp, some 15 mA or 800 ohm, does
# not; nor does a burnt-out lamp. The battery then carries the 18 A of the loads.
@pytest.mark.parametrize("exciter_ohms", [800.0, OPEN_OHMS])
def test_a_diode_lamp_or_a_burnt_out_one_does_not(exciter_ohms: float) -> None:
    assert excited_by(exciter_ohms).drop_volts(HOT) == pytest.approx(12.44, abs=0.02)


# The regulator's field comes from the output once it charges, so the exciter terminal
# is within some tenths of a volt of it (memory) and the charge lamp goes out.
def test_the_exciter_terminal_reaches_the_output_volts_while_charging() -> None:
    solved = excited_by(50.0)

    assert 0.0 < solved.drop_volts(OUTPUT, "alternator.exciter") < 0.5


def key_off(*, leak_ohms: float) -> SolvedCircuit:
    """Return a car at rest with a charge lamp of 3 W, its feed loaded by 20 ohm."""
    parts = [
        make_battery(),
        make_alternator("exciter", diode_leak_ohms=leak_ohms),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_part(
            "lamp",
            "charge-lamp",
            "key.run",
            "alternator.exciter",
            lamp_watts=3.0,
            lamp_volts=13.5,
            cold_factor=13.0,
            is_open=0.0,
        ),
        make_resistor("key.run", GROUND, 20.0, name="feed"),
    ]
    return solve_circuit(parts, KEY_OFF)


# Derived: 12.6 V behind .3 ohm into a field of 4 ohm is 2.9 A. Rule: a shorted diode
# drains the battery over night and lets the charge lamp glow with the key off.
def test_a_shorted_diode_drains_the_battery_through_the_field() -> None:
    solved = key_off(leak_ohms=0.3)

    assert -solved.branch_amps["battery"] == pytest.approx(2.9 + 0.45, abs=0.3)
    assert abs(solved.branch_amps["charge-lamp"]) > 0.1


def test_sound_diodes_drain_nothing() -> None:
    solved = key_off(leak_ohms=OPEN_OHMS)

    assert -solved.branch_amps["battery"] < 1e-6


def test_without_a_sense_wire_the_output_keeps_to_its_set_point() -> None:
    parts = [
        make_battery(),
        make_alternator(),
        make_resistor(OUTPUT, HOT, 0.5, name="charge-wire"),
        make_resistor(HOT, GROUND, LOAD_OHMS, name="loads"),
    ]
    solved = solve_circuit(parts, IDLE)

    assert solved.drop_volts(OUTPUT) == pytest.approx(14.2, abs=0.05)
    assert solved.drop_volts(HOT) < 12.6


# Common practice: with its main fuse blown a panel is dead at key off, also where the
# sense wire of the alternator begins there; its regulator is off like all else.
def test_the_regulator_feeds_no_panel_with_the_engine_at_rest() -> None:
    parts = [
        make_battery(),
        make_alternator("sense"),
        make_resistor(OUTPUT, HOT, 0.005, name="charge-wire"),
        make_resistor("panel", SENSE, 0.05, name="sense-wire"),
        # Derived: 5 mA of a controller's memory at 12 V.
        make_resistor("panel", GROUND, 2400.0, name="memory"),
    ]

    solved = solve_circuit(parts, KEY_OFF)

    assert solved.drop_volts(OUTPUT) > 12.0
    assert abs(solved.drop_volts("panel")) < 0.01
