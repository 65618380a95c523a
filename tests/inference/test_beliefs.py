"""Beliefs: facts and repairs in order, and which double faults are worth solving."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from diagnose.circuit.car import FloatArray
from diagnose.inference.beliefs import (
    Beliefs,
    RepairStep,
    Step,
    promising_companions,
    promising_pairs,
    update,
)

SETS = ((), (0,), (1,), (0, 1))
N_DRAWS = 3
PRIOR = np.repeat(np.array([[0.7], [0.15], [0.1], [0.05]]) / N_DRAWS, N_DRAWS, axis=1)
MENDS_FIRST = RepairStep(causes=frozenset({0}), cure_probability=0.8)


def fact(seed: int) -> FloatArray:
    """Return an arbitrary likelihood."""
    return np.random.default_rng(seed).random((len(SETS), N_DRAWS)) + 0.01


def flat(*by_set: float) -> FloatArray:
    """Return a likelihood that is the same for every draw."""
    return np.repeat(np.array([by_set]).T, N_DRAWS, axis=1)


def believing(*steps: Step) -> Beliefs:
    found = update(SETS, PRIOR, steps)
    assert found is not None
    return found


def test_order_of_facts_does_not_matter() -> None:
    facts = [fact(1), fact(2), fact(3)]

    found = [believing(*order).weights for order in itertools.permutations(facts)]

    for other in found[1:]:
        assert other == pytest.approx(found[0], abs=1e-14)


def test_beliefs_are_prior_times_likelihoods() -> None:
    joint = PRIOR * fact(1) * fact(2)

    found = believing(fact(1), fact(2))

    assert found.weights == pytest.approx(joint / joint.sum(), abs=1e-14)
    assert found.log_evidence == pytest.approx(math.log(joint.sum()), abs=1e-12)


def test_repair_moves_weight_by_its_chance_to_cure() -> None:
    # By hand: .8 of each set with the cause goes to the set without it.
    found = believing(MENDS_FIRST).set_probabilities()

    assert found == pytest.approx([0.7 + 0.12, 0.03, 0.1 + 0.04, 0.01], abs=1e-12)


def test_repair_keeps_the_total() -> None:
    found = believing(fact(4), MENDS_FIRST, fact(5), MENDS_FIRST)

    assert float(found.weights.sum()) == pytest.approx(1.0, abs=1e-12)


def test_facts_before_a_repair_are_about_the_car_as_it_was() -> None:
    # The fact says cause 0 for certain; then it is mended with .8. By hand: .15 and .05
    # before; .2 of each stays.
    certain = flat(0.0, 1.0, 0.0, 1.0)

    found = believing(certain, MENDS_FIRST).set_probabilities()

    assert found == pytest.approx([0.6, 0.15, 0.2, 0.05], abs=1e-12)


def test_facts_after_a_repair_are_about_the_car_as_it_is() -> None:
    certain = flat(0.0, 1.0, 0.0, 1.0)

    found = believing(MENDS_FIRST, certain).set_probabilities()

    assert found == pytest.approx([0.0, 0.75, 0.0, 0.25], abs=1e-12)


def test_repair_of_what_was_not_there_changes_nothing() -> None:
    only_second = flat(1.0, 0.0, 1.0, 0.0)
    before = believing(only_second).weights

    assert believing(only_second, MENDS_FIRST).weights == pytest.approx(before)


def test_cause_probability_counts_every_set_that_holds_it() -> None:
    found = believing().cause_probabilities(2)

    assert found == pytest.approx([0.2, 0.15], abs=1e-12)


def test_rows_without_prior_stay_without_weight() -> None:
    # Spare rows name the empty set too; the sound car is the row that has a prior.
    sets = (*SETS, ())
    prior = np.vstack([PRIOR, np.zeros((1, N_DRAWS))])

    found = update(sets, prior, [MENDS_FIRST])

    assert found is not None
    assert found.set_probabilities()[[0, 4]] == pytest.approx([0.82, 0.0], abs=1e-12)


def test_impossible_facts_give_no_beliefs() -> None:
    assert update(SETS, PRIOR, [flat(0.0, 1.0, 0.0, 0.0), flat(1, 0, 1, 1)]) is None


# Two symptoms, three causes on parts of their own: cause 0 brings the first symptom,
# cause 1 the second, cause 2 neither.
ODDS = np.array([0.01, 0.01, 0.01])
PARTS = np.array([0, 1, 2])
SEEN = np.array([[0.01, 0.01], [0.98, 0.01], [0.01, 0.98], [0.01, 0.01]])
MOVES = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]])


def by_fact(seen: FloatArray) -> list[FloatArray]:
    """Return the likelihood of each fact in two draws that agree."""
    return [np.repeat(one[:, None], 2, axis=1) for one in seen.T]


def test_pair_that_explains_what_neither_explains_alone_is_proposed() -> None:
    pairs, left_out = promising_pairs(ODDS, PARTS, by_fact(SEEN), MOVES, most=10)

    assert pairs == ((0, 1),)
    assert left_out == pytest.approx(0.0, abs=1e-12)


def test_pair_without_excess_is_not_proposed() -> None:
    # Cause 0 alone explains both symptoms.
    seen = np.array([[0.01, 0.01], [0.98, 0.98], [0.01, 0.98], [0.01, 0.01]])
    moves = np.array([[1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])

    pairs, _ = promising_pairs(ODDS, PARTS, by_fact(seen), moves, most=10)

    assert pairs == ()


def test_two_modes_of_one_part_are_not_proposed() -> None:
    pairs, _ = promising_pairs(ODDS, np.array([0, 0, 2]), by_fact(SEEN), MOVES, most=10)

    assert pairs == ()


def test_pair_is_weighed_draw_by_draw() -> None:
    # Cause 0 explains either of its two facts, but in no draw both: beside cause 1 it
    # explains nothing more than it does alone.
    seen = by_fact(np.array([[0.01] * 3, [0.5, 0.5, 0.01], [0.01, 0.01, 0.98]]))
    for fact in (0, 1):
        seen[fact][1] = [1.0 - fact, fact]
    moves = np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])

    pairs, _ = promising_pairs(ODDS[:2], PARTS[:2], seen, moves, most=10)

    assert pairs == ()


def test_pairs_left_out_are_counted() -> None:
    # Two more causes like the first two: four pairs add alike, one may be kept.
    seen = np.vstack([SEEN[:3], SEEN[1:3]])
    moves = np.vstack([MOVES[:2], MOVES[:2]])

    pairs, left_out = promising_pairs(
        np.full(4, 0.01), np.arange(4), by_fact(seen), moves, most=1
    )

    # By hand, a pair's excess: (.98 x .98 - .98 x .01) x 1e-4; the evidence of the
    # sound car and the singles: 1e-4 + 4 x .01 x .0098.
    excess = (0.98**2 - 0.98 * 0.01) * 1e-4 / (1e-4 + 4 * 0.01 * 0.0098)
    assert len(pairs) == 1
    assert left_out == pytest.approx(3 * excess / (1 + 4 * excess), rel=1e-6)


def test_no_more_pairs_than_asked_for() -> None:
    random = np.random.default_rng(1)
    seen, moves = random.random((21, 3)) ** 8, random.random((20, 3))

    pairs, _ = promising_pairs(
        np.full(20, 0.2), np.arange(20), by_fact(seen), moves, most=5
    )

    assert len(pairs) == 5


def test_companions_pair_the_mended_with_the_likeliest_left() -> None:
    score = np.array([0.5, 0.01, 0.2, 0.1])

    found = promising_companions(score, np.arange(4), sound=0.1, mended=[1], most=2)

    assert found == ((0, 1), (1, 2))


def test_companion_is_on_another_part() -> None:
    score = np.array([0.5, 0.01, 0.2])

    found = promising_companions(
        score, np.array([0, 0, 1]), sound=0.1, mended=[1], most=3
    )

    assert found == ((1, 2),)


def test_companion_that_the_facts_do_not_ask_for_is_left_out() -> None:
    # By hand: .002 of 1 + .302 is under half a hundredth, .3 is not.
    score = np.array([0.0, 0.002, 0.3])

    found = promising_companions(score, np.arange(3), sound=1.0, mended=[0], most=3)

    assert found == ((0, 2),)
