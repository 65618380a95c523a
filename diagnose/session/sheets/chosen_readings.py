"""Which readings of a sheet were asked for, and what the car does not have."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from diagnose.circuit.car import Car
from diagnose.errors import ReadingError
from diagnose.faults.causes import Cause
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.sheets.sheet import Choice

# Kinds of readings that get a row of their own beside those of the same leads.
OWN_ROW_KINDS = frozenset({ReadingKind.AC_VOLTS, ReadingKind.LAMP})


# How many known names are listed where none is near. Own choice: what fits a message.
MOST_KNOWN = 12


def chosen_readings(car: Car, choice: Choice) -> list[Reading]:
    """Return the readings wanted, by place in the order of the car file."""
    nodes = nodes_of(car, choice.parts)
    # unplugged every wire reads OL: shown when asked for
    usual = [state.name for state in car.states if not state.is_unplugged]
    states = choice.states or usual
    readings = [
        reading
        for reading in proposable_readings(car)
        if reading.kind not in (ReadingKind.AMPS, ReadingKind.FUSE)
        and reading.state in states
        and (not choice.places or place_of(reading, car) in choice.places)
        and (not choice.parts or nodes & {reading.red, reading.black})
        and (
            choice.has_drops
            or reading.black in {"", car.reference}
            or reading.kind is ReadingKind.LAMP
        )
        and (choice.has_lamp or reading.kind is not ReadingKind.LAMP)
        and (choice.fault or reading.kind is not ReadingKind.LOOK)
    ]
    places = list(car.places)
    return sorted(
        readings,
        key=lambda reading: (
            reading.kind is ReadingKind.LOOK,
            places.index(place_of(reading, car)),
            reading.black != car.reference,
        ),
    )


def nodes_of(car: Car, names: Iterable[str]) -> set[str]:
    """Return the terminals of parts and assemblies, and the names of their fuses."""
    wanted = set(names)
    parts = [part for part in car.parts if wanted & {part.name, part.assembly}]
    nodes = {node for part in parts for node in part.terminals.values()}
    return (nodes - {car.reference}) | {part.name for part in parts}


def place_of(reading: Reading, car: Car) -> str:
    """Return where on the car a reading is taken."""
    if not reading.black:
        return car.part(reading.red).place
    return car.test_points[reading.red]


def check_choice(choice: Choice, car: Car, causes: Sequence[Cause]) -> None:
    """Refuse a choice of something the car does not have."""
    parts = {name for part in car.parts for name in (part.name, part.assembly)}
    for name in choice.states:
        check_name(name, [state.name for state in car.states], "operating state")
    for name in choice.parts:
        check_name(name, parts, "part")
    for name in choice.places:
        check_name(name, car.places, "place")
    if choice.fault:
        check_cause_name(choice.fault, causes)


def check_cause_name(name: str, causes: Sequence[Cause]) -> None:
    """Refuse a cause the car can't have, with those it can.

    Parameters
    ----------
    name : str
    causes : Sequence[Cause]
        Those of the car.

    Raises
    ------
    ReadingError
        With every cause of the part when a part was named, else the nearest cause.
    """
    part = name.partition(":")[0]
    of_part = [c.name for c in causes if part in (c.part.name, c.part.assembly)]
    if of_part and name not in {cause.name for cause in causes}:
        raise ReadingError(
            f'this car has no cause "{name}"; those of {part} are: {", ".join(of_part)}'
        )
    check_name(name, [cause.name for cause in causes], "cause")


def check_name(name: str, known: Iterable[str], what: str) -> None:
    """Refuse a name that the car does not have, with those nearest to it."""
    names = list(known)
    if name in names:
        return
    near = get_close_matches(name, names, n=1)
    hint = (
        f'; nearest: "{near[0]}"'
        if near
        else f"; known: {', '.join(names[:MOST_KNOWN])}"
    )
    raise ReadingError(f'this car has no {what} "{name}"{hint}')
