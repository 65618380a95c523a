"""What a part has beside it, that some fault modes need: a stud, another half, a feed.

Leaves which modes need it to knowledge/, and which stud is beside which to the
expansion of the car file.
"""

from __future__ import annotations

from diagnose.circuit.car import Car, Part
from diagnose.circuit.protection import PROTECTIVE_KINDS

# Kinds of part that lead on whatever the switches do. By definition.
LEADING_KINDS = frozenset({"wire", "joint", "clamp", "pin", *PROTECTIVE_KINDS})


class Surroundings:
    """Knows what the parts of one car have beside them.

    Parameters
    ----------
    car : Car
    """

    def __init__(self, car: Car) -> None:
        self._fused = {
            part.terminals["b"] for part in car.parts if part.kind in PROTECTIVE_KINDS
        }
        self._live = _live_nodes(car)

    def of(self, part: Part) -> frozenset[str]:
        """Return what a part has beside it.

        Parameters
        ----------
        part : Part
            Any part of the car.

        Returns
        -------
        frozenset[str]
            Any of ``stud-beside``, an end on a stud or bus with another one
            beside it, of a pin another pin; ``half-beside``, a wire behind a fuse of a
            panel that has another half; ``live-feed``, a wire behind a fuse that is
            live with everything off.
        """
        found = set()
        if part.stud_beside is not None:
            end = part.terminals[part.stud_beside[0]]
            found.add("half-beside" if end in self._fused else "stud-beside")
        if part.kind == "wire" and self._fused & self._live & set(
            part.terminals.values()
        ):
            found.add("live-feed")
        return frozenset(found)


def _live_nodes(car: Car) -> frozenset[str]:
    """Return the nodes that the battery feeds with every switch at rest."""
    links = [
        frozenset(part.terminals.values())
        for part in car.parts
        if part.kind in LEADING_KINDS
    ]
    live = {
        node
        for part in car.parts
        if part.kind == "battery"
        for node in part.terminals.values()
        if node != car.reference
    }
    while True:
        more = {node for link in links if link & live for node in link} - live
        if not more:
            return frozenset(live)
        live |= more
