"""An invented car of one lamp circuit, with its fault modes: small enough to enumerate.

Battery, main fuse, lamp fuse, light switch, feed wire, lamp, ground wire, body stud.
All rates, tolerances and severities are made up for the tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from diagnose.circuit.car import Car, Part, Place
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Distribution, Origin, Shape, Value, fixed
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import (
    Change,
    FaultMode,
    Operation,
    Repair,
    Trigger,
    TriggerTest,
)
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.compilation import priors_of
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.probe_lamp import ProbeLamp
from diagnose.measurement.symptoms import (
    Claim,
    Complaint,
    Context,
    Group,
    Join,
    Quantity,
    Symptom,
)
from diagnose.session.ready_car import all_probes
from diagnose.terminal.preparation.car_files import published_knowledge

GROUND = "battery.minus"
REST_VOLTS = 12.6
OPEN_OHMS = 1e9


def loguniform(low: float, high: float) -> Distribution:
    return Distribution(shape=Shape.LOGUNIFORM, first=low, second=high)


def lognormal(median: float, log_spread: float) -> Distribution:
    return Distribution(shape=Shape.LOGNORMAL, first=median, second=log_spread)


def make_part(
    kind: str,
    name: str,
    *nodes: str,
    role: str | None = None,
    closed_in: frozenset[str] = frozenset(),
    **values: Distribution | float,
) -> Part:
    """Return a part; nodes in the order of the kind's terminals."""
    return Part(
        name=name,
        assembly=name,
        kind=kind,
        terminals=dict(zip(ELEMENTS[kind].terminals, nodes, strict=True)),
        values={
            parameter: Value(
                distribution=value if isinstance(value, Distribution) else fixed(value),
                origin=Origin.CAR_FILE,
            )
            for parameter, value in values.items()
        },
        role=role,
        closed_in=closed_in,
        place="bay",
    )


def _wire(name: str, first: str, second: str, *, role: str | None = None) -> Part:
    return make_part(
        "wire",
        name,
        first,
        second,
        role=role,
        wire_ohms=lognormal(0.05, 0.05),
        joint_a_ohms=lognormal(0.003, 0.3),
        joint_b_ohms=lognormal(0.003, 0.3),
        leak_ohms=2e7,
        extra_ohms=0.0,
    )


def _fuse(name: str, first: str, second: str, amps: float) -> Part:
    return make_part(
        "fuse",
        name,
        first,
        second,
        role=name,
        rating_amps=amps,
        ohms=0.075 / amps,
        is_blown=0.0,
        blow_factor=1.0,
        # a blade fuse, as in knowledge/part-kinds.yaml
        at_110_percent_seconds=3.6e5,
        at_135_percent_seconds=21.0,
        at_200_percent_seconds=0.87,
        at_350_percent_seconds=0.14,
        at_600_percent_seconds=0.045,
        is_self_resetting=0.0,
    )


PARTS: tuple[Part, ...] = (
    make_part(
        "battery",
        "battery",
        "battery.plus",
        GROUND,
        role="battery",
        state_of_charge=Distribution(shape=Shape.UNIFORM, first=0.9, second=1.0),
        empty_volts=11.8,
        full_volts=REST_VOLTS,
        internal_ohms=0.009,
        acceptance_ohms=0.18,
        surface_volts=0.0,
        surface_ohms=0.1,
    ),
    _fuse("main-fuse", "battery.plus", "main-fuse.out", 60.0),
    _fuse("lamp-fuse", "main-fuse.out", "lamp-fuse.out", 15.0),
    make_part(
        "switch-contact",
        "light-switch",
        "lamp-fuse.out",
        "light-switch.out",
        closed_in=frozenset({"on"}),
        contact_ohms=0.01,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        fails_in_crank=0.0,
        fails_in_run=0.0,
    ),
    _wire("feed", "light-switch.out", "lamp.plus"),
    make_part(
        "lamp",
        "lamp",
        "lamp.plus",
        "lamp.minus",
        role="headlamps",
        lamp_watts=lognormal(110.0, 0.05),
        lamp_volts=13.5,
        cold_factor=13.0,
        is_open=0.0,
    ),
    _wire("ground", "lamp.minus", "body.metal", role="ground"),
    make_part("joint", "body-stud", "body.metal", GROUND, joint_ohms=0.0005),
)
_ON: Mapping[str, str] = MappingProxyType({"light-switch": "on"})
CAR = Car(
    name="lamp-car",
    title="an invented car of one lamp",
    system_volts=12.0,
    reference=GROUND,
    body="body.metal",
    parts=PARTS,
    states=(
        OperatingState(name="key-off", label="all off", switch_positions={}),
        OperatingState(
            name="lit",
            label="lamp on",
            switch_positions=_ON,
            commands=frozenset({"lamp"}),
        ),
        OperatingState(
            name="isolated",
            label="battery off",
            switch_positions=_ON,
            is_battery_connected=False,
        ),
    ),
    places={"bay": Place(name="bay", minutes=1.0)},
    switches={"light-switch": ("off", "on")},
    test_points={node: "bay" for part in PARTS for node in part.terminals.values()},
)


def make_mode(
    kind: str,
    name: str,
    rate: float,
    changes: Mapping[str, tuple[Operation, Distribution]],
    *,
    factors: Mapping[str, Mapping[str, float]] | None = None,
    except_roles: frozenset[str] = frozenset(),
    minutes: float = 10.0,
) -> FaultMode:
    """Return a fault mode that changes parameters of its own part."""
    return FaultMode(
        kind=kind,
        name=name,
        says=f"{{part}}: {name}",
        rate=rate,
        changes=tuple(
            Change(parameter=parameter, operation=operation, amount=amount)
            for parameter, (operation, amount) in changes.items()
        ),
        repair=Repair(action="mend {part}", minutes=minutes, cure_probability=0.9),
        factors=factors or {},
        except_roles=except_roles,
        mechanical={},
        source="made up",
        basis="memory",
    )


_FRESH = {"wiring": {"fresh": 2.0}}
_WET = {"water": {"wet": 4.0}}
_RESISTANCE = (Operation.PLUS, loguniform(0.3, 30.0))
OPEN = make_mode(
    "wire",
    "open_circuit",
    0.02,
    {"joint_a_ohms": (Operation.SET, fixed(OPEN_OHMS))},
    factors=_FRESH,
)
RESISTANCE_A = make_mode(
    "wire",
    "high_resistance_a",
    0.03,
    {"joint_a_ohms": _RESISTANCE},
    factors={**_FRESH, **_WET},
)
RESISTANCE_B = make_mode(
    "wire", "high_resistance_b", 0.03, {"joint_b_ohms": _RESISTANCE}, factors=_WET
)
SHORT = make_mode(
    "wire",
    "short_to_ground",
    0.01,
    {"leak_ohms": (Operation.SET, loguniform(0.02, 0.2))},
    factors=_FRESH,
    except_roles=frozenset({"ground"}),
)
BLOWN = make_mode(
    "fuse",
    "blown",
    0.01,
    {"is_blown": (Operation.SET, fixed(1.0))},
    factors={"water": {"wet": 3.0}},
)
DISCHARGED = make_mode(
    "battery",
    "discharged",
    0.02,
    {
        "state_of_charge": (
            Operation.SET,
            Distribution(shape=Shape.UNIFORM, first=0.1, second=0.4),
        )
    },
)
STUCK_OPEN = make_mode(
    "switch-contact",
    "stuck_open",
    0.005,
    {"is_stuck_open": (Operation.SET, fixed(1.0))},
)
BURNT_OUT = make_mode(
    "lamp", "burnt_out", 0.03, {"is_open": (Operation.SET, fixed(1.0))}
)
MODES: tuple[FaultMode, ...] = (
    DISCHARGED,
    BLOWN,
    STUCK_OPEN,
    OPEN,
    RESISTANCE_A,
    RESISTANCE_B,
    SHORT,
    BURNT_OUT,
)
SHAKEN = Trigger(
    name="vibration",
    says="when it is shaken",
    present={"lit": 0.6},
    otherwise=0.3,
    in_complaint=0.97,
    stays=0.0,
    test=TriggerTest(
        verb="wiggle",
        asks="Does it come or go while you wiggle {target}?",
        state="lit",
        minutes=3.0,
        caution="",
        reacts=0.85,
        by_other=0.15,
        imagined=0.02,
    ),
    source="made up",
    basis="memory",
)
COMES_AND_GOES: FaultMode = replace(
    OPEN, name="comes_and_goes", acts_as="open_circuit", triggers={"vibration": 1.0}
)
CONTEXTS: tuple[Context, ...] = (
    Context(
        name="wiring",
        question="Is the wiring fresh?",
        states={"fresh": 0.5, "in_service": 0.5},
    ),
    Context(name="water", question="Has it been wet?", states={"dry": 0.7, "wet": 0.3}),
)
METER = Meter(
    volts=MeterRange(percent=0.5, counts=2, resolution=0.01),
    ohms=MeterRange(percent=1.0, counts=3, resolution=0.1),
    amps=MeterRange(percent=3.0, counts=5, resolution=0.1),
    ac_volts=MeterRange(percent=1.0, counts=5, resolution=0.001),
    millivolts=MeterRange(percent=0.5, counts=3, resolution=0.0001),
    test_lamp=ProbeLamp(
        watts=3.0,
        volts=12.0,
        lit_light=0.5,
        dark_light=0.01,
        lit_blur=0.25,
        dark_blur=0.6,
    ),
    input_ohms=1e7,
    lead_ohms=0.2,
    slip_probability=0.02,
    model_volts=0.03,
    model_fraction=0.01,
)


def make_symptom(name: str, *members: Claim | Group | str, join: Join) -> Symptom:
    return Symptom(
        name=name,
        question=f"{name}?",
        state="lit",
        when=Group(join=join, members=members),
        minutes=0.5,
        missed_probability=0.02,
        imagined_probability=0.01,
    )


def lamp_claim(*, at_least: bool, limit: float) -> Claim:
    return Claim(
        role="headlamps",
        quantity=Quantity.LIGHT,
        state="lit",
        at_least=at_least,
        limit=limit,
        blur=0.03,
    )


SYMPTOMS: Mapping[str, Symptom] = MappingProxyType(
    {
        "lamp-shines": make_symptom(
            "lamp-shines",
            lamp_claim(at_least=True, limit=0.05),
            Claim(
                role="headlamps",
                quantity=Quantity.AMPS,
                state="lit",
                at_least=True,
                limit=0.5,
                blur=0.1,
            ),
            join=Join.ALL,
        ),
        "lamp-is-dim": make_symptom(
            "lamp-is-dim",
            "lamp-shines",
            lamp_claim(at_least=False, limit=0.5),
            join=Join.ALL,
        ),
    }
)


def make_knowledge(modes: Sequence[FaultMode] = MODES) -> Knowledge:
    """Return knowledge of the lamp car's modes, symptoms and meter."""
    return Knowledge(
        defaults={},
        modes=tuple(modes),
        symptoms=SYMPTOMS,
        complaints={
            "lamp-dead": Complaint(
                name="lamp-dead",
                says="The lamp stays dark",
                answers={"lamp-shines": False},
                retest="lamp-shines",
                cured_answer=True,
            )
        },
        contexts=CONTEXTS,
        states={state.name: state for state in CAR.states},
        cautions={},
        meter=METER,
        safety_note="",
        digest="lamp-car",
        procedures=published_knowledge().procedures,
    )


def compiled_car(
    n_draws: int = 8,
    modes: Sequence[FaultMode] = MODES,
    *,
    triggers: Mapping[str, Trigger] = MappingProxyType({}),
) -> tuple[CauseNetwork, Compiled]:
    """Return the cause network of the lamp car and its compiled form."""
    knowledge = replace(make_knowledge(modes), triggers=triggers)
    causes = catalogue(CAR, modes)
    network = CauseNetwork(CONTEXTS, causes)
    model = CarModel(CAR, Sample(n_draws=n_draws))
    predictor = Predictor(model, causes, all_probes(CAR, knowledge))
    return network, Compiled(predictor, knowledge, priors_of(network))


def cause_number(compiled: Compiled, name: str) -> int:
    """Return the number of a cause by its name."""
    return next(i for i, cause in enumerate(compiled.causes) if cause.name == name)
