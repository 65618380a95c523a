"""Effort: whether what an answer asks for may be solved now, or must be there already.

A person waits for an answer; what only makes it finer is solved while he is at the car.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Wanted = TypeVar("Wanted")


def nothing_is_solved() -> bool:
    """Return that nothing may be solved now: an answer is given at once."""
    return False


class Effort:
    """What may be done for one conclusion.

    Parameters
    ----------
    solves : Callable
        Whether what is missing may be solved; asked before each piece of work.

    Attributes
    ----------
    is_complete : bool
        Whether all that was asked for could be had.

    Examples
    --------
    >>> effort = Effort(nothing_is_solved)
    >>> effort.within(["kept", "new"], lambda one: one == "kept")
    ['kept']
    >>> effort.is_complete
    False
    """

    def __init__(self, solves: Callable[[], bool]) -> None:
        self._solves = solves
        self.is_complete = True

    def within(
        self, wanted: Sequence[Wanted], is_there: Callable[[Wanted], bool]
    ) -> list[Wanted]:
        """Return those wanted that are there, or all where they may be solved."""
        if self._solves():
            return list(wanted)
        there = [one for one in wanted if is_there(one)]
        self.is_complete &= len(there) == len(wanted)
        return there
