"""Random circuits of a car's own kind: a supply, a key, relays, and fused loads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Origin, Value, fixed
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    make_car,
    make_fuse,
    make_part,
    make_resistor,
)

STATES = (KEY_OFF, KEY_ON, CRANKING)
SOUND_VALUES = {
    "is_blown": 0.0,
    "is_stalled": 0.0,
    "joint_b_ohms": 0.003,
    "leak_ohms": 2e7,
}


def random_model(
    seed: int, *, is_faulty: bool = True, has_buzzer: bool = False
) -> CarModel:
    """Return a random car with one draw; every seed gives another.

    Parameters
    ----------
    has_buzzer : bool
        With a relay whose coil is fed by its own normally closed contact: with the key
        on it chatters.
    """
    parts = random_parts(np.random.default_rng(seed), is_faulty=is_faulty)
    if has_buzzer:
        parts.append(coil("buzzer", "buzzer.feed", "body.metal"))
        parts.append(
            contacts("buzzer", "key.run", "buzzer.feed", is_on_other_contact=1.0)
        )
    return CarModel(make_car(parts, *STATES, body="body.metal"), Sample(n_draws=1))


def random_parts(
    generator: np.random.Generator, *, is_faulty: bool = True
) -> list[Part]:
    """Return a car's supply and several random circuits: fuse, wires, load, ground.

    Parameters
    ----------
    is_faulty : bool
        False: without bad joints, leaks, blown fuses and stalled motors.
    """
    parts = _faulty_parts(generator)
    return parts if is_faulty else [_mended(part) for part in parts]


def _mended(part: Part) -> Part:
    """Return a part without a fault."""
    values = dict(part.values)
    for name in SOUND_VALUES.keys() & values.keys():
        values[name] = Value(
            distribution=fixed(SOUND_VALUES[name]), origin=Origin.CAR_FILE
        )
    return replace(part, values=values)


def _faulty_parts(generator: np.random.Generator) -> list[Part]:
    uniform = generator.uniform
    parts = [
        make_part(
            "battery",
            "battery",
            "battery.plus",
            GROUND,
            state_of_charge=uniform(0.3, 1.0),
            empty_volts=11.8,
            full_volts=12.6,
            internal_ohms=uniform(0.005, 0.02),
            acceptance_ohms=0.18,
            surface_volts=0.0,
            surface_ohms=0.1,
        ),
        wire(generator, "ground-cable", "engine.block", GROUND),
        wire(generator, "strap", "engine.block", "body.metal"),
        wire(generator, "feed", "battery.plus", "panel.bus"),
        switch("run-contact", "panel.bus", "key.run", "run", "crank"),
        switch("crank-contact", "panel.bus", "key.crank", "crank"),
        coil("panel-relay", "key.run", "body.metal"),
        coil("starter-relay", "key.crank", "engine.block"),
        contacts("panel-relay", "panel.bus", "panel.switched"),
        contacts("starter-relay", "battery.plus", "starter.plus"),
        make_part(
            "starter",
            "starter",
            "starter.plus",
            "engine.block",
            cranking_amps=uniform(100.0, 200.0),
            stall_ohms=0.035,
        ),
    ]
    for number in range(int(generator.integers(2, 6))):
        parts += random_circuit(generator, number)
    return parts


def random_circuit(generator: np.random.Generator, number: int) -> list[Part]:
    """Return one fused load that returns to a random ground."""
    name = f"load-{number}"
    bus = generator.choice(["panel.bus", "panel.switched"])
    ground = generator.choice([GROUND, "engine.block", "body.metal"])
    load = random_load(generator, name, f"{name}.plus", f"{name}.minus")
    return [
        make_fuse(
            f"{name}-fuse",
            str(bus),
            f"{name}-fuse.out",
            rating_amps=15.0,
            is_blown=float(generator.random() < 0.1),
        ),
        wire(generator, f"{name}-feed", f"{name}-fuse.out", f"{name}.plus"),
        load,
        wire(generator, f"{name}-ground", f"{name}.minus", str(ground)),
    ]


def random_load(
    generator: np.random.Generator, name: str, plus: str, minus: str
) -> Part:
    """Return a lamp, a motor, a controller or a diode with a resistance."""
    amps = generator.uniform(1.0, 12.0)
    loads = (
        make_part(
            "lamp",
            name,
            plus,
            minus,
            lamp_watts=13.5 * amps,
            lamp_volts=13.5,
            cold_factor=13.0,
            is_open=0.0,
        ),
        make_part(
            "motor",
            name,
            plus,
            minus,
            motor_amps=amps,
            motor_volts=13.5,
            is_open=0.0,
            is_stalled=float(generator.random() < 0.3),
            stall_factor=4.5,
            brush_factor=1.0,
            load_factor=1.0,
        ),
        make_part(
            "controller",
            name,
            plus,
            minus,
            supply_amps=amps / 10.0,
            reset_volts=6.5,
            restart_volts=7.5,
            is_working=1.0,
        ),
        make_part(
            "diode",
            name,
            plus,
            minus,
            forward_volts=0.7,
            on_ohms=1.0,
            is_shorted=0.0,
            is_open=0.0,
            is_reversed=0.0,
        ),
    )
    return loads[int(generator.integers(len(loads)))]


def wire(generator: np.random.Generator, name: str, first: str, last: str) -> Part:
    """Return a wire; one in six has a bad joint and one in ten a leak."""
    return make_part(
        "wire",
        name,
        first,
        last,
        wire_ohms=generator.uniform(0.0005, 0.05),
        joint_a_ohms=0.003,
        joint_b_ohms=float(
            generator.choice([0.003, 1.0, 1e9], p=[5 / 6, 1 / 12, 1 / 12])
        ),
        leak_ohms=float(generator.choice([2e7, 10.0], p=[0.9, 0.1])),
        extra_ohms=0.0,
    )


def switch(name: str, first: str, last: str, *positions: str) -> Part:
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


def coil(relay: str, first: str, last: str) -> Part:
    return make_part(
        "coil",
        f"{relay}.coil",
        first,
        last,
        coil_ohms=85.0,
        coil_rise_celsius=0.0,
        pull_in_volts=7.5,
        release_volts=2.5,
        is_elsewhere=0.0,
    )


def contacts(
    relay: str, first: str, last: str, *, is_on_other_contact: float = 0.0
) -> Part:
    return make_part(
        "contacts",
        f"{relay}.contacts",
        first,
        last,
        gate=f"{relay}.coil",
        contact_ohms=0.004,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        is_on_other_contact=is_on_other_contact,
        is_feed_swapped=0.0,
        is_bridged=0.0,
        bridge_ohms=0.02,
        is_other_layout=0.0,
    )


def entangled_parts(generator: np.random.Generator) -> list[Part]:
    """Return a sound random car with relays that may feed themselves or each other.

    Each of these hangs with its coil on some load, bus or other relay, some of them
    also, by a bridge, on their own output; a diode may join two places.
    """
    parts = random_parts(generator, is_faulty=False)
    places = ["key.run", "panel.bus", "panel.switched", "body.metal"]
    places += ["load-0.plus", "load-1.plus", "load-0.minus"]
    for number in range(int(generator.integers(1, 4))):
        name = f"relay-{number}"
        coil_feed, output = f"{name}.86", f"{name}.87"
        bridge_ohms = generator.choice(
            [1e9, 0.05, 20.0, 100.0], p=[0.6, 0.15, 0.15, 0.1]
        )
        parts += [
            coil(
                name, coil_feed, str(generator.choice(["body.metal", "load-0.minus"]))
            ),
            contacts(
                name,
                str(generator.choice(["panel.bus", "panel.switched"])),
                output,
                is_on_other_contact=float(generator.random() < 0.1),
            ),
            make_resistor(
                str(generator.choice(places)),
                coil_feed,
                10.0 ** generator.uniform(-1.5, 1.5),
                name=f"{name}-86-wire",
            ),
            make_resistor(
                output, "body.metal", generator.uniform(2.0, 30.0), name=f"{name}-load"
            ),
            make_resistor(output, coil_feed, float(bridge_ohms), name=f"{name}-bridge"),
        ]
        places.append(output)
    parts.append(
        make_part(
            "diode",
            "sneak-diode",
            str(generator.choice(places)),
            str(generator.choice(["key.run", "relay-0.86"])),
            forward_volts=0.7,
            on_ohms=0.5,
            is_shorted=0.0,
            is_open=float(generator.random() < 0.7),
            is_reversed=0.0,
        )
    )
    return parts
