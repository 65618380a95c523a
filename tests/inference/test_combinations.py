"""Which fault sets beyond single causes the facts call for, worked by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from diagnose.arrays import FloatArray, StoredArray
from diagnose.inference.search.found_sets import Combined
from diagnose.inference.search.pairs import promising_pairs
from diagnose.inference.search.single_causes import PairSums, Seen, further
from diagnose.inference.search.told_together import Ladder, Told

# Two symptoms, three causes on parts of their own: cause 0 brings the first symptom,
# cause 1 the second, cause 2 neither.
ODDS = np.array([0.01, 0.01, 0.01])
SEEN = np.array([[0.01, 0.01], [0.98, 0.01], [0.01, 0.98], [0.01, 0.01]])
MOVES = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]])


def by_fact(seen: FloatArray, moves: FloatArray) -> list[Seen]:
    """Return what each fact says, the same in two draws."""
    return [
        Seen(likelihood=np.repeat(one[:, None], 2, axis=1), moved=moved)
        for one, moved in zip(seen.T, moves.T, strict=True)
    ]


def told_of(
    seen: list[Seen],
    odds: FloatArray = ODDS,
    *,
    ladders: dict[int, Ladder] | None = None,
) -> Told:
    return Told(
        seen=seen,
        odds=odds,
        is_severe=np.ones(len(odds), dtype=np.bool_),
        ladders=ladders or {},
    )


def pairs_of(
    told: Told,
    *,
    most: int = 10,
    few_draws: float = 0.0,
    log_lift: StoredArray | None = None,
) -> Combined:
    if log_lift is None:
        log_lift = np.zeros((len(told.odds), len(told.odds)), dtype=np.float32)
        np.fill_diagonal(log_lift, -np.inf)
    sums = PairSums(len(told.odds)).of(dict(enumerate(told.seen)))
    return promising_pairs(
        told, sums, most=most, few_draws=few_draws, log_lift=log_lift
    )


def test_pair_that_explains_what_neither_explains_alone_is_found() -> None:
    found = pairs_of(told_of(by_fact(SEEN, MOVES)))

    assert found.sets == ((0, 1),)
    assert found.left_out_probability == pytest.approx(0.0, abs=1e-12)


def test_share_of_a_pair_is_that_of_all_the_evidence() -> None:
    found = pairs_of(told_of(by_fact(SEEN, MOVES)))

    # By hand: the pair .98 x .98 x 1e-4, its excess that less .98 x .01 x 1e-4, the
    # rest 1e-4 of the sound car and .01 x (.0098 + .0098 + .0001) of single causes.
    pair, excess = 0.98**2 * 1e-4, (0.98**2 - 0.98 * 0.01) * 1e-4
    rest = 1e-4 + 0.01 * (0.0098 + 0.0098 + 0.0001)
    assert found.shares == pytest.approx([pair / (rest + excess)], rel=1e-6)


def test_pair_without_excess_is_not_looked_at() -> None:
    # Cause 0 alone explains both symptoms.
    seen = np.array([[0.01, 0.01], [0.98, 0.98], [0.01, 0.98], [0.01, 0.01]])
    moves = np.array([[1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])

    assert pairs_of(told_of(by_fact(seen, moves))).sets == ()


def test_pair_that_can_not_be_is_left_out() -> None:
    never = np.zeros((3, 3), dtype=np.float32)
    never[0, 1] = never[1, 0] = -np.inf

    assert pairs_of(told_of(by_fact(SEEN, MOVES)), log_lift=never).sets == ()


def at_odds() -> list[Seen]:
    """Return facts that cause 0 explains one by one, but in no draw together.

    The third is explained by cause 1.
    """
    seen = by_fact(
        np.array([[0.01] * 3, [0.5, 0.5, 0.01], [0.01, 0.01, 0.98]]),
        np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    )
    for fact in (0, 1):
        seen[fact].likelihood[1] = [1.0 - fact, fact]
    return seen


def test_pair_is_weighed_draw_by_draw() -> None:
    assert pairs_of(told_of(at_odds(), ODDS[:2])).sets == ()


def ladder(number: int) -> FloatArray:
    """Return what two facts say of three severities: the middle one shows both."""
    steps = [[0.01, 0.98, 0.01], [0.01, 0.98, 0.01], [0.01, 0.01, 0.01]]
    return np.repeat(np.array(steps[number])[:, None], 2, axis=1)


def test_severity_between_the_draws_makes_a_pair() -> None:
    # The same facts: a severity that none of the draws has explains both.
    told = told_of(at_odds(), ODDS[:2], ladders={0: ladder})

    found = pairs_of(told)

    # By hand: one step of three gives .98 x .98, the others next to nothing.
    assert found.sets == ((0, 1),)
    assert told.evidence(0, (0, 1)) == pytest.approx(
        np.log((0.98**2 + 2 * 0.01**2) / 3), abs=1e-9
    )


def test_cause_carried_by_few_draws_is_named_with_its_pair() -> None:
    seen = by_fact(SEEN, MOVES)
    seen[1].likelihood[2] = [1.96, 1e-6]

    found = pairs_of(told_of(seen), few_draws=0.6)

    assert (found.sets, found.narrow) == (((0, 1),), ((1,),))


def test_causes_that_some_facts_pin_down_are_found() -> None:
    # Cause 1 explains the second fact in one of two draws, and not the first.
    seen = by_fact(SEEN, MOVES)
    seen[1].likelihood[2] = [1.96, 1e-6]

    assert told_of(seen).sharp(most=5, least=0.01, few_draws=0.6) == [1]


def test_facts_that_hang_together_say_more_than_one_by_one() -> None:
    # Two facts that the first cause shows in one draw of two, .9 and .1; the second
    # cause moves one of them alone, and the third none.
    seen = by_fact(SEEN, np.array([[1.0, 1.0], [0.0, 1.0], [0.0, 0.0]]))
    for fact in seen:
        fact.likelihood[1] = [0.9, 0.1]

    found = told_of(seen).bonus

    # By hand: (.81 + .01) / 2 over .5 x .5; nothing where no two facts are moved.
    assert np.exp(found) == pytest.approx([0.41 / 0.25, 1.0, 1.0])


def test_fact_that_two_causes_move_alike_is_taken_from_the_first() -> None:
    # Each cause has a fact of its own; both move a third, and only the first shows it.
    seen = np.array([[0.01] * 3, [0.98, 0.98, 0.01], [0.01, 0.01, 0.98]])
    moves = np.array([[1.0, 1.0, 0.0], [0.0, 1.0, 1.0]])

    found = pairs_of(told_of(by_fact(seen, moves), ODDS[:2]))

    # By hand: the pair .98^3 x 1e-4, its excess that less .98^2 x .01 x 1e-4, the rest
    # 1e-6 of the sound car and .01 x (.98^2 x .01 + .98 x .01^2) of single causes.
    pair = 0.98**3 * 1e-4
    excess = pair - 0.98**2 * 0.01 * 1e-4
    rest = 1e-6 + 0.01 * (0.98**2 * 0.01 + 0.98 * 0.01**2)
    assert found.shares == pytest.approx([pair / (rest + excess)], rel=1e-6)


def test_sum_over_facts_takes_each_from_what_moves_it_further() -> None:
    first, second = by_fact(SEEN, MOVES)
    sums = PairSums(3)

    alone, both = (sums.of(f).tolist() for f in ({0: first}, {0: first, 1: second}))

    # By hand, in ten-thousandths: ln .98 is -202, ln .01 is -46052. The first cause
    # moves the first fact, the second one the second, the third none.
    shows, hides = -202, -46052
    assert alone == [
        [shows, shows, shows],
        [shows, hides, hides],
        [shows, hides, hides],
    ]
    assert both[0] == [shows + hides, 2 * shows, shows + hides]
    assert both[1] == [2 * shows, hides + shows, hides + shows]
    assert both[2] == [shows + hides, hides + shows, 2 * hides]


def test_sum_after_a_fact_is_taken_back_is_that_of_the_others() -> None:
    first, second = by_fact(SEEN, MOVES)
    sums = PairSums(3)
    sums.of({0: first, 1: second})

    found = sums.of({1: second})

    assert found.tolist() == further(second.moved, second.steps).tolist()


def test_sums_over_facts_are_the_same_in_any_order() -> None:
    random = np.random.default_rng(2)
    facts = {
        name: Seen(likelihood=random.random((6, 4)), moved=random.random(5))
        for name in "abc"
    }

    found = []
    for order in itertools.permutations(facts):
        sums = PairSums(5)
        totals = [
            sums.of({name: facts[name] for name in order[:length]})
            for length in (1, 2, 3)
        ]
        found.append(totals[-1].tolist())

    assert all(one == found[0] for one in found)


def test_pairs_left_out_are_counted() -> None:
    # Two more causes like the first two: four pairs add alike, one may be kept.
    seen = np.vstack([SEEN[:3], SEEN[1:3]])
    moves = np.vstack([MOVES[:2], MOVES[:2]])

    found = pairs_of(told_of(by_fact(seen, moves), np.full(4, 0.01)), most=1)

    # By hand, a pair's excess: (.98 x .98 - .98 x .01) x 1e-4; the evidence of the
    # sound car and the singles: 1e-4 + 4 x .01 x .0098.
    excess = (0.98**2 - 0.98 * 0.01) * 1e-4 / (1e-4 + 4 * 0.01 * 0.0098)
    assert len(found.sets) == 1
    # 1e-4: logs are summed in steps of a ten-thousandth
    assert found.left_out_probability == pytest.approx(
        3 * excess / (1 + 4 * excess), rel=1e-4
    )


def test_no_more_pairs_than_asked_for() -> None:
    random = np.random.default_rng(1)
    seen = by_fact(random.random((21, 3)) ** 8, random.random((20, 3)))

    assert len(pairs_of(told_of(seen, np.full(20, 0.2)), most=5).sets) == 5


def test_no_more_of_a_kind_than_asked_for() -> None:
    found = Combined(
        sets=((0, 1), (0, 2), (0, 9), (1, 9)),
        shares=(0.4, 0.1, 0.2, 0.1),
        narrow=((), (0,), (), (1,)),
        left_out_probability=0.05,
    ).with_most(1, lambda pair: 9 in pair)

    assert found.sets == ((0, 1), (0, 2), (0, 9))
    assert found.narrow == ((), (0,), ())
    # what is dropped was estimated to hold .1
    assert found.left_out_probability == pytest.approx(0.15)
