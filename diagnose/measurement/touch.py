"""What a hand feels after the car has run: which joint, cable or fuse got hot.

What gets hot, what current flows through it and how many watts make it hot; the watts
themselves lie in a prediction (`inference.compiled.heat`). Told as `touch PART hot`.

Decisions that bind it:

- It is felt with the key off, right after the car has run or cranked: nobody has his
  hands near belts or a live stud.
- Brown, melted or burnt counts as hot: it was hot in some state.
- A part in line with a fuse and with nothing between them carries that fuse's current;
  heavy cables have a probe of their own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.quantities import Probe, main_nodes
from diagnose.measurement.symptoms import Group, Join, Symptom

# What is told of a part that was touched begins with this.
TOUCH = "touch"

# Roles of the cables that carry the starter's current. By definition.
HEAVY_ROLES = frozenset({"battery-cable", "ground-strap"})

# Kinds of part that a fuse's current goes on through. By definition.
SERIES_KINDS = frozenset({"wire", "contacts", "switch-contact", "joint", "pin"})

# How far a chain behind a fuse is followed. [1] Own choice: past relay and switch.
LONGEST_CHAIN = 12

# Watts that make a terminal or a fuse too hot to keep a hand on, lasting. [W] Derived:
# a hand stays on up to some 60 °C, 40 K over the air. A terminal of 8 cm² gives off 10
# W/m²K, and its copper wire of 2 mm² (k = 390 W/mK), a fin both ways, .016 W/K: 1 W in
# all. Fuses and relays sit in sockets with two such wires and warm themselves as well,
# some two or three times that; between them.
LASTING_WATTS = 2.0

# The same of a cable as thick as a finger. [W] Derived as above for 33 mm²: .12 W/K
# along the cable, .05 off lug and stud, 40 K.
HEAVY_LASTING_WATTS = 7.0

# Watts that make its lug as hot in ten seconds of cranking. [W] Derived: 80 g of copper
# hold 31 J/K, 40 K in 10 s.
CRANKING_WATTS = 120.0

# What wire loses along its length is no hot joint: so many times what its median would
# lose is left out. [1] Derived: the spread of lengths by eye and a warm wire, .3 in the
# logarithm, and half that again.
ALONG_WIRE = 1.5

# Minutes to let it run or crank, turn it off and feel. [min] From memory.
FEEL_MINUTES = 2.0

# Chance that what is hot is not noticed, and that warm is told as hot. [1] From memory:
# it cools while one looks for it, and a warm engine warms all round it.
MISSED = 0.15
IMAGINED = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """One part that can be felt.

    Parameters
    ----------
    symptom : Symptom
        What is asked; yes: it got hot, or is brown, melted or burnt.
    ends : tuple[str, str]
        The nodes that its current drops volts between.
    amps_of : str
        The part whose current that is.
    wire_ohms : float
        Of its length of wire, 0 where it has none. [Ω]
    limit_watts : Mapping[str, float]
        Operating state to the watts that make it hot. [W]
    place : str
        Where it is.
    """

    symptom: Symptom
    ends: tuple[str, str]
    amps_of: str
    wire_ohms: float
    limit_watts: Mapping[str, float]
    place: str


def touches(car: Car, *, caution: str = "") -> Mapping[str, Touch]:
    """Return what can be felt on a car, by name.

    Parameters
    ----------
    car : Car
    caution : str
        Key of what stands before each of them.

    Returns
    -------
    Mapping[str, Touch]
        Cables, fuses, and what is in line with a fuse.
    """
    found: dict[str, Touch] = {}
    for part, amps_of in _carrying(car):
        name = f"{TOUCH}-{part.assembly}"
        limits = dict(_limits(part, car))
        if limits and name not in found:
            found[name] = Touch(
                symptom=_symptom(name, part, car, caution),
                ends=main_nodes(part),
                amps_of=amps_of,
                wire_ohms=_wire_ohms(part),
                limit_watts=MappingProxyType(limits),
                place=part.place,
            )
    return MappingProxyType(found)


def touch_probes(car: Car) -> tuple[Probe, ...]:
    """Return the currents that touches need.

    Parameters
    ----------
    car : Car

    Returns
    -------
    tuple[Probe, ...]
    """
    return tuple(
        Probe(branch=touch.amps_of, state=state, is_current=True)
        for touch in touches(car).values()
        for state in touch.limit_watts
    )


def _carrying(car: Car) -> Iterator[tuple[Part, str]]:
    """Yield the parts that can be felt, each with the part whose current it carries."""
    for part in car.parts:
        if part.role in HEAVY_ROLES:
            yield part, part.name
    at: dict[str, list[Part]] = {}
    for part in car.parts:
        for node in part.terminals.values():
            at.setdefault(node, []).append(part)
    for fuse in car.parts:
        if fuse.kind not in PROTECTIVE_KINDS:
            continue
        yield fuse, fuse.name
        for node in main_nodes(fuse):
            for part in _in_line(fuse, node, at):
                yield part, fuse.name


def _in_line(fuse: Part, node: str, at: Mapping[str, list[Part]]) -> Iterator[Part]:
    """Yield what is in line with a fuse from one of its ends, past one load."""
    here, is_past_load = fuse, False
    for _ in range(LONGEST_CHAIN):
        others = [part for part in at[node] if part is not here]
        if len(others) != 1:
            return
        here = others[0]
        is_load = here.kind in LOAD_KINDS and not is_past_load
        if not is_load and here.kind not in SERIES_KINDS:
            return
        ends = main_nodes(here)
        if node not in ends or len(here.terminals) != len(ends):
            return
        if is_load:
            is_past_load = True
        else:
            yield here
        node = ends[1] if node == ends[0] else ends[0]


def _wire_ohms(part: Part) -> float:
    if part.kind != "wire":
        return 0.0
    return float(part.values["wire_ohms"].distribution.nominal)


def _limits(part: Part, car: Car) -> Iterator[tuple[str, float]]:
    """Yield the states in which a part may get hot, and the watts that make it."""
    is_heavy = part.role in HEAVY_ROLES
    for state in car.states:
        if not _lasts(state):
            continue
        if state.is_cranking:
            if is_heavy:
                yield state.name, CRANKING_WATTS
            continue
        yield state.name, HEAVY_LASTING_WATTS if is_heavy else LASTING_WATTS


def _lasts(state: OperatingState) -> bool:
    """Return whether something can get hot in a state at all."""
    return state.is_battery_connected and not state.is_unplugged


def _symptom(name: str, part: Part, car: Car, caution: str) -> Symptom:
    target, there = part.assembly, car.places.get(part.place)
    return Symptom(
        name=name,
        question=(
            f"Let what {target} feeds run, or crank, for ten seconds; then key off. "
            f"Is {target}, or one end of it, too hot to keep a hand on, or does it "
            "smell, or look brown, melted or burnt?"
        ),
        state=car.states[0].name,
        when=Group(join=Join.ALL, members=()),
        minutes=FEEL_MINUTES + (there.minutes if there else 0.0),
        missed_probability=MISSED,
        imagined_probability=IMAGINED,
        caution=caution,
    )
