"""Graphic symbols by IEC 60617 (from memory), each upright around its middle.

A symbol reaches `half_height` above and below its middle, where its lane's line goes
on; it keeps to `HALF_WIDTH` on either side.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from diagnose.circuit.car import Part
from diagnose.paperwork.drawing.scene import Circle, Ink, Scene, Text

# How far symbols reach to either side. [mm]
HALF_WIDTH = 3.5

# A way to draw a symbol: scene, middle of it, the part, and its style.
_Draw = Callable[[Scene, float, float, Part, Ink], None]


def _fuse(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    scene.rectangle(x, y, 2.2, 6.0, ink=ink)
    scene.line((x, y - 3.0), (x, y + 3.0), ink=ink)
    if part.kind == "fusible-link":
        scene.line((x - 1.1, y - 1.0), (x + 1.1, y + 1.0), ink=ink)


def _blade(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw a contact at rest: open, or closed where it is the other contact."""
    scene.line((x, y - 3.0), (x, y - 2.0), ink=ink)
    if part.is_normally_closed:
        scene.line((x, y - 2.0), (x + 1.6, y - 2.0), ink=ink)
        scene.line((x, y + 3.0), (x, y + 2.0), (x + 1.3, y - 2.4), ink=ink)
    else:
        scene.line((x, y + 3.0), (x, y + 2.0), (x - 1.9, y - 1.8), ink=ink)


def _switch(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw a contact worked by hand: with its actuator."""
    _blade(scene, x, y, part, ink)
    scene.line((x - 1.0, y), (x - 2.6, y), ink=replace(ink, is_dashed=True))
    scene.line((x - 2.6, y - 0.9), (x - 2.6, y + 0.9), ink=ink)


def _breaker(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw a contact with the cross of a circuit breaker."""
    _blade(scene, x, y, part, ink)
    scene.line((x - 0.7, y - 2.7), (x + 0.7, y - 1.3), ink=ink)
    scene.line((x + 0.7, y - 2.7), (x - 0.7, y - 1.3), ink=ink)


def _coil(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.rectangle(x, y, 7.0, 3.6, ink=ink)
    scene.line((x, y - 3.0), (x, y - 1.8), ink=ink)
    scene.line((x, y + 1.8), (x, y + 3.0), ink=ink)


def _lamp(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.circles.append(Circle(x, y, 3.0, "none", ink.colour))
    scene.line((x - 2.12, y - 2.12), (x + 2.12, y + 2.12), ink=ink)
    scene.line((x - 2.12, y + 2.12), (x + 2.12, y - 2.12), ink=ink)


def _diode(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.line((x, y - 3.0), (x, y + 3.0), ink=ink)
    scene.line((x - 1.6, y - 1.4), (x + 1.6, y - 1.4), (x, y + 1.4), ink=ink)
    scene.line((x, y + 1.4), (x - 1.6, y - 1.4), ink=ink)
    scene.line((x - 1.6, y + 1.4), (x + 1.6, y + 1.4), ink=ink)


def _led(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    _diode(scene, x, y, part, ink)
    for shift in (0.0, 1.2):
        scene.line((x + 1.8, y - 0.9 + shift), (x + 3.3, y - 1.9 + shift), ink=ink)


def _machine(letter: str) -> _Draw:
    """Return how a rotating machine is drawn: a circle with a letter."""

    def draw(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
        del part
        scene.circles.append(Circle(x, y, 3.0, "none", ink.colour))
        scene.texts.append(Text(x, y + 1.0, letter, 2.8, "middle", ink.colour))

    return draw


def _load(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.rectangle(x, y, 3.0, 6.0, ink=ink)


def _resistor(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.rectangle(x, y, 2.2, 6.0, ink=ink)


def _contact(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw a pin in its socket, or a clamp on its post: two halves that touch."""
    del part
    scene.line((x, y - 3.0), (x, y + 3.0), ink=ink)
    scene.line((x - 1.4, y - 0.6), (x, y + 0.6), (x + 1.4, y - 0.6), ink=ink)


def _electronics(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw a box with a diode in it: semiconductors inside."""
    del part
    scene.rectangle(x, y, 6.0, 6.0, ink=ink)
    scene.line((x - 1.2, y - 1.0), (x + 1.2, y - 1.0), (x, y + 1.0), ink=ink)
    scene.line((x, y + 1.0), (x - 1.2, y - 1.0), ink=ink)
    scene.line((x - 1.2, y + 1.0), (x + 1.2, y + 1.0), ink=ink)


def _controller(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    _electronics(scene, x, y, part, ink)
    scene.rectangle(x, y, 5.0, 5.0, ink=ink)


def _driver(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    """Draw an electronic switch: a blade in a box."""
    scene.rectangle(x, y, 6.0, 6.0, ink=ink)
    _blade(scene, x, y, part, ink)


def _battery(scene: Scene, x: float, y: float, part: Part, ink: Ink) -> None:
    del part
    scene.line((x, y - 3.0), (x, y - 1.6), ink=ink)
    scene.line((x - 2.8, y - 1.6), (x + 2.8, y - 1.6), ink=ink)
    scene.line((x - 1.4, y - 0.6), (x + 1.4, y - 0.6), ink=replace(ink, width=0.8))
    scene.line((x - 2.8, y + 0.6), (x + 2.8, y + 0.6), ink=ink)
    scene.line((x - 1.4, y + 1.6), (x + 1.4, y + 1.6), ink=replace(ink, width=0.8))
    scene.line((x, y + 1.6), (x, y + 3.0), ink=ink)


# Kind of part to its symbol, 6 mm high.
_SYMBOLS: Mapping[str, _Draw] = MappingProxyType(
    {
        "fuse": _fuse,
        "slow-fuse": _fuse,
        "fusible-link": _fuse,
        "breaker": _breaker,
        "contacts": _blade,
        "switch-contact": _switch,
        "driver": _driver,
        "coil": _coil,
        "lamp": _lamp,
        "led-lamp": _led,
        "motor": _machine("M"),
        "starter": _machine("M"),
        "alternator": _machine("G"),
        "load": _load,
        "resistor": _resistor,
        "pin": _contact,
        "clamp": _contact,
        "electronics": _electronics,
        "controller": _controller,
        "diode": _diode,
        "battery": _battery,
    }
)

# Half the height of every symbol. [mm]
HALF_HEIGHT = 3.0


def draw_symbol(
    scene: Scene, x: float, y: float, part: Part, *, colour: str, is_turned: bool
) -> None:
    """Draw a part around a point.

    Parameters
    ----------
    scene : Scene
        Takes it.
    x, y : float
        Its middle. [mm]
    part : Part
        Not a wire.
    colour : str
        Of its lines.
    is_turned : bool
        Whether what is plus on the symbol is below.
    """
    width = 0.3 if colour == "black" else 0.6
    n_before = len(scene.lines)
    _SYMBOLS[part.kind](scene, x, y, part, Ink(colour, width))
    if is_turned:
        scene.lines[n_before:] = [
            replace(line, y1=2 * y - line.y1, y2=2 * y - line.y2)
            for line in scene.lines[n_before:]
        ]


def draw_ground(scene: Scene, x: float, y: float) -> None:
    """Draw a ground below a point."""
    for step, half in ((0.0, 2.4), (0.9, 1.5), (1.8, 0.7)):
        scene.line((x - half, y + step), (x + half, y + step))
