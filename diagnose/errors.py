"""The mistakes a user can mend, each with one clear message.

Everything else (ValueError, TypeError, assert) is our own bug and keeps its traceback.
"""

from __future__ import annotations

from dataclasses import dataclass


class DiagnoseError(Exception):
    """A mistake the user can mend; caught once, in the command line."""


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
        return f"{self.path}{where}: {self.message}"


class InvalidFileError(DiagnoseError):
    """A file with problems; all of them at once.

    Parameters
    ----------
    problems : tuple[FileProblem, ...]
        One for each line of the message.
    """

    def __init__(self, problems: tuple[FileProblem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))


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


class ReadingError(DiagnoseError):
    """A reading, symptom, state or test point that makes no sense on this car."""


class ImpossibleEvidenceError(DiagnoseError):
    """Facts that no cause, and no slip of the meter, can produce together."""


class StoreError(DiagnoseError):
    """The case store can't be read or written."""
