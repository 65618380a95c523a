"""The plain face: lines in, append-only text out."""

from __future__ import annotations

from io import StringIO

from diagnose.session.casebook import Casebook
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.faces.line_face import run_lines


def printed(casebook: Casebook, lines: str, *, width: int = 80) -> str:
    sink = StringIO()
    run_lines(
        Conversation(casebook),
        source=StringIO(lines),
        sink=sink,
        width=width,
    )
    return sink.getvalue()


class Typed(StringIO):
    """Lines from a terminal, with Ctrl-C where a line says so."""

    def isatty(self) -> bool:
        return True

    def readline(self, size: int = -1, /) -> str:  # type: ignore[override]
        line = super().readline(size)
        if line == "Ctrl-C\n":
            raise KeyboardInterrupt
        return line


def test_ctrl_c_on_a_terminal_ends_nothing(casebook: Casebook) -> None:
    sink = StringIO()
    run_lines(
        Conversation(casebook),
        source=Typed("Ctrl-C\n1\nCtrl-C\nleave\n"),
        sink=sink,
        width=80,
    )

    assert sink.getvalue().count("What was typed does not count.") == 2
    assert sink.getvalue().rstrip().endswith("diagnose resume sunday")
    assert len(casebook.answer.facts) == 1


def test_the_end_of_input_keeps_the_case_and_says_so(casebook: Casebook) -> None:
    text = printed(casebook, "1\n")

    assert text.endswith(
        "End:\n  Case sunday is kept. Go on by: diagnose resume sunday\n\n"
    )


def test_input_that_ends_in_the_middle_of_a_line_is_still_heard(
    casebook: Casebook,
) -> None:
    text = printed(casebook, "1\n\n\n\nsymptom engine-cranks yes")

    assert "Noted:\n  engine-cranks: yes\n" in text


def test_nothing_is_said_after_leave(casebook: Casebook) -> None:
    text = printed(casebook, "leave\nsymptom engine-cranks yes\n")

    assert "Noted" not in text


def test_text_is_append_only_without_boxes_or_colour(casebook: Casebook) -> None:
    text = printed(casebook, "1\n\n\n\nread fuel-pump.plus key-on 12.2\nwhy 1\nhelp\n")

    assert [sign for sign in "\r\x1b\x08│━╌─" if sign in text] == []


def test_lines_are_written_back_without_their_control_codes(
    casebook: Casebook,
) -> None:
    assert "> fred\n" in printed(casebook, "fr\x1b[31med\x07\n")


def test_no_line_is_longer_than_asked(casebook: Casebook) -> None:
    text = printed(casebook, "1\n\n\n\nhelp\n", width=60)

    assert max(map(len, text.splitlines())) <= 60
