"""The shortest list of readings that shows enough: a weighted partial cover.

Works on plain arrays: which reading shows which case, and how much each case weighs.
Leaves to `session` what a case is and when a reading shows it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from diagnose.arrays import BoolArray, FloatArray

# Readings that show this share of what the best one shows count as nearly as good. [1]
# Computed on the shipped car: taking the cheapest of those costs no reading more and a
# fifth of the minutes less (132 for 162).
NEARLY = 0.95

Minutes = Callable[[Sequence[int]], FloatArray]
"""The readings chosen so far to the minutes each reading would then take, shape
(n_readings,). [min]"""


def short_cover(
    shows: BoolArray, weight: FloatArray, *, wanted: float, minutes: Minutes
) -> list[int]:
    """Return readings that together show cases of at least a wanted weight.

    Parameters
    ----------
    shows : BoolArray
        Which reading shows which case, shape (n_readings, n_cases).
    weight : FloatArray
        Of each case, shape (n_cases,). [any unit]
    wanted : float
        In the unit of `weight`; at most what all readings together show.
    minutes : Minutes
        What each reading would cost next. [min]

    Returns
    -------
    list[int]
        In the order they were chosen.

    Raises
    ------
    ValueError
        If all readings together show less than is wanted.

    Notes
    -----
    The reading that shows most of what is not yet shown comes next; of those nearly as
    good the cheapest for what it shows. What later readings made needless is dropped.
    The greedy choice needs at most 1 + ln(n) times the readings of the shortest list,
    and no polynomial method can promise much less.

    References
    ----------
    V. Chvatal, "A greedy heuristic for the set-covering problem", Mathematics of
    Operations Research 4 (1979) 233-235.

    Examples
    --------
    Two readings show all that three show:

    >>> shows = np.array([[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 1, 1]], dtype=bool)
    >>> short_cover(shows, np.ones(4), wanted=4.0, minutes=lambda _: np.ones(3))
    [0, 2]
    """
    shows, weight = _alike_together(shows, weight)
    if float(weight[shows.any(axis=0)].sum()) < wanted:
        raise ValueError("all readings together show less than is wanted")
    weighing = shows.astype(np.float64)
    left = weight.copy()
    chosen: list[int] = []
    while float(weight.sum() - left.sum()) < wanted:
        gains = weighing @ left
        near = np.flatnonzero(gains >= NEARLY * gains.max())
        price = minutes(chosen)[near] / gains[near]
        best = int(near[int(price.argmin())])
        chosen.append(best)
        left[shows[best]] = 0.0
    return _without_needless(chosen, shows, weight, wanted=wanted)


def _alike_together(
    shows: BoolArray, weight: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Return the cases that the same readings show as one, with their weights added."""
    packed = np.ascontiguousarray(np.packbits(shows, axis=0).T)
    keys = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, group = np.unique(keys, return_index=True, return_inverse=True)
    together = np.bincount(group, weight, minlength=len(first))
    return np.ascontiguousarray(shows[:, first]), together.astype(np.float64)


def _without_needless(
    chosen: Sequence[int], shows: BoolArray, weight: FloatArray, *, wanted: float
) -> list[int]:
    """Return the readings without those that the others do well enough without."""
    kept = list(chosen)
    while True:
        count = shows[kept].sum(axis=0)
        spare = float(weight[count > 0].sum()) - wanted
        loss = [float(weight[shows[r] & (count == 1)].sum()) for r in kept]
        least = int(np.argmin(loss))
        if loss[least] > spare:
            return kept
        kept.pop(least)
