"""A car's graph cut into lanes: one current path each, every part in one of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.paperwork.drawing.graph import Edge, Graph

# Parts in one lane at most; a longer chain goes on in the next lane. Own choice: what
# stands one above the other on a sheet of 210 mm.
MOST_IN_A_LANE = 7


@dataclass(frozen=True, slots=True)
class Lane:
    """One current path from top to bottom.

    Parameters
    ----------
    edges : tuple[Edge, ...]
        From the supply down; each begins where the one before it ends.
    """

    edges: tuple[Edge, ...]

    @property
    def top(self) -> str:
        """The node it hangs on."""
        return self.edges[0].top

    @property
    def bottom(self) -> str:
        """The node it ends at."""
        return self.edges[-1].bottom

    @property
    def nodes(self) -> tuple[str, ...]:
        """Every node, from the top down."""
        return (self.top, *(edge.bottom for edge in self.edges))

    def has(self, kind: str) -> bool:
        """Return whether a part of a kind is in it."""
        return any(edge.part.kind == kind for edge in self.edges)


def lanes_of(graph: Graph) -> tuple[Lane, ...]:
    """Return the lanes of a car in the order they are drawn.

    Sources and what distributes their current come first, then the circuits as the car
    file has them; the lane of a relay's coil stands left of the lane of its contacts.
    """
    used: set[str] = set()
    lanes: list[Lane] = []
    for edge in sorted(graph.edges, key=_seed_order):
        if edge.part.name not in used:
            lanes.extend(_cut(_lane(graph, edge, used)))
    return tuple(_in_order(graph, lanes))


def _seed_order(edge: Edge) -> int:
    """Return which parts get the wires around them first."""
    kind = edge.part.kind
    for place, kinds in enumerate(
        (
            {"battery"},
            {"alternator", "starter"},
            {"controller"},
            LOAD_KINDS - {"electronics"},
            {"electronics"},
            {"coil"},
        )
    ):
        if kind in kinds:
            return place
    return 9


def _lane(graph: Graph, seed: Edge, used: set[str]) -> Lane:
    """Return the lane around a part, and note what is in it."""
    used.add(seed.part.name)
    edges = [seed]
    while (edge := _above(graph, edges[0], seed, used)) is not None:
        used.add(edge.part.name)
        edges.insert(0, edge)
    while (edge := _below(graph, edges[-1], seed, used)) is not None:
        used.add(edge.part.name)
        edges.append(edge)
    return Lane(tuple(edges))


def _above(graph: Graph, first: Edge, seed: Edge, used: set[str]) -> Edge | None:
    """Return the part that a lane goes on with upwards.

    What feeds several lanes is a lane by itself, unless it is the fuse right on the
    point, or the point is a terminal of what the lane is for.
    """
    node = first.top
    above, below = graph.up.get(node, ()), graph.down.get(node, ())
    if node in graph.grounds or len(above) != 1 or above[0].part.name in used:
        return None
    part = above[0].part
    owner = node.partition(".")[0]
    is_fuse = part.kind in PROTECTIVE_KINDS and owner == part.assembly
    if len(below) > 1 and not is_fuse and owner != seed.part.assembly:
        return None
    return None if part.kind in {"battery", "alternator"} else above[0]


def _below(graph: Graph, last: Edge, seed: Edge, used: set[str]) -> Edge | None:
    """Return the part that a lane goes on with downwards."""
    node = last.bottom
    if node in graph.grounds:
        return None
    above, below = graph.up.get(node, ()), graph.down.get(node, ())
    free = [edge for edge in below if edge.part.name not in used]
    is_own = len(above) == 1 or (seed.part.kind == "controller" and last is seed)
    is_single = len(below) == 1 or seed.part.kind == "battery"
    return free[0] if free and is_own and is_single else None


def _cut(lane: Lane) -> Iterator[Lane]:
    """Yield a lane in pieces that fit on a sheet."""
    edges = lane.edges
    n_pieces = -(-len(edges) // MOST_IN_A_LANE)
    size = -(-len(edges) // n_pieces)
    for start in range(0, len(edges), size):
        yield Lane(edges[start : start + size])


def _in_order(graph: Graph, lanes: list[Lane]) -> Iterator[Lane]:
    """Yield the lanes as they stand side by side."""
    order = {part.name: number for number, part in enumerate(graph.car.parts)}
    loads = LOAD_KINDS | {"controller"}

    def key(lane: Lane) -> tuple[int, int]:
        kinds = {edge.part.kind for edge in lane.edges}
        if kinds & {"battery", "alternator", "starter"}:
            group = 0
        elif not kinds & (loads | {"coil", "contacts", "driver"}):
            group = 1
        else:
            group = 2
        return group, min(order[edge.part.name] for edge in lane.edges)

    coil_lanes = {
        edge.part.name: lane
        for lane in lanes
        for edge in lane.edges
        if edge.part.kind == "coil"
    }
    waiting = sorted(lanes, key=key)
    drawn: set[int] = set()
    held = {
        id(coil_lanes[edge.part.gate])
        for lane in lanes
        for edge in lane.edges
        if edge.part.kind == "contacts" and edge.part.gate in coil_lanes
    }
    for lane in waiting:
        if id(lane) in drawn or id(lane) in held:
            continue
        for one in _with_coils(lane, coil_lanes):
            if id(one) not in drawn:
                drawn.add(id(one))
                yield one
    for lane in waiting:
        if id(lane) not in drawn:
            yield lane


def _with_coils(lane: Lane, coil_lanes: dict[str, Lane]) -> Iterator[Lane]:
    """Yield the lane of the coil that works the contacts in a lane, then the lane.

    Left of the coil stands, in turn, the coil that works the contacts in its lane.
    """
    gates = [e.part.gate for e in lane.edges if e.part.kind == "contacts"]
    # no relay's coil is fed by its own contacts without another lane on the way
    others = {gate: one for gate, one in coil_lanes.items() if one is not lane}
    for gate in gates:
        if gate is not None and gate in others:
            left = {name: one for name, one in others.items() if name != gate}
            yield from _with_coils(others[gate], left)
    yield lane
