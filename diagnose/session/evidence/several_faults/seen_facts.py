"""What each fact says of every single cause, worked out once and kept.

A search for several faults rests on it: how likely the fact is under each cause alone,
and how far each cause moves what the fact looks at. Leaves adding facts up to
`inference.search`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.meter_loading import OVER_RANGE_OHMS
from diagnose.inference.search.single_causes import Seen
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.seen import Noted, Observation, seen_of
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.evidence.weighing.scatter import EVERY_ROW
from diagnose.session.evidence.weighing.there import there
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact
from diagnose.session.ready_car import Model

# The kinds of reading that are compared by their difference; others, such as ohms, span
# decades and are compared by their ratio.
LINEAR_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.LAMP, ReadingKind.LOOK})

# The least reading that a ratio is taken of. [A, Ω, V of alternating current] Derived:
# no meter here counts in less.
LEAST_SHOWN = 1e-3

# The same for the volts along a fuse. [V] Derived: a tenth of what the meter counts in
# there.
LEAST_FUSE_SHOWN = 1e-5

# How much is kept of facts, and of how many at least. [B, 1] Own choice: of the shipped
# car 400 facts, a long evening.
KEPT_BYTES, KEPT_FACTS = 300_000_000, 64


@dataclass(frozen=True, slots=True)
class SinglesTold:
    """What observations say of the sound car and of every single cause.

    Parameters
    ----------
    weighed : Sequence[FloatArray]
        The likelihood of each observation, shape (n_rows, n_draws).
    rows : IntArray
        Those of the sound car and the single causes, shape (1 + n_causes,).
    """

    weighed: Sequence[FloatArray]
    rows: IntArray

    def likelihood(self, place: int) -> FloatArray:
        """Return the likelihood of one observation, put together when it is asked for.

        Parameters
        ----------
        place : int
            Of the observation.

        Returns
        -------
        FloatArray
            Shape (1 + n_causes, n_draws). [1 over the unit of the reading, or 1]
        """
        return np.asarray(self.weighed[place][self.rows])


class SeenFacts:
    """The facts told of one car, each with what it says of single causes.

    Parameters
    ----------
    model : Model
        The car with what single causes show.
    weigher : Weigher
        Knows which facts are the outcome of a test.
    """

    def __init__(self, model: Model, weigher: Weigher) -> None:
        self._model, self._weigher = model, weigher
        self._compiled: Compiled = model.compiled
        self._kept: dict[Noted, Seen] = {}
        # of every fact: a few kilobytes each
        self._moved_by: dict[Observation, FloatArray] = {}

    def seen(self, noted: Noted, likelihood: Callable[[], FloatArray]) -> Seen:
        """Return what a fact says of single causes.

        Parameters
        ----------
        noted : Noted
            The fact.
        likelihood : Callable
            Gives its likelihood under the sound car and every single cause, shape
            (1 + n_causes, n_draws); asked when the fact is new.
            [1 over the unit of the reading, or 1]
        """
        # those asked for last are dropped last
        seen = self._kept.pop(noted, None)
        if seen is None:
            moved = self._moved_by.get(noted.observation)
            if moved is None:
                moved = self._moved(noted.observation)
                self._moved_by[noted.observation] = moved
            # single precision is far finer than the search needs
            seen = Seen(likelihood=likelihood().astype(np.float32), moved=moved)
            most = max(KEPT_FACTS, KEPT_BYTES // seen.n_bytes)
            while len(self._kept) >= most:
                del self._kept[next(iter(self._kept))]
        self._kept[noted] = seen
        return seen

    def moved_most_by(
        self, cause: int, fault_set: FaultSet, observations: Sequence[Noted]
    ) -> list[Noted]:
        """Return the facts that one cause of a set moves further than its others do.

        Parameters
        ----------
        cause : int
            One of the set.
        fault_set : FaultSet
            Causes that are there together.
        observations : Sequence[Noted]
            The facts.
        """
        return [
            noted
            for noted in observations
            if noted in self._kept
            and max(fault_set, key=lambda one: self._kept[noted].moved[one]) == cause
        ]

    def _moved(self, observation: Observation) -> FloatArray:
        """Return how far each single cause moves what a fact looks at, (n_causes,).

        A symptom in probability; volts over one volt, other readings as a share. What
        comes and goes counts as it is while it is there.
        """
        singles, n_causes = self._compiled.singles, len(self._compiled.causes)
        presence = self._compiled.presence
        test = self._weigher.provocation(observation)
        if test is not None:
            return test.moved(presence, n_causes)
        if isinstance(observation, SymptomFact):
            shown = there(self._model, singles, observation.symptom).mean(axis=1)
        elif isinstance(observation, SubstitutionFact) and isinstance(
            observation.seen, SymptomFact
        ):
            shown = self._shown(observation).mean(axis=1)
        else:
            seen = seen_of(observation)
            assert isinstance(seen, ReadingFact), "answers were dealt with above"
            kind = seen.reading.kind
            shown = self._shown(observation)
            shown = np.where(np.isinf(shown), OVER_RANGE_OHMS, shown).mean(axis=1)
            if kind not in LINEAR_KINDS:
                is_fuse = kind is ReadingKind.FUSE
                least = LEAST_FUSE_SHOWN if is_fuse else LEAST_SHOWN
                shown = np.log(np.maximum(shown, least))
        moved = np.abs(shown[1:] - shown[0])
        return np.append(moved, moved[presence.acts_as])

    def _shown(self, observation: ReadingFact | SubstitutionFact) -> FloatArray:
        """Return what is seen of each single cause, (1 + n_lasting, n_draws)."""
        singles = self._compiled.singles
        if isinstance(observation, ReadingFact):
            return self._compiled.readings.predicted(singles, observation.reading)
        values, _ = self._weigher.shown_in_test(
            singles, observation.step, rows=EVERY_ROW
        )
        return values
