"""Partners: pairs in which one fault changes what the other shows.

The search takes it that in each fact a pair shows what one of its causes shows alone. A
flat battery that the burnt contacts of the starter spare is neither. Where most facts
speak for a cause and a few against it, what moves those few is solved beside it, with a
few cars of the same kind: enough to see whether the pair is worth solving in full.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import FaultSet
from diagnose.faults.predictor import Predictor
from diagnose.inference.belief.bank import Bank
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.search.single_causes import LEAST_LIKELIHOOD, log_mean_exp
from diagnose.session.evidence.likelihoods import Weigher
from diagnose.session.evidence.observations import Noted
from diagnose.session.evidence.severity_ladders import Ladders
from diagnose.session.ready_car import Model

FEW_CARS = 4
# Derived: few draws are as far apart as the spread that closes the gaps between them.
KEPT_PAIRS = 600
# Derived: an evening's; 30 kB each.


class Partners:
    """Pairs of one car, solved roughly.

    Parameters
    ----------
    model : Model
    ladders : Ladders
        Knows which causes act alike.
    """

    def __init__(self, model: Model, ladders: Ladders) -> None:
        self._model, self._ladders = model, ladders
        self._rough: tuple[Compiled, Weigher] | None = None
        self._blocks: list[_Block] = []
        self._place: dict[FaultSet, tuple[int, int]] = {}

    def log_evidence(
        self, pairs: Sequence[FaultSet], facts: Sequence[Noted]
    ) -> FloatArray:
        """Return how well pairs explain some facts, log of a likelihood; (n_pairs,)."""
        alike = [self._ladders.standing_in(pair) for pair in pairs]
        self._solve(list(dict.fromkeys(alike)))
        by_block = [self._of_block(block, facts) for block in self._blocks]
        places = [self._place[pair] for pair in alike]
        return np.array([by_block[block][row] for block, row in places])

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
        if self._rough is None:
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
            self._rough = compiled, Weigher(replace(self._model, compiled=compiled))
        return self._rough


@dataclass(frozen=True, slots=True)
class _Block:
    """Pairs solved together, and the log likelihood of facts, (n_pairs, n_draws)."""

    solved: Hypotheses
    log: dict[Noted, FloatArray]
