"""The path of one reading as a few lines: from the supply to ground, probes marked."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

from diagnose.circuit.car import Car
from diagnose.circuit.design.reach import hot_post
from diagnose.paperwork.drawing.graph import Edge, Graph, graph_of
from diagnose.paperwork.drawing.labels import (
    shown_name,
    size_words,
    terminal_word,
    wire_words,
)

# Kind of part to the sign that stands for it in a column; others have `[ ]`.
_SIGNS = {
    "wire": "|",
    "pin": ">>",
    "clamp": ">>",
    "fuse": "[=]",
    "slow-fuse": "[=]",
    "fusible-link": "[=]",
    "breaker": "[=]",
    "contacts": "/",
    "switch-contact": "/",
    "driver": "[/]",
    "lamp": "(x)",
    "led-lamp": "(x)",
    "motor": "(M)",
    "starter": "(M)",
    "alternator": "(G)",
    "battery": "[+-]",
}


@dataclass(frozen=True, slots=True)
class PathRow:
    """One line of a path.

    Parameters
    ----------
    sign : str
        What stands for it in a column of characters.
    text : str
        Its name and what belongs to it.
    is_probed : bool
        A probe is on it.
    """

    sign: str
    text: str
    is_probed: bool = False


def path_rows(car: Car, red: str, black: str = "") -> tuple[PathRow, ...]:
    """Return the path that a point lies on, from the supply to ground.

    Of several ways the one with fewest parts is taken, of two leads one that leads by
    both where there is any. A point that the black lead is on and that is not on the
    way stands below it.

    Parameters
    ----------
    car : Car
        The car.
    red, black : str
        Nodes of the two leads; the black one may be empty. For what is clamped or
        looked at, `red` is the part.
    """
    graph = graph_of(car)
    meant = next((edge for edge in graph.edges if edge.part.name == red), None)
    if meant is None or red in graph.up:
        top = bottom = red
        within: tuple[Edge, ...] = ()
        marks = {red: "red lead", black: "black lead"}
    else:
        top, bottom, within, marks = meant.top, meant.bottom, (meant,), {}
    between = within
    if black and not within:
        between = _between(graph, red, black) or _between(graph, black, red)
        if between:
            top, bottom = between[0].top, between[-1].bottom
    above = _way(graph, top, hot_post(car), is_up=True)
    below = _way(graph, bottom, car.reference, is_up=False)
    edges = (*reversed(above), *between, *below)
    nodes = [edges[0].top if edges else top]
    rows = [_point(graph, nodes[0], marks)]
    for edge in edges:
        nodes.append(edge.bottom)
        row = _part(edge)
        if edge in within:
            row = replace(row, text=f"{row.text}  <- here", is_probed=True)
        rows.append(row)
        is_end = edge is edges[-1]
        if is_end or edge.bottom in marks or _is_junction(graph, edge.bottom):
            rows.append(_point(graph, edge.bottom, marks))
    if black and black not in nodes:
        rows.append(_point(graph, black, marks))
    return tuple(rows)


def _between(graph: Graph, upper: str, lower: str) -> tuple[Edge, ...]:
    """Return the parts from one point down to another; none where no way leads there.

    A point on the metal of the car is where every way ends.
    """
    found = _way(graph, upper, lower, is_up=False)
    leads_there = found and found[-1].bottom == lower and lower not in graph.grounds
    return found if leads_there else ()


def _way(graph: Graph, start: str, goal: str, *, is_up: bool) -> tuple[Edge, ...]:
    """Return the parts from a point up to the supply or down to ground."""
    came: dict[str, Edge] = {}
    waiting = deque([start])
    seen = {start}
    end = start
    while waiting:
        node = waiting.popleft()
        is_ground = not is_up and node in graph.grounds
        if node == goal or is_ground:
            end = node
            break
        for edge in (graph.up if is_up else graph.down).get(node, ()):
            onward = edge.top if is_up else edge.bottom
            # the current of a load comes from the battery and not through another one
            if onward not in seen and edge.part.kind not in {"battery", "alternator"}:
                seen.add(onward)
                came[onward] = edge
                waiting.append(onward)
    found: list[Edge] = []
    while end != start:
        edge = came[end]
        found.append(edge)
        end = edge.bottom if is_up else edge.top
    return tuple(reversed(found))


def _is_junction(graph: Graph, node: str) -> bool:
    """Return whether more than one part hangs on a point or feeds it."""
    return len(graph.down.get(node, ())) > 1 or len(graph.up.get(node, ())) > 1


def _point(graph: Graph, node: str, marks: dict[str, str]) -> PathRow:
    mark = marks.get(node, "")
    metal = graph.grounds.get(node, "").rpartition(" ")[2]
    is_metal = node.partition(".")[0] == metal
    name = f"{node}, on {metal}" if metal and not is_metal else node
    sign = "*" if mark else "o"
    return PathRow(sign, f"{name}  <- {mark}" if mark else name, bool(mark))


def _part(edge: Edge) -> PathRow:
    part = edge.part
    if part.kind == "wire":
        about = [part.name, *wire_words(part)]
        return PathRow(_SIGNS["wire"], ", ".join([*about, *_note(part.note)]))
    name = shown_name(part)
    ends = [terminal_word(part, node) for node in (edge.top, edge.bottom)]
    if all(ends) and part.kind in {"contacts", "switch-contact", "coil"}:
        name += f" {ends[0]} to {ends[1]}"
    about = [name, size_words(part)]
    return PathRow(_SIGNS.get(part.kind, "[ ]"), ", ".join(one for one in about if one))


def _note(note: str) -> list[str]:
    return [note] if note else []
