"""A car as a graph to draw: parts between points, from the supply down to ground.

Joints to metal are no parts of a drawing: the point they hold is a ground with a name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.circuit.design.reach import SUPPRESSION_ROLE, hot_post
from diagnose.circuit.elements import CONSUMER_KINDS, ELEMENTS

# How well wires and contacts conduct, to tell what is up and what is down. [S] Own
# choice: only that it is much more than a load does.
_METAL_SIEMENS = 1000.0

# How well loads conduct. [S] Own choice.
_LOAD_SIEMENS = 1.0

# Keeps points that hang on nothing from having no height at all. [S] Own choice.
_LEAK_SIEMENS = 1e-9

# Where an alternator's inputs go inside it: towards ground.
_INPUTS = ("sense", "exciter")


@dataclass(frozen=True, slots=True)
class Edge:
    """A part between two points, the one nearer to the supply first.

    Parameters
    ----------
    part : Part
        Not a joint, not a diode across a coil.
    top, bottom : str
        Nodes.
    """

    part: Part
    top: str
    bottom: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Graph:
    """All edges of a car.

    Parameters
    ----------
    car : Car
        The car.
    edges : tuple[Edge, ...]
        In the order of the car's parts.
    up, down : dict[str, tuple[Edge, ...]]
        Node to the edges above it and below it.
    grounds : dict[str, str]
        Node of metal, or bolted to it, to its name.
    suppressed : frozenset[str]
        Coils with a diode across them.
    """

    car: Car
    edges: tuple[Edge, ...]
    up: dict[str, tuple[Edge, ...]]
    down: dict[str, tuple[Edge, ...]]
    grounds: dict[str, str]
    suppressed: frozenset[str]


def graph_of(car: Car) -> Graph:
    """Return the graph of a car."""
    diodes = {
        frozenset(tuple(part.terminals.values())[:2])
        for part in car.parts
        if part.role == SUPPRESSION_ROLE
    }
    heights = _heights(car)
    edges = tuple(
        _oriented(part, heights)
        for part in car.parts
        if ELEMENTS[part.kind].terminals
        and part.kind != "joint"
        and part.role != SUPPRESSION_ROLE
    )
    nodes = {node for edge in edges for node in (edge.top, edge.bottom)}
    return Graph(
        car=car,
        edges=edges,
        up={node: tuple(e for e in edges if e.bottom == node) for node in nodes},
        down={node: tuple(e for e in edges if e.top == node) for node in nodes},
        grounds=_grounds(car),
        suppressed=frozenset(
            part.name
            for part in car.parts
            if part.kind == "coil"
            and frozenset(tuple(part.terminals.values())[:2]) in diodes
        ),
    )


def _ends(part: Part) -> tuple[str, str]:
    first, second = ELEMENTS[part.kind].terminals[:2]
    return part.terminals[first], part.terminals[second]


def _oriented(part: Part, heights: dict[str, float]) -> Edge:
    first, second = _ends(part)
    if heights[second] > heights[first]:
        first, second = second, first
    return Edge(part, first, second)


def _heights(car: Car) -> dict[str, float]:
    """Return how near each node is to the supply: 1 there, 0 at ground.

    Every switch counts as closed, so that a lane runs the same way in all states.
    """
    nodes = list(dict.fromkeys((*car.nodes, car.body)))
    index = {node: number for number, node in enumerate(nodes)}
    siemens = np.zeros((len(nodes), len(nodes)))

    def join(one: str, other: str, amount: float) -> None:
        i, k = index[one], index[other]
        siemens[i, i] += amount
        siemens[k, k] += amount
        siemens[i, k] -= amount
        siemens[k, i] -= amount

    for part in car.parts:
        if not ELEMENTS[part.kind].terminals or part.role == SUPPRESSION_ROLE:
            continue
        if part.kind == "alternator":
            for name in _INPUTS:
                if name in part.terminals:
                    join(part.terminals[name], part.terminals["case"], _LOAD_SIEMENS)
            continue
        # of batteries in series one stands above the other
        is_in_series = part.volts_share < 1.0
        if part.kind != "battery" or is_in_series:
            is_load = part.kind in CONSUMER_KINDS or is_in_series
            join(*_ends(part), _LOAD_SIEMENS if is_load else _METAL_SIEMENS)
    hot, ground = index[hot_post(car)], index[car.reference]
    siemens[np.diag_indices(len(nodes))] += _LEAK_SIEMENS
    current = np.zeros(len(nodes))
    for post, height in ((hot, 1.0), (ground, 0.0)):
        siemens[post] = 0.0
        siemens[post, post] = 1.0
        current[post] = height
    solved = np.linalg.solve(siemens, current)
    return dict(zip(nodes, solved.tolist(), strict=True))


def _grounds(car: Car) -> dict[str, str]:
    """Return each node of metal, or bolted to it, with the name of that ground."""
    metal = {
        node: node.partition(".")[0]
        for node in car.nodes
        if node.partition(".")[2] in {"metal", "block"}
        and node.partition(".")[0] in {"body", "engine", "frame"}
    }
    named = dict(metal)
    for part in car.parts:
        if part.kind != "joint":
            continue
        ends = tuple(part.terminals.values())[:2]
        for node, other in (ends, ends[::-1]):
            if other in metal and node not in metal:
                stud = node.partition(".")[0] if node.endswith(".stud") else ""
                named[node] = f"{stud} on {metal[other]}" if stud else metal[other]
    return named
