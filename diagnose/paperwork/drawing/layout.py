"""Sheets as scenes: rails above, lanes below them, grounds and references at the foot.

A lane's line has its symbols on it and all its words to the right; left of it is a
channel that only the dashed line from a relay's coil passes. So no line meets a word.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from diagnose.paperwork.drawing.graph import Graph
from diagnose.paperwork.drawing.labels import Overlay
from diagnose.paperwork.drawing.scene import (
    SHEET_HEIGHT_MM,
    SHEET_WIDTH_MM,
    Circle,
    Ink,
    Scene,
    Text,
    wrapped,
)
from diagnose.paperwork.drawing.sheets import (
    RAIL_NAME_MM,
    Placed,
    References,
    Sheet,
    is_coupled,
)
from diagnose.paperwork.drawing.symbols import (
    HALF_HEIGHT,
    HALF_WIDTH,
    draw_ground,
    draw_symbol,
)
from diagnose.paperwork.drawing.words import (
    COIL_LEAD_MM,
    FAULT_COLOUR,
    FIRST_LANE,
    LETTER_MM,
    LINE_MM,
    LIVE_COLOUR,
    MARGIN_MM,
    PITCH_MM,
    SMALL_MM,
    Block,
    Word,
    Wording,
)

# Height of the first rail. [mm] Own choice.
RAIL_TOP_MM = 14.0

# From one rail to the next: two lines of words. [mm] Own choice.
RAIL_STEP_MM = 6.0

# Room between rails and lanes, for what a lane hangs on. [mm] Own choice.
HANGING_MM = 16.0

# Lines of words that fit there. Derived.
MOST_HEAD_LINES = 5

# Where lanes end. [mm] Own choice: a ground and six lines of words are below it.
LANE_BOTTOM_MM = 178.0

# Where the numbers of lanes stand. [mm] Own choice.
NUMBER_MM = 197.0


class _Drawing:
    """One sheet while it is drawn."""

    def __init__(
        self, graph: Graph, references: References, overlay: Overlay, scene: Scene
    ) -> None:
        self.graph = graph
        self.references = references
        self.overlay = overlay
        self.scene = scene
        self.wording = Wording(graph, references, overlay)
        self.middles: dict[str, tuple[float, float]] = {}

    def draw(self, sheet: Sheet) -> None:
        """Draw rails, lanes and what couples them."""
        rails = {
            node: RAIL_TOP_MM + RAIL_STEP_MM * number
            for number, node in enumerate(sheet.rails)
        }
        top = RAIL_TOP_MM + RAIL_STEP_MM * max(len(rails) - 1, 0) + HANGING_MM
        places = {
            placed.number: MARGIN_MM + RAIL_NAME_MM + 2.0 + PITCH_MM * (k + FIRST_LANE)
            for k, placed in enumerate(sheet.lanes)
        }
        for node, y in rails.items():
            self._rail(node, y, sheet, places)
        for placed in sheet.lanes:
            x = places[placed.number]
            start = rails.get(placed.lane.top)
            self._head(placed, x, start, top)
            self._body(placed, x, top)
            self._foot(placed, x)
        for left, right in itertools.pairwise(sheet.lanes):
            if is_coupled(left.lane, right.lane):
                self._couple(right)

    def _rail(
        self, node: str, y: float, sheet: Sheet, places: dict[int, float]
    ) -> None:
        """Draw what several lanes hang on."""
        hanging = [p.number for p in sheet.lanes if p.lane.top == node]
        left = MARGIN_MM + RAIL_NAME_MM + 1.0
        self.scene.line((left, y), (places[hanging[-1]], y), ink=Ink(width=0.5))
        lines = [Word(node, is_bold=False)]
        volts, is_moved = self.overlay.volts(node)
        source = self.references.source(node, hanging)
        below = f"path {source}" if source else ""
        if volts:
            below = f"{below}  {volts}" if below else volts
        if below:
            colour = FAULT_COLOUR if is_moved else "black"
            lines.append(Word(below, SMALL_MM, colour))
        for number, word in enumerate(lines):
            self.scene.texts.append(
                Text(
                    left - 1.0,
                    y + 0.2 + number * LINE_MM,
                    word.text,
                    word.size,
                    "end",
                    word.colour,
                )
            )
        self._probe(node, left, y)

    def _head(self, placed: Placed, x: float, rail: float | None, top: float) -> None:
        """Draw what a lane hangs on: a rail, or the name of a point."""
        node = placed.lane.top
        if rail is not None:
            self.scene.circles.append(Circle(x, rail, 0.6, "black"))
            self.scene.line((x, rail), (x, top))
            return
        width = PITCH_MM - 2.0
        name = self.graph.grounds.get(node, node)
        names = wrapped(name, width, LETTER_MM)
        others = self.wording.reference(node, placed.number, width)
        words = [*(Word(line) for line in names), *others][:MOST_HEAD_LINES]
        y = top - 1.4 - LINE_MM * (len(words) - 1)
        for number, word in enumerate(words):
            self._words(word, x, y + number * LINE_MM, "middle")
        self.scene.circles.append(Circle(x, top, 0.6))
        self._probe(node, x, top)

    def _foot(self, placed: Placed, x: float) -> None:
        """Draw where a lane ends: at a ground, or at a point that goes on elsewhere."""
        node = placed.lane.bottom
        width = PITCH_MM - 2.0
        y = LANE_BOTTOM_MM
        if node in self.graph.grounds:
            draw_ground(self.scene, x, y)
            words = wrapped(self.graph.grounds[node], width, LETTER_MM)
            found = [Word(line) for line in words]
            y += 5.2
        else:
            self.scene.circles.append(Circle(x, y, 0.6))
            found = [Word(line) for line in wrapped(node, width, LETTER_MM)]
            found += self.wording.reference(node, placed.number, width)
            y += 3.4
        volts, is_moved = self.overlay.volts(node)
        if volts:
            colour = FAULT_COLOUR if is_moved else LIVE_COLOUR
            found.append(Word(volts, SMALL_MM, colour))
        for number, word in enumerate(found[:6]):
            self._words(word, x, y + number * LINE_MM, "middle")
        self._words(Word(str(placed.number), is_bold=True), x, NUMBER_MM, "middle")
        self._probe(node, x, LANE_BOTTOM_MM)

    def _words(self, word: Word, x: float, y: float, anchor: str = "start") -> None:
        self.scene.texts.append(
            Text(x, y, word.text, word.size, anchor, word.colour, word.is_bold)
        )

    def _body(self, placed: Placed, x: float, top: float) -> None:
        """Draw the parts of a lane, the room left over shared out between them."""
        told: set[str] = set()
        blocks = [self.wording.block(edge, placed, told) for edge in placed.lane.edges]
        room = LANE_BOTTOM_MM - top
        spare = room - sum(block.height for block in blocks)
        gap = max(spare, 0.0) / (len(blocks) + 1)
        y = top
        for number, block in enumerate(blocks):
            start, y = y, y + gap
            middle = y + len(block.above) * LINE_MM + 0.8 + block.beside_height / 2.0
            end = y + block.height
            is_last = number == len(blocks) - 1
            finish = end + gap if is_last else end
            self._placed(block, x, (start, y, middle, finish))
            # words of its upper point stand at the block, so the probe does too
            self._probe(block.edge.top, x, y) if number else None
            if number and self.wording.is_marked(block.edge, placed):
                self.scene.circles.append(Circle(x, y, 0.6, "black"))
            y = end

    def _placed(
        self, block: Block, x: float, ys: tuple[float, float, float, float]
    ) -> None:
        """Draw one block between the heights given."""
        start, y, middle, finish = ys
        part = block.edge.part
        is_faulty = part.name == self.overlay.fault_part
        colour = FAULT_COLOUR if is_faulty else "black"
        if part.kind == "wire":
            width = 0.7 if is_faulty else 0.3
            self.scene.line((x, start), (x, finish), ink=Ink(colour, width))
            for number, word in enumerate(block.beside):
                self._words(word, x + 1.2, y + (number + 1) * LINE_MM)
            return
        symbol = middle - block.beside_height / 2.0 + HALF_HEIGHT
        if part.kind != "coil":
            symbol = middle
        self.scene.line((x, start), (x, symbol - HALF_HEIGHT))
        self.scene.line((x, symbol + HALF_HEIGHT), (x, finish))
        draw_symbol(
            self.scene, x, symbol, part, colour=colour, is_turned=self._is_turned(block)
        )
        self.middles[part.name] = (x, symbol)
        for number, word in enumerate(block.above):
            self._words(word, x + 1.2, y + (number + 1) * LINE_MM - 0.2)
        words_top = middle - len(block.beside) * LINE_MM / 2.0
        if part.kind == "coil":
            # the dashed line leaves above the words
            words_top = symbol - HALF_HEIGHT + COIL_LEAD_MM
        for number, word in enumerate(block.beside):
            self._words(
                word, x + HALF_WIDTH + 0.8, words_top + (number + 0.75) * LINE_MM
            )
        below = middle + block.beside_height / 2.0
        for number, word in enumerate(block.below):
            self._words(word, x + 1.2, below + (number + 0.85) * LINE_MM)

    def _is_turned(self, block: Block) -> bool:
        """Return whether the plus of a symbol that has one is below."""
        part = block.edge.part
        if part.kind == "led-lamp":
            return self.graph.car.is_positive_ground
        plus = {"battery": "plus", "diode": "a"}.get(part.kind)
        return plus is not None and part.terminals[plus] != block.edge.top

    def _couple(self, right: Placed) -> None:
        """Draw the dashed line from a coil to its contacts in the next lane."""
        for edge in right.lane.edges:
            gate = edge.part.gate
            if edge.part.kind != "contacts" or gate not in self.middles:
                continue
            x1, y1 = self.middles[gate]
            x2, y2 = self.middles[edge.part.name]
            # clear of the ring of a motor that it may pass
            channel = x2 - HALF_WIDTH - 0.3
            self.scene.line(
                (x1 + HALF_WIDTH, y1 - 1.4),
                (channel, y1 - 1.4),
                (channel, y2),
                (x2 - 1.0, y2),
                ink=Ink(width=0.25, is_dashed=True),
            )
            return

    def _probe(self, node: str, x: float, y: float) -> None:
        """Mark a point that a probe is on."""
        for probe, colour in (
            (self.overlay.red, "#d00000"),
            (self.overlay.black, "#202020"),
        ):
            if probe == node:
                self.scene.circles.append(Circle(x, y, 1.3, colour, colour))


def scenes_of(
    graph: Graph, sheets: Sequence[Sheet], overlay: Overlay
) -> tuple[Scene, ...]:
    """Return every sheet of a car as lines, circles and texts.

    Parameters
    ----------
    graph : Graph
        The car.
    sheets : Sequence[Sheet]
        Its lanes, shared out.
    overlay : Overlay
        What is written onto it.
    """
    references = References(sheets)
    scenes = []
    for number, sheet in enumerate(sheets, start=1):
        scene = Scene(title=f"{graph.car.title}, sheet {number}")
        _Drawing(graph, references, overlay, scene).draw(sheet)
        first, last = sheet.lanes[0].number, sheet.lanes[-1].number
        paths = f"paths {first} to {last}" if last > first else f"path {first}"
        _title(scene, graph, overlay, f"{paths}, sheet {number} of {len(sheets)}")
        scenes.append(scene)
    return tuple(scenes)


def _title(scene: Scene, graph: Graph, overlay: Overlay, sheet: str) -> None:
    """Write what the sheet shows at its foot."""
    y = SHEET_HEIGHT_MM - MARGIN_MM + 1.0
    scene.line(
        (MARGIN_MM, y - 3.5), (SHEET_WIDTH_MM - MARGIN_MM, y - 3.5), ink=Ink(width=0.2)
    )
    words = [graph.car.title]
    if overlay.state:
        words.append(overlay.state)
    if overlay.fault:
        words.append(f"sound/with {overlay.fault}")
    if overlay.red:
        words.append(f"red lead on {overlay.red}, black on {overlay.black}")
    room = SHEET_WIDTH_MM - 2 * MARGIN_MM - 55.0
    lines = wrapped("; ".join(words), room, 2.4)
    for number, line in enumerate(lines[:2]):
        scene.texts.append(Text(MARGIN_MM, y + 3.0 * number, line, 2.4))
    scene.texts.append(
        Text(SHEET_WIDTH_MM - MARGIN_MM, y, sheet, 2.4, "end", is_bold=True)
    )
