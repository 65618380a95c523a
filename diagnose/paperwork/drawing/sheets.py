"""Lanes shared out over sheets, and where each point goes on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from diagnose.paperwork.drawing.graph import Graph
from diagnose.paperwork.drawing.lanes import Lane
from diagnose.paperwork.drawing.scene import text_width

# Lanes side by side on one sheet. Own choice: as many as leave room for their names.
LANES_A_SHEET = 11

# Rails one above the other on one sheet at most. Own choice.
MOST_RAILS = 6

# Room for the name of a rail left of it. [mm]
RAIL_NAME_MM = 27.0

# References written at one point at most. Own choice.
_MOST_REFERENCES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A lane with its number, counted through all sheets from 1."""

    lane: Lane
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What stands on one sheet.

    Parameters
    ----------
    lanes : tuple[Placed, ...]
        From left to right.
    rails : tuple[str, ...]
        Nodes drawn as a line across, the uppermost first.
    """

    lanes: tuple[Placed, ...]
    rails: tuple[str, ...]


def sheets_of(graph: Graph, lanes: Sequence[Lane]) -> tuple[Sheet, ...]:
    """Return the sheets of a car; a coil stays with the contacts beside it.

    As few sheets as can be, with the lanes shared out evenly.
    """
    groups = list(_groups(lanes))
    pages = _filled(groups, LANES_A_SHEET)
    fewest = len(pages)
    for most in range(LANES_A_SHEET - 1, 0, -1):
        fuller = _filled(groups, most)
        if len(fuller) > fewest:
            break
        pages = fuller
    return tuple(
        Sheet(lanes=tuple(page), rails=_rails(graph, page)) for page in pages if page
    )


def _filled(groups: Sequence[list[Lane]], most: int) -> list[list[Placed]]:
    """Return lanes on sheets of so many at most; a larger group has one for itself."""
    pages: list[list[Placed]] = [[]]
    number = 0
    for group in groups:
        if pages[-1] and len(pages[-1]) + len(group) > most:
            pages.append([])
        for lane in group:
            number += 1
            pages[-1].append(Placed(lane=lane, number=number))
    return pages


def _groups(lanes: Sequence[Lane]) -> Iterator[list[Lane]]:
    """Yield lanes that stay together: those of one relay side by side."""
    group: list[Lane] = []
    for lane in lanes:
        if group and is_coupled(group[-1], lane):
            group.append(lane)
            continue
        if group:
            yield group
        group = [lane]
    if group:
        yield group


def is_coupled(left: Lane, right: Lane) -> bool:
    """Return whether a coil in the left lane works contacts in the right one."""
    coils = {edge.part.name for edge in left.edges if edge.part.kind == "coil"}
    return any(
        edge.part.kind == "contacts" and edge.part.gate in coils for edge in right.edges
    )


def _rails(graph: Graph, page: Sequence[Placed]) -> tuple[str, ...]:
    """Return the nodes that several lanes of a sheet hang on."""
    tops = Counter(placed.lane.top for placed in page)
    found = [
        node
        for node, count in tops.items()
        if count > 1
        and node not in graph.grounds
        and text_width(node, 2.1) <= RAIL_NAME_MM
    ]
    # those with most lanes where there is no room for all
    found.sort(key=lambda node: -tops[node])
    kept = set(found[:MOST_RAILS])
    return tuple(node for node in tops if node in kept)


class References:
    """Where each node of a car is drawn, by number of lane."""

    def __init__(self, sheets: Sequence[Sheet]) -> None:
        self._lanes: dict[str, list[int]] = {}
        for sheet in sheets:
            for placed in sheet.lanes:
                for node in placed.lane.nodes:
                    self._lanes.setdefault(node, []).append(placed.number)
        self._ends: dict[str, list[int]] = {}
        for sheet in sheets:
            for placed in sheet.lanes:
                self._ends.setdefault(placed.lane.bottom, []).append(placed.number)
        self._parts = {
            edge.part.name: placed.number
            for sheet in sheets
            for placed in sheet.lanes
            for edge in placed.lane.edges
        }

        self._owners: dict[str, int] = {}
        for sheet in sheets:
            for placed in sheet.lanes:
                for edge in placed.lane.edges:
                    self._owners.setdefault(edge.part.assembly, placed.number)

    def of_part(self, part: str) -> int:
        """Return the lane a part is in."""
        return self._parts[part]

    def others(self, node: str, number: int) -> list[int]:
        """Return the other lanes a node is in."""
        return sorted({n for n in self._lanes.get(node, ()) if n != number})

    def source(self, node: str, hanging: Sequence[int]) -> int:
        """Return the lane that feeds what some lanes hang on; 0 where none does.

        Parameters
        ----------
        node : str
            What they hang on.
        hanging : Sequence[int]
            Their numbers.
        """
        others = [n for n in self.others(node, 0) if n not in hanging]
        ending = [n for n in self._ends.get(node, ()) if n in others]
        return next(iter([*ending, *others]), 0)

    def words(self, node: str, number: int) -> str:
        """Return the other lanes of a node in words, else that of its part."""
        others = self.others(node, number)
        if not others:
            owner = self._owners.get(node.partition(".")[0], number)
            others = [owner] if owner != number else []
        if not others:
            return ""
        shown = ", ".join(str(one) for one in others[:_MOST_REFERENCES])
        more = ", ..." if len(others) > _MOST_REFERENCES else ""
        return f"path {shown}{more}" if len(others) == 1 else f"paths {shown}{more}"
