"""Parts of a car that are like each other, so that one can stand in for the other."""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.points.forbidden_points import wired_to
from diagnose.measurement.quantities import main_nodes

# Kinds of part that a like one on the same car stands in for. Rule of the trade: relays
# and fuses are of a few kinds, and each load is built for its place.
LIKE_KINDS = frozenset({"coil", "contacts", "diode", "resistor", *PROTECTIVE_KINDS})


def like_part(assembly: str, car: Car) -> str:
    """Return a part of the car that can stand in for one bought as a whole.

    Parameters
    ----------
    assembly : str
        As in `Part.assembly`.
    car : Car
        The car.

    Returns
    -------
    str
        The first that is made of the same kinds of part, of a fuse also of the same
        rating, of a relay only one that feeds a load of its own and not a panel; empty
        where there is none.
    """
    wanted = _made_of(assembly, car)
    if not wanted or any(kind not in LIKE_KINDS for kind, _, _ in wanted):
        return ""
    names = dict.fromkeys(part.assembly for part in car.parts)
    loads = {
        node
        for part in car.parts
        if part.kind in LOAD_KINDS
        for node in part.terminals.values()
    }
    others = [
        name for name in names if name != assembly and _is_free(name, car, loads=loads)
    ]
    return next((n for n in others if _made_of(n, car) == wanted), "")


def _is_free(assembly: str, car: Car, *, loads: set[str]) -> bool:
    """Return whether a part can be pulled with no more out than a load of its own."""
    contacts = [
        part
        for part in car.parts
        if part.assembly == assembly and part.kind == "contacts"
    ]
    return all(wired_to({main_nodes(part)[1]}, car) & loads for part in contacts)


def _made_of(assembly: str, car: Car) -> list[tuple[str, bool, float]]:
    """Return what one part has to share with another to stand in for it."""
    return sorted(
        (
            part.kind,
            part.is_normally_closed,
            part.values["rating_amps"].distribution.nominal
            if part.kind in PROTECTIVE_KINDS
            else 0.0,
        )
        for part in car.parts
        if part.assembly == assembly
    )
