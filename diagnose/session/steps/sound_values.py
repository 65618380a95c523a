"""What the sound car shows beside each particle, and what a fault does to it.

After many facts each fault is left with a few tolerance draws, and not the same ones. A
reading that no fault moves would then seem to tell the faults apart: it tells which
draw the car is like. So all particles that move a reading by no more than sound cars
differ show the middle of the sound cars. Leaves what outcomes are worth to `priced`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import IntArray, StoredArray
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.choice.particles import Particles
from diagnose.session.steps.candidates import Candidates, Sight


class SoundValues:
    """The sound car in the draws of some particles.

    Parameters
    ----------
    hypotheses : Hypotheses
        With the sound car in the first row.
    particles : Particles
        Who is believed.
    """

    def __init__(self, hypotheses: Hypotheses, particles: Particles) -> None:
        draws, self._own = np.unique(particles.draw, return_inverse=True)
        n_draws = len(draws)
        every = Particles(
            row=np.zeros(n_draws, dtype=np.int64),
            draw=draws,
            share=np.full(n_draws, 1.0 / n_draws),
            group=np.zeros(n_draws, dtype=np.int64),
        )
        self._sight = Sight(hypotheses, every)

    def told(
        self, candidates: Candidates, some: IntArray, shown: StoredArray
    ) -> StoredArray:
        """Return what particles show, without what only their draws tell.

        Parameters
        ----------
        candidates : Candidates
            Readings of one kind.
        some : IntArray
            Their numbers, shape (n_some,).
        shown : StoredArray
            What each particle shows, shape (n_some, n_particles).

        Returns
        -------
        StoredArray
            Same shape. [unit of the reading]
        """
        sound = candidates.shown(self._sight, some)
        middle = np.sort(sound, axis=1)[:, sound.shape[1] // 2, None]
        finite = np.where(np.isfinite(sound), sound, 0.0)
        differs = finite.std(axis=1, keepdims=True)
        own = sound[:, self._own]
        is_moved = candidates.is_moved(shown, own, differs)
        return np.asarray(np.where(is_moved, shown, middle), dtype=shown.dtype)
