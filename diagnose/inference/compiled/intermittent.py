"""Faults that come and go: how likely each is to be there at one look.

Its trigger is drawn once for each tolerance draw, like a severity; whether it is there
is drawn anew at a look, or stays as it was in that state. So facts hang together
through the trigger, and one sound reading does not clear the cause. Leaves what the
fault does while it is there to the lasting mode it acts as, and which looks hang
together to `session.evidence.staying`.

Decisions that bind it:

- A fault that comes and goes has no predictions of its own: its likelihood is that of
  the lasting fault and of the sound car, mixed, each fact by itself.
- Readings of one point that disagree beyond the meter both count: one of them is a slip
  for what lasts, and both are what a fault that comes and goes gives.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.tolerance_draws import Draws
from diagnose.faults.causes import Cause, lasting_cause
from diagnose.faults.modes import Trigger


class Presence:
    """The causes of one car that come and go.

    Parameters
    ----------
    causes : Sequence[Cause]
        Of the car; those that come and go behind those that last.
    triggers : Mapping[str, Trigger]
        What can bring a fault, by name.
    sample : Draws
        The tolerance draws.

    Attributes
    ----------
    names : tuple[str, ...]
        Of the triggers, in their order.
    numbers : IntArray
        The causes that come and go, rising, shape (n_fleeting,).
    acts_as : IntArray
        The lasting cause each of them acts as, shape (n_fleeting,).
    trigger : IntArray
        Which trigger each has, shape (n_fleeting, n_draws).
    stays : FloatArray
        Chance that looks in one state all find it as the first did, shape (n_fleeting,
        n_draws). [1]
    """

    def __init__(
        self,
        causes: Sequence[Cause],
        triggers: Mapping[str, Trigger],
        sample: Draws,
    ) -> None:
        fleeting = [n for n, cause in enumerate(causes) if not cause.mode.lasts]
        self.names = tuple(triggers)
        self._triggers = tuple(triggers.values())
        self.numbers: IntArray = np.array(fleeting, dtype=np.int64)
        self.acts_as: IntArray = np.array(
            [lasting_cause(causes[n], causes) for n in fleeting], dtype=np.int64
        )
        self.trigger: IntArray = np.zeros((len(fleeting), sample.n_draws), np.int64)
        for row, number in enumerate(fleeting):
            cause = causes[number]
            level = sample.probabilities(f"{cause.name}/trigger")
            self.trigger[row] = drawn_trigger(cause, self.names, level)
        stays = np.array([one.stays for one in self._triggers], dtype=np.float64)
        self.stays: FloatArray = (
            stays[self.trigger] if len(stays) else np.zeros(self.trigger.shape)
        )
        self._known: dict[str, FloatArray] = {}

    def chance(self, state: str, *, is_complaint: bool = False) -> FloatArray:
        """Return the chance that each is there at a look.

        Parameters
        ----------
        state : str
            Operating state the car is in.
        is_complaint : bool
            What was seen is what the owner came with.

        Returns
        -------
        FloatArray
            Shape (n_fleeting, n_draws). [1]
        """
        key = "" if is_complaint else state
        if key not in self._known:
            by_trigger = [
                one.in_complaint if is_complaint else presence_in(one, state)
                for one in self._triggers
            ]
            chances = np.array(by_trigger, dtype=np.float64)
            self._known[key] = (
                chances[self.trigger] if by_trigger else np.zeros(self.trigger.shape)
            )
        return self._known[key]

    def mean_chance(self, states: Sequence[str]) -> FloatArray:
        """Return the chance that each is there, averaged over states.

        Parameters
        ----------
        states : Sequence[str]
            Operating states.

        Returns
        -------
        FloatArray
            Shape (n_fleeting, n_draws). [1]
        """
        return np.asarray(np.mean([self.chance(state) for state in states], axis=0))

    @staticmethod
    def mixed(there: FloatArray, sound: FloatArray, chance: FloatArray) -> FloatArray:
        """Return what a fact is worth if the fault may be there or not.

        Parameters
        ----------
        there : FloatArray
            Likelihood while it is there, shape (n_fleeting, n_draws). [1 over the
            fact's unit, or 1]
        sound : FloatArray
            Likelihood in the sound car, shape (n_draws,). [the same unit]
        chance : FloatArray
            Chance that it is there, shape (n_fleeting, n_draws). [1]

        Returns
        -------
        FloatArray
            Likelihood, shape (n_fleeting, n_draws). [the same unit]

        Examples
        --------
        There in three looks of four, .75 x .8 + .25 x .04:

        >>> mixed = Presence.mixed(
        ...     np.array([[0.8]]), np.array([0.04]), np.array([[0.75]])
        ... )
        >>> round(float(mixed[0, 0]), 6)
        0.61
        """
        return np.asarray(sound + chance * (there - sound))

    @staticmethod
    def looked_at(
        there: Sequence[FloatArray], away: Sequence[FloatArray], chance: FloatArray
    ) -> FloatArray:
        """Return what readings that agree are worth if it came and went between them.

        Parameters
        ----------
        there, away : Sequence[FloatArray]
            Likelihood of none, one, two, ... of the readings, the last of all of them,
            while the fault is there and while it is not; shape (n_rows, n_draws) each.
            [1 over the fact's unit to the power of the readings]
        chance : FloatArray
            Chance that it is there at each, same shape. [1]

        Returns
        -------
        FloatArray
            Likelihood of all the readings, same shape.

        Notes
        -----
        The sum over how many of n looks found it there, k, of
        n! / (k! (n - k)!) p^k (1 - p)^(n - k) times both likelihoods.
        """
        n_looks = len(there) - 1
        total = np.zeros(chance.shape)
        for n_there in range(n_looks + 1):
            n_away = n_looks - n_there
            ways = math.comb(n_looks, n_there)
            share = chance**n_there * (1.0 - chance) ** n_away
            total += ways * share * there[n_there] * away[n_away]
        return total

    def reaction(self, trigger: str, share_there: FloatArray) -> FloatArray:
        """Return the chance that a test brings or clears each of them.

        Parameters
        ----------
        trigger : str
            The trigger that the test brings.
        share_there : FloatArray
            How much of each sits where the test is done, shape (n_fleeting,). [1]

        Returns
        -------
        FloatArray
            Shape (n_fleeting, n_draws). [1]
        """
        number = self.names.index(trigger)
        test = self._triggers[number].test
        here = np.where(self.trigger == number, test.reacts, test.by_other)
        share = share_there[:, None]
        return np.asarray(share * here + (1.0 - share) * test.imagined)


def presence_in(trigger: Trigger, state: str) -> float:
    """Return the chance that a fault with a trigger is there at a look in a state.

    Parameters
    ----------
    trigger : Trigger
        What brings the fault.
    state : str
        Operating state the car is in.

    Returns
    -------
    float
        Chance. [1]
    """
    return trigger.present.get(state, trigger.otherwise)


def drawn_trigger(cause: Cause, names: Sequence[str], level: FloatArray) -> IntArray:
    """Return which trigger a cause has in each draw.

    Parameters
    ----------
    cause : Cause
        With the share of each trigger.
    names : Sequence[str]
        The triggers, in the order they are numbered.
    level : FloatArray
        Evenly spread between 0 and 1, shape (n_draws,). [1]

    Returns
    -------
    IntArray
        Numbers of triggers, shape (n_draws,).
    """
    shares = np.array([cause.mode.triggers.get(name, 0.0) for name in names])
    last = int(np.flatnonzero(shares)[-1])
    found = np.searchsorted(np.cumsum(shares), level, side="right")
    return np.asarray(np.minimum(found, last))
