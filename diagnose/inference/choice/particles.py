"""Particles: fault sets with draws that stand for the beliefs when steps are priced.

A few hundred readings are ranked on them in milliseconds. Leaves what they show to
`session.steps`.

Every fault set gets the same draws: else sets that show the same seem to differ, and
readings seem worth taking that tell nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray

# A draw with less of its set's best draw than this is ruled out for the set. [1]
# Derived: a fiftieth of the weight of a set changes no choice.
RULED_OUT = 0.02

# A fault set with less of the likeliest one's chance than this is left out. [1] Own
# choice: a ten-thousandth changes no choice.
LEAST_SET_SHARE = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Particles:
    """Fault sets with draws, standing for the beliefs.

    Parameters
    ----------
    row, draw : IntArray
        Fault set and tolerance draw, shape (n_particles,).
    share : FloatArray
        Shape (n_particles,); sums to 1. [1]
    group : IntArray
        What has to be mended: a column of the joints, shape (n_particles,), or one
        for each reading, shape (n_readings, n_particles).
    told_of : IntArray or None
        The row of the beliefs each particle stands for, where `row` is that of what it
        shows; the same when None.
    """

    row: IntArray
    draw: IntArray
    share: FloatArray
    group: IntArray
    told_of: IntArray | None = None


def common_particles(
    weights: FloatArray, *, most_sets: int, n_draws: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return particles that share their draws.

    Parameters
    ----------
    weights : FloatArray
        Of each fault set and draw, shape (n_sets, n_all_draws); sums to 1. [1]
    most_sets : int
        How many of the likeliest fault sets to keep. [1]
    n_draws : int
        Draws a set, or all when there are fewer. [1]

    Returns
    -------
    tuple[IntArray, IntArray, FloatArray]
        Rows, draws and shares, shape (n_particles,) each; the shares sum to 1. [1]

    Notes
    -----
    Every fault set gets the same draws with the same shares, taken from the beliefs
    about the draws over all sets, but for draws that the facts have ruled out for it:
    sets that would show the same then show the same here, and a reading that can't tell
    them apart is seen to be worth nothing.
    """
    chances = weights.sum(axis=1)
    rows = np.argsort(-chances, kind="stable")[:most_sets]
    rows = rows[chances[rows] > LEAST_SET_SHARE * chances[rows[0]]]
    by_draw = weights[rows].sum(axis=0)
    draws = np.sort(np.argsort(-by_draw, kind="stable")[:n_draws])
    own = weights[rows][:, draws]
    is_possible = own > RULED_OUT * own.max(axis=1, keepdims=True)
    share = np.where(is_possible, by_draw[draws], 0.0)
    share *= (chances[rows] / share.sum(axis=1))[:, None]
    share /= share.sum()
    return np.repeat(rows, len(draws)), np.tile(draws, len(rows)), share.ravel()
