"""Pairs in which one fault changes what the other shows.

The search for pairs takes it that in each fact a pair shows what one of its causes
shows alone. That fails where one fault spares or feeds the other: a flat battery does
not sag under a starter whose contacts are burnt, and then neither cause alone shows
what the pair does. Where most facts speak for a cause and a few against it, those
causes that move the few are solved together with it, for a few cars only: enough to see
whether the pair is worth solving in full. Leaves the other pairs to `pair_search`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import FaultSet
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.search.single_causes import LEAST_LIKELIHOOD, log_mean_exp
from diagnose.inference.search.told_together import Told
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.several_faults.case_priors import CasePriors
from diagnose.session.evidence.several_faults.severity_ladders import Ladders
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.ready_car import Model

# How many draws of the tolerances a pair is solved with here. [1] Derived: with four
# the share of a pair comes out within a factor of four (tested).
FEW_CARS = 4

# How many pairs solved so are kept. [1] Derived: those of an evening; 30 kB each.
KEPT_PAIRS = 600

# How many causes are looked at beside. [1] Own choice: most facts speak for one or two.
MOST_CONTESTED = 2

# The least share of the belief of such a cause, if facts may be due to something else.
# [1] Own choice: the second half of a pair is looked for beside a likely first one.
LEAST_CONTESTED = 0.1

# By how much such a cause has to gain from putting a few facts down to something else.
# [1] Own choice: its evidence without that is at most half of it.
CONTESTED_RATIO = 0.5

# What makes a fact odd under a cause: its likelihood there over that under another. [1]
# Own choice: another cause makes it five times likelier.
ODD_RATIO = 0.2

# How many causes may be solved together with one, the likeliest of them. [1] Derived:
# with a few cars each costs a millisecond or so.
MOST_PARTNERS = 96

# How many of these pairs are then solved in full. [1] Own choice: each costs some
# milliseconds.
MOST_PARTNER_PAIRS = 12

# The least share of the belief of a pair solved in full. [1] Derived: a few cars tell
# it to some factor of four, and a pair of a hundredth counts.
LEAST_PARTNER = 3e-3


class InteractingPairs:
    """Finds the pairs of one car that a search by single causes misses.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    ladders : Ladders
        Knows which causes act alike.
    """

    def __init__(self, model: Model, ladders: Ladders) -> None:
        self._compiled: Compiled = model.compiled
        self._rough = RoughPairs(model, ladders)

    def promising(
        self,
        told: Told,
        facts: Sequence[Noted],
        priors: CasePriors,
        allowance: Allowance,
        *,
        known: frozenset[FaultSet],
    ) -> list[FaultSet]:
        """Return pairs worth solving beyond those known, the likeliest first.

        Parameters
        ----------
        told : Told
            What the facts say of single causes.
        facts : Sequence[Noted]
            The facts, in the order of `told.seen`.
        priors : CasePriors
            Before any fact.
        allowance : Allowance
            Whether missing pairs may be solved now.
        known : frozenset[FaultSet]
            Pairs that are solved anyway.
        """
        shares: dict[FaultSet, float] = {}
        for cause in told.contested(
            most=MOST_CONTESTED, least=LEAST_CONTESTED, ratio=CONTESTED_RATIO
        ):
            if cause < self._compiled.n_lasting:
                shares.update(self._shares_with(cause, told, facts, priors, allowance))
        likely = [
            one
            for one, share in shares.items()
            if share > LEAST_PARTNER and one not in known
        ]
        likely.sort(key=lambda one: (-shares[one], one))
        return likely[:MOST_PARTNER_PAIRS]

    def _shares_with(
        self,
        cause: int,
        told: Told,
        facts: Sequence[Noted],
        priors: CasePriors,
        allowance: Allowance,
    ) -> Mapping[FaultSet, float]:
        """Return the share of the belief of a cause with each that moves its odd facts.

        These facts are taken from the pair, solved roughly; in the others each cause is
        taken to show what it shows alone.
        """
        odd = told.at_odds(cause, ratio=ODD_RATIO)
        second = self._moving(cause, told, odd)
        log_rest = told.log_evidence_apart(cause, second, without=odd)
        log_rest -= told.log_evidence
        log_rest += np.log(told.odds[cause]) + np.log(told.odds[second])
        log_rest += priors.log_lift[cause, second]
        # those worth solving if they explain the odd facts as well as can be
        best = log_rest + self._rough.log_most([facts[n] for n in odd])
        hopeful = np.flatnonzero(best > np.log(LEAST_PARTNER))
        rest_of = {
            (min(cause, one), max(cause, one)): rest
            for one, rest in zip(
                second[hopeful].tolist(), log_rest[hopeful].tolist(), strict=True
            )
        }
        pairs = allowance.within(list(rest_of), self._rough.has)
        if not pairs:
            return {}
        log_share = self._rough.log_evidence(pairs, [facts[n] for n in odd])
        log_share += [rest_of[pair] for pair in pairs]
        shares = np.exp(np.minimum(log_share, 0.0)).tolist()
        return dict(zip(pairs, shares, strict=True))

    def _moving(self, cause: int, told: Told, odd: Sequence[int]) -> IntArray:
        """Return the likeliest lasting causes of other parts that move some facts."""
        n_lasting = self._compiled.n_lasting
        part_of = self._compiled.priors.part_of[:n_lasting]
        moved = [told.seen[number].is_moved[:n_lasting] for number in odd]
        is_moving = np.any([np.zeros(n_lasting), *moved], axis=0)
        others = np.flatnonzero((part_of != part_of[cause]) & is_moving)
        best = np.argsort(-told.odds[others], kind="stable")[:MOST_PARTNERS]
        return np.asarray(others[best])


class RoughPairs:
    """Pairs of one car, solved with a few draws of its tolerances.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    ladders : Ladders
        Knows which causes act alike.
    """

    def __init__(self, model: Model, ladders: Ladders) -> None:
        self._model, self._ladders = model, ladders
        self._few: tuple[Compiled, Weigher] | None = None
        self._blocks: list[_Block] = []
        self._place: dict[FaultSet, tuple[int, int]] = {}

    def log_evidence(
        self, pairs: Sequence[FaultSet], facts: Sequence[Noted]
    ) -> FloatArray:
        """Return how well pairs explain some facts together.

        Parameters
        ----------
        pairs : Sequence[FaultSet]
            Solved here if they are missing.
        facts : Sequence[Noted]
            What was seen.

        Returns
        -------
        FloatArray
            Log of the likelihood averaged over the draws, shape (n_pairs,). [nat]
        """
        alike = [self._ladders.standing_in(pair) for pair in pairs]
        self._solve(list(dict.fromkeys(alike)))
        by_block = [self._of_block(block, facts) for block in self._blocks]
        places = [self._place[pair] for pair in alike]
        return np.array([by_block[block][row] for block, row in places])

    def log_most(self, facts: Sequence[Noted]) -> float:
        """Return how well a pair may explain some facts together, at best. [nat]."""
        _, weigher = self._few_cars()
        return sum(float(np.log(weigher.most(noted))) for noted in facts)

    def has(self, pair: FaultSet) -> bool:
        """Return whether a pair was solved, and is not forgotten."""
        return self._ladders.standing_in(pair) in self._place

    def _solve(self, pairs: Sequence[FaultSet]) -> None:
        """Solve the pairs that are missing, and forget others when they are many."""
        missing = [pair for pair in pairs if not self.has(pair)]
        if not missing:
            return
        if len(self._place) + len(missing) > KEPT_PAIRS:
            self._blocks, self._place, missing = [], {}, list(pairs)
        compiled, _ = self._few_cars()
        solved = compiled.hypotheses(missing)
        for row, pair in enumerate(missing):
            self._place[pair] = len(self._blocks), row
        self._blocks.append(_Block(solved, {}))

    def _of_block(self, block: _Block, facts: Sequence[Noted]) -> FloatArray:
        """Return the log evidence of all pairs solved together, (n_pairs,)."""
        _, weigher = self._few_cars()
        total = np.zeros(block.solved.symptoms.shape[:2])
        for noted in facts:
            if noted not in block.log:
                found = weigher.likelihood(block.solved, noted)
                block.log[noted] = np.log(np.maximum(found, LEAST_LIKELIHOOD))
            total += block.log[noted]
        return log_mean_exp(total)

    def _few_cars(self) -> tuple[Compiled, Weigher]:
        """Return the car with few draws of its tolerances, made when first needed."""
        if self._few is None:
            whole = self._model.compiled
            sample = Sample(n_draws=FEW_CARS)
            predictor = Predictor(
                CarModel(self._model.car, sample), whole.causes, whole.predictor.probes
            )
            every = whole.n_draws // FEW_CARS
            sound = whole.singles.kept(np.array([0])).some_draws(every)
            compiled = Compiled(
                predictor,
                self._model.knowledge,
                whole.priors,
                bank=Bank.holding(sound),
            )
            # few draws are soon prepared, and every pair is solved in them
            predictor.solver().prepare()
            self._few = compiled, Weigher(replace(self._model, compiled=compiled))
        return self._few


@dataclass(frozen=True, slots=True)
class _Block:
    """Pairs solved together, and the log likelihood of facts, (n_pairs, n_draws)."""

    solved: Hypotheses
    log: dict[Noted, FloatArray]
