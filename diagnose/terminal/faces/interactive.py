"""The face for a person at a screen: line editing, completion, a page per answer.

Ctrl-C clears the line, or ends a long wait; Ctrl-D on an empty line saves and leaves.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import FormattedText
from prompt_toolkit.history import FileHistory, History, InMemoryHistory
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style

from diagnose.session.words.vocabulary import Vocabulary
from diagnose.terminal.dialogue.typed.completion import suggestions
from diagnose.terminal.faces.meanwhile import Meanwhile
from diagnose.terminal.faces.sheet import ResizedError, Sheet, redraw_when_resized
from diagnose.terminal.pages.notebook import Notebook
from diagnose.terminal.pages.page import Page, Partner, Tone, say
from diagnose.terminal.safe_text import clean
from diagnose.terminal.terminal_modes import (
    INPUT_MODES,
    echo_off,
    forget_typed_ahead,
    mode_off,
)

# Where typed lines are kept, in the data folder.
HISTORY_FILE = "typed-lines"

# Said beside the prompt while some of the page is left.
MORE = "Enter: the rest of the page"

# Between one look and the next at whether a better step was found. Own choice. [s]
OFFER_SECONDS = 0.5

# The prompt in the look of the notebook's margin and ruled line.
_STYLE = Style.from_dict({"margin": "italic", "rule": "ansired"})


class LineCompleter(Completer):
    """Hands the suggestions for the text before the cursor to the line editor."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary

    def get_completions(
        self, document: Document, complete_event: CompleteEvent
    ) -> Iterable[Completion]:
        """Return the suggestions in the line editor's own form."""
        del complete_event  # asked for or not makes no difference here
        for found in suggestions(document.text_before_cursor, self._vocabulary):
            yield Completion(
                found.word,
                start_position=-found.replaces,
                display_meta=clean(found.says),
            )


def open_history(path: Path) -> tuple[History, str]:
    """Return the typed lines of earlier evenings, and a warning when there are none.

    Parameters
    ----------
    path : Path
        The file, made readable by its owner alone.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.chmod(0o600)
        with path.open("rb+"):
            pass
    except OSError as error:
        return InMemoryHistory(), (
            f"Typed lines are not kept ({path}: {error.strerror or error})."
        )
    return FileHistory(path), ""


def run_interactive(
    conversation: Partner,
    *,
    sheet: Sheet,
    vocabulary: Vocabulary | None,
    history_path: Path,
    has_colour: bool,
    meanwhile: Meanwhile,
) -> None:
    """Hold a conversation on a terminal until the person leaves.

    Parameters
    ----------
    conversation : Conversation
        New, or going on.
    sheet : Sheet
        What pages are shown on; what comes first is on it: car, case, safety note.
    vocabulary : Vocabulary or None
        For completion, where there is some.
    history_path : Path
        File of the lines typed before.
    has_colour : bool
        False when the person asked for none.
    meanwhile : Meanwhile
        What goes on while the program waits for a line.
    """
    history, warning = open_history(history_path)
    colours = None if has_colour else ColorDepth.DEPTH_1_BIT
    session: PromptSession[str] = PromptSession(
        history=history,
        completer=None if vocabulary is None else LineCompleter(vocabulary),
        complete_while_typing=False,
        color_depth=colours,
        style=_STYLE,
        key_bindings=_no_mouse(),
    )
    _leave_once(session)
    notebook = sheet.notebook
    redraw_when_resized(session, notebook)
    if warning:
        notebook.draw((say("typing", warning, Tone.ASIDE),))
    with _keys_are_no_signals():
        meanwhile.begin()
        first = _typed_when_read(notebook, colours)
        has_begun = first is not None
        if has_begun:
            sheet.show(conversation.open())
        # what was typed before the first question was seen waits for it
        typed = first or ""
        while has_begun and not conversation.is_over:
            try:
                meanwhile.begin()
                word = "more" if sheet.has_more else conversation.prompt
                line = session.prompt(
                    _prompt(notebook, word),
                    default=typed,
                    rprompt=lambda: MORE if sheet.has_more else conversation.offer,
                    refresh_interval=OFFER_SECONDS,
                )
                typed = ""
                if sheet.has_more and (not line.strip() or sheet.is_read_first):
                    # what was typed before the step was seen waits until it is
                    typed = line.strip()
                    sheet.show_more()
                    continue
                sheet.show(_heard(conversation, line, notebook, meanwhile))
            except ResizedError as resized:
                typed = resized.typed
                sheet.show_again()
            except KeyboardInterrupt:
                continue
            except EOFError:
                break
        notebook.draw(conversation.farewell())
        notebook.rule_off()


def _no_mouse() -> KeyBindings:
    """Return bindings that pass over what looks like a mouse, which is not used here.

    The library takes a damaged report of a mouse apart without a look and gives up.
    """
    bindings = KeyBindings()
    bindings.add(Keys.Vt100MouseEvent)(lambda _: None)
    return bindings


@contextlib.contextmanager
def _keys_are_no_signals() -> Iterator[None]:
    """Keep keys that come between two lines from ending or halting the program.

    At the prompt they are keys, and `_heard` listens to Ctrl-C; in between, while a
    page is drawn, they would end the program unasked, and Ctrl-S would hold it up.
    """
    keys = [
        getattr(signal, name)
        for name in ("SIGINT", "SIGQUIT", "SIGTSTP")
        if hasattr(signal, name)
    ]
    before = [(key, signal.signal(key, signal.SIG_IGN)) for key in keys]
    try:
        with mode_off(INPUT_MODES, "IXON"):
            yield
    finally:
        for key, handler in before:
            signal.signal(key, handler)


def _keys_come_up_later() -> AbstractContextManager[None]:
    """Keep what is typed meanwhile off the screen; it comes up at the next prompt."""
    return echo_off()


@contextlib.contextmanager
def _ctrl_c_heard() -> Iterator[None]:
    """Let Ctrl-C raise `KeyboardInterrupt`."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _leave_once(session: PromptSession[str]) -> None:
    """Let a line be ended once only, whatever keys come in one go.

    The library gives up on a second key that ends the line before it has left, such as
    Ctrl-O behind Ctrl-C, and takes the program with it.
    """
    editor = session.app
    leave = editor.exit

    def leave_once(**how: Any) -> None:
        if editor.future is not None and not editor.future.done():
            leave(**how)

    editor.exit = leave_once  # type: ignore[method-assign]


def _typed_when_read(notebook: Notebook, colours: ColorDepth | None) -> str | None:
    """Wait for Enter below the safety note, before the first page pushes it off.

    Returns what was typed before it; None where the input ended.
    """
    notebook.draw((say("then", "press Enter when you have read this", Tone.ASIDE),))
    notebook.rule_off()
    # a session of its own: this Enter is no line to keep
    session: PromptSession[str] = PromptSession(
        color_depth=colours, style=_STYLE, key_bindings=_no_mouse()
    )
    _leave_once(session)
    # an Enter from before this could be read has read nothing
    forget_typed_ahead()
    try:
        return session.prompt(_prompt(notebook, "Enter")).strip()
    except EOFError:
        return None
    except KeyboardInterrupt:
        return ""


def _heard(
    conversation: Partner, line: str, notebook: Notebook, meanwhile: Meanwhile
) -> Page:
    """Return the page that answers a line; Ctrl-C gives up waiting for it."""
    try:
        with _keys_come_up_later(), _ctrl_c_heard(), notebook.waiting("one moment"):
            meanwhile.end()
            return conversation.hear(line)
    except KeyboardInterrupt:
        return conversation.interrupted()


def _prompt(notebook: Notebook, word: str) -> FormattedText:
    """Return the margin with a word in it, as the start of the typed line."""
    margin = notebook.margin(word)
    return FormattedText([("class:margin", margin[:-2]), ("class:rule", margin[-2:])])
