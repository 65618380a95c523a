"""Plain pages: words in order, no boxes, no carriage returns."""

from __future__ import annotations

from diagnose.terminal.pages.page import Chance, Page, Pair, Paragraph, Tone, Words, say
from diagnose.terminal.pages.plain import plain_text

PAGE: Page = (
    Paragraph(
        margin="suspects",
        lines=(
            Chance(number=1, probability=0.62, text="pump relay: contacts burnt"),
            Chance(number=2, probability=0.002, text="pump fuse: blown"),
        ),
    ),
    Paragraph(
        margin="measure",
        lines=(
            Words(text="Fuel vapour burns.", tone=Tone.CAUTION),
            Pair(name="red", text="pump.plus"),
            Pair(name="1.", text="first choice"),
        ),
    ),
    Paragraph(margin="type", lines=(Words(text="the number"),), is_close=True),
)


def test_a_page_reads_in_order_as_plain_text() -> None:
    assert plain_text(PAGE, width=60) == (
        "Suspects:\n"
        "  1. 62 %: pump relay: contacts burnt\n"
        "  2. under 1 %: pump fuse: blown\n"
        "\n"
        "Measure:\n"
        "  Caution: Fuel vapour burns.\n"
        "  red: pump.plus\n"
        "  1. first choice\n"
        "Type:\n"
        "  the number\n"
    )


def test_long_lines_are_wrapped_and_set_in() -> None:
    text = plain_text((say("advice", "replace the pump relay today"),), width=20)

    assert text == "Advice:\n  replace the pump\n    relay today\n"


def test_control_codes_from_a_file_do_not_reach_the_output() -> None:
    text = plain_text((say("noted", "pump\x1b[2J\rplus"),), width=60)

    assert text == "Noted:\n  pump plus\n"


def test_an_empty_page_is_no_text() -> None:
    assert plain_text((), width=60) == ""
