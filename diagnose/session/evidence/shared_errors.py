"""How many readings share what makes the car stray from its file.

A run that is longer than the file says moves every reading along it the same way. Such
an error counts once, not once a reading. Leaves the error itself to
`inference.belief.reading_spread`.

Decisions that bind it, none of which depends on the order in which they were told:

- Of n readings that move together each is taken with n times the variance of the model,
  so that a misfit they share counts as that of one of them.
- Under a fault whose draws move two of them alike, the second by name is judged by how
  far it lies from the first, see `weighing.compared`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.seen import Noted, shown
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# The kinds of reading that share errors: what hangs on a panel stands behind the ohms
# of all its points.
SHARING_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.OHMS})

# Readings that spread less than this over the sound draws move with nothing. [V, Ω]
# Derived: a tenth of a meter's last digit on its 20 V range.
LEAST_MOVING = 0.001

# The number of readings is rounded to this. [1] Own choice: it keeps what was worked
# out for a reading while another one is told that hardly moves with it.
SHARE_STEP = 0.25

# What two readings share of their errors is rounded to this before the one that shares
# most is sought. [1] Own choice, for the same reason.
LIKENESS_STEP = 0.1

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
        self._sound: dict[Reading, FloatArray] = {}

    def counted(self, found: Sequence[Noted]) -> tuple[Noted, ...]:
        """Return observations with how many readings share the error of each.

        And with the reading that each is compared with.

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
        Readings of DC volts, and of ohms, between two repairs. Two of them in one state
        share r^2 of their error, r being how they go together over the draws of the
        sound car; a reading counts as the sum of r^2 over all of them, itself included.
        It is compared with a reading of the same two points in another state, or else
        with the one it goes together with most.
        """
        of_epoch: dict[tuple[int, ReadingKind], list[int]] = {}
        for place, noted in enumerate(found):
            kind = _shared_kind(noted)
            if kind is not None:
                of_epoch.setdefault((noted.epoch, kind), []).append(place)
        result = list(found)
        for places in of_epoch.values():
            if len(places) > 1:
                facts = [_reading_fact(found[place]) for place in places]
                of_place = self._with_others(facts)
                for place, (n_shared, beside) in zip(places, of_place, strict=True):
                    noted = found[place]._replace(n_shared=n_shared, beside=beside)
                    result[place] = noted
        return tuple(result)

    def _with_others(
        self, facts: Sequence[ReadingFact]
    ) -> list[tuple[float, ReadingFact | None]]:
        """Return as how many readings each counts, and which it is compared with.

        The same whatever the order: each is compared with one before it by its name.
        """
        readings = [fact.reading for fact in facts]
        states = np.array([reading.state for reading in readings])
        leads = np.array([f"{reading.red}|{reading.black}" for reading in readings])
        share = shared_squares(np.array([self._sound_values(one) for one in readings]))
        share *= states[:, None] == states
        counts = rounded_counts(share.sum(axis=1)).tolist()
        # what is alike goes by name: a new reading seldom takes another's place
        likeness = np.round(share / LIKENESS_STEP) * LIKENESS_STEP
        likeness += leads[:, None] == leads
        order = sorted(
            range(len(facts)),
            key=lambda one: (states[one], leads[one], facts[one].value),
        )
        beside: list[ReadingFact | None] = [None] * len(facts)
        for rank, place in enumerate(order[1:], start=1):
            before = order[:rank]
            beside[place] = facts[before[int(likeness[place, before].argmax())]]
        return list(zip(counts, beside, strict=True))

    def _sound_values(self, reading: Reading) -> FloatArray:
        """Return what the sound car shows of a reading, 0 for OL, shape (n_draws,)."""
        if reading not in self._sound:
            bank = self._compiled.bank.all
            values = self._compiled.readings.predicted(bank, reading, rows=SOUND_ROW)[0]
            self._sound[reading] = np.where(np.isinf(values), 0.0, values)
        return self._sound[reading]


def _shared_kind(noted: Noted) -> ReadingKind | None:
    """Return the kind of a reading that may share its error, None of any other."""
    told = noted.observation
    if not isinstance(told, ReadingFact) or not math.isfinite(shown(told)):
        return None
    kind = told.reading.kind
    return kind if kind in SHARING_KINDS else None


def _reading_fact(noted: Noted) -> ReadingFact:
    """Return the reading of an observation that is one."""
    fact = noted.observation
    assert isinstance(fact, ReadingFact)
    return fact


def shared_squares(values: FloatArray) -> FloatArray:
    """Return which share of their errors readings have in common.

    Parameters
    ----------
    values : FloatArray
        What each shows in the draws of the sound car, shape (n_readings, n_draws).
        [V or Ω]

    Returns
    -------
    FloatArray
        The square of how they go together, shape (n_readings, n_readings). [1]

    Examples
    --------
    Two that move as one, and one that moves with neither:

    >>> moves = np.array([[1.0, 2.0, 1.0, 2.0], [3.0, 5.0, 3.0, 5.0], [0, 0, 1, 1]])
    >>> shared_squares(moves).tolist()
    [[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    moved = values - values.mean(axis=1, keepdims=True)
    size = np.sqrt((moved * moved).sum(axis=1))
    is_moving = size > LEAST_MOVING * np.sqrt(values.shape[1])
    unit = np.where(is_moving, 1.0 / np.maximum(size, LEAST_MOVING), 0.0)
    alike = (moved @ moved.T) * unit[:, None] * unit[None, :]
    np.fill_diagonal(alike, 1.0)
    return np.asarray(alike * alike)


def rounded_counts(counts: FloatArray) -> FloatArray:
    """Return counts to `SHARE_STEP`, large ones to the steps of a rising scale.

    Parameters
    ----------
    counts : FloatArray
        As how many readings the error of each counts, shape (n_readings,). [1]

    Returns
    -------
    FloatArray
        Same shape. [1]
    """
    fine = np.round(counts / SHARE_STEP) * SHARE_STEP
    above = np.log2(np.maximum(counts, MOST_FINE) / MOST_FINE)
    coarse = MOST_FINE * 2.0 ** (np.round(above * STEPS_TO_TWICE) / STEPS_TO_TWICE)
    return np.where(counts > MOST_FINE, coarse, fine)
