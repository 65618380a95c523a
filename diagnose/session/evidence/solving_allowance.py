"""Whether what an answer asks for may be solved now, or must be there already.

Decision that binds it: a person waits for an answer, so at a screen a fact is answered
at once, from what is solved already. What that answer did without is solved while the
person is at the car, and that nothing fits is said only when everything was solved.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Wanted = TypeVar("Wanted")


def nothing_is_solved() -> bool:
    """Return that nothing may be solved now: an answer is given at once."""
    return False


def everything_is_solved() -> bool:
    """Return that all that is missing may be solved: the answer can wait for it."""
    return True


class Allowance:
    """What may be solved for one conclusion.

    Parameters
    ----------
    solves : Callable
        Whether what is missing may be solved; asked before each piece of work.

    Attributes
    ----------
    asked : Callable
        As given.
    is_complete : bool
        Whether all that was asked for was there or could be solved.

    Examples
    --------
    >>> allowance = Allowance(nothing_is_solved)
    >>> allowance.within(["kept", "new"], lambda one: one == "kept")
    ['kept']
    >>> allowance.is_complete
    False
    """

    def __init__(self, solves: Callable[[], bool]) -> None:
        self.asked = solves
        self.is_complete = True

    def within(
        self, wanted: Sequence[Wanted], is_there: Callable[[Wanted], bool]
    ) -> list[Wanted]:
        """Return those wanted that are there, or all where they may be solved.

        Parameters
        ----------
        wanted : Sequence
            Fault sets, ladders or whatever else is solved.
        is_there : Callable
            Whether one of them was solved before.
        """
        if self.asked():
            return list(wanted)
        there = [one for one in wanted if is_there(one)]
        self.is_complete &= len(there) == len(wanted)
        return there
