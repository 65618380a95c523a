"""States that come with priming outputs and with switches, in readings of a car."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.errors import InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.car.checks.unworked import uncovered
from diagnose.files.resources import shipped_cars
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.words.instructions import instruction
from diagnose.terminal.reports.listings import check_car_file
from tests.files.test_car_file_problems import changed

Load = Callable[[str], Car]

# The two joints of a wire, in the middle: part-kinds.yaml.
JOINTS_OHMS = 2 * 0.002

# Ohms of a foot of 12, 14 and 16 AWG copper: NBS Handbook 100, as in
# `tests/circuit/test_wires.py`.
AWG_12_OHMS_A_FOOT, AWG_16_OHMS_A_FOOT = 1.588e-3, 4.016e-3


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


class Shown:
    """What the middle car shows in one state."""

    def __init__(self, car: Car, state: str) -> None:
        self._network = CarModel(car, Middle(n_draws=1)).network(car.state(state))
        self._point = solve_operating_point(self._network)

    def volts(self, red: str, black: str = "battery.minus") -> float:
        volts, nodes = self._point.volts[0], self._network.nodes
        return float(volts[nodes.index(red)] - volts[nodes.index(black)])

    def amps(self, part: str) -> float:
        amps = self._point.branch_amps(self._network)[0]
        return float(abs(amps[self._network.branches.index(part)]))


def test_a_pump_that_primes_runs_as_the_key_is_turned_and_rests_after(
    sedan: Car,
) -> None:
    primed, after = Shown(sedan, "priming"), Shown(sedan, "key-on")

    amps = primed.amps("fuel-pump")
    # 7 A at 13.5 V, a motor's current about with its volts: some 6.3 A at 12.1 V.
    assert amps == pytest.approx(6.3, abs=0.4)
    # By Ohm's law over 15 ft of 12 AWG and two joints.
    drop = primed.volts("fuel-pump-relay.87", "fuel-pump.plus")
    assert drop == pytest.approx(
        amps * (15 * AWG_12_OHMS_A_FOOT + JOINTS_OHMS), rel=0.03
    )
    assert after.amps("fuel-pump") < 1e-3
    assert abs(after.volts("fuel-pump.plus")) < 0.05
    # the fuse stays live all the while
    assert after.volts("fuel-pump-relay.30") > 12.0


def test_how_long_it_primes_is_in_the_instruction(
    sedan: Car, knowledge: Knowledge
) -> None:
    reading = Reading(
        kind=ReadingKind.DC_VOLTS,
        state="priming",
        red="fuel-pump.plus",
        black="battery.minus",
    )

    assert instruction(reading, sedan, knowledge.procedures) == (
        "Meter on DC volts. Red lead on fuel-pump.plus, black on battery.minus. Car: "
        "key just turned on, the fuel pump priming. Leads on first, then turn the key, "
        "and read the highest value in the first 2 s; key off for ten seconds before "
        "the next try."
    )


ECU = """controllers:
  ecu:
    place: bay
    ground: body
    outputs: {pump: {side: low, primes: PRIMES, on-in: [idle]}}
circuits:
  ecu-feed: {from: key.out, wire: 14 AWG 1 ft, to: ecu.supply}
  pump: {from: panel.constant, wire: 14 AWG 1 ft, load: 1 A load, ground: ecu.pump}
"""


def with_output(small_car: str, primes: str) -> str:
    text = changed(small_car, "circuits:\n", ECU.replace("PRIMES", primes))
    return text + "  idle: {switches: {key: run}}\n"


@pytest.mark.parametrize(
    ("primes", "primed", "key_on"),
    [("3 s", True, False), ("always", None, True), ("never", None, False)],
)
def test_an_output_primes_for_seconds_or_for_ever_or_never(
    primes: str, primed: bool | None, key_on: bool, small_car: str, load: Load
) -> None:
    car = load(with_output(small_car, primes))
    states = {state.name: state for state in car.states}

    found = states["priming"].commands if "priming" in states else None
    assert (found and "ecu.pump" in found) == primed
    assert ("ecu.pump" in states["key-on"].commands) is key_on
    assert states["idle"].commands == {"ecu.pump"}
    if primed:
        assert states["priming"].lasts_seconds == 3.0
        assert states["priming"].switch_positions == {"key": "run"}
        assert states["key-on"].after == "priming"


def test_an_output_that_rests_at_key_on_is_not_on_there_too(
    small_car: str, load: Load
) -> None:
    text = with_output(small_car, "2 s").replace("on-in: [idle]", "on-in: [key-on]")

    with pytest.raises(InvalidFileError, match="take key-on out of on-in"):
        load(text)


def test_how_long_an_output_primes_has_a_unit(small_car: str, load: Load) -> None:
    with pytest.raises(InvalidFileError, match="a duration needs s, such as 2 s"):
        load(with_output(small_car, "2"))


def test_every_switch_of_the_shipped_car_is_worked_with_the_engine_stopped(
    sedan: Car,
) -> None:
    stopped = [s for s in sedan.states if s.engine_rpm == 0 and not s.is_cranking]
    worked = {
        switch
        for state in stopped
        for switch, position in state.switch_positions.items()
        if position != sedan.switches[switch][0]
    }

    # the neutral switch is closed at rest, and opens what it is for
    assert worked == set(sedan.switches) - {"neutral-switch"}


def test_what_lies_behind_a_worked_switch_is_fed(sedan: Car) -> None:
    put, held = Shown(sedan, "switched-on"), Shown(sedan, "held")

    # The brake lamps: 54 W at 13.5 V are 4 A, 3.7 A at 11.8 V as their current goes
    # with the root of the volts. Over 16 ft of 16 AWG that is .24 V.
    amps = held.amps("brake-lamps")
    assert amps == pytest.approx(4.0 * (11.8 / 13.5) ** 0.5, rel=0.03)
    drop = held.volts("brake-switch.out", "rear-plug.brake-lamps-wire")
    assert drop == pytest.approx(
        amps * (16 * AWG_16_OHMS_A_FOOT + JOINTS_OHMS), rel=0.03
    )
    assert held.amps("horn") > 4.0
    for load in ("headlamps", "tail-lamps", "blower", "wipers"):
        assert put.amps(load) > 2.0
        assert held.amps(load) < 0.01


def test_states_say_what_this_car_switches_on(sedan: Car, knowledge: Knowledge) -> None:
    tourer = load_car(Path(__file__).parent.parent / "cars" / "tourer.yaml", knowledge)

    assert sedan.state("held").label == (
        "key on, engine not running, brake-switch and horn-button pressed, held there"
    )
    assert tourer.state("idle-loaded").label == ("idling, light-switch at head; fan on")
    assert tourer.state("idle-loaded").how == (
        "fan: let the engine get hot, or switch the air conditioning on, until "
        "engine-controller switches it on."
    )
    assert "lockup: where transmission-controller does not switch it on" in (
        sedan.state("fast-idle").how
    )
    assert "held" not in {state.name for state in tourer.states}


def test_a_state_that_the_file_does_not_write_is_not_there(
    small_car: str, load: Load, knowledge: Knowledge
) -> None:
    car = load(small_car)

    assert [state.name for state in car.states] == [
        "key-off",
        "key-on",
        "isolated",
        "unplugged",
    ]
    assert list(uncovered(car, knowledge.states)) == [
        "not written under `states`, so nothing is asked or measured there: idle; "
        "write each with the positions of its switches"
    ]


def test_a_load_that_no_state_switches_on_is_told(
    small_car: str, load: Load, knowledge: Knowledge
) -> None:
    # rests with most terminals live, so it is never worked
    text = changed(
        small_car,
        "switches:\n",
        "switches:\n  lamp: {place: bay, live: {on: [out], off: []}}\n",
    )
    text = changed(
        text,
        "circuits:\n",
        "circuits:\n"
        "  lamp-feed: {from: key.out, wire: 14 AWG 1 ft, to: lamp.feed}\n"
        "  glow: {from: lamp.out, wire: 14 AWG 1 ft, load: 5 W lamp, ground: body}\n",
    )
    text = changed(text, "{key: run}", "{key: run, lamp: off}")

    (told,) = [
        line for line in uncovered(load(text), knowledge.states) if "glow" in line
    ]
    assert told.startswith("on in no operating state, so nothing behind them can be")


def test_a_symptom_of_a_state_that_a_car_lacks_is_looked_for_in_another(
    sedan: Car, knowledge: Knowledge
) -> None:
    climber = load_car(
        Path(__file__).parent.parent / "cars" / "hill-climber.yaml", knowledge
    )

    # its pump hangs on the key, without a controller that would end the priming
    assert knowledge.for_car(climber).symptoms["pump-primes"].state == "key-on"
    assert knowledge.for_car(sedan).symptoms["pump-primes"].state == "priming"


def test_check_says_what_the_file_leaves_out(small_car: str, tmp_path: Path) -> None:
    path, sink = tmp_path / "car.yaml", StringIO()
    path.write_text(small_car, encoding="utf-8")

    check_car_file(str(path), sink)

    first, *_, last = sink.getvalue().splitlines()
    assert first.startswith(f"{path}: not written under `states`")
    assert last.startswith(f"{path}: sound. ")
