"""Lines of closed cases, added up: here, or on another machine.

What is sent there is the lines and the names and rates they are held against; what
comes back is a row of numbers for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_lines import CaseNames, LineError, case_of
from diagnose.inference.learning.closed_cases import ClosedCase
from diagnose.inference.learning.counting import Counter, Tally

# How many reasons are kept of lines left out. [1] Own choice: what fits a screen.
MOST_REASONS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesTallied:
    """A batch of lines added up.

    Parameters
    ----------
    n_left_out : int
        Lines that use names no longer known.
    reasons : tuple[str, ...]
        Why, for the first of them.
    """

    tally: Tally
    n_left_out: int
    reasons: tuple[str, ...]


class LineCounter:
    """Adds up lines of closed cases.

    Parameters
    ----------
    knowledge : Knowledge
        With the published rates.
    """

    def __init__(self, knowledge: Knowledge) -> None:
        self._names = CaseNames(knowledge)
        self._counter = Counter(knowledge.modes, knowledge.contexts)

    def tallied(self, lines: Sequence[str]) -> LinesTallied:
        """Return lines added up, without those that can't be used any more.

        Parameters
        ----------
        lines : Sequence[str]
            Closed cases, each as `case_lines.line_of` gives it.

        Returns
        -------
        LinesTallied
            With how many were left out, and why.
        """
        cases: list[ClosedCase] = []
        reasons: list[str] = []
        for line in lines:
            try:
                case = case_of(line)
                self._names.check(case)
            except LineError as error:
                reasons.append(f"left out: an imported case: {error}")
            else:
                cases.append(case)
        return LinesTallied(
            tally=self._counter.tally(cases),
            n_left_out=len(reasons),
            reasons=tuple(reasons[:MOST_REASONS]),
        )
