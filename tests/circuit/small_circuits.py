"""Small real circuits for tests: parts with fixed values, and their operating point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Origin, Value, fixed

GROUND = "battery.minus"
# No resistance: at 60 mA it drops 60 nV, at 50 A 50 uV (derived).
IDEAL_OHMS = 1e-6
# An open circuit: 12 V over this is 12 nA, which no meter can see (derived).
OPEN_OHMS = 1e9

KEY_OFF = OperatingState(name="key-off", label="key off", switch_positions={})
KEY_ON = OperatingState(name="key-on", label="key on", switch_positions={"key": "run"})
CRANKING = OperatingState(
    name="cranking",
    label="cranking",
    switch_positions={"key": "crank"},
    is_cranking=True,
)
SWITCHES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"key": ("off", "run", "crank")}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedCircuit:
    """The operating point of a circuit with fixed values, looked up by name."""

    node_volts: Mapping[str, float]
    branch_amps: Mapping[str, float]

    def drop_volts(self, red: str, black: str = GROUND) -> float:
        """Return what an ideal voltmeter shows between two nodes. [V]."""
        return self.node_volts[red] - self.node_volts[black]


def make_part(
    kind: str,
    name: str,
    *nodes: str,
    gate: str | None = None,
    closed_in: frozenset[str] = frozenset(),
    assembly: str | None = None,
    **values: float,
) -> Part:
    """Return a part; nodes in the order of the kind's terminals, optional ones last."""
    element = ELEMENTS[kind]
    terminals = (*element.terminals, *element.optional_terminals)
    return Part(
        name=name,
        assembly=assembly or name,
        kind=kind,
        terminals=dict(zip(terminals, nodes, strict=False)),
        values={
            parameter: Value(distribution=fixed(value), origin=Origin.CAR_FILE)
            for parameter, value in values.items()
        },
        gate=gate,
        closed_in=closed_in,
    )


def with_values(part: Part, values: Mapping[str, float]) -> Part:
    """Return a part with some of its values fixed."""
    given = {
        name: Value(distribution=fixed(value), origin=Origin.CAR_FILE)
        for name, value in values.items()
    }
    return replace(part, values={**part.values, **given})


def make_source(plus: str, volts: float, ohms: float = IDEAL_OHMS) -> Part:
    """Return a source against ground with one resistance in both directions."""
    return make_part(
        "battery",
        f"source-{plus}",
        plus,
        GROUND,
        state_of_charge=1.0,
        empty_volts=0.0,
        full_volts=volts,
        internal_ohms=ohms,
        acceptance_ohms=ohms,
        surface_volts=0.0,
        surface_ohms=0.1,
    )


def make_resistor(first: str, second: str, ohms: float, name: str = "") -> Part:
    """Return a resistor, named after its nodes unless a name is given."""
    return make_part("resistor", name or f"{first}-{second}", first, second, ohms=ohms)


def make_fuse(
    name: str,
    first: str,
    second: str,
    *,
    rating_amps: float,
    blow_factor: float = 1.0,
    is_blown: float = 0.0,
    is_self_resetting: float = 0.0,
) -> Part:
    """Return a blade fuse: the middle of what ISO 8820-3 allows (memory)."""
    return make_part(
        "fuse",
        name,
        first,
        second,
        rating_amps=rating_amps,
        ohms=0.075 / rating_amps,
        is_blown=is_blown,
        blow_factor=blow_factor,
        at_110_percent_seconds=3.6e5,
        at_135_percent_seconds=21.0,
        at_200_percent_seconds=0.87,
        at_350_percent_seconds=0.14,
        at_600_percent_seconds=0.045,
        is_self_resetting=is_self_resetting,
    )


def make_car(
    parts: Sequence[Part],
    *states: OperatingState,
    body: str = GROUND,
    system_volts: float = 12.0,
) -> Car:
    """Return a car of these parts with an ignition switch ``key``."""
    return Car(
        name="bench",
        title="a circuit on the bench",
        system_volts=system_volts,
        reference=GROUND,
        body=body,
        parts=tuple(parts),
        states=states or (KEY_ON,),
        places={},
        switches=SWITCHES,
        test_points={},
    )


def solve_circuit(
    parts: Sequence[Part],
    state: OperatingState = KEY_ON,
    *,
    system_volts: float = 12.0,
) -> SolvedCircuit:
    """Solve a circuit of parts with fixed values in one state."""
    car = make_car(parts, state, system_volts=system_volts)
    model = CarModel(car, Sample(n_draws=1))
    network = model.network(state)
    point = solve_operating_point(network)
    assert point.is_settled.all()
    amps = point.branch_amps(network)[0].tolist()
    return SolvedCircuit(
        node_volts=dict(zip(network.nodes, point.volts[0].tolist(), strict=True)),
        branch_amps=dict(zip(network.branches, amps, strict=True)),
    )
