"""What sets solved in a few draws would show in all of them.

Sets of several faults, and the severities of one fault, are solved in every fourth
tolerance draw. Most readings are hardly moved by the fault that is looked at, and vary
from draw to draw as on the sound car, which is solved in all of them.

Decision that binds it: a draw that was not solved shows what the sound car does in it,
moved as the fault moves the draw that stands for it. With the same quarter of the draws
for every reading, a set solved so was ruled out by readings that it does not touch:
after thirty of them, by ten to the twelfth against a cause solved in all draws.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import BoolArray, FloatArray

# What counts as nothing to take a share of. [V, Ω, A] Derived: under the last digit of
# any meter here.
LEAST_SHOWN = 1e-6

# The least room to the supply that a share is taken of, and the most of it that a fault
# may take: a little over the supply is still the supply. [V], [1] Own choices.
LEAST_LIFTED = 1.0
MOST_LIFTED = 1.1

# A reading that moves by less than this and the share below varies from draw to draw as
# on the sound car. [V, Ω, A] Own choice: about what a reading strays by.
LEAST_MOVED = 0.05

# The share of the reading that is added to it. [1] Own choice.
SHARE_MOVED = 0.02


def on_all_draws(
    predicted: FloatArray,
    sound: FloatArray,
    stands_for: int,
    *,
    supply: FloatArray | None = None,
) -> tuple[FloatArray, BoolArray]:
    """Return what every draw shows, from those that were solved.

    Parameters
    ----------
    predicted : FloatArray
        What each set shows, shape (n_rows, n_draws), a solved draw repeated for those
        it stands for; inf where a meter shows OL. [any unit]
    sound : FloatArray
        What the sound car shows, shape (n_draws,). [the same unit]
    stands_for : int
        How many draws each that was solved stands for. [1]
    supply : FloatArray or None
        Volts of the fed post of the sound car, shape (n_draws,); None where nothing is
        fed. [V]

    Returns
    -------
    tuple[FloatArray, BoolArray]
        Shape (n_rows, n_draws), and the rows that hardly move, shape (n_rows,).

    Notes
    -----
    What a fault takes off is taken off as a share, so that nothing stays nothing. Where
    it lifts volts towards the supply, the share of what was left to the supply counts,
    so that the supply stays the supply. What else it adds is added.

    Examples
    --------
    Two draws of which the first was solved. A fault that takes half, one that adds 3:

    >>> shown, _ = on_all_draws(
    ...     np.array([[6.0, 6.0], [15.0, 15.0]]), np.array([12.0, 13.0]), 2
    ... )
    >>> shown.tolist()
    [[6.0, 6.5], [15.0, 16.0]]
    """
    places = np.arange(len(sound))
    base = sound[places - places % stands_for]
    can_move = np.isfinite(base) & np.isfinite(sound) & np.isfinite(predicted)
    known = np.where(can_move, predicted, 0.0)
    before = np.where(np.isfinite(base), base, 0.0)
    here = np.where(np.isfinite(sound), sound, 0.0)
    takes = (known * before >= 0.0) & (np.abs(known) <= np.abs(before))
    takes &= np.abs(before) > LEAST_SHOWN
    share = np.divide(known, before, out=np.zeros_like(known), where=takes)
    moved = np.where(takes, here * share, here + (known - before))
    if supply is not None:
        left = supply[places - places % stands_for] - before
        lifts = ~takes & (known > before) & (left > LEAST_LIFTED)
        lifted = np.divide(known - before, left, out=np.zeros_like(known), where=lifts)
        lifts &= lifted <= MOST_LIFTED
        moved = np.where(lifts, here + lifted * (supply - here), moved)
    hardly = np.abs(known - before) <= LEAST_MOVED + SHARE_MOVED * np.abs(before)
    is_same = can_move | (np.isinf(predicted) & np.isinf(base) & np.isinf(sound))
    return np.where(can_move, moved, predicted), (hardly & is_same).all(axis=1)
