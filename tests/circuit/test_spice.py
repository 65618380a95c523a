"""The solver against ngspice: two programs, one operating point.

The car's branches are handed over at the segment and gate position the solver chose, so
the linear part is what is compared; `test_characteristics_settle_where_ngspice_settles`
hands over whole characteristics and lets ngspice find the segments by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.factored import NodalPlan
from diagnose.circuit.solver.network import NODE_LEAK_SIEMENS, Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import Cause, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from tests.circuit.netlist import spice_netlist
from tests.circuit.ngspice import needs_ngspice, ngspice_volts
from tests.circuit.random_cars import STATES, random_model

N_RANDOM_CARS = 36
"""Each sound and with faults, in three states: 216 circuits."""
ROUNDING_AMPS = 2.2e-12
# Derived: the last digit in double precision, 2.2e-16, of a battery cable's 1e4 S, at a
# volt.
ROOT = Path(__file__).resolve().parents[2]
SHIPPED_STATES = (
    "key-off",
    "key-on",
    "cranking",
    "idle",
    "idle-loaded",
    "fast-idle",
    "isolated",
    "unplugged",
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


@dataclass(frozen=True, slots=True)
class Circuit:
    """A solved circuit and what to call it."""

    name: str
    network: Network
    point: OperatingPoint


@pytest.fixture(scope="module")
def random_circuits() -> tuple[Circuit, ...]:
    circuits = []
    for seed, is_faulty in product(range(N_RANDOM_CARS), (False, True)):
        model = random_model(seed, is_faulty=is_faulty)
        for state in STATES:
            network = model.network(state)
            name = f"car {seed}, {'faulty' if is_faulty else 'sound'}, {state.name}"
            circuits.append(Circuit(name, network, solve_operating_point(network)))
    return tuple(circuits)


def apart(
    circuits: Sequence[Circuit], found: Sequence[Sequence[float]], *, abs_volts: float
) -> list[str]:
    """Return the circuits in which a node is more than a millionth off.

    Where insulation alone holds a node, ngspice has no digits left: its matrix adds a
    battery cable's conductance to it.
    """
    names = []
    for circuit, volts in zip(circuits, found, strict=True):
        factored = NodalPlan(circuit.network).factored(circuit.point.siemens.T)
        blur = ROUNDING_AMPS * factored.self_ohms()[:, 0]
        room = abs_volts + blur + 1e-6 * np.abs(volts)
        if (np.abs(circuit.point.volts[0] - volts) > room).any():
            names.append(circuit.name)
    return names


@needs_ngspice
def test_shipped_car_has_the_node_volts_of_ngspice(
    shipped: ShippedCar, tmp_path: Path
) -> None:
    circuits = []
    for state, fault in SHIPPED_POINTS:
        values = changed_values(shipped.model, [shipped.causes[fault]] if fault else [])
        network = shipped.model.network(shipped.model.car.state(state), values)
        point = solve_operating_point(network)
        circuits.append(Circuit(f"{fault or 'sound'}, {state}", network, point))

    netlists = [spice_netlist(c.network, c.point) for c in circuits]
    # 1e-8 V is a floor for nodes near zero volts, a millionth of a meter's 10 mV.
    found = ngspice_volts(netlists, folder=tmp_path)
    assert apart(circuits, found, abs_volts=1e-8) == []


@needs_ngspice
@pytest.mark.parametrize("name", ["tourer", "hill-climber"])
def test_other_cars_have_the_node_volts_of_ngspice(
    name: str, knowledge: Knowledge, tmp_path: Path
) -> None:
    car = load_car(ROOT / "tests" / "cars" / f"{name}.yaml", knowledge)
    model = CarModel(car, Sample(n_draws=1))
    faults: list[Cause | None] = [None, *catalogue(car, knowledge.modes)[::25]]
    circuits = []
    for fault, state in product(faults, car.states):
        values = changed_values(model, [] if fault is None else [fault])
        network = model.network(state, values)
        label = f"{'sound' if fault is None else fault.name}, {state.name}"
        circuits.append(Circuit(label, network, solve_operating_point(network)))

    netlists = [spice_netlist(c.network, c.point) for c in circuits]
    found = ngspice_volts(netlists, folder=tmp_path)

    assert len(found) > 40
    assert apart(circuits, found, abs_volts=1e-8) == []


@needs_ngspice
def test_random_cars_have_the_node_volts_of_ngspice(
    random_circuits: tuple[Circuit, ...], tmp_path: Path
) -> None:
    netlists = [spice_netlist(c.network, c.point) for c in random_circuits]

    found = ngspice_volts(netlists, folder=tmp_path)

    assert len(found) >= 200
    assert apart(random_circuits, found, abs_volts=1e-9) == []


@needs_ngspice
def test_characteristics_settle_where_ngspice_settles(
    random_circuits: tuple[Circuit, ...], tmp_path: Path
) -> None:
    netlists = [characteristic_netlist(c.network, c.point) for c in random_circuits]

    found = ngspice_volts(netlists, folder=tmp_path)

    assert apart(random_circuits, found, abs_volts=1e-6) == []
