"""The solver against ngspice: two programs, one operating point.

The car's branches are handed over at the segment and gate position the solver chose, so
the linear part is what is compared; `test_characteristics_settle_where_ngspice_settles`
hands over whole characteristics and lets ngspice find the segments by itself.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.netlist import spice_netlist
from diagnose.circuit.nodal import NODE_LEAK_SIEMENS, Network
from diagnose.circuit.operating_point import OperatingPoint, solve_operating_point
from diagnose.circuit.sample import Sample
from diagnose.faults.causes import Cause, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car_file import load_car
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    make_car,
    make_fuse,
    make_part,
)

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None, reason="ngspice is not installed; it is the outside reference"
)
STATES = (KEY_OFF, KEY_ON, CRANKING)
N_RANDOM_CARS = 12
ROOT = Path(__file__).resolve().parents[2]
SHIPPED_STATES = (
    "key-off",
    "key-on",
    "cranking",
    "idle",
    "idle-loaded",
    "fast-idle",
    "isolated",
)
# One of each way to bend a circuit: an open return, a poor cable, a short, a sneak
# path, a source gone or too high, and contacts and outputs that stay closed.
SHIPPED_FAULTS = (
    "engine-strap:open_circuit",
    "ground-cable:cable_high_resistance_a",
    "engine-controller-ground:open_circuit",
    "tail-lamps-wire:leak_to_ground",
    "battery:shorted_cell",
    "alternator:set_point_high",
    "alternator:dead",
    "fuel-pump-relay.contacts:welded",
    "engine-controller.fan-output:failed_shorted",
    "main-fuse:blown",
    "fan:fan_stalled",
)
SHIPPED_POINTS = (
    *((state, "") for state in SHIPPED_STATES),
    *product(("key-on", "cranking", "idle-loaded"), SHIPPED_FAULTS),
)


def ngspice_volts(netlist: str, *, n_nodes: int, folder: Path) -> list[float]:
    """Run the operating point of a netlist and return the volts of every node."""
    names = " ".join(f"v(n{k})" for k in range(1, n_nodes))
    control = "\n".join(
        [
            ".options reltol=1e-10 abstol=1e-14 vntol=1e-12 itl1=1000",
            ".control",
            "set numdgt=16",
            "op",
            f"print {names}",
            ".endc",
            ".end",
        ]
    )
    path = folder / "car.cir"
    path.write_text(netlist.replace(".end\n", control + "\n"), encoding="utf-8")
    result = subprocess.run(
        [NGSPICE or "ngspice", "-b", str(path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    pairs = re.findall(r"^v\(n(\d+)\) = (\S+)$", result.stdout, re.MULTILINE)
    found = {int(index): float(volts) for index, volts in pairs}
    assert set(found) == set(range(1, n_nodes)), result.stdout + result.stderr
    return [0.0, *(found[k] for k in range(1, n_nodes))]


def random_parts(generator: np.random.Generator) -> list[Part]:
    """Return a car's supply and several random circuits: fuse, wires, load, ground."""
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
        joint_b_ohms=generator.choice([0.003, 1.0, 1e9], p=[5 / 6, 1 / 12, 1 / 12]),
        leak_ohms=generator.choice([2e7, 10.0], p=[0.9, 0.1]),
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
    )


def contacts(relay: str, first: str, last: str) -> Part:
    return make_part(
        "contacts",
        f"{relay}.contacts",
        first,
        last,
        gate=f"{relay}.coil",
        contact_ohms=0.004,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        is_on_other_contact=0.0,
        is_feed_swapped=0.0,
    )


def characteristic_netlist(network: Network, point: OperatingPoint) -> str:
    """Return a netlist that leaves the segments, though not the gates, to ngspice."""
    lines = ["characteristics"]
    for k in np.flatnonzero(point.is_conducting[0]).tolist():
        (a, b), (c, d) = network.output[k].tolist(), network.control[k].tolist()
        volts = f"({volts_at(c)}-{volts_at(d)})"
        knees = [knee for knee in network.breaks[0, k].tolist() if np.isfinite(knee)]
        slopes, offsets = network.siemens[0, k].tolist(), network.amps[0, k].tolist()
        amps = f"({slopes[len(knees)]!r}*{volts}+{offsets[len(knees)]!r})"
        for m in reversed(range(len(knees))):
            line = f"({slopes[m]!r}*{volts}+{offsets[m]!r})"
            amps = f"(({volts}<{knees[m]!r}) ? {line} : {amps})"
        lines.append(f"B{k} {node(a)} {node(b)} I={amps}")
    lines += [
        f"R{k} n{k} 0 {1.0 / NODE_LEAK_SIEMENS!r}" for k in range(1, len(network.nodes))
    ]
    return "\n".join([*lines, ".end", ""])


def node(index: int) -> str:
    return f"n{index}" if index else "0"


def volts_at(index: int) -> str:
    return f"V(n{index})" if index else "0"


def solved_random_car(seed: int, state: int) -> tuple[Network, OperatingPoint]:
    parts = random_parts(np.random.default_rng(seed))
    model = CarModel(make_car(parts, *STATES, body="body.metal"), Sample(n_draws=1))
    network = model.network(STATES[state])
    return network, solve_operating_point(network)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippedCar:
    """The car that comes with the program, with one draw of every tolerance."""

    model: CarModel
    causes: Mapping[str, Cause]


@pytest.fixture(scope="module")
def shipped(knowledge: Knowledge) -> ShippedCar:
    car = load_car(ROOT / "cases" / "cars" / "sedan.yaml", knowledge)
    causes = catalogue(car, knowledge.modes)
    return ShippedCar(
        model=CarModel(car, Sample(n_draws=1)),
        causes={cause.name: cause for cause in causes},
    )


@needs_ngspice
@pytest.mark.parametrize(("state", "fault"), SHIPPED_POINTS)
def test_shipped_car_has_the_node_volts_of_ngspice(
    state: str, fault: str, shipped: ShippedCar, tmp_path: Path
) -> None:
    model = shipped.model
    values = changed_values(model, [shipped.causes[fault]] if fault else [])
    network = model.network(model.car.state(state), values)
    point = solve_operating_point(network)

    found = ngspice_volts(
        spice_netlist(network, point), n_nodes=len(network.nodes), folder=tmp_path
    )

    # 1e-8 V is a floor for nodes near zero volts, a millionth of a meter's 10 mV.
    assert point.volts[0].tolist() == pytest.approx(found, rel=1e-6, abs=1e-8)


@needs_ngspice
@pytest.mark.parametrize("state", range(len(STATES)))
@pytest.mark.parametrize("seed", range(N_RANDOM_CARS))
def test_random_car_has_the_node_volts_of_ngspice(
    seed: int, state: int, tmp_path: Path
) -> None:
    network, point = solved_random_car(seed, state)

    found = ngspice_volts(
        spice_netlist(network, point), n_nodes=len(network.nodes), folder=tmp_path
    )

    assert point.volts[0].tolist() == pytest.approx(found, rel=1e-6, abs=1e-9)


@needs_ngspice
@pytest.mark.parametrize("state", range(len(STATES)))
@pytest.mark.parametrize("seed", range(N_RANDOM_CARS))
def test_characteristics_settle_where_ngspice_settles(
    seed: int, state: int, tmp_path: Path
) -> None:
    network, point = solved_random_car(seed, state)

    found = ngspice_volts(
        characteristic_netlist(network, point),
        n_nodes=len(network.nodes),
        folder=tmp_path,
    )

    assert point.volts[0].tolist() == pytest.approx(found, rel=1e-6, abs=1e-6)
