"""Which sets of several faults the facts call for.

Solving a set of faults costs milliseconds, and there are a quarter of a million pairs:
so the evidence of each is first estimated from what its causes show alone, and only
those that may add to the belief are solved. Leaves the estimate to `inference.search`,
pairs that interact to `interacting_pairs`, and solving what is found to `solved_sets`.

Decisions that bind it:

- A cause that a reading pins down to few of the severities drawn is judged by its
  ladder of severities. By the draws alone a pair with it seems to explain nothing, and
  true pairs were lost for that.
- Sets of three are looked at only beside a pair that leads.
- After a repair, what may have been there beside the mended cause is looked for among
  what was told since: the repair may have failed, but not all facts are about it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.faults.causes import FaultSet, has_severity
from diagnose.inference.belief.beliefs import RepairStep
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.search.found_sets import Combined
from diagnose.inference.search.pairs import promising_pairs
from diagnose.inference.search.single_causes import PairSums, Seen
from diagnose.inference.search.told_together import Ladder, Told
from diagnose.inference.search.wider_sets import promising_companions, promising_thirds
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.several_faults.case_priors import CasePriors
from diagnose.session.evidence.several_faults.interacting_pairs import InteractingPairs
from diagnose.session.evidence.several_faults.seen_facts import SeenFacts, SinglesTold
from diagnose.session.evidence.several_faults.severity_ladders import (
    Ladders,
    VariedSet,
)
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# How many pairs are solved. [1] Own choice: the likeliest; each costs some
# milliseconds, and those left out are counted in what is told to be left out.
MOST_PAIRS = 48

# How many of them may hold a fault that comes and goes. [1] Own choice: half, so that
# they crowd out no pair that lasts.
MOST_FLEETING_PAIRS = 24

# How many sets of three are solved. [1] Own choice: each brings the pairs within it.
MOST_TRIPLES = 6

# How many pairs of a mended cause and another are solved. [1] Own choice: half as many
# as facts call for, and what is left out here is counted among the priors.
MOST_COMPANIONS = 24

# How many causes are judged by their ladders of severities. [1] Own choice: a ladder
# costs as much as eight fault sets.
MOST_SHARP = 6

# The least share of the belief of such a cause, even if half the facts are put down to
# others. [1] Derived: one less likely is no half of a pair that counts.
LEAST_SHARP = 0.02

# The share of the draws below which few of them carry the facts. [1] Own choice: facts
# that half of the draws do not carry begin to pin a severity down.
FEW_DRAWS_SHARE = 0.5


class Searcher:
    """Finds the sets of several faults of one car that facts call for.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    seen : SeenFacts
        What each fact says of single causes.
    ladders : Ladders
        The severities of causes that facts pin down.
    """

    def __init__(self, model: Model, seen: SeenFacts, ladders: Ladders) -> None:
        self._compiled: Compiled = model.compiled
        self._seen, self._ladders = seen, ladders
        causes = self._compiled.causes
        self._latest: tuple[tuple[Noted, ...], Told] | None = None
        self._interacting = InteractingPairs(model, ladders)
        self._sums = PairSums(len(causes))
        self._is_severe: BoolArray = np.array(
            [one.mode.lasts and has_severity(one) for one in causes]
        )

    def pairs(
        self,
        observations: Sequence[Noted],
        told_of: SinglesTold,
        priors: CasePriors,
        allowance: Allowance,
    ) -> Combined:
        """Return the pairs that facts told before any repair call for.

        Parameters
        ----------
        observations : Sequence[Noted]
            All that was seen.
        told_of : SinglesTold
            What each observation says of the sound car and of every single cause.
        priors : CasePriors
            Before any fact.
        allowance : Allowance
            Whether missing ladders and rough pairs may be solved now.
        """
        facts = {
            noted: self._seen.seen(noted, partial(told_of.likelihood, place))
            for place, noted in enumerate(observations)
            if noted.epoch == 0
        }
        if not facts:
            return Combined()
        told = self._told(facts, priors, allowance)
        self._latest = tuple(facts), told
        found = promising_pairs(
            told,
            self._sums.of(facts),
            most=MOST_PAIRS,
            few_draws=FEW_DRAWS_SHARE,
            log_lift=priors.log_lift,
        )
        more = self._interacting.promising(
            told, tuple(facts), priors, allowance, known=frozenset(found.sets)
        )
        n_lasting = self._compiled.n_lasting
        return found.and_also(more).with_most(
            MOST_FLEETING_PAIRS, lambda pair: pair[-1] >= n_lasting
        )

    def triples(
        self,
        shares: Mapping[FaultSet, float],
        told_of: Mapping[FaultSet, Mapping[Noted, FloatArray]],
        priors: CasePriors,
    ) -> Combined:
        """Return the sets of three that the facts of the latest search call for.

        Parameters
        ----------
        shares : Mapping[FaultSet, float]
            Pairs that lead, and what they hold of the belief. [1]
        told_of : Mapping[FaultSet, Mapping[Noted, FloatArray]]
            A pair and a fact to its likelihood, shape (n_draws,).
        priors : CasePriors
            Before any fact.

        Returns
        -------
        Combined
            With every set that a repair may leave of them.
        """
        if self._latest is None:
            return Combined()
        facts, told = self._latest
        found: dict[FaultSet, float] = {}
        for pair, share in shares.items():
            thirds = promising_thirds(
                told,
                pair,
                [told_of[pair][noted] for noted in facts],
                share=share,
                log_lift=priors.log_lift,
            )
            for one, part in thirds.items():
                if one[-1] < self._compiled.n_lasting:
                    found[one] = max(part, found.get(one, 0.0))
        best = sorted(found, key=lambda one: (-found[one], one))
        kept, dropped = best[:MOST_TRIPLES], best[MOST_TRIPLES:]
        left = [pair for one in kept for pair in combinations(one, 2)]
        return Combined(
            left_out_probability=min(sum(found[one] for one in dropped), 1.0)
        ).and_also([*kept, *left])

    def companions(
        self,
        observations: Sequence[Noted],
        told_of: SinglesTold,
        priors: CasePriors,
        repairs: Sequence[RepairStep],
    ) -> tuple[FaultSet, ...]:
        """Return pairs of a mended cause and what may have been there beside it.

        Judged by what was told since the latest repair: before it, the cause may have
        been there still, for a repair may fail.

        Parameters
        ----------
        observations : Sequence[Noted]
            All that was seen.
        told_of : SinglesTold
            As in `pairs`.
        priors : CasePriors
            Before any fact.
        repairs : Sequence[RepairStep]
            All that were done, in order.
        """
        n_lasting = self._compiled.n_lasting
        odds = priors.odds[:n_lasting]
        mended = sorted(
            cause
            for cause in {one for repair in repairs for one in repair.causes}
            if cause < n_lasting
        )
        seen_after = [
            told_of.likelihood(place)[: 1 + n_lasting].mean(axis=1)
            for place, noted in enumerate(observations)
            if noted.epoch == len(repairs)
        ]
        told = np.prod([np.ones(1 + n_lasting), *seen_after], axis=0)
        return promising_companions(
            odds * told[1:],
            self._compiled.priors.part_of[:n_lasting],
            sound=float(told[0]),
            mended=mended,
            most=MOST_COMPANIONS,
        )

    def _told(
        self, facts: Mapping[Noted, Seen], priors: CasePriors, allowance: Allowance
    ) -> Told:
        """Return what facts say, severities of the likeliest causes looked at closely.

        With the draws alone a precise reading falls between the severities of the true
        cause, and a pair with it seems to explain nothing.
        """
        told = Told(
            seen=tuple(facts.values()), odds=priors.odds, is_severe=self._is_severe
        )
        if not any(isinstance(noted.observation, ReadingFact) for noted in facts):
            return told
        sharp = allowance.within(
            told.sharp(most=MOST_SHARP, least=LEAST_SHARP, few_draws=FEW_DRAWS_SHARE),
            lambda cause: self._ladders.has(VariedSet.alone(cause)),
        )
        if not sharp:
            return told
        self._ladders.solve([VariedSet.alone(cause) for cause in sharp])
        ladders = {cause: self._ladder(cause, tuple(facts)) for cause in sharp}
        return replace(told, ladders=ladders)

    def _ladder(self, cause: int, facts: Sequence[Noted]) -> Ladder:
        # held here: others may be solved before these facts are looked at again
        ladder = self._ladders.of(VariedSet.alone(cause))
        return lambda number: self._ladders.weighed(ladder, facts[number])
