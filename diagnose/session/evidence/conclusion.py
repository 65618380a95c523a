"""A conclusion: what facts amount to for each fault set, and what is believed then.

Leaves how it is come to to `concluding`.

Decision that binds it: sets with a fault that comes and goes stand behind all others
and name the rows that show them, so that whatever sums over all rows needs to know
nothing of them.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.errors import ImpossibleEvidenceError
from diagnose.faults.causes import FaultSet
from diagnose.inference.belief.beliefs import Beliefs, RepairStep, Step, update
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.session.evidence.seen import Noted


@dataclass(frozen=True, slots=True)
class RedrawnRow:
    """The severities that were chosen for a row.

    Parameters
    ----------
    grid : Hypotheses
        The solved severities of the set, one a row, the mildest first.
    steps : IntArray
        The step between them that each draw shows, shape (n_draws,).
    """

    grid: Hypotheses
    steps: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Conclusion:
    """What the facts amount to.

    Parameters
    ----------
    hypotheses : Hypotheses
        The rows of the bank: singles, then the pairs looked at and the sets redrawn;
        rows not in use have no prior.
    beliefs : Beliefs
        As things are now, after the repairs.
    observations : tuple[Noted, ...]
        What was seen, in order.
    likelihoods : tuple[FloatArray, ...]
        One per observation, each by itself, shape (n_sets, n_draws).
        [1 over the unit of the reading, or 1]
    repairs : tuple[RepairStep, ...]
        What was mended, in order.
    prior : FloatArray
        Of each set and draw, shape (n_sets, n_draws). [1]
    left_out_probability : float
        Share of the evidence that sets not looked at could add. [1]
    shown_by : IntArray
        The row of `hypotheses` that holds what each set shows: its own, but of sets
        with a fault that comes and goes that of the lasting fault it acts as, shape
        (n_sets,).
    away : IntArray
        The row that holds what each set shows while no fault that comes and goes is
        there, shape (n_sets,).
    comes_and_goes : IntArray
        Of each set the fault that does, its place among such faults, -1 where none;
        shape (n_sets,).
    first_fleeting : int
        The first row of sets with a fault that comes and goes; they are the last ones.
    together : Mapping[int, FloatArray]
        Number of an observation to a factor on its likelihoods, for what those seen in
        one state say together of faults that come and go, shape (n_sets, n_draws). [1]
    there_now : Mapping[str, FloatArray]
        State to the chance that the next look in it finds a fault that comes and goes
        there, shape (n_sets, n_draws); without states in which nothing was seen. [1]
    remains : Mapping[tuple[int, FaultSet], int]
        The row of what a repair leaves of a redrawn set, as severe as it was there.
    redrawn : Mapping[int, RedrawnRow]
        The rows whose severity was chosen by the facts.
    is_complete : bool
        Whether all fault sets that the facts call for were solved.
    is_good : tuple[bool, ...]
        Of each observation, whether it is a reading in the band that the page calls
        good, taken after a repair; empty where none is.

    Notes
    -----
    What is good after a repair speaks for no fault: where in its band a sound car reads
    is chance, and a fault that happens to read there too gains nothing by it.
    """

    hypotheses: Hypotheses
    beliefs: Beliefs
    observations: tuple[Noted, ...]
    likelihoods: tuple[FloatArray, ...]
    repairs: tuple[RepairStep, ...]
    prior: FloatArray
    left_out_probability: float
    shown_by: IntArray
    away: IntArray
    comes_and_goes: IntArray
    first_fleeting: int
    together: Mapping[int, FloatArray] = field(
        default_factory=lambda: MappingProxyType({})
    )
    there_now: Mapping[str, FloatArray] = field(
        default_factory=lambda: MappingProxyType({})
    )
    remains: Mapping[tuple[int, FaultSet], int] = field(
        default_factory=lambda: MappingProxyType({})
    )
    redrawn: Mapping[int, RedrawnRow] = field(
        default_factory=lambda: MappingProxyType({})
    )
    is_complete: bool = True
    is_good: tuple[bool, ...] = ()

    @property
    def weighed(self) -> tuple[FloatArray, ...]:
        """The likelihoods, those seen in one state taken together, as `likelihoods`."""
        return tuple(
            likelihood * self.together[number]
            if number in self.together
            else likelihood
            for number, likelihood in enumerate(self.likelihoods)
        )

    def steps(self) -> list[Step]:
        """Return the likelihoods of the facts, and the repairs, as they happened."""
        result: list[Step] = []
        done = 0
        is_good = self.is_good or (False,) * len(self.observations)
        for noted, likelihood, spares in zip(
            self.observations, self.weighed, is_good, strict=True
        ):
            while done < noted.epoch:
                result.append(self.repairs[done])
                done += 1
            result.append(_sparing(likelihood) if spares else likelihood)
        return [*result, *self.repairs[done:]]


def _sparing(likelihood: FloatArray) -> FloatArray:
    """Return a likelihood that speaks for the sound car as much as for any fault.

    Shape (n_sets, n_draws), the sound car in the first row.
    """
    level = float(likelihood[0].mean())
    result = np.minimum(likelihood, level)
    result[0] = level
    return result


def believing(draft: Conclusion) -> Conclusion:
    """Return a conclusion with its beliefs worked out.

    Parameters
    ----------
    draft : Conclusion
        Whole but for its beliefs.

    Raises
    ------
    ImpossibleEvidenceError
        If the facts are impossible together.
    """
    sets = draft.hypotheses.sets
    beliefs = update(sets, draft.prior, draft.steps(), remains=draft.remains)
    if beliefs is None:
        raise ImpossibleEvidenceError(
            "no cause can give these facts together; take the doubtful one back"
        )
    return replace(draft, beliefs=beliefs)


def before_repairs(conclusion: Conclusion) -> FloatArray:
    """Return how likely each set was before the first repair.

    Returns
    -------
    FloatArray
        Shape (n_sets,). [1]
    """
    if not conclusion.repairs:
        return conclusion.beliefs.set_probabilities()
    steps = itertools.takewhile(
        lambda step: not isinstance(step, RepairStep), conclusion.steps()
    )
    before = update(conclusion.hypotheses.sets, conclusion.prior, tuple(steps))
    assert before is not None
    return before.set_probabilities()
