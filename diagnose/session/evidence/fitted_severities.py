"""Severities that suit the facts, for the fault sets that lead.

The draws hold some severities of each fault, and a precise reading falls between them.
What leads and is carried by few draws gets the step of a ladder that fits, draw by
draw, and so does what a repair leaves of it. Leaves the ladders to `ladders`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import LADDER_LEVELS, FaultSet, has_severity
from diagnose.inference.belief.bank import REDRAWN_ROWS
from diagnose.inference.belief.beliefs import RepairStep
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.severity_steps import (
    choose_severities,
    chosen_row,
    effective_draws,
    n_steps,
)
from diagnose.inference.search.found_sets import Combined
from diagnose.session.evidence.conclusion import Conclusion, before_repairs
from diagnose.session.evidence.observations import Noted
from diagnose.session.evidence.pair_search import FEW_DRAWS, Searcher
from diagnose.session.evidence.severity_ladders import Ladders, Rungs
from diagnose.session.evidence.solving_allowance import Effort
from diagnose.session.facts import ReadingFact

LEAST_REDRAWN = 0.01
MOST_LEADING = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class _Suited:
    """A ladder of a fault set that leads.

    Parameters
    ----------
    rungs : Rungs
    steps : Mapping[int, IntArray]
        Which step each further cause is on in each draw, shape (n_draws,); empty for
        the one that goes up the ladder.
    factor : FloatArray
        On the prior of each draw, shape (n_draws,).
    """

    rungs: Rungs
    steps: Mapping[int, IntArray]
    factor: FloatArray


class Severities:
    """Gives fault sets of one car other severities.

    Parameters
    ----------
    compiled : Compiled
    ladders : Ladders
    searcher : Searcher
        Knows which cause a fact is about.
    mark : Callable
        Told of an observation and a row when the likelihood of the row is written.
    """

    def __init__(
        self,
        compiled: Compiled,
        ladders: Ladders,
        searcher: Searcher,
        *,
        mark: Callable[[Noted, int], None],
    ) -> None:
        self._compiled, self._ladders = compiled, ladders
        self._searcher, self._mark = searcher, mark

    def redrawn(
        self,
        conclusion: Conclusion,
        combined: Combined,
        rows: Mapping[FaultSet, int],
        effort: Effort,
    ) -> Conclusion | None:
        """Give the leading fault sets severities that suit the facts.

        Parameters
        ----------
        conclusion : Conclusion
            Before, with the severities as drawn.
        combined : Combined
            What the search found.
        rows : Mapping[FaultSet, int]
            The row of each set.
        effort : Effort

        Returns
        -------
        Conclusion or None
            Without beliefs; None where nothing has to be redrawn.
        """
        if not any(
            isinstance(n.observation, ReadingFact) for n in conclusion.observations
        ):
            return None
        leading = self._leading(conclusion, combined, rows)
        mended = frozenset().union(*(repair.causes for repair in conclusion.repairs))
        suited, needed = self._all_suited(leading, conclusion, mended, effort)
        if not suited:
            return None
        self._ladders.solve(needed)
        bank = self._compiled.bank
        first = bank.first_redrawn
        free = iter(range(first + len(suited), first + REDRAWN_ROWS))
        sets, prior = list(conclusion.hypotheses.sets), conclusion.prior.copy()
        remains: dict[tuple[int, FaultSet], int] = {}
        for row, one in enumerate(suited, start=first):
            fault_set, old = one.rungs.fault_set, rows[one.rungs.fault_set]
            course = self._course(one, conclusion, rows)
            redrawn = choose_severities(course)
            self._put(row, one.rungs, redrawn.choice, conclusion)
            sets[row], sets[old] = fault_set, ()
            prior[row] = prior[old] * redrawn.correction * one.factor
            prior[old] = 0.0
            steps = {**one.steps, one.rungs.cause: redrawn.choice}
            for cause in sorted(set(steps) if mended & set(fault_set) else ()):
                left = next(free, None) if len(fault_set) > 1 else None
                if left is not None:
                    rungs = Rungs((cause,), cause)
                    self._put(left, rungs, steps[cause], conclusion)
                    sets[left] = (cause,)
                    remains[row, (cause,)] = left
        return replace(
            conclusion,
            hypotheses=replace(bank.all, sets=tuple(sets)),
            prior=prior,
            remains=remains,
        )

    def _put(
        self, row: int, rungs: Rungs, steps: IntArray, conclusion: Conclusion
    ) -> None:
        """Write a step of a ladder for each draw into a row, likelihoods included."""
        bank, each_draw = self._compiled.bank, np.arange(self._compiled.n_draws)
        bank.put(row, chosen_row(self._ladders.of(rungs).grid, steps), 0)
        for noted, likelihood in zip(
            conclusion.observations, conclusion.likelihoods, strict=True
        ):
            likelihood[row] = self._ladders.likelihood(rungs, noted)[steps, each_draw]
            self._mark(noted, row)

    def _leading(
        self, conclusion: Conclusion, combined: Combined, rows: Mapping[FaultSet, int]
    ) -> Mapping[FaultSet, FaultSet]:
        """Return the likeliest sets that few draws carry, with what to vary in each.

        What is varied are some of its causes, the one that goes up the ladder first. Of
        a pair the draws may have missed what it shows, so that only the estimate of the
        search tells that it leads.
        """
        weights, causes = conclusion.beliefs.weights, self._compiled.causes
        chances = np.maximum(weights.sum(axis=1), before_repairs(conclusion))
        few = effective_draws(weights) < FEW_DRAWS * weights.shape[1]
        estimated = dict(zip(combined.sets, combined.shares, strict=True))
        narrow = dict(zip(combined.sets, combined.narrow, strict=True))
        found: dict[FaultSet, FaultSet] = {}
        shares: dict[FaultSet, float] = {}
        by_row = chances.tolist()
        for fault_set, row in rows.items():
            share, varied = by_row[row], narrow.get(fault_set, ())
            if share < LEAST_REDRAWN and not varied:
                continue
            severe = tuple(c for c in fault_set if has_severity(causes[c]))
            if not severe or conclusion.comes_and_goes[row] >= 0:
                continue
            if varied:
                share = max(share, estimated[fault_set])
            elif not few[row]:
                continue
            if share >= LEAST_REDRAWN:
                found[fault_set], shares[fault_set] = varied or severe[:1], share
        leading = sorted(found, key=lambda fault_set: -shares[fault_set])
        return {fault_set: found[fault_set] for fault_set in leading[:MOST_LEADING]}

    def _all_suited(
        self,
        leading: Mapping[FaultSet, FaultSet],
        conclusion: Conclusion,
        mended: frozenset[int],
        effort: Effort,
    ) -> tuple[list[_Suited], list[Rungs]]:
        """Return the ladders of sets that lead, and all that have to be solved."""
        has = self._ladders.has
        suited: list[_Suited] = []
        needed: list[Rungs] = []
        for fault_set, varied in leading.items():
            further = [Rungs((cause,), cause) for cause in varied[1:]]
            if len(effort.within(further, has)) < len(further):
                continue
            one = self._suited(fault_set, varied, conclusion)
            alone = one.steps if mended & set(fault_set) else ()
            wanted = [one.rungs, *(Rungs((cause,), cause) for cause in alone)]
            if len(effort.within(wanted, has)) == len(wanted):
                suited.append(one)
                needed += wanted
        return suited, needed

    def _suited(
        self, fault_set: FaultSet, varied: FaultSet, conclusion: Conclusion
    ) -> _Suited:
        """Return a ladder whose further causes are as severe as their facts ask for."""
        beside, factor = [], np.ones(self._compiled.n_draws)
        steps: dict[int, IntArray] = {varied[0]: np.zeros(0, dtype=np.int64)}
        for cause in varied[1:]:
            own = self._searcher.moved_by(cause, fault_set, conclusion.observations)
            severity, steps[cause], correction = self._ladders.suited(cause, own)
            beside.append(severity)
            factor *= correction
        rungs = Rungs(fault_set, varied[0], tuple(beside))
        return _Suited(rungs=rungs, steps=steps, factor=factor)

    def _course(
        self, suited: _Suited, conclusion: Conclusion, rows: Mapping[FaultSet, int]
    ) -> FloatArray:
        """Return the likelihood of facts and repairs on every step of a ladder.

        Whatever is left of the set after each repair; shape (n_steps, n_draws).
        """
        fault_set, cause = suited.rungs.fault_set, suited.rungs.cause
        shape = n_steps(len(LADDER_LEVELS)), self._compiled.n_draws
        each_draw = np.arange(self._compiled.n_draws)

        def on_steps(left: FaultSet, number: int) -> FloatArray:
            noted = conclusion.observations[number]
            if left == fault_set:
                return self._ladders.likelihood(suited.rungs, noted)
            if len(left) == 1 and left[0] in suited.steps:
                steps = self._ladders.likelihood(Rungs(left, left[0]), noted)
                if left[0] != cause:
                    steps = np.asarray(steps[suited.steps[left[0]], each_draw])
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
