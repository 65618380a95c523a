"""How many readings share what makes the car stray from its file.

A run that is longer than the file says moves every reading along it the same way. Such
an error counts once, not once a reading. Leaves the error itself to
`inference.belief.reading_spread`.

Decision that binds it: of n readings that move together each is taken with n times the
variance of the model, so that a misfit they share counts as that of one of them. That
is on the safe side: the difference of two such readings is surer than it is then taken
to be. It does not depend on the order in which they were told, and costs nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.seen import Noted
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# Readings that spread less than this over the sound draws move with nothing. [V]
# Derived: a tenth of a meter's last digit on its 20 V range.
LEAST_MOVING_VOLTS = 0.001

# The number of readings is rounded to this. [1] Own choice: it keeps what was worked
# out for a reading while another one is told that hardly moves with it.
SHARE_STEP = 0.25

# Above how many that is done in steps of a rising scale, and in how many to twice as
# many. [1] Own choice: so many readings are known to a tenth of their variance, and
# each of hundreds of facts does not weigh every other one anew.
MOST_FINE, STEPS_TO_TWICE = 4.0, 4


class SharedErrors:
    """Counts the readings of one car that share an error.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    """

    def __init__(self, model: Model) -> None:
        self._compiled = model.compiled
        # half a kilobyte for each point that was read
        self._volts: dict[Reading, FloatArray] = {}

    def counted(self, found: Sequence[Noted]) -> tuple[Noted, ...]:
        """Return observations with how many readings share the error of each.

        Parameters
        ----------
        found : Sequence[Noted]
            What was seen.

        Returns
        -------
        tuple[Noted, ...]
            In the same order.

        Notes
        -----
        Readings of DC volts in one state, between two repairs. Two of them share r^2 of
        their error, r being how they go together over the draws of the sound car; a
        reading counts as the sum of r^2 over all of them, itself included.
        """
        places: dict[tuple[int, str], list[tuple[int, Reading]]] = {}
        for place, noted in enumerate(found):
            told = noted.observation
            if isinstance(told, ReadingFact):
                reading = told.reading
                if reading.kind is ReadingKind.DC_VOLTS:
                    group = places.setdefault((noted.epoch, reading.state), [])
                    group.append((place, reading))
        result = list(found)
        for group in places.values():
            if len(group) > 1:
                counts = shared_counts(
                    np.array([self._sound_volts(reading) for _, reading in group])
                )
                for (place, _), n_shared in zip(group, counts.tolist(), strict=True):
                    result[place] = found[place]._replace(n_shared=n_shared)
        return tuple(result)

    def _sound_volts(self, reading: Reading) -> FloatArray:
        """Return what the sound car shows of a reading, shape (n_draws,). [V]."""
        if reading not in self._volts:
            bank = self._compiled.bank.all
            shown = self._compiled.readings.predicted(bank, reading, rows=SOUND_ROW)
            self._volts[reading] = np.asarray(shown[0])
        return self._volts[reading]


def shared_counts(volts: FloatArray) -> FloatArray:
    """Return as how many readings the error of each of some readings counts.

    Parameters
    ----------
    volts : FloatArray
        What each shows in the draws of the sound car, shape (n_readings, n_draws). [V]

    Returns
    -------
    FloatArray
        Shape (n_readings,), from 1 to n_readings. [1]

    Examples
    --------
    Two that move as one, and one that moves with neither:

    >>> moves = np.array([[1.0, 2.0, 1.0, 2.0], [3.0, 5.0, 3.0, 5.0], [0, 0, 1, 1]])
    >>> shared_counts(moves).tolist()
    [2.0, 2.0, 1.0]
    """
    moved = volts - volts.mean(axis=1, keepdims=True)
    size = np.sqrt((moved * moved).sum(axis=1))
    is_moving = size > LEAST_MOVING_VOLTS * np.sqrt(volts.shape[1])
    unit = np.where(is_moving, 1.0 / np.maximum(size, LEAST_MOVING_VOLTS), 0.0)
    alike = (moved @ moved.T) * unit[:, None] * unit[None, :]
    np.fill_diagonal(alike, 1.0)
    counts = (alike * alike).sum(axis=1)
    return _rounded(counts)


def _rounded(counts: FloatArray) -> FloatArray:
    """Return counts to `SHARE_STEP`, large ones to the steps of a rising scale."""
    fine = np.round(counts / SHARE_STEP) * SHARE_STEP
    above = np.log2(np.maximum(counts, MOST_FINE) / MOST_FINE)
    coarse = MOST_FINE * 2.0 ** (np.round(above * STEPS_TO_TWICE) / STEPS_TO_TWICE)
    return np.where(counts > MOST_FINE, coarse, fine)
