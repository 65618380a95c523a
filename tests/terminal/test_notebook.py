"""Notebook pages: margin, rule and strokes, at any width and in any encoding."""

from __future__ import annotations

from io import StringIO

import pytest
from rich.cells import cell_len
from rich.console import Console

from diagnose.terminal.pages.notebook import (
    ASCII_INK,
    UNICODE_INK,
    Ink,
    Notebook,
    ink_for,
)
from diagnose.terminal.pages.page import Chance, Page, Pair, Paragraph, Tone, Words, say

PAGE: Page = (
    Paragraph(
        margin="suspects",
        lines=(
            Chance(number=1, probability=0.62, text="pump relay: contacts burnt"),
            Chance(
                number=2, probability=0.05, text="pump wire [rear]: high resistance"
            ),
        ),
    ),
    Paragraph(
        margin="measure",
        lines=(
            Words(text="Fuel vapour burns.", tone=Tone.CAUTION),
            Pair(name="red", text="pump.plus"),
            Pair(name="black", text="body.metal"),
        ),
    ),
    Paragraph(margin="or", lines=(Pair(name="b", text="look"),), is_close=True),
)


def drawn(page: Page, *, width: int = 80, ink: Ink = UNICODE_INK) -> str:
    console = Console(
        file=StringIO(), width=width, color_system=None, markup=False, highlight=False
    )
    Notebook(console, ink).draw(page)
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def test_a_page_is_drawn_with_margin_rule_and_strokes() -> None:
    # Strokes by hand: 0.62 and 0.05 of ten, rounded (half to even), are 6 and 0.
    assert drawn(PAGE) == (
        "          │\n"
        " suspects │ 1  62 %  ━━━━━━╌╌╌╌  pump relay: contacts burnt\n"
        "          │ 2   5 %  ╌╌╌╌╌╌╌╌╌╌  pump wire [rear]: high resistance\n"
        "          │\n"
        "  measure │ CAUTION: Fuel vapour burns.\n"
        "          │ red    pump.plus\n"
        "          │ black  body.metal\n"
        "       or │ b  look\n"
    )


def test_an_ascii_screen_gets_ascii_only() -> None:
    text = drawn((*PAGE, say("noted", "0.4 Ω at 20 °C")), ink=ASCII_INK)

    assert text.isascii()
    assert "62 %  ======....  pump relay" in text


@pytest.mark.parametrize("width", [40, 80, 120])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    long = say("advice", "measure the voltage drop along the pump wire " * 6)

    lines = drawn((*PAGE, long), width=width).splitlines()
    assert max(cell_len(line) for line in lines) <= width


def test_every_line_keeps_the_rule() -> None:
    long = say("advice", "measure the voltage drop along the pump wire " * 6)

    assert {line[10] for line in drawn((long,)).splitlines()} == {"│"}


def test_markup_in_a_name_is_shown_not_obeyed() -> None:
    assert "[red]pump[/red]" in drawn((say("noted", "[red]pump[/red]"),))


def test_control_codes_in_a_name_are_not_shown() -> None:
    assert "\x1b" not in drawn((say("noted", "pump\x1b[2J"),))


@pytest.mark.parametrize(
    ("encoding", "ink"),
    [
        ("utf-8", UNICODE_INK),
        ("UTF8", UNICODE_INK),
        ("ISO-8859-1", ASCII_INK),
        ("ascii", ASCII_INK),
        (None, ASCII_INK),
    ],
)
def test_only_utf_8_gets_drawn_signs(encoding: str | None, ink: Ink) -> None:
    assert ink_for(encoding) is ink


def test_a_caution_is_told_by_a_word_and_not_by_colour_alone() -> None:
    assert "CAUTION: Fuel vapour burns." in drawn(PAGE)


def test_only_the_margin_is_dim() -> None:
    console = Console(
        file=StringIO(), width=80, color_system="standard", force_terminal=True
    )
    Notebook(console, UNICODE_INK).draw((say("noted", "12.4 V"),))

    # ECMA-48, 8.3.117: 2 is dim, 3 italic, 31 red, 0 switches all of it off.
    assert isinstance(console.file, StringIO)
    assert console.file.getvalue().splitlines()[-1] == (
        "\x1b[2;3m    noted\x1b[0m\x1b[2;31m │ \x1b[0m12.4 V"
    )
