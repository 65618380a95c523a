"""Which cars out of the file's tolerances the complaint leaves.

A car that has always done what its owner complains of would not have been complained
of: before the fault it did not. So a draw in which the sound car gives the complaint by
itself (a weak battery and a stiff engine crank slowly with nothing wrong) is not this
car. Leaves what a fault adds to the other draws to `concluding`.

Decision that binds it: the draws are weighed against each other, and none is ruled out.
Where the car by its file gives the complaint in all of them, nothing changes: its
design has no room, and that is for `check` to say.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.session.evidence.seen import Noted

# The chance that an owner complains of what his car has always done. [1] From memory:
# one in fifty, of a car that is new to him or was never driven.
ALWAYS_DID = 0.02


def draw_shares(
    observations: Sequence[Noted], likelihoods: Sequence[FloatArray]
) -> FloatArray | float:
    """Return how much likelier each draw is, since its sound car was not complained of.

    Parameters
    ----------
    observations : Sequence[Noted]
        What was seen.
    likelihoods : Sequence[FloatArray]
        Of each, shape (n_rows, n_draws), the sound car in the first row. [1]

    Returns
    -------
    FloatArray or float
        Shape (n_draws,), 1 on average; 1 where nothing was complained of. [1]
    """
    told = [
        likelihood[0]
        for noted, likelihood in zip(observations, likelihoods, strict=True)
        if noted.is_complaint
    ]
    if not told:
        return 1.0
    always = np.minimum(np.prod(told, axis=0), 1.0)
    share = ALWAYS_DID + (1.0 - ALWAYS_DID) * (1.0 - always)
    return np.asarray(share / share.mean())
