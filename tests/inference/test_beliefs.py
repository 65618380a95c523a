"""Beliefs: facts and repairs in order, and which double faults are worth solving."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.belief.beliefs import (
    Beliefs,
    RepairStep,
    Step,
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


def test_a_fact_that_was_certain_changes_nothing() -> None:
    before, after = believing(fact(1)), believing(fact(1), flat(0.3, 0.3, 0.3, 0.3))

    assert after.weights == pytest.approx(before.weights, abs=1e-15)


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


def test_prior_that_leaves_sets_out_is_made_whole() -> None:
    # Half of the prior was given up with sets that nobody looks at: what is left sums
    # to one, and the evidence is that of the sets that are left.
    found = update(SETS, 0.5 * PRIOR, [flat(0.3, 0.3, 0.3, 0.3)])

    assert found is not None
    assert found.set_probabilities() == pytest.approx([0.7, 0.15, 0.1, 0.05], abs=1e-12)
    assert found.log_evidence == pytest.approx(math.log(0.3), abs=1e-12)


def test_prior_alone_is_made_whole() -> None:
    found = update(SETS, 0.5 * PRIOR, [])

    assert found is not None
    assert found.set_probabilities() == pytest.approx([0.7, 0.15, 0.1, 0.05], abs=1e-12)


def test_what_a_repair_leaves_of_a_row_may_have_a_row_of_its_own() -> None:
    # The pair with severities of its own: what is left of it is not the plain second
    # cause, but the row whose severity suits. By hand: .8 of .05 goes there.
    sets = (*SETS, (1,))
    prior = np.vstack([PRIOR, np.zeros((1, N_DRAWS))])

    found = update(sets, prior, [MENDS_FIRST], remains={(3, (1,)): 4})

    assert found is not None
    assert found.set_probabilities() == pytest.approx(
        [0.7 + 0.12, 0.03, 0.1, 0.01, 0.04], abs=1e-12
    )


def test_repair_of_two_causes_mends_both_or_none() -> None:
    both = RepairStep(causes=frozenset({0, 1}), cure_probability=0.5)

    found = believing(both).set_probabilities()

    # By hand: half of .15, of .1 and of .05 leaves the car sound.
    assert found == pytest.approx([0.85, 0.075, 0.05, 0.025], abs=1e-12)


def test_repair_leaves_the_draws_as_they_were() -> None:
    # The fact speaks for one draw of the first cause; a repair does not change cars.
    likelihood = flat(0.0, 1.0, 0.0, 0.0)
    likelihood[1] = [0.6, 0.3, 0.1]

    found = believing(likelihood, MENDS_FIRST).weights

    assert found[0] == pytest.approx([0.48, 0.24, 0.08], abs=1e-12)
    assert found[1] == pytest.approx([0.12, 0.06, 0.02], abs=1e-12)
