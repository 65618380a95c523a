"""Third causes beside a leading pair, and facts shared out between two, by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from diagnose.arrays import FloatArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.search.found_sets import Combined
from diagnose.inference.search.single_causes import Seen
from diagnose.inference.search.told_together import Told
from diagnose.inference.search.wider_sets import (
    promising_companions,
    promising_thirds,
)

# Three facts and three causes: each brings one, whatever the draw. The pair of the
# first two explains two of them, and was solved.
PAIR: FaultSet = (0, 1)
ODDS = 0.01
SHOWN, NOT_SHOWN = 0.98, 0.01
PAIR_SHOWS = (SHOWN, SHOWN, NOT_SHOWN)


def draws(*values: float) -> FloatArray:
    """Return one row of likelihoods, the same in two draws where one is given."""
    return np.array(values if len(values) == 2 else values * 2)


def seen(by_cause: Mapping[int, FloatArray], moved: Mapping[int, float]) -> Seen:
    """Return a fact that the causes named explain and move, and no other of three."""
    rows = [draws(NOT_SHOWN), *(by_cause.get(c, draws(NOT_SHOWN)) for c in range(3))]
    return Seen(
        likelihood=np.array(rows), moved=np.array([moved.get(c, 0.0) for c in range(3)])
    )


def told_of(*facts: Seen, odds: float = ODDS) -> Told:
    return Told(
        seen=list(facts), odds=np.full(3, odds), is_severe=np.ones(3, dtype=np.bool_)
    )


FIRST, SECOND, THIRD = (seen({c: draws(SHOWN)}, {c: 1.0}) for c in range(3))


def thirds(
    told: Told, *shown: FloatArray, share: float = 0.5, lift: StoredArray | None = None
) -> Mapping[FaultSet, float]:
    no_lift = np.zeros((3, 3), dtype=np.float32)
    return promising_thirds(
        told, PAIR, shown, share=share, log_lift=no_lift if lift is None else lift
    )


PAIR_ALONE = tuple(draws(value) for value in PAIR_SHOWS)


def test_third_cause_of_what_a_pair_leaves_open_holds_its_share() -> None:
    found = thirds(told_of(FIRST, SECOND, THIRD), *PAIR_ALONE)

    # By hand: half of the belief, times odds of .01, times .98 over .01.
    assert found == {(0, 1, 2): pytest.approx(0.5 * 0.01 * 98.0)}


def test_third_cause_that_hangs_together_with_a_member_holds_more() -> None:
    lift = np.zeros((3, 3), dtype=np.float32)
    lift[0, 2], lift[1, 2] = np.log(1.5), np.log(0.8)

    found = thirds(told_of(FIRST, SECOND, THIRD), *PAIR_ALONE, lift=lift)

    # By hand: .49 as above, times 1.5 and .8; single precision of the lifts.
    assert found == {(0, 1, 2): pytest.approx(0.49 * 1.2, rel=1e-6)}


def test_each_fact_is_taken_from_what_moves_it_further_draw_by_draw() -> None:
    # The third cause moves the first fact further than the pair does, and explains it
    # by half in each draw; the pair explains the first two facts in turns.
    first = seen({0: draws(SHOWN), 2: draws(0.5)}, {0: 1.0, 2: 2.0})
    shown = draws(0.8, 0.2), draws(0.2, 0.8), draws(NOT_SHOWN)

    found = thirds(told_of(first, SECOND, THIRD), *shown)

    # By hand: the pair explains all by .8 x .2 x .01; with the third cause the facts
    # are explained by .5 x .98, and by the pair's .5 of the second on average.
    ratio = 0.5 * 0.98 * 0.5 / (0.8 * 0.2 * 0.01)
    assert found == {(0, 1, 2): pytest.approx(0.5 * 0.01 * ratio)}


# By hand: a third cause counts from three times as likely facts on.
@pytest.mark.parametrize(("shows", "counts"), [(0.029, False), (0.031, True)])
def test_third_cause_has_to_make_the_facts_three_times_likelier(
    shows: float, counts: bool
) -> None:
    third = seen({2: draws(shows)}, {2: 1.0})

    assert bool(thirds(told_of(FIRST, SECOND, third), *PAIR_ALONE)) == counts


# By hand: .98 over .01 times odds of .01 is .98 of the pair's share; three thousandths
# of the belief count.
@pytest.mark.parametrize(("share", "counts"), [(0.0030, False), (0.0031, True)])
def test_third_cause_has_to_hold_three_thousandths(share: float, counts: bool) -> None:
    told = told_of(FIRST, SECOND, THIRD)

    assert bool(thirds(told, *PAIR_ALONE, share=share)) == counts


def test_third_cause_that_moves_no_fact_further_is_none() -> None:
    alike = seen({1: draws(SHOWN), 2: draws(SHOWN)}, {1: 1.0, 2: 1.0})

    assert thirds(told_of(FIRST, alike, THIRD), *(draws(SHOWN) for _ in range(3))) == {}


# By hand: facts that the cause moves further, or as far, are its own; the rest is the
# other's. The first fact is left out.
def test_facts_are_shared_out_between_two_causes() -> None:
    both = seen({0: draws(0.6), 1: draws(0.3)}, {0: 1.0, 1: 1.0})
    told = told_of(FIRST, both, SECOND, THIRD)

    found = told.log_evidence_apart(0, np.array([1, 2]), without=[0])

    # beside the second: .6 x .01 its own, .98 the other's; beside the third: .6 x .01
    # its own, .98 the other's
    assert np.exp(found) == pytest.approx(
        [0.6 * NOT_SHOWN * SHOWN, 0.6 * NOT_SHOWN * SHOWN]
    )


def test_facts_explained_in_different_draws_are_not_both_explained() -> None:
    one = seen({0: draws(0.9, 0.1)}, {0: 1.0})
    other = seen({0: draws(0.1, 0.9)}, {0: 1.0})

    found = told_of(one, other).log_evidence_apart(0, np.array([1]), without=[])

    # By hand: .9 x .1 in either draw, not .5 x .5.
    assert np.exp(found) == pytest.approx([0.09])


# By hand: the first cause explains two facts of three, the second one, the third none.
# Each fact may be due to something else, which weighs .049, a twentieth of the best: a
# fact that is shown counts .9 x .98 + .049 = .931, another .058. The three causes have
# .938, .058 and .0036 of that; as it is, .980, .0100 and .0001 of the belief.
@pytest.mark.parametrize(
    ("ratio", "least", "most", "contested"),
    [
        (0.5, 0.01, 9, [1]),
        (0.5, 0.003, 9, [1, 2]),
        (0.5, 0.003, 1, [1]),
        (0.1, 0.01, 9, []),
        (2.0, 0.01, 9, [0, 1]),
    ],
)
def test_causes_that_hold_less_than_facts_taken_one_by_one_say_are_contested(
    ratio: float, least: float, most: int, contested: list[int]
) -> None:
    told = told_of(FIRST, FIRST, SECOND)

    assert told.contested(most=most, least=least, ratio=ratio) == contested


# By hand: what is shown counts .98, what is not .01, a little over a hundredth of it.
@pytest.mark.parametrize(
    ("cause", "ratio", "facts"), [(1, 0.1, [0, 2]), (1, 0.01, []), (0, 0.1, [1, 2])]
)
def test_facts_are_at_odds_with_a_cause_that_others_explain_much_better(
    cause: int, ratio: float, facts: list[int]
) -> None:
    assert told_of(FIRST, SECOND, THIRD).at_odds(cause, ratio=ratio) == facts


def test_sets_to_be_solved_as_well_are_added_once_and_hold_nothing_yet() -> None:
    found = Combined(sets=((0, 1),), shares=(0.4,), narrow=((1,),)).and_also(
        [(0, 2), (0, 1), (0, 2)]
    )

    assert found.sets == ((0, 1), (0, 2))
    assert found.shares == (0.4, 0.0)
    assert found.narrow == ((1,), ())


NO_LIFT = np.zeros((3, 3), dtype=np.float32)


def companions(
    told: Told,
    epochs: Sequence[int],
    mended_at: Mapping[int, int],
    *,
    log_lift: StoredArray = NO_LIFT,
    most: int = 3,
) -> tuple[FaultSet, ...]:
    """Return companions of mended causes, each cause as likely as the others."""
    return promising_companions(
        told, np.full(3, ODDS), epochs, mended_at, log_lift=log_lift, most=most
    )


# Of three parts the first and the last: a companion may come before the mended cause
# in the catalogue, or behind it.
@pytest.mark.parametrize(("mended", "other"), [(0, 2), (2, 0)])
def test_companion_explains_what_was_told_after_the_repair(
    mended: int, other: int
) -> None:
    told = told_of(*(seen({c: draws(SHOWN)}, {c: 1.0}) for c in (mended, other)))

    assert companions(told, (0, 1), {mended: 1}) == ((0, 2),)


def test_facts_before_the_repair_are_about_the_companion_too() -> None:
    assert companions(told_of(FIRST, SECOND), (0, 0), {0: 1}) == ((0, 1),)


def test_companion_that_betters_nothing_is_left_to_the_priors() -> None:
    assert companions(told_of(FIRST), (0,), {0: 1}) == ()


def test_mended_cause_explains_nothing_after_its_repair() -> None:
    # What all three would explain, told when the first is gone: the second and the
    # third do it just as well.
    every = seen({c: draws(SHOWN) for c in range(3)}, {0: 2.0, 1: 1.0, 2: 1.0})

    assert companions(told_of(FIRST, every), (0, 1), {0: 1}) == ((0, 1), (0, 2))


def test_companion_that_was_mended_too_explains_nothing_after_that() -> None:
    # The second is mended after what it explains, then before it.
    late = companions(told_of(FIRST, SECOND), (0, 1), {0: 1, 1: 2})
    early = companions(told_of(FIRST, SECOND), (0, 2), {0: 1, 1: 2})

    assert (late, early) == (((0, 1),), ())


def test_companion_is_of_another_part_and_the_likeliest_come_first() -> None:
    both = seen({1: draws(0.5), 2: draws(SHOWN)}, {1: 1.0, 2: 1.0})
    one_part = NO_LIFT.copy()
    one_part[0, 2] = one_part[2, 0] = -np.inf

    told = told_of(FIRST, both)
    assert companions(told, (0, 1), {0: 1}) == ((0, 2), (0, 1))
    assert companions(told, (0, 1), {0: 1}, most=1) == ((0, 2),)
    assert companions(told, (0, 1), {0: 1}, log_lift=one_part) == ((0, 1),)
