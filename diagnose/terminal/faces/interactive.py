"""The face for a person at a screen: line editing, completion, a page per answer.

Ctrl-C clears the line, or ends a long wait; Ctrl-D on an empty line saves and leaves.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import FormattedText
from prompt_toolkit.history import FileHistory, History, InMemoryHistory
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style
from rich.text import Text

from diagnose.session.vocabulary import Vocabulary
from diagnose.terminal.dialogue.completion import suggestions
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.faces.meanwhile import Meanwhile
from diagnose.terminal.pages.notebook import Notebook
from diagnose.terminal.pages.page import Page, Tone, say
from diagnose.terminal.safe_text import clean

# Where typed lines are kept, in the data folder.
HISTORY_FILE = "typed-lines"

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
    conversation: Conversation,
    *,
    opening: Page,
    notebook: Notebook,
    vocabulary: Vocabulary,
    history_path: Path,
    has_colour: bool,
    meanwhile: Meanwhile,
) -> None:
    """Hold a conversation on a terminal until the person leaves.

    Parameters
    ----------
    conversation : Conversation
        New, or going on.
    opening : Page
        Shown first: car, case, safety note.
    notebook : Notebook
        Draws the pages.
    vocabulary : Vocabulary
        For completion.
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
        completer=LineCompleter(vocabulary),
        complete_while_typing=False,
        color_depth=colours,
        style=_STYLE,
    )
    _leave_once(session)
    sheet = _Sheet(notebook)
    _redraw_when_resized(session, notebook)
    sheet.show(opening)
    if warning:
        notebook.draw((say("typing", warning, Tone.ASIDE),))
    meanwhile.begin()
    has_begun = _has_read_on(notebook, colours)
    if has_begun:
        sheet.show(conversation.open())
    typed = ""
    while has_begun and not conversation.is_over:
        try:
            meanwhile.begin()
            word = "more" if sheet.has_more else conversation.prompt
            line = session.prompt(
                _prompt(notebook, word),
                default=typed,
                rprompt=lambda: conversation.offer,
                refresh_interval=OFFER_SECONDS,
            )
            typed = ""
            if sheet.has_more and (not line.strip() or sheet.is_read_first):
                # what was typed before the step was seen waits until it is
                typed = line.strip()
                sheet.show_more()
                continue
            sheet.show(_heard(conversation, line, notebook, meanwhile))
        except _ResizedError as resized:
            typed = resized.typed
            sheet.show_again()
        except KeyboardInterrupt:
            continue
        except EOFError:
            break
    notebook.draw(conversation.farewell())
    notebook.rule_off()


class _Sheet:
    """The latest page on the screen, and what of it did not fit.

    Parameters
    ----------
    notebook : Notebook
        Draws it.
    """

    def __init__(self, notebook: Notebook) -> None:
        self._notebook = notebook
        self._page: Page = ()
        self._left: list[list[Text]] = []

    @property
    def has_more(self) -> bool:
        """Whether some of the page was not drawn yet."""
        return bool(self._left)

    @property
    def is_read_first(self) -> bool:
        """Whether what comes next has to be seen before anything is typed."""
        return any(paragraph.is_first for paragraph in self._page)

    def show(self, page: Page) -> None:
        """Draw a page, or the first screenful of it."""
        if not page:
            return
        self._page = page
        self._left = self._notebook.screenfuls(page)
        self.show_more()

    def show_more(self) -> None:
        """Draw the next screenful."""
        if self._left:
            self._notebook.put(self._left.pop(0))

    def show_again(self) -> None:
        """Draw the page anew on an empty screen, from its first screenful."""
        self._notebook.clear()
        self.show(self._page)


class _ResizedError(Exception):
    """The screen has another size; the page is to be drawn anew.

    Parameters
    ----------
    typed : str
        What stood on the line.
    """

    def __init__(self, typed: str) -> None:
        super().__init__()
        self.typed = typed


def _redraw_when_resized(session: PromptSession[str], notebook: Notebook) -> None:
    """End the line with `_ResizedError` once the screen has another size."""
    editor, drawn = session.app, [notebook.size]

    def look(_sender: object) -> None:
        if drawn[0] != notebook.size:
            drawn[0] = notebook.size
            editor.exit(exception=_ResizedError(session.default_buffer.text))

    editor.after_render += look


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


def _has_read_on(notebook: Notebook, colours: ColorDepth | None) -> bool:
    """Wait for Enter below the safety note, before the first page pushes it off."""
    notebook.draw((say("then", "press Enter when you have read this", Tone.ASIDE),))
    notebook.rule_off()
    # a session of its own: this Enter is no line to keep
    session: PromptSession[str] = PromptSession(color_depth=colours, style=_STYLE)
    _leave_once(session)
    try:
        session.prompt(_prompt(notebook, "Enter"))
    except EOFError:
        return False
    except KeyboardInterrupt:
        pass
    return True


def _heard(
    conversation: Conversation, line: str, notebook: Notebook, meanwhile: Meanwhile
) -> Page:
    """Return the page that answers a line; Ctrl-C gives up waiting for it."""
    try:
        with _unechoed_keys(), notebook.waiting("one moment"):
            meanwhile.end()
            return conversation.hear(line)
    except KeyboardInterrupt:
        return conversation.interrupted()


@contextlib.contextmanager
def _unechoed_keys() -> Iterator[None]:
    """Keep what is typed meanwhile off the screen; it comes up at the next prompt.

    Keys that would end or halt the program are no more than keys; Ctrl-C is heard.
    """
    try:
        import termios
    except ImportError:  # not a POSIX system
        yield
        return
    if not sys.stdin.isatty():
        yield
        return
    terminal = sys.stdin.fileno()
    before = termios.tcgetattr(terminal)
    silent = list(before)
    # the fourth field has the local modes, the seventh the keys: POSIX.1-2017
    silent[3] &= ~termios.ECHO
    silent[6] = list(before[6])
    for key in (termios.VQUIT, termios.VSUSP):
        silent[6][key] = os.fpathconf(terminal, "PC_VDISABLE").to_bytes(1, "little")
    termios.tcsetattr(terminal, termios.TCSANOW, silent)
    try:
        yield
    finally:
        termios.tcsetattr(terminal, termios.TCSANOW, before)


def _prompt(notebook: Notebook, word: str) -> FormattedText:
    """Return the margin with a word in it, as the start of the typed line."""
    margin = notebook.margin(word)
    return FormattedText([("class:margin", margin[:-2]), ("class:rule", margin[-2:])])
