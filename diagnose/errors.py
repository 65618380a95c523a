"""The mistakes a user can mend, each with one clear message.

Everything else (ValueError, TypeError, assert) is our own bug and keeps its traceback.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

# How many problems of one file are told; the rest is counted. [1] Own choice: a screen.
MOST_PROBLEMS_TOLD = 20

# How long one line about a mistake may be. [characters] Own choice: the longest list of
# known names fits; a file that is one endless line does not come back whole.
LONGEST_LINE_TOLD = 1000


class DiagnoseError(Exception):
    """A mistake the user can mend; caught once, in the command line."""

    @property
    def lines(self) -> tuple[str, ...]:
        """What is told of it, each on a line of its own."""
        return (shortened(str(self)),)


def shortened(text: str) -> str:
    """Return a text without its middle where it is too long for a line.

    Parameters
    ----------
    text : str
        Any text.
    """
    if len(text) <= LONGEST_LINE_TOLD:
        return text
    half = LONGEST_LINE_TOLD // 2
    return f"{text[:half]} ... {text[-half:]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileProblem:
    """One problem at one place of a file.

    Parameters
    ----------
    path : str
        The file as the user named it.
    line, column : int
        Where, counted from 1; 0 when the file as a whole is meant.
    message : str
        What was found, what was expected, and what to do.
    """

    path: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        """Return ``file:line:column: message``."""
        where = f":{self.line}:{self.column}" if self.line else ""
        return f"{shortened(self.path)}{where}: {shortened(self.message)}"


class InvalidFileError(DiagnoseError):
    """A file with problems; all of them at once.

    Parameters
    ----------
    problems : tuple[FileProblem, ...]
        One for each line of the message.
    """

    def __init__(self, problems: tuple[FileProblem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(self.lines))

    @property
    def lines(self) -> tuple[str, ...]:
        """The first problems, and how many more there are."""
        told = [str(problem) for problem in self.problems[:MOST_PROBLEMS_TOLD]]
        more = len(self.problems) - len(told)
        if more:
            told.append(f"{shortened(self.problems[0].path)}: and {more} more")
        return tuple(told)


class UnsolvableCircuitError(DiagnoseError):
    """A circuit that has no operating point.

    Parameters
    ----------
    reasons : tuple[str, ...]
        Why, in circuit words; one for each line of the message.
    """

    def __init__(self, reasons: tuple[str, ...]) -> None:
        self.reasons = reasons
        super().__init__("\n".join(reasons))

    @property
    def lines(self) -> tuple[str, ...]:
        """One for each reason."""
        return self.reasons


class ReadingError(DiagnoseError):
    """A reading, symptom, state or test point that makes no sense on this car."""


class ImpossibleEvidenceError(DiagnoseError):
    """Facts that no cause, and no slip of the meter, can produce together."""


class StoreError(DiagnoseError):
    """The case store can't be read or written."""


# A name counts as near when it is at least so similar to what was written, by the ratio
# of `difflib.SequenceMatcher` from 0 to 1. [1] Own choice: two letters exchanged in a
# word of five still find it.
LEAST_SIMILAR = 0.5


def nearest(name: str, known: Iterable[str]) -> str:
    """Return the known name nearest to what was written; empty when none is near.

    Parameters
    ----------
    name : str
        What was written.
    known : Iterable[str]
        What could have been meant.

    Examples
    --------
    >>> nearest("pmup.plus", ["pump.plus", "battery.plus"])
    'pump.plus'
    """
    found = difflib.get_close_matches(
        name.lower(), list(known), n=1, cutoff=LEAST_SIMILAR
    )
    return found[0] if found else ""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return ``(did you mean "x"?)`` for the nearest known name, or nothing.

    Parameters
    ----------
    name : str
        What was written.
    known : Iterable[str]
        What could have been meant.

    Returns
    -------
    str
        With a space before it, so that it can follow the name in a message.

    Examples
    --------
    >>> did_you_mean("baterry.plus", ["battery.plus", "starter.plus"])
    ' (did you mean "battery.plus"?)'
    """
    near = nearest(name, known)
    return f' (did you mean "{near}"?)' if near else ""
