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
- Facts told after a repair count like those before it. Pairs searched by what was told
  before the first repair alone missed the true one of two faults wherever the first
  repair was a wrong one, and a fuse that had been seen blown was left out of all sets.
- What was mended is looked for apart, with what may have been there beside it: facts
  before the repair are about both, those after it about the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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
from diagnose.inference.search.told_together import Told
from diagnose.inference.search.wider_sets import promising_companions, promising_thirds
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.several_faults.case_priors import CasePriors
from diagnose.session.evidence.several_faults.interacting_pairs import InteractingPairs
from diagnose.session.evidence.several_faults.seen_facts import SeenFacts, SinglesTold
from diagnose.session.evidence.several_faults.severity_ladders import (
    LADDER_SHARES,
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

# How many causes of the part that the likeliest one is of are judged so as well. [1]
# Own choice: a joint at either end, and a resistor.
MOST_BESIDE = 3

# The share of the draws below which few of them carry the facts. [1] Own choice: facts
# that half of the draws do not carry begin to pin a severity down.
FEW_DRAWS_SHARE = 0.5


# The least chance that a repair leaves what it mends. [1] Own choice: nothing is ruled
# out for good.
LEAST_LEFT = 1e-6


@dataclass(frozen=True, slots=True)
class FactsTold:
    """What facts say of single causes.

    Parameters
    ----------
    seen : Mapping[Noted, Seen]
        Each fact with what it says.
    told : Told
        All of them together, in that order. A cause that was mended counts as one whose
        repair did not take: facts told since then are about it too.
    """

    seen: Mapping[Noted, Seen]
    told: Told

    def beside(self, log_reached: float) -> FactsTold:
        """Return these where mended causes explain something already. [nat]."""
        return replace(self, told=replace(self.told, log_reached=log_reached))


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
        self._interacting = InteractingPairs(model, ladders)
        self._sums = PairSums(len(causes))
        self._is_severe: BoolArray = np.array(
            [one.mode.lasts and has_severity(one) for one in causes]
        )

    def told(
        self,
        observations: Sequence[Noted],
        told_of: SinglesTold,
        priors: CasePriors,
        repairs: Sequence[RepairStep],
        allowance: Allowance,
    ) -> FactsTold:
        """Return what facts say of single causes, with which sets are searched.

        Parameters
        ----------
        observations : Sequence[Noted]
            All that was seen.
        told_of : SinglesTold
            What each observation says of the sound car and of every single cause.
        priors : CasePriors
            Before any fact.
        repairs : Sequence[RepairStep]
            All that were done, in order.
        allowance : Allowance
            Whether missing ladders may be solved now.
        """
        facts = {
            noted: self._seen.seen(noted, partial(told_of.likelihood, place))
            for place, noted in enumerate(observations)
        }
        odds = priors.odds.copy()
        for repair in repairs:
            odds[list(repair.causes)] *= max(1.0 - repair.cure_probability, LEAST_LEFT)
        return FactsTold(facts, self._told(facts, odds, allowance))

    def pairs(
        self, facts: FactsTold, priors: CasePriors, allowance: Allowance
    ) -> Combined:
        """Return the pairs that facts call for whose causes are there all the time.

        Parameters
        ----------
        facts : FactsTold
            What the facts say.
        priors : CasePriors
            Before any fact.
        allowance : Allowance
            Whether missing rough pairs may be solved now.
        """
        if not facts.seen:
            return Combined()
        found = promising_pairs(
            facts.told,
            self._sums.of(facts.seen),
            most=MOST_PAIRS,
            few_draws=FEW_DRAWS_SHARE,
            log_lift=priors.log_lift,
        )
        more = self._interacting.promising(
            facts.told,
            tuple(facts.seen),
            priors,
            allowance,
            known=frozenset(found.sets),
        )
        n_lasting = self._compiled.n_lasting
        return found.and_also(more).with_most(
            MOST_FLEETING_PAIRS, lambda pair: pair[-1] >= n_lasting
        )

    def triples(
        self,
        seen: FactsTold,
        shares: Mapping[FaultSet, float],
        told_of: Mapping[FaultSet, Mapping[Noted, FloatArray]],
        priors: CasePriors,
    ) -> Combined:
        """Return the sets of three that facts call for.

        Parameters
        ----------
        seen : FactsTold
            What the facts say.
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
        found: dict[FaultSet, float] = {}
        for pair, share in shares.items():
            thirds = promising_thirds(
                seen.told,
                pair,
                [told_of[pair][noted] for noted in seen.seen],
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
        self, facts: FactsTold, priors: CasePriors, repairs: Sequence[RepairStep]
    ) -> tuple[FaultSet, ...]:
        """Return pairs of a mended cause and what may have been there beside it.

        Parameters
        ----------
        facts : FactsTold
            What the facts say.
        priors : CasePriors
            Before any fact.
        repairs : Sequence[RepairStep]
            All that were done, in order.
        """
        n_lasting = self._compiled.n_lasting
        return promising_companions(
            facts.told,
            priors.odds[:n_lasting],
            [noted.epoch for noted in facts.seen],
            {
                cause: number
                for number, repair in enumerate(repairs, start=1)
                for cause in sorted(repair.causes)
                if cause < n_lasting
            },
            log_lift=priors.log_lift,
            most=MOST_COMPANIONS,
        )

    def _told(
        self, facts: Mapping[Noted, Seen], odds: FloatArray, allowance: Allowance
    ) -> Told:
        """Return what facts say, severities of the likeliest causes looked at closely.

        With the draws alone a precise reading falls between the severities of the true
        cause, and a pair with it seems to explain nothing.
        """
        told = Told(seen=tuple(facts.values()), odds=odds, is_severe=self._is_severe)
        if not any(isinstance(noted.observation, ReadingFact) for noted in facts):
            return told
        sharp = told.sharp(
            most=MOST_SHARP, least=LEAST_SHARP, few_draws=FEW_DRAWS_SHARE
        )
        beside = self._beside(told.likeliest, odds)
        sharp = allowance.within(
            list(dict.fromkeys([*sharp, *beside])), self._ladders.has_alone
        )
        if not sharp:
            return told
        self._ladders.solve([VariedSet.alone(cause) for cause in sharp])
        ladders = {
            cause: self._ladders.weighing(cause, tuple(facts)) for cause in sharp
        }
        return replace(told, ladders=ladders, step_shares=LADDER_SHARES)

    def _beside(self, cause: int, odds: FloatArray) -> list[int]:
        """Return what else may ail a part, more or less severely, the likeliest first.

        A joint bad enough to stop what hangs on it is one in a hundred of bad joints:
        the draws may have none, and a rarer fault of the same wire seems certain.
        """
        part_of = self._compiled.priors.part_of
        same = np.flatnonzero((part_of == part_of[cause]) & self._is_severe)
        order = np.argsort(-odds[same], kind="stable")
        return [one for one in same[order].tolist() if one != cause][:MOST_BESIDE]
