"""Small repair problems that can be solved exactly, and ways to play them.

Small random problems: a few causes, one of them present; tests without error that each
tell a random half of the causes from the rest; repairs that always cure. The optimum
comes from dynamic programming over the sets of causes still possible.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.choice.information import told_bits
from diagnose.inference.choice.reading_worth import RepairPlan
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.steps.priced import BIT_MINUTES, Priced, saved_and_worth

N_CAUSES = 7
N_TESTS = 6
BEST_FEW = 3
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


def ranked_tests(problem: Problem, possible: int) -> list[int]:
    """Return the tests that still tell something, in the program's order."""
    return [_number(one) for one in _priced(problem, possible)]


def one_step_ahead(problem: Problem, possible: int) -> int | None:
    """Return the test the program would take; None when it would mend something."""
    priced = _priced(problem, possible)
    if not priced or priced[0].saves_minutes <= priced[0].minutes:
        return None
    return _number(priced[0])


def _priced(problem: Problem, possible: int) -> list[Priced]:
    """Return the tests as the program prices them, best first."""
    tests = open_tests(problem, possible)
    if not tests:
        return []
    members = problem.members(possible)
    joint = np.zeros((len(tests), 2, len(members) + 1))
    for row, test in enumerate(tests):
        for column, cause in enumerate(members):
            side = 0 if problem.positive[test] >> cause & 1 else 1
            joint[row, side, column] = problem.chances[cause]
    plan = RepairPlan(
        minutes=problem.repair_minutes[members],
        give_up_minutes=NEVER_MINUTES,
        bit_minutes=BIT_MINUTES,
    )
    joint = joint / problem.chance(possible)
    found = zip(tests, *saved_and_worth(joint, plan), told_bits(joint), strict=True)
    priced = [
        Priced(
            step=SymptomCheck(symptom=str(test)),
            minutes=float(problem.test_minutes[test]),
            saves_minutes=float(saves),
            bits=float(bits),
            worth_minutes=float(worth),
        )
        for test, saves, worth, bits in found
    ]
    return sorted(priced, key=Priced.rank)


def _number(priced: Priced) -> int:
    """Return which test was priced."""
    assert isinstance(priced.step, SymptomCheck)
    return int(priced.step.symptom)


def repair_minutes(problem: Problem, possible: int) -> float:
    """Return the expected minutes of mending one cause after another."""
    members = problem.members(possible)
    rates = problem.chances[members] / problem.repair_minutes[members]
    order = np.argsort(-rates)
    chances = problem.chances[members][order] / problem.chance(possible)
    before = 1.0 - np.cumsum(chances) + chances
    return float((before * problem.repair_minutes[members][order]).sum())


def after(
    problem: Problem, possible: int, test: int, value: Callable[[int], float]
) -> float:
    """Return a test's minutes and the expected value of what is then possible."""
    positive = problem.positive[test]
    total = problem.chance(possible)
    sides = (possible & positive, possible & ~positive)
    then = sum(problem.chance(side) / total * value(side) for side in sides if side)
    return float(problem.test_minutes[test]) + then


def open_tests(problem: Problem, possible: int) -> list[int]:
    """Return the tests that still tell something."""
    return [
        test
        for test, positive in enumerate(problem.positive)
        if possible & positive and possible & ~positive
    ]


def likeliest_for_its_minutes(problem: Problem, possible: int) -> int:
    """Return the cause that is mended first."""
    members = problem.members(possible)
    rates = problem.chances[members] / problem.repair_minutes[members]
    return members[int(rates.argmax())]


Choice = Callable[[Problem, int], int | None]
"""A problem and the causes still possible to a test, or None to mend something."""


def played_minutes(problem: Problem, choose: Choice) -> float:
    """Return the expected minutes when every step is a policy's choice."""

    @cache
    def play(possible: int) -> float:
        members = problem.members(possible)
        if len(members) == 1:
            return float(problem.repair_minutes[members[0]])
        test = choose(problem, possible)
        if test is not None:
            return after(problem, possible, test, play)
        cause = likeliest_for_its_minutes(problem, possible)
        left = possible & ~(1 << cause)
        share = problem.chance(left) / problem.chance(possible)
        return float(problem.repair_minutes[cause]) + share * play(left)

    return play(2**N_CAUSES - 1)


def two_steps_ahead(problem: Problem, possible: int) -> int | None:
    """Return the best of the few best tests, looking one test further."""

    @cache
    def mending(some: int) -> float:
        return repair_minutes(problem, some)

    @cache
    def one_ahead(some: int) -> float:
        tests = open_tests(problem, some)
        return (
            min(mending(some), *(after(problem, some, test, mending) for test in tests))
            if tests
            else mending(some)
        )

    few = ranked_tests(problem, possible)[:BEST_FEW]
    cause = likeliest_for_its_minutes(problem, possible)
    left = possible & ~(1 << cause)
    share = problem.chance(left) / problem.chance(possible)
    repair = float(problem.repair_minutes[cause]) + share * one_ahead(left)
    values = [after(problem, possible, test, one_ahead) for test in few]
    if not values or repair <= min(values):
        return None
    return few[int(np.argmin(values))]


def most_bits(problem: Problem, possible: int) -> int | None:
    """Return the test that tells most, whatever it costs; then mend."""
    tests = open_tests(problem, possible)
    total = problem.chance(possible)

    def bits(test: int) -> float:
        share = problem.chance(possible & problem.positive[test]) / total
        return float(-share * np.log2(share) - (1 - share) * np.log2(1 - share))

    return max(tests, key=bits) if tests else None


def no_test(_problem: Problem, _possible: int) -> None:
    """Mend one cause after another."""


def any_test(problem: Problem, possible: int) -> int | None:
    """Return a test at random, the same for the same problem."""
    tests = open_tests(problem, possible)
    random = np.random.default_rng((possible, int(problem.chances[0] * 1e6)))
    return int(random.choice(tests)) if tests else None
