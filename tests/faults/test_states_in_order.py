"""What stays on from one operating state to the next: relays, controllers, alternators.

On the bench, by hand; relay volts by a data sheet of a 12 V relay: pulls in at 8 V or
less, lets go at 1 V or more; here 7.5 and 2.5 V.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Value, fixed
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode, Operation
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    make_car,
    make_part,
    make_resistor,
    make_source,
)
from tests.lamp_car import make_mode

CRANKED = replace(CRANKING, after="key-on")
SWITCHED_OFF = replace(KEY_OFF, after="key-on")
IDLE = OperatingState(
    name="idle",
    label="idling",
    switch_positions={"key": "run"},
    engine_rpm=800.0,
    after="key-on",
)
RUN_ON = OperatingState(
    name="run-on",
    label="key turned off while idling",
    switch_positions={"key": "off"},
    engine_rpm=800.0,
    after="idle",
)
ODD = make_mode("resistor", "odd", 0.01, {"ohms": (Operation.SET, fixed(1e6))})


def make_load(name: str, plus: str, minus: str = GROUND) -> Part:
    """Return a load of 3 A at 13.5 V, 4.5 ohm."""
    return make_part(
        "load",
        name,
        plus,
        minus,
        load_amps=3.0,
        load_volts=13.5,
        is_open=0.0,
        load_factor=1.0,
    )


def make_contact(name: str, first: str, last: str, *positions: str) -> Part:
    return make_part(
        "switch-contact",
        name,
        first,
        last,
        assembly="key",
        closed_in=frozenset(positions),
        contact_ohms=0.01,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        fails_in_crank=0.0,
        fails_in_run=0.0,
    )


def make_controller(name: str) -> Part:
    """Return a controller on the key's contact."""
    return make_part(
        "controller",
        name,
        "key.run",
        GROUND,
        supply_amps=0.8,
        reset_volts=6.5,
        restart_volts=7.5,
        is_working=1.0,
    )


def relay(feed: str, out: str, coil: str) -> list[Part]:
    """Return a relay from feed to out, its coil from a node to ground."""
    return [
        make_part(
            "coil",
            "relay.coil",
            coil,
            GROUND,
            coil_ohms=85.0,
            coil_rise_celsius=0.0,
            pull_in_volts=7.5,
            release_volts=2.5,
            is_elsewhere=0.0,
        ),
        make_part(
            "contacts",
            "relay.contacts",
            feed,
            out,
            gate="relay.coil",
            contact_ohms=0.004,
            is_stuck_closed=0.0,
            is_stuck_open=0.0,
            is_on_other_contact=0.0,
            is_feed_swapped=0.0,
            is_bridged=0.0,
            bridge_ohms=0.02,
            is_other_layout=0.0,
        ),
    ]


def conducts(
    parts: Sequence[Part],
    states: Sequence[OperatingState],
    *,
    branch: str = "relay.contacts",
    mode: FaultMode | None = None,
) -> list[float]:
    """Return whether a branch carries current in each state, of the first fault."""
    car = make_car(parts, *states)
    probes = [Probe(branch=branch, state=s.name, is_current=False) for s in states]
    causes = catalogue(car, [] if mode is None else [mode])
    predictor = Predictor(CarModel(car, Sample(n_draws=1)), causes, probes)
    found = predictor.predict([(0,) if causes else ()])
    values: list[float] = found.probes[0, 0].tolist()
    return values


def sagging_supply(starter_ohms: float) -> list[Part]:
    """Return 12 V behind .05 ohm that a starter pulls down in crank."""
    return [
        make_resistor("elsewhere", GROUND, 1.0, name="elsewhere"),
        make_source("battery.plus", 12.0, ohms=0.05),
        make_contact("start", "battery.plus", "starter.plus", "crank"),
        make_resistor("starter.plus", GROUND, starter_ohms, name="starter"),
        make_contact("feed", "battery.plus", "key.run", "run", "crank"),
        make_resistor("load.plus", GROUND, 12.0, name="load"),
    ]


# By hand: .04 ohm and the contact's .01 leave 6.0 V; .007 leave 3.0 V and .001 leave
# 2.2 V of 12 V.
@pytest.mark.parametrize(
    ("starter_ohms", "held"), [(0.04, 1.0), (0.007, 1.0), (0.001, 0.0)]
)
def test_relay_that_is_on_stays_on_down_to_its_release_volts(
    starter_ohms: float, held: float
) -> None:
    parts = [*sagging_supply(starter_ohms), *relay("key.run", "load.plus", "key.run")]

    assert conducts(parts, [KEY_ON, CRANKED]) == [1.0, held]


def test_relay_that_was_off_does_not_pull_in_at_the_same_volts() -> None:
    parts = [*sagging_supply(0.04), *relay("key.run", "load.plus", "key.run")]

    assert conducts(parts, [KEY_ON, CRANKING]) == [1.0, 0.0]


# A state that comes from no other begins with every gate off, whatever the states that
# are solved beside it leave on: the 6.0 V of crank hold a relay and pull none in.
@pytest.mark.parametrize("mode", [None, ODD], ids=["sound", "with a fault"])
@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ([CRANKING, KEY_ON, IDLE], [0.0, 1.0, 1.0]),
        ([KEY_ON, CRANKING, IDLE], [1.0, 0.0, 1.0]),
        ([KEY_ON, IDLE, CRANKING], [1.0, 1.0, 0.0]),
    ],
    ids=["first", "between", "last"],
)
def test_state_from_rest_begins_with_its_relay_off(
    states: list[OperatingState], expected: list[float], mode: FaultMode | None
) -> None:
    parts = [*sagging_supply(0.04), *relay("key.run", "load.plus", "key.run")]

    assert conducts(parts, states, mode=mode) == expected


# By hand: off, the relay leaves its load without volts while the starter turns; carried
# over from the state solved last, it would give it 6 V.
def test_sound_car_that_faults_are_compared_with_begins_at_rest_too() -> None:
    parts = [*sagging_supply(0.04), *relay("key.run", "load.plus", "key.run")]
    car = make_car(parts, CRANKING, KEY_ON, IDLE)
    solver = Predictor(CarModel(car, Sample(n_draws=1)), [], []).solver()

    load_volts = solver.base.volts[:, solver.network.nodes.index("load.plus")]
    assert load_volts[0] == pytest.approx(0.0, abs=1e-3)
    assert load_volts[1] == pytest.approx(load_volts[2])
    assert load_volts[1] > 9.0


def test_what_was_on_is_carried_over_under_a_fault_too() -> None:
    parts = [*sagging_supply(0.04), *relay("key.run", "load.plus", "key.run")]

    assert conducts(parts, [KEY_ON, CRANKED], mode=ODD) == [1.0, 1.0]


# By hand: 7.0 V lie between the 6.5 V to reset and the 7.5 V to restart.
@pytest.mark.parametrize(("state", "is_up"), [(CRANKED, 1.0), (CRANKING, 0.0)])
def test_controller_rides_through_only_if_it_was_up(
    state: OperatingState, is_up: float
) -> None:
    parts = [*sagging_supply(0.062), make_controller("controller")]

    assert conducts(parts, [KEY_ON, state], branch="controller") == [1.0, is_up]


def backfed(backfeed_ohms: float) -> list[Part]:
    """Return a relay whose coil gets current past the key from a constant feed."""
    return [
        make_source("battery.plus", 12.0),
        make_contact("feed", "battery.plus", "key.run", "run"),
        make_resistor("battery.plus", "key.run", backfeed_ohms, name="backfeed"),
        make_resistor("load.plus", GROUND, 12.0, name="load"),
        *relay("battery.plus", "load.plus", "key.run"),
    ]


# By hand: 85 of 185 ohm is 5.5 V, between release and pull-in; of 585 ohm 1.7 V.
@pytest.mark.parametrize(
    ("backfeed_ohms", "state", "held"),
    [
        (100.0, SWITCHED_OFF, 1.0),
        (100.0, KEY_OFF, 0.0),
        (500.0, SWITCHED_OFF, 0.0),
    ],
)
def test_backfed_coil_holds_its_relay_once_it_was_on(
    backfeed_ohms: float, state: OperatingState, held: float
) -> None:
    assert conducts(backfed(backfeed_ohms), [KEY_ON, state]) == [1.0, held]


def test_relay_that_feeds_its_own_coil_never_lets_go() -> None:
    parts = [
        make_source("battery.plus", 12.0),
        make_contact("feed", "battery.plus", "key.run", "run"),
        *relay("battery.plus", "key.run", "key.run"),
    ]

    assert conducts(parts, [KEY_ON, SWITCHED_OFF]) == [1.0, 1.0]
    assert conducts(parts, [KEY_ON, KEY_OFF]) == [1.0, 0.0]


# Two terminals of a relay's socket that touch, 87 and 86: once on it feeds itself,
# while a bridge of 1 kohm leaves the coil 0.9 V. By hand; the sound car lets go.
@pytest.mark.parametrize(("bridge_ohms", "held"), [(0.02, 1.0), (1e3, 0.0)])
def test_relay_that_a_fault_lets_feed_its_own_coil_stays_on(
    bridge_ohms: float, held: float
) -> None:
    bridged = make_mode(
        "resistor", "bridged", 0.01, {"ohms": (Operation.SET, fixed(bridge_ohms))}
    )
    parts = [
        make_resistor("load.plus", "relay.86", 1e9, name="between-87-and-86"),
        make_source("battery.plus", 12.0),
        make_contact("feed", "battery.plus", "relay.86", "run"),
        make_load("load", "load.plus"),
        *relay("battery.plus", "load.plus", "relay.86"),
    ]

    assert conducts(parts, [KEY_ON, SWITCHED_OFF]) == [1.0, 0.0]
    assert conducts(parts, [KEY_ON, SWITCHED_OFF], mode=bridged) == [1.0, held]


def test_relay_with_87_touching_86_stays_on_with_the_key_off(
    knowledge: Knowledge,
) -> None:
    bridged = next(mode for mode in knowledge.modes if mode.name == "bridged_to_coil")
    parts = [
        make_source("battery.plus", 12.0),
        make_contact("feed", "battery.plus", "relay.86", "run"),
        make_load("load", "load.plus"),
        *relay("battery.plus", "load.plus", "relay.86"),
    ]

    assert conducts(parts, [KEY_ON, SWITCHED_OFF], mode=bridged) == [1.0, 1.0]
    assert conducts(parts, [KEY_ON, KEY_OFF], mode=bridged) == [1.0, 0.0]


def test_relay_that_holds_itself_stays_off_if_a_fault_keeps_it_from_starting() -> None:
    dead = make_mode("load", "dead", 0.01, {"is_open": (Operation.SET, fixed(1.0))})
    parts = [
        make_source("battery.plus", 12.0),
        make_contact("feed", "battery.plus", "key.run", "run", "crank"),
        # what starts it: a coil feed through a load that a fault opens
        make_load("starting-load", "key.run", "relay.86"),
        make_resistor("load.plus", "relay.86", 0.02, name="own-feed"),
        make_resistor("load.plus", GROUND, 1e3, name="rest"),
        *relay("battery.plus", "load.plus", "relay.86"),
    ]

    assert conducts(parts, [KEY_ON, CRANKED]) == [1.0, 1.0]
    assert conducts(parts, [KEY_ON, CRANKED], mode=dead) == [0.0, 0.0]


# By hand: 7.0 V lie between the 6.5 V to reset and the 7.5 V to restart; the controller
# stays up, and an output that is first asked for then works as well.
def test_output_asked_for_in_a_later_state_is_up_as_its_controller_is() -> None:
    parts = [
        *sagging_supply(0.062),
        make_controller("unit"),
        make_part(
            "driver",
            "output",
            "lamp.minus",
            GROUND,
            gate="unit",
            on_ohms=0.25,
            limit_amps=1.5,
            is_stuck_closed=0.0,
            is_stuck_open=0.0,
            is_short_proof=1.0,
        ),
        make_resistor("key.run", "lamp.minus", 100.0, name="lamp"),
    ]
    asked = replace(CRANKED, commands=frozenset({"output"}))

    assert conducts(parts, [KEY_ON, asked], branch="output") == [0.0, 1.0]


@pytest.fixture(scope="module")
def defaults(knowledge: Knowledge) -> Mapping[str, Mapping[str, Value]]:
    return knowledge.defaults


def running_car(
    defaults: Mapping[str, Mapping[str, Value]], *charge_line: Part, module_ohms: float
) -> list[Part]:
    """Return a running car: relay and charge lamp hang on one contact of the key.

    The relay feeds the ignition; the contact itself feeds a module of `module_ohms`.
    """

    def usual(kind: str, *nodes: str) -> Part:
        return replace(make_part(kind, kind, *nodes), values=defaults[kind])

    return [
        usual("battery", "battery.plus", GROUND),
        usual("alternator", "battery.plus", GROUND, "battery.plus", "exciter"),
        make_contact("feed", "battery.plus", "key.run", "run"),
        make_part(
            "lamp",
            "charge-lamp",
            "key.run",
            "lamp.minus",
            lamp_watts=3.0,
            lamp_volts=13.5,
            cold_factor=13.0,
            is_open=0.0,
        ),
        *charge_line,
        make_resistor("key.run", GROUND, module_ohms, name="module"),
        make_resistor("load.plus", GROUND, 3.0, name="ignition"),
        *relay("battery.plus", "load.plus", "key.run"),
    ]


def make_diode(is_shorted: float) -> Part:
    """Return the diode that lets the lamp light and nothing back."""
    return make_part(
        "diode",
        "lamp-diode",
        "lamp.minus",
        "exciter",
        forward_volts=0.7,
        on_ohms=0.05,
        is_shorted=is_shorted,
        is_open=0.0,
        is_reversed=0.0,
    )


# Rule of the trade: a car that runs on after the key is turned off is fed back by the
# alternator's exciter through the charge lamp; a diode in that line, or a load of its
# own on the contact, cures it. By hand: 14 V over a 3 W lamp and the coil's 85 ohm hold
# the coil at 8 V and more; beside it 3 ohm leave some 0.5 V.
@pytest.mark.parametrize(
    ("line", "module_ohms", "runs_on"),
    [
        (make_resistor("lamp.minus", "exciter", 0.05, name="line"), 1e6, 1.0),
        (make_diode(is_shorted=1.0), 1e6, 1.0),
        (make_diode(is_shorted=0.0), 1e6, 0.0),
        (make_resistor("lamp.minus", "exciter", 0.05, name="line"), 3.0, 0.0),
    ],
    ids=["straight", "shorted-diode", "diode", "module-on-the-contact"],
)
def test_engine_runs_on_by_the_exciter_through_the_charge_lamp(
    line: Part,
    module_ohms: float,
    runs_on: float,
    defaults: Mapping[str, Mapping[str, Value]],
) -> None:
    parts = running_car(defaults, line, module_ohms=module_ohms)

    assert conducts(parts, [KEY_ON, IDLE, RUN_ON]) == [1.0, 1.0, runs_on]


# An alternator that never was excited is not alive in the next state, though there the
# sound one keeps itself alive with the key off.
def test_alternator_that_did_not_start_stays_dead_in_the_next_state(
    defaults: Mapping[str, Mapping[str, Value]],
) -> None:
    line = make_resistor("lamp.minus", "exciter", 0.05, name="line")
    parts = running_car(defaults, line, module_ohms=3.0)
    dead = make_mode(
        "switch-contact", "dead", 0.01, {"is_stuck_open": (Operation.SET, fixed(1.0))}
    )
    states, alternator = [KEY_ON, IDLE, RUN_ON], "alternator"

    assert conducts(parts, states, branch=alternator) == [0.0, 1.0, 1.0]
    found = conducts(parts, states, branch=alternator, mode=dead)
    assert found == [0.0, 0.0, 0.0]


def test_diode_that_shorts_lets_the_engine_run_on(
    defaults: Mapping[str, Mapping[str, Value]],
) -> None:
    shorted = make_mode(
        "diode", "shorted", 0.01, {"is_shorted": (Operation.SET, fixed(1.0))}
    )
    parts = running_car(defaults, make_diode(is_shorted=0.0), module_ohms=1e6)

    found = conducts(parts, [KEY_ON, IDLE, RUN_ON], mode=shorted)

    assert found == [1.0, 1.0, 1.0]
