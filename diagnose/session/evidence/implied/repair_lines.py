"""What is believed of each line of causes: those that one repair mends.

A line is what a person mends as a whole; a relay is swapped with contacts and coil, so
to tell the two apart first saves nothing. Leaves which causes share a line to
`ready_car`, and how likely each fault set is to `concluding`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import FaultSet
from diagnose.session.evidence.conclusion import Conclusion


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairLines:
    """The lines of causes under one conclusion.

    Parameters
    ----------
    members : tuple[tuple[int, ...], ...]
        The causes of each line, by number.
    line_of : IntArray
        The line of each cause, shape (n_causes,).
    probabilities : FloatArray
        Of each line that one of its causes is present, shape (n_lines,). [1]
    sets : Sequence[FaultSet]
        The fault sets of the conclusion, one a row.
    set_probabilities : FloatArray
        How likely each is, shape (n_sets,). [1]
    met_line, met_row : IntArray
        Side by side: the set in this row has a cause of this line; rows rise.
    """

    members: tuple[tuple[int, ...], ...]
    line_of: IntArray
    probabilities: FloatArray
    sets: Sequence[FaultSet]
    set_probabilities: FloatArray
    met_line: IntArray
    met_row: IntArray

    def rows(self, line: int) -> IntArray:
        """Return the rows of the fault sets with a cause of a line, rising.

        Parameters
        ----------
        line : int
            Its number.

        Returns
        -------
        IntArray
            Shape (n_rows,).
        """
        return np.asarray(self.met_row[self.met_line == line])

    def likeliest(self, line: int) -> int:
        """Return the likeliest cause of a line, the first of those equally likely.

        Parameters
        ----------
        line : int
            Its number.

        Returns
        -------
        int
            The number of the cause.
        """
        members = self.members[line]
        if len(members) == 1:
            return members[0]
        mass = dict.fromkeys(members, 0.0)
        for row in self.rows(line).tolist():
            for cause in self.sets[row]:
                if cause in mass:
                    mass[cause] += self.set_probabilities[row]
        return max(members, key=lambda cause: mass[cause])


def repair_lines(
    conclusion: Conclusion, members: tuple[tuple[int, ...], ...], line_of: IntArray
) -> RepairLines:
    """Return what is believed of each line of causes.

    Parameters
    ----------
    conclusion : Conclusion
        What the facts amount to.
    members : tuple[tuple[int, ...], ...]
        The causes of each line, by number.
    line_of : IntArray
        The line of each cause, shape (n_causes,).

    Returns
    -------
    RepairLines
    """
    number = line_of.tolist()
    met = [
        (line, row)
        for row, fault_set in enumerate(conclusion.hypotheses.sets)
        for line in {number[cause] for cause in fault_set}
    ]
    met_line, met_row = np.array(met, dtype=np.int64).reshape(-1, 2).T
    chances = conclusion.beliefs.set_probabilities()
    found = np.bincount(met_line, chances[met_row], minlength=len(members))
    return RepairLines(
        members=members,
        line_of=line_of,
        probabilities=np.asarray(found),
        sets=conclusion.hypotheses.sets,
        set_probabilities=chances,
        met_line=met_line,
        met_row=met_row,
    )
