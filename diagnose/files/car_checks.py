"""What makes a car sound: one small function for each claim.

`check_names` looks at what the entries of a file say about each other, `check_car` at
the finished circuit. Leaves the grammar of single entries to `car_schema`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from diagnose.circuit.car import Car
from diagnose.files.car_schema import CarEntry
from diagnose.files.draft import Draft, nearest
from diagnose.files.state_expansion import report_caution
from diagnose.files.yaml_positions import Location, Plain


def check_names(car: CarEntry, draft: Draft) -> None:
    """Check places and cautions.

    Parameters
    ----------
    car : CarEntry
        The entries of the file.
    draft : Draft
        Takes the problems.
    """
    for check in (_check_places, _check_place_cautions):
        check(car, draft)


def check_car(car: Car, draft: Draft) -> None:
    """Check the finished circuit.

    Parameters
    ----------
    car : Car
        The car.
    draft : Draft
        Takes the problems.
    """
    for check in (_check_no_dangling_wire,):
        check(car, draft)


def _check_places(car: CarEntry, draft: Draft) -> None:
    """Report places that the section `places` hasn't."""
    for place, location in _named_places(draft.document.data, ()):
        is_hidden = place == "hidden" and location[0] == "test-points"
        if place not in car.places and not is_hidden and not draft.is_broken(place):
            draft.report(
                location,
                f'there is no place "{place}"{nearest(place, car.places)}; '
                f"known: {', '.join(car.places)}",
            )


def _named_places(data: Plain, location: Location) -> Iterator[tuple[str, Location]]:
    """Return every place the file names, with its location."""
    if not isinstance(data, dict):
        return
    for key, value in data.items():
        inside = (*location, key)
        is_table = location in {("splices",), ("test-points",), ("metal",)}
        if isinstance(value, str) and (key == "place" or is_table):
            yield value, inside
        else:
            yield from _named_places(value, inside)


def _check_place_cautions(car: CarEntry, draft: Draft) -> None:
    """Report cautions of places that knowledge/ hasn't."""
    for name, place in car.places.items():
        if place.caution and place.caution not in draft.knowledge.cautions:
            report_caution(place.caution, ("places", name, "caution"), draft)


def _check_no_dangling_wire(car: Car, draft: Draft) -> None:
    """Report wires with an end on nothing else."""
    ends: Counter[str] = Counter()
    for part in car.parts:
        ends.update(set(part.terminals.values()))
    for part in car.parts:
        if part.kind != "wire":
            continue
        for node in part.terminals.values():
            if ends[node] == 1:
                draft.report(
                    draft.locations[part.name],
                    f'wire "{part.name}" ends on "{node}", where nothing else is '
                    "connected; join something there or delete the wire",
                )
