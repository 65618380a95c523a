"""The screen face, driven through a pipe instead of a keyboard."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.completion import CompleteEvent
from prompt_toolkit.document import Document
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput
from rich.console import Console

from diagnose.session.casebook import Casebook
from diagnose.session.facts import ComplaintFact
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.faces.interactive import (
    LineCompleter,
    open_history,
    run_interactive,
)
from diagnose.terminal.faces.meanwhile import Meanwhile
from diagnose.terminal.faces.sheet import Sheet
from diagnose.terminal.pages.notebook import UNICODE_INK, Notebook
from diagnose.terminal.pages.page import say
from tests.terminal.sample_records import VOCABULARY

CTRL_C = "\x03"
CTRL_D = "\x04"
READ_ON = "\r"
"""Enter below the safety note."""


def typed(
    casebook: Casebook, keys: str, folder: Path, *, read_on: str = READ_ON
) -> str:
    """Return what a screen of 80 columns shows when these keys are typed."""
    console = Console(file=StringIO(), width=80, color_system=None)
    with (
        create_pipe_input() as pipe,
        create_app_session(input=pipe, output=DummyOutput()),
        Meanwhile(casebook.diagnosis.look_ahead) as meanwhile,
    ):
        pipe.send_text(f"{read_on}{keys}")
        sheet = Sheet(Notebook(console, UNICODE_INK))
        sheet.show((say("first", casebook.diagnosis.safety_note),))
        run_interactive(
            Conversation(casebook),
            sheet=sheet,
            vocabulary=casebook.diagnosis.vocabulary,
            history_path=folder / "data" / "typed-lines",
            has_colour=False,
            meanwhile=meanwhile,
        )
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def test_an_evening_from_complaint_to_leave(casebook: Casebook, tmp_path: Path) -> None:
    keys = "1\r\r\r\rread fuel-pump.plus key-on 12.2\rleave\r"

    screen = typed(casebook, keys, tmp_path)
    assert "first │ Work on a car can hurt or kill" in screen
    assert "noted │ 12.2 V at fuel-pump.plus, key-on" in screen
    assert screen.rstrip(" │\n").endswith("diagnose resume sunday")


def test_ctrl_c_clears_the_line_and_goes_on(casebook: Casebook, tmp_path: Path) -> None:
    typed(casebook, f"3{CTRL_C}1\r{CTRL_D}", tmp_path)

    first = next(iter(casebook.diagnosis.vocabulary.complaints.values()))
    assert casebook.answer.facts == (f"complaint: {first}",)


def test_half_a_report_of_a_mouse_is_passed_over(
    casebook: Casebook, tmp_path: Path
) -> None:
    # found with random keys: the library reads numbers where there are none
    screen = typed(casebook, f"\x1b[<;;M{CTRL_C}1\r{CTRL_D}", tmp_path)

    assert "Case sunday is kept." in screen


def test_keys_that_end_a_line_twice_in_one_go_end_nothing(
    casebook: Casebook, tmp_path: Path
) -> None:
    # found with random keys: a letter, a mark, and two keys that each end the line
    keys = f"I\x00{CTRL_C}\x0f"
    screen = typed(casebook, f"{keys}{CTRL_C}1\r{CTRL_D}", tmp_path)

    assert "Case sunday is kept." in screen


def test_ctrl_d_on_an_empty_line_saves_and_leaves(
    casebook: Casebook, tmp_path: Path
) -> None:
    screen = typed(casebook, f"1\r{CTRL_D}", tmp_path)

    assert "Case sunday is kept." in screen


def test_the_safety_note_waits_for_enter(casebook: Casebook, tmp_path: Path) -> None:
    screen = typed(casebook, f"1\r{CTRL_D}", tmp_path)

    note, pause = screen.index("can hurt or kill"), screen.index("press Enter")
    assert note < pause < screen.index("What is wrong with the car?")


def test_a_complaint_typed_at_the_safety_note_waits_for_its_question(
    casebook: Casebook, tmp_path: Path
) -> None:
    # the second Enter sends what stands there by then
    typed(casebook, f"\r{CTRL_D}", tmp_path, read_on="1\r")

    told = [
        fact for fact in casebook.diagnosis.facts if isinstance(fact, ComplaintFact)
    ]
    assert len(told) == 1


def test_tab_completes_a_name(casebook: Casebook, tmp_path: Path) -> None:
    keys = f"\r\rskip all\rsymptom engine-cr\t yes\r{CTRL_D}"

    typed(casebook, keys, tmp_path)
    assert casebook.answer.facts == ("engine-cranks: yes",)


def test_typed_lines_are_kept_for_their_owner_alone(
    casebook: Casebook, tmp_path: Path
) -> None:
    typed(casebook, f"1\r{CTRL_D}", tmp_path)

    path = tmp_path / "data" / "typed-lines"
    assert "+1" in path.read_text().splitlines()
    assert path.stat().st_mode & 0o777 == 0o600


def test_an_open_history_file_of_others_is_closed_to_them(tmp_path: Path) -> None:
    path = tmp_path / "typed-lines"
    path.touch(mode=0o644)
    open_history(path)

    assert path.stat().st_mode & 0o777 == 0o600


def test_a_history_that_can_not_be_kept_is_only_a_warning(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file where the folder should be")

    _, warning = open_history(tmp_path / "data" / "typed-lines")
    assert warning.startswith("Typed lines are not kept")


@pytest.mark.parametrize(
    ("text", "expected"), [("symptom pump", ("pump-hums", -4)), ("rea", ("read", -3))]
)
def test_the_line_editor_gets_the_suggestions(
    text: str, expected: tuple[str, int]
) -> None:
    completer = LineCompleter(VOCABULARY)
    (found,) = completer.get_completions(Document(text), CompleteEvent())

    assert (found.text, found.start_position) == expected
