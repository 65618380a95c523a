"""The fault sets that a search found worth solving, and what it left out.

Leaves how they are found to `pairs` and `wider_sets`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from diagnose.faults.causes import FaultSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """Fault sets worth solving.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
        The most promising first.
    shares : tuple[float, ...]
        The belief that each is estimated to hold. [1]
    narrow : tuple[FaultSet, ...]
        The causes of each that the facts pin down to few of the severities drawn, the
        one pinned down most first.
    left_out_probability : float
        Share of the evidence that those left out could add, by the same estimate. [1]
    """

    sets: tuple[FaultSet, ...] = ()
    shares: tuple[float, ...] = ()
    narrow: tuple[FaultSet, ...] = ()
    left_out_probability: float = 0.0

    def with_most(self, most: int, of: Callable[[FaultSet], bool]) -> Combined:
        """Return these with no more than so many of one kind of set.

        Parameters
        ----------
        most : int
            How many of the kind are kept, the first ones. [1]
        of : Callable
            A fault set to whether it is of the kind.

        Returns
        -------
        Combined
            What the others hold is left out.
        """
        kept = []
        n_of_kind = 0
        for one in self.sets:
            is_of_kind = of(one)
            if not is_of_kind or n_of_kind < most:
                kept.append(one)
            n_of_kind += is_of_kind
        return self.only(kept)

    def only(self, sets: Collection[FaultSet]) -> Combined:
        """Return some of these.

        Parameters
        ----------
        sets : Collection[FaultSet]
            Those to keep.

        Returns
        -------
        Combined
            In the same order; what the others hold is left out.
        """
        kept = [n for n, one in enumerate(self.sets) if one in sets]
        dropped = sum(self.shares) - sum(self.shares[n] for n in kept)
        return Combined(
            sets=tuple(self.sets[n] for n in kept),
            shares=tuple(self.shares[n] for n in kept),
            narrow=tuple(self.narrow[n] for n in kept),
            left_out_probability=min(self.left_out_probability + dropped, 1.0),
        )

    def and_also(self, sets: Sequence[FaultSet]) -> Combined:
        """Return these and others, of which nothing was estimated.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            To be solved as well; those already here are not added again.

        Returns
        -------
        Combined
            The others last, each with a share of 0.
        """
        added = [one for one in dict.fromkeys(sets) if one not in set(self.sets)]
        return replace(
            self,
            sets=(*self.sets, *added),
            shares=(*self.shares, *[0.0] * len(added)),
            narrow=(*self.narrow, *[()] * len(added)),
        )
