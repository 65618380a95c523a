"""Loads on the bench: light-emitting lamps and motors.

Each test names its basis: memory, rule (of the trade), or by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import DrawsWhen, OperatingState
from diagnose.circuit.solver.operating_point import Start
from diagnose.circuit.solver.point_solver import (
    OperatingPointSolver,
    solve_operating_point,
)
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Value
from diagnose.faults.knowledge import Knowledge
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    make_car,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
    with_values,
)

IDLE = OperatingState(
    name="idle", label="idling", switch_positions={}, engine_rpm=800.0
)
ISOLATED = OperatingState(
    name="isolated",
    label="battery disconnected",
    switch_positions={},
    is_battery_connected=False,
)
Defaults = Mapping[str, Mapping[str, Value]]


@pytest.fixture(scope="module")
def defaults(knowledge: Knowledge) -> Defaults:
    return knowledge.defaults


def make_led(first: str, second: str, *, watts: float, is_reversed: bool) -> Part:
    return make_part(
        "led-lamp",
        "lamp",
        first,
        second,
        led_watts=watts,
        led_volts=13.5,
        knee_volts=7.5,
        is_open=0.0,
        is_reversed=float(is_reversed),
    )


def make_filament(first: str, second: str, *, watts: float) -> Part:
    return make_part(
        "lamp",
        "lamp",
        first,
        second,
        lamp_watts=watts,
        lamp_volts=13.5,
        cold_factor=13.0,
        is_open=0.0,
    )


def lamp_amps(lamp: Part, volts: float) -> float:
    solved = solve_circuit([make_source("lamp.plus", volts), lamp])
    return solved.branch_amps["lamp"]


# By hand: 6 W at 13.5 V are .444 A; half way from 7.5 V to 13.5 V it takes half of it.
@pytest.mark.parametrize(
    ("volts", "amps"), [(13.5, 0.444), (10.5, 0.222), (7.0, 0.0), (-12.0, 0.0)]
)
def test_led_lamp_takes_current_only_beyond_its_knee(volts: float, amps: float) -> None:
    led = make_led("lamp.plus", GROUND, watts=6.0, is_reversed=False)

    assert lamp_amps(led, volts) == pytest.approx(amps, abs=0.001)


@pytest.mark.parametrize(("volts", "amps"), [(13.5, 0.0), (-13.5, -0.444)])
def test_led_lamp_turned_round_is_dark(volts: float, amps: float) -> None:
    led = make_led("lamp.plus", GROUND, watts=6.0, is_reversed=True)

    assert lamp_amps(led, volts) == pytest.approx(amps, abs=0.001)


# Fink & Beaty, p. 22-8 (copy): current ~ volts**.55, so 5 of 13.5 V leave 58 % of it.
def test_filament_still_takes_current_where_an_led_is_dark() -> None:
    filament = make_filament("lamp.plus", GROUND, watts=6.0)
    led = make_led("lamp.plus", GROUND, watts=6.0, is_reversed=False)

    assert lamp_amps(filament, 5.0) / 0.444 == pytest.approx(0.58, abs=0.01)
    assert lamp_amps(led, 5.0) == pytest.approx(0.0, abs=1e-9)


def resting_ohms(part: Part) -> float:
    """Return what a part is to the small current of a meter. [ohm]."""
    model = CarModel(make_car([part], ISOLATED), Sample(n_draws=1))
    (branch,) = model.part_branches(part, ISOLATED)
    assert branch.forced[0] == 1.0
    assert branch.siemens.shape == (1, 1)
    return float(1.0 / branch.siemens[0, 0])


# By hand: 54 W at 13.5 V are 3.375 ohm hot; tungsten at 2500 K has 73.9 / 5.65 = 13.1
# times its resistance at 300 K (H. A. Jones, I. Langmuir, General Electric Review 30,
# 1927, from memory), so .26 ohm cold, under half an ohm with .2 ohm of leads.
def test_cold_filament_has_a_thirteenth_of_its_hot_ohms() -> None:
    ohms = resting_ohms(make_filament("lamp.plus", GROUND, watts=54.0))

    assert ohms == pytest.approx(13.5**2 / 54.0 / 13.1, rel=0.02)


# Jones & Langmuir (from memory), uohm cm: 5.65 at 300 K, 73.9 at 2500 K, 84.7 at
# 2800 K; trade notes of makers: a tenth to a fifteenth of the hot ohms.
def test_cold_factor_spans_what_is_published_of_tungsten(defaults: Defaults) -> None:
    factor = defaults["lamp"]["cold_factor"].distribution
    low, high = factor.quantile(np.array([0.025, 0.975]))

    assert 10.0 <= low <= 73.9 / 5.65 <= 84.7 / 5.65 <= high <= 17.0


def idling(defaults: Defaults, lamp: Part) -> float:
    """Return what an alternator excited through a charge lamp gives at idle. [A]."""

    def usual(kind: str, *nodes: str) -> Part:
        return replace(make_part(kind, kind, *nodes), values=defaults[kind])

    parts = [
        usual("battery", "battery.plus", GROUND),
        usual("alternator", "battery.plus", GROUND, "battery.plus", "exciter"),
        lamp,
    ]
    network = CarModel(make_car(parts, IDLE), Sample(n_draws=1)).network(IDLE)
    point = solve_operating_point(network)
    column = network.branch_indices()["alternator"]
    return -float(point.branch_amps(network)[0, column])


# Rule of the trade: an alternator does not excite itself through a charge lamp of
# light-emitting diodes. By hand: 12.5 V give a 3 W filament's .21 A, .86 V on a 4 ohm
# field; .5 W of diodes give .03 A, .12 V, under the .25 V it takes.
def test_led_charge_lamp_leaves_the_alternator_dead(defaults: Defaults) -> None:
    filament = make_filament("battery.plus", "exciter", watts=3.0)
    led = make_led("battery.plus", "exciter", watts=0.5, is_reversed=False)

    assert idling(defaults, filament) > 1.0
    assert idling(defaults, led) == pytest.approx(0.0, abs=1e-9)


KEY_ON = OperatingState(name="key-on", label="key on", switch_positions={})


def make_pump(**changes: float) -> Part:
    pump = make_part(
        "motor",
        "motor",
        "plus",
        GROUND,
        motor_amps=7.0,
        motor_volts=13.5,
        is_open=0.0,
        is_stalled=0.0,
        stall_factor=4.5,
        brush_factor=1.0,
        load_factor=1.0,
    )
    return with_values(pump, changes)


# By hand: 13.5 V over 7 A are 1.93 ohm running; held, 4.5 times the current leaves
# .429 ohm of winding and brushes, which is what a meter finds at rest.
@pytest.mark.parametrize(("brushes", "ohms"), [(1.0, 0.429), (3.0, 1.286)])
def test_motor_at_rest_is_winding_and_brushes(brushes: float, ohms: float) -> None:
    pump = make_pump(brush_factor=brushes)

    assert resting_ohms(pump) == pytest.approx(ohms, abs=0.001)


# Rule: the film on brushes makes a reading at rest good to a factor of three.
def test_brushes_scatter_by_three_either_way(defaults: Defaults) -> None:
    factor = defaults["motor"]["brush_factor"].distribution
    low, high = factor.quantile(np.array([0.025, 0.975]))

    assert low == pytest.approx(factor.nominal / 3.0, rel=0.05)
    assert high == pytest.approx(factor.nominal * 3.0, rel=0.05)


def make_pulsed(kind: str, **changes: float) -> Part:
    """Return a 5 A load that draws while the engine turns."""
    made = make_part(
        kind,
        "load",
        "load.plus",
        GROUND,
        load_amps=5.0,
        load_volts=13.5,
        is_open=0.0,
        load_factor=1.0,
        standing_amps=0.01,
        pulse_share=0.5,
        rest_ohms=5e3,
    )
    return replace(with_values(made, changes), draws_when=DrawsWhen.ENGINE_TURNS)


def volts_behind_a_resistor(load: Part, state: OperatingState) -> float:
    """Return what arrives behind 1.5 ohm from 12 V. [V]."""
    feed = make_resistor("source", "load.plus", 1.5)
    source = make_source("source", 12.0)
    return solve_circuit([source, feed, load], state).drop_volts("load.plus")


# By hand: 10 mA through 1.5 ohm drop 15 mV; with the engine turning the load is 2.7 ohm
# and takes 12 x 2.7 / 4.2 = 7.71 V.
@pytest.mark.parametrize("kind", ["load", "electronics"])
def test_dropping_resistor_shows_only_while_the_engine_turns(kind: str) -> None:
    load = make_pulsed(kind)

    assert volts_behind_a_resistor(load, KEY_ON) == pytest.approx(11.985, abs=0.003)
    assert volts_behind_a_resistor(load, IDLE) == pytest.approx(7.714, abs=0.001)
    assert volts_behind_a_resistor(load, CRANKING) == pytest.approx(7.714, abs=0.001)


# By hand: 20 A more than the 1.5 times that a sound one may take, 5 x (5.5 - 1.5), are
# .675 ohm: 12 x .675 / 2.175 = 3.72 V; a coil's driver lets none of it through.
def test_shorted_module_draws_while_the_engine_stands() -> None:
    module = make_pulsed("electronics", load_factor=5.5, standing_amps=1e-6)
    coil = make_pulsed("load", load_factor=5.5)

    assert volts_behind_a_resistor(module, KEY_ON) == pytest.approx(3.724, abs=0.002)
    assert volts_behind_a_resistor(coil, KEY_ON) == pytest.approx(11.985, abs=0.003)


# By hand: 5 A in the mean, half of the time on: 10 A, 1.35 ohm.
def test_pulsed_load_at_rest_reads_its_coil() -> None:
    assert resting_ohms(make_pulsed("load")) == pytest.approx(1.35, abs=1e-6)


# By hand: as many times the amps are so many times fewer ohms, 2.7 / 2 of 1.5 ohm more:
# 12 x 1.35 / 2.85 = 5.684 V; standing, an electronic one draws .01 A and the 2.5 A that
# are beyond 1.5 times 5 A, 5.367 ohm: 12 x 5.378 / 6.878 = 9.383 V.
def test_load_that_draws_twice_as_much_leaves_fewer_volts() -> None:
    module, coil = (
        make_pulsed(kind, load_factor=2.0) for kind in ("electronics", "load")
    )

    assert volts_behind_a_resistor(module, IDLE) == pytest.approx(5.684, abs=0.001)
    assert volts_behind_a_resistor(coil, IDLE) == pytest.approx(5.684, abs=0.001)
    assert volts_behind_a_resistor(module, KEY_ON) == pytest.approx(9.383, abs=0.02)


# By hand: the ohms of its semiconductors, half of them where it is shorted inside so
# that it draws twice as much.
@pytest.mark.parametrize(("factor", "ohms"), [(1.0, 5000.0), (2.0, 2500.0)])
def test_electronics_at_rest_read_their_semiconductors(
    factor: float, ohms: float
) -> None:
    module = make_pulsed("electronics", load_factor=factor)

    assert resting_ohms(module) == pytest.approx(ohms)


# From memory: four to six times the running current with the rotor held.
def test_stalled_motor_draws_four_to_six_times_its_running_current(
    defaults: Defaults,
) -> None:
    factor = defaults["motor"]["stall_factor"].distribution
    spread = factor.quantile(np.array([0.16, 0.84]))
    motor = make_pump(is_stalled=1.0, stall_factor=factor.nominal)

    solved = solve_circuit([make_source("plus", 13.5), motor])

    assert solved.branch_amps["motor"] == pytest.approx(7.0 * 4.5, rel=1e-3)
    assert 3.8 <= spread[0] <= spread[1] <= 6.0


# By hand: nothing feeds the wire, and its 100 Mohm of insulation keep it at ground;
# held up at the diode's .7 V it would take 7 nA from there, against the diode's way.
def test_diode_holds_up_no_wire_that_hangs_on_its_insulation() -> None:
    diode = make_part(
        "diode",
        "diode",
        "wire.end",
        GROUND,
        forward_volts=0.7,
        on_ohms=0.05,
        is_shorted=0.0,
        is_open=0.0,
        is_reversed=0.0,
    )
    car = make_car([diode, make_resistor("wire.end", GROUND, 1e8)])
    network = CarModel(car, Sample(n_draws=1)).network(car.states[0])
    solver = OperatingPointSolver(network)
    conducting = np.zeros((1, len(network.branches)), dtype=np.int64)
    conducting[0, network.branch_indices()["diode"]] = 1

    start = Start(conducting, solver.base.is_on)
    found = solver.solve(np.zeros(1, dtype=np.int64), start=start)

    end = network.node_indices()["wire.end"]
    assert found.is_settled.all()
    assert found.volts[0, end] == pytest.approx(0.0, abs=1e-9)


# By hand: 13.5 W at 13.5 V are 1 A; at 16 V, where the last chord ends on the law,
# (16/13.5)**.55 = exp(.55 x .1699) = 1.098 of it.
def test_lamp_at_sixteen_volts_lies_on_the_power_law() -> None:
    lamp = make_filament("lamp.plus", GROUND, watts=13.5)

    assert lamp_amps(lamp, 16.0) == pytest.approx(1.098, abs=0.001)
