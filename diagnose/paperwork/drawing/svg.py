"""A scene as SVG 1.1 (W3C Recommendation, 2011), one file a sheet."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from diagnose.paperwork.drawing.scene import (
    SHEET_HEIGHT_MM,
    SHEET_WIDTH_MM,
    Circle,
    Line,
    Scene,
    Text,
)

# Length of a dash and of the gap behind it. [mm]
DASH_MM = (1.2, 0.8)


def svg_of(scene: Scene) -> str:
    """Return a scene as the text of an SVG file, in millimetres."""
    width, height = SHEET_WIDTH_MM, SHEET_HEIGHT_MM
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" '
        f'height="{height:g}mm" viewBox="0 0 {width:g} {height:g}" '
        "font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\">",
        f"<title>{escape(scene.title)}</title>",
        f'<rect width="{width:g}" height="{height:g}" fill="white"/>',
        *(_line(one) for one in scene.lines),
        *(_circle(one) for one in scene.circles),
        *(_text(one) for one in scene.texts),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _line(line: Line) -> str:
    ink = line.ink
    dashes = f' stroke-dasharray="{DASH_MM[0]} {DASH_MM[1]}"' if ink.is_dashed else ""
    return (
        f'<line x1="{line.x1:.2f}" y1="{line.y1:.2f}" x2="{line.x2:.2f}" '
        f'y2="{line.y2:.2f}" stroke="{ink.colour}" stroke-width="{ink.width:g}" '
        f'stroke-linecap="round"{dashes}/>'
    )


def _circle(circle: Circle) -> str:
    return (
        f'<circle cx="{circle.x:.2f}" cy="{circle.y:.2f}" r="{circle.radius:g}" '
        f'stroke="{circle.colour}" stroke-width="0.3" fill="{circle.fill}"/>'
    )


def _text(text: Text) -> str:
    weight = ' font-weight="bold"' if text.is_bold else ""
    # whatever font a reader has, the text keeps to the box that was reckoned for it
    length = f' textLength="{text.width:.2f}" lengthAdjust="spacingAndGlyphs"'
    return (
        f'<text x="{text.x:.2f}" y="{text.y:.2f}" font-size="{text.size:g}" '
        f'text-anchor="{text.anchor}" fill={quoteattr(text.colour)}{weight}{length}>'
        f"{escape(text.text)}</text>"
    )
