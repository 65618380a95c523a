"""Searching: which fault sets beyond single causes the facts call for.

Gathers what each fact says of single causes, once for each fact. Leaves the estimate
to `inference.search`, and solving what is found to `reasoning`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, StoredArray
from diagnose.faults.causes import FaultSet, has_severity
from diagnose.inference.belief.beliefs import RepairStep
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.meter_loading import OVER_RANGE_OHMS
from diagnose.inference.prior.several_faults import pair_lift
from diagnose.inference.search.found_sets import Combined
from diagnose.inference.search.pairs import promising_pairs
from diagnose.inference.search.single_causes import PairSums, Seen
from diagnose.inference.search.told_together import Ladder, Told
from diagnose.inference.search.wider_sets import promising_companions, promising_thirds
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.interacting_pairs import Partners
from diagnose.session.evidence.likelihoods import Weigher
from diagnose.session.evidence.observations import Noted, Observation
from diagnose.session.evidence.severity_ladders import Ladders, Rungs
from diagnose.session.evidence.solving_allowance import Effort
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.ready_car import Model

LINEAR_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.LAMP, ReadingKind.LOOK})
MOST_PAIRS = 48
MOST_FLEETING_PAIRS = 24
MOST_TRIPLES = 6
MOST_COMPANIONS = 24
# Own choice: of the sets worth solving the likeliest; each costs some milliseconds, and
# those left out are counted in what is told to be left out.
MOST_SHARP = 6
LEAST_SHARP = 0.02
# Derived: a cause less likely even if half the facts are put down to others is no half
# of a pair that counts.
FEW_DRAWS = 0.5
# Own choice: facts that half of the draws do not carry begin to pin a severity down.
MOST_CONTESTED = 2
LEAST_CONTESTED = 0.1
CONTESTED_RATIO = 0.5
ODD_RATIO = 0.2
# Own choice: all but a few facts speak for a cause that would be twice as likely if
# each could be put down to something else; odd is what another cause makes five times
# likelier.
MOST_PARTNERS = 96
MOST_PARTNER_PAIRS = 12
LEAST_PARTNER = 3e-3
# Derived: a few cars tell the share of a pair to some factor of four (tested).
KEPT_FACTS = 64
# Derived: an evening's facts; 1.6 MB each.


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """Priors under the answers about the car's history.

    Parameters
    ----------
    answers : tuple[tuple[str, str], ...]
    singles : FloatArray
        Of none and of every single cause, shape (1 + n_causes,).
    odds : FloatArray
        Of every cause alone against none, shape (n_causes,).
    log_lift : StoredArray
        Log of `Priors.pair_lift`, -inf for two causes of one part, and for two that
        come and go.
    """

    answers: tuple[tuple[str, str], ...]
    singles: FloatArray
    odds: FloatArray
    log_lift: StoredArray

    @staticmethod
    def under(answers: Mapping[str, str], compiled: Compiled) -> Chances:
        """Return the priors under some answers."""
        priors = compiled.priors
        alone = ((), *((cause,) for cause in range(len(compiled.causes))))
        log_lift = np.log(pair_lift(priors, answers))
        log_lift[compiled.n_lasting :, compiled.n_lasting :] = -np.inf
        log_lift[priors.part_of[:, None] == priors.part_of] = -np.inf
        return Chances(
            answers=tuple(sorted(answers.items())),
            singles=priors.set_probabilities(alone, answers),
            odds=priors.odds @ priors.given(answers),
            log_lift=log_lift,
        )


class Searcher:
    """Finds the fault sets of one car that facts call for.

    Parameters
    ----------
    model : Model
    weigher : Weigher
    ladders : Ladders
    """

    def __init__(self, model: Model, weigher: Weigher, ladders: Ladders) -> None:
        self._compiled: Compiled = model.compiled
        self._weigher, self._ladders = weigher, ladders
        self._seen: dict[Noted, Seen] = {}
        causes = self._compiled.causes
        self._latest: tuple[tuple[Noted, ...], Told] | None = None
        self._partners = Partners(model, ladders)
        self._sums = PairSums(len(causes))
        self._is_severe: BoolArray = np.array(
            [one.mode.lasts and has_severity(one) for one in causes]
        )

    def pairs(
        self,
        observations: Sequence[Noted],
        front_of: Callable[[int], FloatArray],
        chances: Chances,
        effort: Effort,
    ) -> Combined:
        """Return the pairs that facts told before any repair call for.

        Parameters
        ----------
        observations : Sequence[Noted]
        front_of : Callable
            The place of an observation to its likelihood under the sound car and every
            single cause, shape (1 + n_causes, n_draws).
        """
        facts = {
            noted: self._seen_of(noted, partial(front_of, place))
            for place, noted in enumerate(observations)
            if noted.epoch == 0
        }
        if not facts:
            return Combined()
        told = self._told(facts, chances, effort)
        self._latest = tuple(facts), told
        found = promising_pairs(
            told,
            self._sums.of(facts),
            most=MOST_PAIRS,
            few_draws=FEW_DRAWS,
            log_lift=chances.log_lift,
        )
        found = self._with_partners(
            found, told, tuple(facts), chances=chances, effort=effort
        )
        n_lasting = self._compiled.n_lasting
        return found.with_most(MOST_FLEETING_PAIRS, lambda pair: pair[-1] >= n_lasting)

    def triples(
        self,
        shares: Mapping[FaultSet, float],
        likelihood_of: Callable[[FaultSet, Noted], FloatArray],
        chances: Chances,
    ) -> Combined:
        """Return the sets of three that the facts of the latest search call for.

        With every set that a repair may leave of them.

        Parameters
        ----------
        shares : Mapping[FaultSet, float]
            Pairs that lead, and what they hold of the belief.
        likelihood_of : Callable
            A pair and a fact to its likelihood, shape (n_draws,).
        """
        if self._latest is None:
            return Combined()
        facts, told = self._latest
        found: dict[FaultSet, float] = {}
        for pair, share in shares.items():
            thirds = promising_thirds(
                told,
                pair,
                [likelihood_of(pair, noted) for noted in facts],
                share=share,
                log_lift=chances.log_lift,
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

    def _with_partners(
        self,
        found: Combined,
        told: Told,
        facts: Sequence[Noted],
        *,
        chances: Chances,
        effort: Effort,
    ) -> Combined:
        """Return these and pairs in which one fault changes what the other shows.

        Looked for beside causes that all but a few facts speak for, among what moves
        those few.
        """
        more: dict[FaultSet, float] = {}
        for cause in told.contested(
            most=MOST_CONTESTED, least=LEAST_CONTESTED, ratio=CONTESTED_RATIO
        ):
            beside = self._beside(cause, told, facts, chances=chances, effort=effort)
            more.update(beside)
        known = set(found.sets)
        likely = [one for one in more if more[one] > LEAST_PARTNER and one not in known]
        likely.sort(key=lambda one: (-more[one], one))
        return found.and_also(likely[:MOST_PARTNER_PAIRS])

    def _beside(
        self,
        cause: int,
        told: Told,
        facts: Sequence[Noted],
        *,
        chances: Chances,
        effort: Effort,
    ) -> Mapping[FaultSet, float]:
        """Return the share of the belief of a cause with each that moves its odd facts.

        These are taken from the pair, solved roughly; in the others each cause is taken
        to show what it shows alone.
        """
        n_lasting = self._compiled.n_lasting
        if cause >= n_lasting:
            return {}
        part_of = self._compiled.priors.part_of
        moves = part_of[:n_lasting] != part_of[cause]
        odd = told.at_odds(cause, ratio=ODD_RATIO)
        moved = [told.seen[number].is_moved[:n_lasting] for number in odd]
        others = np.flatnonzero(moves & np.any([np.zeros(n_lasting), *moved], axis=0))
        others = others[np.argsort(-told.odds[others], kind="stable")][:MOST_PARTNERS]
        every = [(min(cause, one), max(cause, one)) for one in others.tolist()]
        pairs = effort.within(every, self._partners.has)
        if not pairs:
            return {}
        others = np.array([sum(pair) - cause for pair in pairs])
        log_share = self._partners.log_evidence(pairs, [facts[n] for n in odd])
        log_share += told.log_evidence_apart(cause, others, without=odd)
        log_share -= told.log_evidence
        log_share += np.log(told.odds[cause]) + np.log(told.odds[others])
        log_share += chances.log_lift[cause, others]
        shares = np.exp(np.minimum(log_share, 0.0)).tolist()
        return dict(zip(pairs, shares, strict=True))

    def moved_by(
        self, cause: int, fault_set: FaultSet, observations: Sequence[Noted]
    ) -> list[Noted]:
        """Return the facts before any repair that one cause of a set moves most."""
        return [
            noted
            for noted in observations
            if noted in self._seen
            and max(fault_set, key=lambda one: self._seen[noted].moved[one]) == cause
        ]

    def _told(
        self, facts: Mapping[Noted, Seen], chances: Chances, effort: Effort
    ) -> Told:
        """Return what facts say, severities of the likeliest causes looked at closely.

        With the draws alone a precise reading falls between the severities of the true
        cause, and a pair with it seems to explain nothing.
        """
        told = Told(
            seen=tuple(facts.values()),
            odds=chances.odds,
            is_severe=self._is_severe,
        )
        if not any(isinstance(noted.observation, ReadingFact) for noted in facts):
            return told
        sharp = effort.within(
            told.sharp(most=MOST_SHARP, least=LEAST_SHARP, few_draws=FEW_DRAWS),
            lambda cause: self._ladders.has(Rungs((cause,), cause)),
        )
        if not sharp:
            return told
        self._ladders.solve([Rungs((cause,), cause) for cause in sharp])
        ladders = {cause: self._ladder(cause, tuple(facts)) for cause in sharp}
        return replace(told, ladders=ladders)

    def _ladder(self, cause: int, facts: Sequence[Noted]) -> Ladder:
        # held here: others may be solved before these facts are looked at again
        ladder = self._ladders.of(Rungs((cause,), cause))
        return lambda number: self._ladders.weighed(ladder, facts[number])

    def companions(
        self,
        observations: Sequence[Noted],
        front_of: Callable[[int], FloatArray],
        chances: Chances,
        repairs: Sequence[RepairStep],
    ) -> tuple[FaultSet, ...]:
        """Return pairs of a mended cause and what may have been there beside it.

        Judged by what was told since the latest repair: before it, the cause may have
        been there still, for a repair may fail.
        """
        n_lasting = self._compiled.n_lasting
        odds = chances.odds[:n_lasting]
        mended = sorted(
            cause
            for cause in {one for repair in repairs for one in repair.causes}
            if cause < n_lasting
        )
        seen_after = [
            front_of(place)[: 1 + n_lasting].mean(axis=1)
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

    def _seen_of(self, noted: Noted, front: Callable[[], FloatArray]) -> Seen:
        """Return what a fact says of single causes, worked out once."""
        # those asked for last are dropped last
        seen = self._seen.pop(noted, None)
        if seen is None:
            while len(self._seen) >= KEPT_FACTS:
                del self._seen[next(iter(self._seen))]
            seen = Seen(likelihood=front(), moved=self._deviation(noted.observation))
        self._seen[noted] = seen
        return seen

    def _deviation(self, observation: Observation) -> FloatArray:
        """Return how far each single cause moves what a fact looks at, (n_causes,).

        A symptom in probability; volts over one volt, other readings as a share. What
        comes and goes counts as it is while it is there.
        """
        singles, n_causes = self._compiled.singles, len(self._compiled.causes)
        presence = self._compiled.presence
        test = self._weigher.provocation(observation)
        if test is not None:
            moved = np.zeros(n_causes)
            reacts = presence.reaction(test.trigger, test.at_target)
            moved[presence.numbers] = reacts.mean(axis=1)
            return moved
        if isinstance(observation, SymptomFact):
            column = self._compiled.symptom_index[observation.symptom]
            shown = singles.symptoms[:, :, column].mean(axis=1).astype(np.float64)
        else:
            shown = self._compiled.predicted(singles, observation.reading)
            shown = np.where(np.isinf(shown), OVER_RANGE_OHMS, shown).mean(axis=1)
            if observation.reading.kind not in LINEAR_KINDS:
                least = 1e-5 if observation.reading.kind is ReadingKind.FUSE else 1e-3
                shown = np.log(np.maximum(shown, least))
        moved = np.abs(shown[1:] - shown[0])
        return np.append(moved, moved[presence.acts_as])
