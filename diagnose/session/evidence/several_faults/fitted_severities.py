"""Severities that suit the facts, for the fault sets that lead.

The draws hold a few severities of each fault, and a precise reading falls between them:
the posterior then rests on one or two draws, or on none. A set that leads and is
carried by few draws is drawn again: in each draw a severity is chosen by its posterior
weight on a ladder, and the prior of the draw is corrected so that the evidence is that
of all severities together. Leaves the ladders to `severity_ladders` and the choice to
`inference.belief.severity_steps`.

Decisions that bind it:

- In a set of several the cause that its facts pin down most goes up the ladder; the
  further ones are as severe as the facts that are theirs ask for.
- A pair is drawn again as well when only the search says that it leads: with the draws
  alone it misses a reading that it fits when its severity is chosen.
- The severity is chosen by all facts, before and after repairs, whatever is left of the
  set: what still shows after a repair tells how severe the fault is, too.
- What a repair leaves of such a set has a row of its own, as severe as it was there.
  Else the readings taken before the repair would be forgotten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import FaultSet, has_severity
from diagnose.inference.belief.beliefs import RepairStep
from diagnose.inference.belief.severity_steps import (
    choose_severities,
    chosen_row,
    effective_draws,
    n_steps,
)
from diagnose.inference.compiled.bank import REDRAWN_ROWS
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.search.found_sets import Combined
from diagnose.session.evidence.conclusion import (
    Conclusion,
    RedrawnRow,
    before_repairs,
)
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.several_faults.pair_search import FEW_DRAWS_SHARE
from diagnose.session.evidence.several_faults.seen_facts import SeenFacts
from diagnose.session.evidence.several_faults.severity_ladders import (
    Ladders,
    VariedSet,
)
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.facts import ReadingFact

# The least share of the belief of a set whose severities are chosen. [1] Own choice: a
# hundredth is what a ranking shows.
LEAST_REDRAWN = 0.01

# By how much a cause has more of the evidence on its ladder than in the draws, where
# they miss it. [1] Own choice: a factor of two is what draws and steps differ by.
MISSED_RATIO = 2.0

# Shares that agree in so many digits are the same. [1] Derived: far above rounding.
SAME_DIGITS = 9

# How many sets have their severities chosen at most. [1] Derived: each may leave a set
# or two after a repair, and all have to lie in the bank's `REDRAWN_ROWS`.
MOST_LEADING = 16

# How many of them, the likeliest, have it looked at more closely. [1] Own choice: those
# that a next step is about.
MOST_CLOSER = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """A fault set that leads, with the ladder that its severities are chosen on.

    Parameters
    ----------
    ladder : VariedSet
        Its further causes are as severe as their facts ask for.
    steps : Mapping[int, IntArray]
        The step each further cause is on in each draw, shape (n_draws,); empty for the
        one that goes up the ladder.
    factor : FloatArray
        On the prior of each draw, for the choice of those steps; shape (n_draws,). [1]
    """

    ladder: VariedSet
    steps: Mapping[int, IntArray]
    factor: FloatArray


class FittedSeverities:
    """Gives the leading fault sets of one car severities that suit the facts.

    Parameters
    ----------
    compiled : Compiled
        The car, and the rows that sets are written into.
    ladders : Ladders
        Fault sets under every severity of one cause.
    seen : SeenFacts
        Knows which cause of a set a fact is about.
    mark : Callable
        Told of an observation and a row when the likelihood of the row is written.
    """

    def __init__(
        self,
        compiled: Compiled,
        ladders: Ladders,
        seen: SeenFacts,
        *,
        mark: Callable[[Noted, int], None],
    ) -> None:
        self._compiled, self._ladders = compiled, ladders
        self._seen, self._mark = seen, mark

    def redrawn(
        self,
        conclusion: Conclusion,
        combined: Combined,
        rows: Mapping[FaultSet, int],
        allowance: Allowance,
        *,
        sharp: Mapping[FaultSet, float],
    ) -> Conclusion | None:
        """Return a conclusion in which the leading sets have severities of their own.

        Parameters
        ----------
        conclusion : Conclusion
            Before, with the severities as drawn.
        combined : Combined
            What the search found.
        rows : Mapping[FaultSet, int]
            The row of each set.
        allowance : Allowance
            Whether missing ladders may be solved now.
        sharp : Mapping[FaultSet, float]
            Single causes with the share of the evidence that they have on a ladder,
            where the draws may miss them. [1]

        Returns
        -------
        Conclusion or None
            Without beliefs; None where nothing has to be drawn again.
        """
        if not any(
            isinstance(n.observation, ReadingFact) for n in conclusion.observations
        ):
            return None
        leading = self._leading(conclusion, combined, rows, sharp)
        mended = frozenset().union(*(repair.causes for repair in conclusion.repairs))
        plans, needed = self._plans(leading, conclusion, mended, allowance)
        if not plans:
            return None
        self._ladders.solve(needed)
        plans, needed = self._closer(plans, needed, conclusion, rows, allowance)
        self._ladders.solve(needed)
        return self._written(plans, conclusion, mended, rows)

    def _closer(
        self,
        plans: Sequence[_Plan],
        needed: Sequence[VariedSet],
        conclusion: Conclusion,
        rows: Mapping[FaultSet, int],
        allowance: Allowance,
    ) -> tuple[list[_Plan], list[VariedSet]]:
        """Return the plans, the likeliest on closer ladders, and the ladders they need.

        A set of which something was mended stays on its ladder: what is left of it is
        weighed on the same steps.
        """
        mended = frozenset().union(*(repair.causes for repair in conclusion.repairs))
        found, more = list(plans), list(needed)
        for place, plan in enumerate(plans[:MOST_CLOSER]):
            if mended & set(plan.ladder.fault_set):
                continue
            closer = plan.ladder.closer(self._course(plan, conclusion, rows))
            if closer and allowance.within([closer], self._ladders.has):
                found[place] = replace(plan, ladder=closer)
                more.append(closer)
        return found, more

    def _written(
        self,
        plans: list[_Plan],
        conclusion: Conclusion,
        mended: frozenset[int],
        rows: Mapping[FaultSet, int],
    ) -> Conclusion:
        """Return a conclusion with planned sets and what repairs leave of them."""
        bank = self._compiled.bank
        first = bank.first_redrawn
        free = iter(range(first + len(plans), first + REDRAWN_ROWS))
        sets, prior = list(conclusion.hypotheses.sets), conclusion.prior.copy()
        remains: dict[tuple[int, FaultSet], int] = {}
        written: dict[int, RedrawnRow] = {}
        for row, plan in enumerate(plans, start=first):
            fault_set, old = plan.ladder.fault_set, rows[plan.ladder.fault_set]
            redrawn = choose_severities(
                self._course(plan, conclusion, rows), plan.ladder.shares
            )
            self._put(row, plan.ladder, redrawn.choice, conclusion)
            grid = self._ladders.of(plan.ladder).grid
            written[row] = RedrawnRow(grid, redrawn.choice)
            sets[row], sets[old] = fault_set, ()
            prior[row] = prior[old] * redrawn.correction * plan.factor
            prior[old] = 0.0
            steps = {**plan.steps, plan.ladder.varied: redrawn.choice}
            for cause in sorted(set(steps) if mended & set(fault_set) else ()):
                left = next(free, None) if len(fault_set) > 1 else None
                if left is not None:
                    alone = VariedSet.alone(cause)
                    self._put(left, alone, steps[cause], conclusion)
                    grid = self._ladders.of(alone).grid
                    written[left] = RedrawnRow(grid, steps[cause])
                    sets[left] = (cause,)
                    remains[row, (cause,)] = left
        return replace(
            conclusion,
            hypotheses=replace(bank.all, sets=tuple(sets)),
            prior=prior,
            remains=remains,
            redrawn=written,
        )

    def _put(
        self, row: int, ladder: VariedSet, steps: IntArray, conclusion: Conclusion
    ) -> None:
        """Write a step of a ladder for each draw into a row, likelihoods included."""
        bank, each_draw = self._compiled.bank, np.arange(self._compiled.n_draws)
        states = [state.name for state in self._compiled.predictor.states]
        bank.put(row, chosen_row(self._ladders.of(ladder).grid, steps, states), 0)
        for noted, likelihood in zip(
            conclusion.observations, conclusion.likelihoods, strict=True
        ):
            likelihood[row] = self._ladders.likelihood(ladder, noted)[steps, each_draw]
            self._mark(noted, row)

    def _leading(
        self,
        conclusion: Conclusion,
        combined: Combined,
        rows: Mapping[FaultSet, int],
        sharp: Mapping[FaultSet, float],
    ) -> Mapping[FaultSet, FaultSet]:
        """Return the likeliest sets that few draws carry, with what to vary in each.

        What is varied are some of its causes, the one that goes up the ladder first. Of
        a pair the draws may have missed what it shows, so that only the estimate of the
        search tells that it leads.
        """
        weights, causes = conclusion.beliefs.weights, self._compiled.causes
        chances = np.maximum(weights.sum(axis=1), before_repairs(conclusion))
        few = effective_draws(weights) < FEW_DRAWS_SHARE * weights.shape[1]
        estimated = dict(zip(combined.sets, combined.shares, strict=True))
        narrow = dict(zip(combined.sets, combined.narrow, strict=True))
        found: dict[FaultSet, FaultSet] = {}
        shares: dict[FaultSet, float] = {}
        by_row = chances.tolist()
        for fault_set, row in rows.items():
            share = max(by_row[row], sharp.get(fault_set, 0.0))
            varied = narrow.get(fault_set, ())
            if share < LEAST_REDRAWN and not varied:
                continue
            severe = tuple(c for c in fault_set if has_severity(causes[c]))
            if not severe or conclusion.comes_and_goes[row] >= 0:
                continue
            if varied:
                share = max(share, estimated[fault_set])
            elif not few[row] and share < MISSED_RATIO * by_row[row]:
                continue
            if share >= LEAST_REDRAWN:
                found[fault_set], shares[fault_set] = varied or severe[:1], share
        # two ends of one wire are as likely to the last digit but one
        leading = sorted(found, key=lambda one: (-round(shares[one], SAME_DIGITS), one))
        return {fault_set: found[fault_set] for fault_set in leading[:MOST_LEADING]}

    def _plans(
        self,
        leading: Mapping[FaultSet, FaultSet],
        conclusion: Conclusion,
        mended: frozenset[int],
        allowance: Allowance,
    ) -> tuple[list[_Plan], list[VariedSet]]:
        """Return the plans that may be carried out, and the ladders they need."""
        has = self._ladders.has
        plans: list[_Plan] = []
        needed: list[VariedSet] = []
        for fault_set, varied in leading.items():
            further = [VariedSet.alone(cause) for cause in varied[1:]]
            if len(allowance.within(further, has)) < len(further):
                continue
            plan = self._plan(fault_set, varied, conclusion, mended)
            alone = plan.steps if mended & set(fault_set) else ()
            wanted = [plan.ladder, *(VariedSet.alone(cause) for cause in alone)]
            if len(allowance.within(wanted, has)) == len(wanted):
                plans.append(plan)
                needed += wanted
        return plans, needed

    def _plan(
        self,
        fault_set: FaultSet,
        varied: FaultSet,
        conclusion: Conclusion,
        mended: frozenset[int],
    ) -> _Plan:
        """Return a plan whose further causes are as severe as their facts ask for."""
        told = conclusion.observations
        if mended & set(fault_set):
            # after its repair a fact may be about something else
            told = tuple(noted for noted in told if noted.epoch == 0)
        others, factor = [], np.ones(self._compiled.n_draws)
        steps: dict[int, IntArray] = {varied[0]: np.zeros(0, dtype=np.int64)}
        for cause in varied[1:]:
            own = self._seen.moved_most_by(cause, fault_set, told)
            fitted = self._ladders.fitted(cause, own)
            others.append(fitted.severity)
            steps[cause] = fitted.steps
            factor *= fitted.correction
        ladder = VariedSet(fault_set, varied[0], tuple(others))
        return _Plan(ladder=ladder, steps=steps, factor=factor)

    def _course(
        self, plan: _Plan, conclusion: Conclusion, rows: Mapping[FaultSet, int]
    ) -> FloatArray:
        """Return the likelihood of facts and repairs on every step of a ladder.

        Summed over what each repair may leave of the set; shape (n_steps, n_draws).
        """
        fault_set, cause = plan.ladder.fault_set, plan.ladder.varied
        shape = n_steps(len(plan.ladder.levels)), self._compiled.n_draws
        each_draw = np.arange(self._compiled.n_draws)

        def on_steps(left: FaultSet, number: int) -> FloatArray:
            noted = conclusion.observations[number]
            if left == fault_set:
                return self._ladders.likelihood(plan.ladder, noted)
            if len(left) == 1 and left[0] in plan.steps:
                steps = self._ladders.likelihood(VariedSet.alone(left[0]), noted)
                if left[0] != cause:
                    steps = np.asarray(steps[plan.steps[left[0]], each_draw])
                return steps
            return np.asarray(conclusion.likelihoods[number][rows[left]])

        number, there = 0, {fault_set: np.ones(shape)}
        for step in conclusion.steps():
            if not isinstance(step, RepairStep):
                there = {s: w * on_steps(s, number) for s, w in there.items()}
                number += 1
                continue
            for before in list(there):
                left = tuple(c for c in before if c not in step.causes)
                if len(left) < len(before):
                    cured = step.cure_probability * there[before]
                    there[before] = there[before] - cured
                    there[left] = there.get(left, 0.0) + cured
        return np.asarray(np.sum(list(there.values()), axis=0))
