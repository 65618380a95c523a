"""How a reading is taken and a test is made, in words for a person at the car.

Leaves what they show, and cautions, to `wording` and `cautions`.
"""

from __future__ import annotations

from diagnose.circuit.car import Car, Part
from diagnose.circuit.operating_states import OperatingState
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.procedures import Procedures, procedure_name
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.measurement.substitutions import SubstitutionKind

# Where ohms are read against ground: on a battery's own post they would ruin the meter.
CLAMP_NOT_POST = "the clamp taken off, never the battery's own post"


def instruction(
    reading: Reading,
    car: Car,
    procedures: Procedures,
    *,
    in_series: bool = False,
    is_drop: bool = True,
) -> str:
    """Return how to take a reading, in sentences.

    Parameters
    ----------
    reading : Reading
    car : Car
    procedures : Procedures
        Those of knowledge/.
    in_series : bool
        A meter in series is offered beside the clamp: it bears what may flow.
    is_drop : bool
        Between two points no more than a drop is expected, so that what must draw
        meanwhile is said.
    """
    procedure = procedures[procedure_name(reading, car)]
    if reading.kind is ReadingKind.LOOK:
        return procedure.taken(part=reading.red)
    red, black = (lead_words(node, car) for node in (reading.red, reading.black))
    if reading.kind is ReadingKind.OHMS and reading.black == car.reference:
        black += f" ({CLAMP_NOT_POST})"
    part = reading.red
    if reading.kind is ReadingKind.AMPS:
        part = clamp_words(reading.red, car)
    said = [procedure.taken(red=red, black=black, part=part)]
    if in_series:
        said.append(series_words(reading, car, procedures))
    if procedure.is_minded and is_drop:
        said.append(procedure.car)
    if reading.kind is ReadingKind.DC_VOLTS:
        said += [sign_words(reading, car), surface_words(reading, car)]
    return " ".join([*filter(None, said), state_words(car.state(reading.state))])


def state_words(state: OperatingState) -> str:
    """Return what state the car is to be in for a step, and how to take it there."""
    return f"Car: {state.label}.{' ' if state.how else ''}{state.how}"


def lead_words(node: str, car: Car) -> str:
    """Return where a lead goes, with the colours of the wires there if known."""
    if node == car.reference:
        return node
    colours = dict.fromkeys(
        part.colour
        for part in car.parts
        if part.colour and node in part.terminals.values()
    )
    return f"{node} ({', '.join(colours)})" if colours else node


def part_words(part: Part, car: Car) -> str:
    """Return where a part is; of a wire, between what it runs."""
    places = {node: car.test_points.get(node, "") for node in part.terminals.values()}
    if part.kind == "wire":
        ends = (f"{node} ({at})" if at else node for node, at in places.items())
        colour = f"{part.colour}, " if part.colour else ""
        return f"{colour}between {' and '.join(ends)}"
    return part.place or ", ".join(dict.fromkeys(filter(None, places.values())))


def clamp_words(name: str, car: Car) -> str:
    """Return what a clamp goes round: the wire of a fuse, or all of a battery's."""
    if car.part(name).kind == "battery":
        return f"all the cables on one post of {name} together"
    return f"one of the two wires of {name}"


def test_instruction(
    test: SubstitutionTest,
    procedures: Procedures,
    *,
    asks: str,
    is_cable: bool,
    like: str,
    is_wire: bool,
) -> str:
    """Return how to make a test with the circuit changed.

    Parameters
    ----------
    test : SubstitutionTest
    procedures : Procedures
        Those of knowledge/.
    asks : str
        What is to be seen, and in which state.
    is_cable : bool
        A lead has to be a jump lead.
    like : str
        A part of the car that is like the one to be exchanged; empty where none is.
    is_wire : bool
        What is taken off is a wire.

    Returns
    -------
    str
    """
    done = test.substitution
    if done.kind is SubstitutionKind.BRIDGE:
        procedure = procedures["jump-lead" if is_cable else "fused-lead"]
        says = procedure.taken(red=done.at, black=done.to)
    elif done.kind is SubstitutionKind.SWAP:
        where = f", such as {like} of this car" if like else ""
        says = procedures["swap-part"].taken(part=f"{done.at}{where}")
    else:
        name = "take-wire-off" if is_wire else "unplug-part"
        says = procedures[name].taken(part=done.at)
    return f"{says} {asks}"


def series_words(reading: Reading, car: Car, procedures: Procedures) -> str:
    """Return how small amps are read without a clamp."""
    at = f"in place of {reading.red}"
    if car.part(reading.red).kind == "battery":
        at = "between the battery's grounded post and its clamp"
    return procedures["drain-in-series"].taken(part=at)


def sign_words(reading: Reading, car: Car) -> str:
    """Return that a positive-ground car reads below zero, where it does."""
    if reading.black != car.reference or not car.is_positive_ground:
        return ""
    return "Positive ground: type the minus sign that the meter shows."


def surface_words(reading: Reading, car: Car) -> str:
    """Return how to get rid of the surface charge of a battery at rest.

    Rule of the trade: lamps for two minutes take it off.
    """
    if not is_at_rest(car.state(reading.state)):
        return ""
    batteries = [one for one in (car.battery, *car.parts) if one is not None]
    if not any(
        {reading.red, reading.black} == set(one.terminals.values())
        for one in batteries
        if one.kind in {"battery", "battery-bank"}
    ):
        return ""
    return "After a drive or a charge, headlamps on for two minutes first, then off."
