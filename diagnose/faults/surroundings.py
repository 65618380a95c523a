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
        fed = {
            node
            for part in car.parts
            if part.kind == "battery"
            for node in part.terminals.values()
        }
        self._live = _led_to(car, fed - {car.reference})
        self._grounded = _led_to(car, {car.reference})
        self._parts = {part.name: part for part in car.parts}

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
            live with everything off; ``own-trigger``, contacts whose coil is fed from
            elsewhere than they are, ``switched-trigger``, from what is dead with
            everything off, and ``grounded-coil``, one that nothing switches to ground.
        """
        found = set()
        if part.stud_beside is not None:
            end = part.terminals[part.stud_beside[0]]
            found.add("half-beside" if end in self._fused else "stud-beside")
        if part.kind == "wire" and self._fused & self._live & set(
            part.terminals.values()
        ):
            found.add("live-feed")
        if part.kind == "contacts" and part.gate is not None:
            coil = self._parts[part.gate].terminals
            trigger = coil["a"]
            if trigger != part.terminals["a"]:
                found.add("own-trigger")
            if trigger not in self._live:
                found.add("switched-trigger")
            if coil["b"] in self._grounded:
                found.add("grounded-coil")
        return frozenset(found)


def _led_to(car: Car, start: set[str]) -> frozenset[str]:
    """Return the nodes that some lead to with every switch at rest, they among them."""
    links = [
        frozenset(part.terminals.values())
        for part in car.parts
        if part.kind in LEADING_KINDS
    ]
    reached = set(start)
    while True:
        more = {node for link in links if link & reached for node in link} - reached
        if not more:
            return frozenset(reached)
        reached |= more
