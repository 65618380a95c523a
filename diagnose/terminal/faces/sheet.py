"""The page on the screen: what of it did not fit, and drawing it once more."""

from __future__ import annotations

from prompt_toolkit import PromptSession
from rich.text import Text

from diagnose.terminal.pages.notebook import Notebook
from diagnose.terminal.pages.page import Page


class Sheet:
    """The latest page on the screen, and what of it did not fit.

    Parameters
    ----------
    notebook : Notebook
        Draws it.

    Attributes
    ----------
    notebook : Notebook
        As given.
    """

    def __init__(self, notebook: Notebook) -> None:
        self.notebook = notebook
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
        self._left = self.notebook.screenfuls(page)
        self.show_more()

    def show_more(self) -> None:
        """Draw the next screenful."""
        if self._left:
            self.notebook.put(self._left.pop(0))

    def show_again(self) -> None:
        """Draw the page anew on an empty screen, from its first screenful."""
        self.notebook.clear()
        self.show(self._page)


class ResizedError(Exception):
    """The screen has another size; the page is to be drawn anew.

    Parameters
    ----------
    typed : str
        What stood on the line.
    """

    def __init__(self, typed: str) -> None:
        super().__init__()
        self.typed = typed


def redraw_when_resized(session: PromptSession[str], notebook: Notebook) -> None:
    """End the line with `ResizedError` once the screen has another size."""
    editor, drawn = session.app, [notebook.size]

    def look(_sender: object) -> None:
        if drawn[0] != notebook.size:
            drawn[0] = notebook.size
            editor.exit(exception=ResizedError(session.default_buffer.text))

    editor.after_render += look
