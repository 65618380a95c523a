"""The choice of the next step, looking one reading ahead, against the exact optimum.

Small random problems: a few causes, one of them present; tests without error that each
tell a random half of the causes from the rest; repairs that always cure. The optimum
comes from dynamic programming over the sets of causes still possible.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from diagnose.circuit.car import FloatArray
from diagnose.inference.next_step import RepairPlan, outcome_worth
from diagnose.session.advising import Priced

N_PROBLEMS = 60
N_CAUSES = 7
N_TESTS = 6
NEVER_MINUTES = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One problem; sets of causes are bit patterns.

    Parameters
    ----------
    chances, repair_minutes : FloatArray
        Of each cause, shape (n_causes,).
    positive : tuple[int, ...]
        Of each test, the causes under which it is positive.
    test_minutes : FloatArray
        Of each test, shape (n_tests,).
    """

    chances: FloatArray
    repair_minutes: FloatArray
    positive: tuple[int, ...]
    test_minutes: FloatArray

    def members(self, possible: int) -> list[int]:
        return [c for c in range(len(self.chances)) if possible >> c & 1]

    def chance(self, possible: int) -> float:
        return float(self.chances[self.members(possible)].sum())


def drawn_problem(seed: int) -> Problem:
    """Return a problem; minutes of tests and repairs differ about tenfold."""
    random = np.random.default_rng((seed, 31))
    return Problem(
        chances=random.dirichlet(np.full(N_CAUSES, 0.7)),
        repair_minutes=random.uniform(5.0, 60.0, N_CAUSES),
        positive=tuple(random.integers(1, 2**N_CAUSES - 1, N_TESTS).tolist()),
        test_minutes=random.uniform(1.0, 8.0, N_TESTS),
    )


def optimal_minutes(problem: Problem) -> float:
    """Return the expected minutes of the best plan."""

    @cache
    def best(possible: int) -> float:
        members = problem.members(possible)
        if len(members) == 1:
            return float(problem.repair_minutes[members[0]])
        total = problem.chance(possible)
        choices = [
            float(problem.repair_minutes[cause])
            + problem.chance(possible & ~(1 << cause))
            / total
            * best(possible & ~(1 << cause))
            for cause in members
        ]
        for test, positive in enumerate(problem.positive):
            sides = (possible & positive, possible & ~positive)
            if all(sides):
                after = sum(problem.chance(s) / total * best(s) for s in sides)
                choices.append(float(problem.test_minutes[test]) + after)
        return min(choices)

    return best(2**N_CAUSES - 1)


def chosen_test(problem: Problem, possible: int) -> int | None:
    """Return the test the program would take; None when it would mend something."""
    tests = [
        test
        for test, positive in enumerate(problem.positive)
        if possible & positive and possible & ~positive
    ]
    if not tests:
        return None
    members = problem.members(possible)
    joint = np.zeros((len(tests), 2, len(members) + 1))
    for row, test in enumerate(tests):
        for column, cause in enumerate(members):
            side = 0 if problem.positive[test] >> cause & 1 else 1
            joint[row, side, column] = problem.chances[cause]
    plan = RepairPlan(
        minutes=problem.repair_minutes[members], give_up_minutes=NEVER_MINUTES
    )
    worth = outcome_worth(joint / problem.chance(possible), plan)
    priced = [
        Priced(
            step=str(test),
            minutes=float(problem.test_minutes[test]),
            saves_minutes=float(saves),
            bits=float(bits),
        )
        for test, saves, bits in zip(
            tests, worth.saves_minutes, worth.bits, strict=True
        )
    ]
    first = min(priced, key=Priced.rank)
    return int(str(first.step)) if first.saves_minutes > first.minutes else None


def programs_minutes(problem: Problem, possible: int = 2**N_CAUSES - 1) -> float:
    """Return the expected minutes when every step is the program's choice."""
    members = problem.members(possible)
    if len(members) == 1:
        return float(problem.repair_minutes[members[0]])
    total = problem.chance(possible)
    test = chosen_test(problem, possible)
    if test is None:
        rates = problem.chances[members] / problem.repair_minutes[members]
        cause = members[int(rates.argmax())]
        left = possible & ~(1 << cause)
        share = problem.chance(left) / total
        return float(problem.repair_minutes[cause]) + share * programs_minutes(
            problem, left
        )
    sides = (possible & problem.positive[test], possible & ~problem.positive[test])
    after = sum(
        problem.chance(side) / total * programs_minutes(problem, side) for side in sides
    )
    return float(problem.test_minutes[test]) + after


@pytest.fixture(scope="module")
def ratios() -> FloatArray:
    problems = [drawn_problem(seed) for seed in range(N_PROBLEMS)]
    found = [programs_minutes(p) / optimal_minutes(p) for p in problems]
    return np.array(found)


def test_no_choice_beats_the_optimum(ratios: FloatArray) -> None:
    assert ratios.min() >= 1.0 - 1e-9


def test_one_step_ahead_is_near_the_optimum_on_average(
    ratios: FloatArray, capsys: pytest.CaptureFixture[str]
) -> None:
    with capsys.disabled():
        print(  # noqa: T201
            f"\n  one step ahead over the optimum: mean {ratios.mean():.3f}, "
            f"worst {ratios.max():.3f} of {len(ratios)} problems"
        )

    # Computed on 600 problems of this kind: mean 1.011 to 1.029, worst 1.18.
    assert ratios.mean() < 1.03
    assert ratios.max() < 1.25
