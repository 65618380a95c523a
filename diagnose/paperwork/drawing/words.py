"""The words beside a lane: in lines that fit between it and the next one.

Leaves where a part stands on its lane to `layout`.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.circuit.car import Part
from diagnose.paperwork.drawing.graph import Edge, Graph
from diagnose.paperwork.drawing.labels import (
    Overlay,
    shown_name,
    size_words,
    terminal_word,
    wire_words,
)
from diagnose.paperwork.drawing.scene import SHEET_WIDTH_MM, wrapped
from diagnose.paperwork.drawing.sheets import (
    LANES_A_SHEET,
    RAIL_NAME_MM,
    Placed,
    References,
)
from diagnose.paperwork.drawing.symbols import HALF_HEIGHT, HALF_WIDTH

# Empty edge of a sheet. [mm] Own choice: what a printer needs.
MARGIN_MM = 8.0

# Words keep so far from the next lane's line: its channel and a symbol. [mm] Derived.
CHANNEL_MM = HALF_WIDTH + 0.8

# Where the first lane stands, in distances of lanes from where the rails begin. [1] Own
# choice: room for a name at its foot.
FIRST_LANE = 0.3

# Distance of lanes: the words of the last one end at the sheet's edge. [mm] Derived.
PITCH_MM = (SHEET_WIDTH_MM - 2 * MARGIN_MM - RAIL_NAME_MM - 2.0 + CHANNEL_MM) / (
    LANES_A_SHEET + FIRST_LANE
)

# Height of small letters. [mm] Own choice: read at arm's length.
SMALL_MM = 1.9

# Height of usual letters. [mm] Own choice: read at arm's length.
LETTER_MM = 2.1

# From one line of words to the next. [mm] Own choice: a fifth more than a letter.
LINE_MM = 2.6

# How wide words right beside a lane's line may be. [mm] Derived.
LANE_WORDS_MM = PITCH_MM - CHANNEL_MM - 1.2

# How far below a coil's upper end its words begin: the dashed line leaves above them.
# [mm] Own choice.
COIL_LEAD_MM = 2.0

# Colour of volts and amps. Own choice.
LIVE_COLOUR = "#00509e"

# Colour of what a fault moves, and of the part that has it. Own choice.
FAULT_COLOUR = "#c00000"


@dataclass(frozen=True, slots=True)
class Word:
    """One line of words beside a lane."""

    text: str
    size: float = LETTER_MM
    colour: str = "black"
    is_bold: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """One part of a lane with its words, before it has its place.

    Parameters
    ----------
    edge : Edge
        The part.
    above, beside, below : tuple[Word, ...]
        Words above its symbol, beside it and below it.
    """

    edge: Edge
    above: tuple[Word, ...]
    beside: tuple[Word, ...]
    below: tuple[Word, ...]

    @property
    def height(self) -> float:
        """The least height it takes. [mm]."""
        if self.edge.part.kind == "wire":
            return max(len(self.beside) * LINE_MM + 1.2, 4.0)
        beside = self.beside_height
        return (len(self.above) + len(self.below)) * LINE_MM + beside + 1.6

    @property
    def beside_height(self) -> float:
        """The height of the symbol and the words beside it. [mm]."""
        lead = COIL_LEAD_MM if self.edge.part.kind == "coil" else 0.0
        return max(2 * HALF_HEIGHT, len(self.beside) * LINE_MM + lead)


class Wording:
    """Says what stands beside the parts of a car.

    Parameters
    ----------
    graph : Graph
        The car.
    references : References
        Where everything is drawn.
    overlay : Overlay
        What is written onto it.
    """

    def __init__(self, graph: Graph, references: References, overlay: Overlay) -> None:
        self.graph = graph
        self.references = references
        self.overlay = overlay

    def reference(self, node: str, number: int, width: float) -> list[Word]:
        """Return the other lanes of a point, in lines no wider than a width."""
        words = self.references.words(node, number)
        return [Word(line, SMALL_MM) for line in wrapped(words, width, SMALL_MM)]

    def block(self, edge: Edge, placed: Placed, told: set[str]) -> Block:
        """Return a part with its words."""
        part = edge.part
        if part.kind == "wire":
            words = self._wire_words(edge, placed)
            return Block(edge, (), tuple(words), ())
        above = [*self._point(edge.top, part, told)]
        if edge.top != placed.lane.top:
            above = self._joined(edge, placed) + above
        below = [*self._point(edge.bottom, part, told)]
        return Block(
            edge, tuple(above), tuple(self._beside(part, placed)), tuple(below)
        )

    def is_marked(self, edge: Edge, placed: Placed) -> bool:
        """Return whether the point above a part is one to be told from its lane."""
        others = self.references.others(edge.top, placed.number)
        return bool(others) or self._has_name(edge, placed)

    def _has_name(self, edge: Edge, placed: Placed) -> bool:
        """Return whether neither part at a point says what it is: a splice, a bus."""
        before = next(one for one in placed.lane.edges if one.bottom == edge.top)
        owner = edge.top.rpartition(".")[0]
        return owner not in {"", edge.part.assembly, before.part.assembly}

    def _joined(self, edge: Edge, placed: Placed) -> list[Word]:
        """Return what a point inside a lane is, and where it goes on."""
        words = []
        if self._has_name(edge, placed):
            lines = wrapped(edge.top, LANE_WORDS_MM, SMALL_MM)
            words = [Word(line, SMALL_MM) for line in lines]
        if self.references.others(edge.top, placed.number):
            words += self.reference(edge.top, placed.number, LANE_WORDS_MM)
        return words

    def _point(self, node: str, part: Part, told: set[str]) -> list[Word]:
        """Return a part's terminal with its volts."""
        name = terminal_word(part, node)
        volts, is_moved = self.overlay.volts(node)
        if node in told:
            volts = ""
        if volts:
            told.add(node)
        text = f"{name}  {volts}" if name and volts else name or volts
        colour = FAULT_COLOUR if is_moved else LIVE_COLOUR if volts else "black"
        lines = wrapped(text, LANE_WORDS_MM, SMALL_MM)
        return [Word(line, SMALL_MM, colour) for line in lines]

    def _wire_words(self, edge: Edge, placed: Placed) -> list[Word]:
        width = LANE_WORDS_MM
        words = []
        if edge.top != placed.lane.top:
            words += self._joined(edge, placed)
        words += [
            Word(line, SMALL_MM)
            for text in wire_words(edge.part)
            for line in wrapped(text, width, SMALL_MM)
        ]
        if edge.part.name == self.overlay.fault_part:
            words += [
                Word(line, SMALL_MM, FAULT_COLOUR)
                for line in wrapped(edge.part.name, width, SMALL_MM)
            ]
        return words

    def _beside(self, part: Part, placed: Placed) -> list[Word]:
        """Return what stands beside a symbol."""
        width = PITCH_MM - CHANNEL_MM - HALF_WIDTH - 0.8
        name = shown_name(part)
        words = [Word(line) for line in wrapped(name, width, LETTER_MM)]
        more = [size_words(part)]
        if part.name in self.graph.suppressed:
            more.append("with diode")
        more += self._coupled_words(part, placed)
        words += [
            Word(line, SMALL_MM)
            for text in more
            if text
            for line in wrapped(text, width, SMALL_MM)
        ]
        amps, is_moved = self.overlay.amps(part.name)
        if amps:
            colour = FAULT_COLOUR if is_moved else LIVE_COLOUR
            words += [
                Word(one, SMALL_MM, colour) for one in wrapped(amps, width, SMALL_MM)
            ]
        return words

    def _coupled_words(self, part: Part, placed: Placed) -> list[str]:
        """Return where the other half of a relay is."""
        if part.kind == "contacts" and part.gate is not None:
            number = self.references.of_part(part.gate)
            return [f"coil {number}"] if number != placed.number else []
        if part.kind == "coil":
            numbers = {
                self.references.of_part(edge.part.name)
                for edge in self.graph.edges
                if edge.part.gate == part.name
            }
            return [f"contact {', '.join(str(n) for n in sorted(numbers))}"]
        return []
