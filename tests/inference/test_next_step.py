"""The worth of a reading: minutes by published rules, bits by small joints."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.choice.information import mutual_bits, told_bits
from diagnose.inference.choice.joints import (
    AMP_EDGES,
    LOOK_EDGES,
    OHM_EDGES,
    binned_joint,
    yes_no_joint,
)
from diagnose.inference.choice.particles import Particles, common_particles
from diagnose.inference.choice.reading_worth import (
    Alternatives,
    RepairPlan,
    expected_repair_minutes,
    saved_minutes,
)
from diagnose.inference.choice.volts_outcomes import VOLT_EDGES

NEVER = 1e9
CHANCES = np.array([0.45, 0.30, 0.15, 0.10])
MINUTES = np.array([30.0, 10.0, 2.0, 40.0])
PLAN = RepairPlan(minutes=MINUTES, give_up_minutes=NEVER)


def minutes_in_order(order: Sequence[int]) -> float:
    """Return the expected minutes of repairs made in a given order."""
    left, spent = 1.0, 0.0
    for repair in order:
        spent += left * float(MINUTES[repair])
        left -= float(CHANCES[repair])
    return spent


def test_repairs_by_chance_over_cost_are_the_best_order() -> None:
    # Kadane & Simon 1977; Heckerman, Breese & Rommelse 1995: best order C B A D, 31.0.
    every = {o: minutes_in_order(o) for o in itertools.permutations(range(4))}

    found = float(expected_repair_minutes(CHANCES, PLAN))

    assert min(every, key=every.__getitem__) == (2, 1, 0, 3)
    # 1e-6 min: what float64 leaves of a certainty times the 1e9 min of giving up
    assert found == pytest.approx(31.0, abs=1e-6)
    assert found == pytest.approx(min(every.values()), abs=1e-6)


def test_order_by_chance_alone_is_dearer() -> None:
    # The same example: 40.0 by probability alone, 71.8 at worst.
    every = [minutes_in_order(order) for order in itertools.permutations(range(4))]

    assert minutes_in_order((0, 1, 2, 3)) == pytest.approx(40.0, abs=1e-9)
    assert max(every) == pytest.approx(71.8, abs=1e-9)


def test_perfect_test_of_the_first_cause_pays() -> None:
    # The same example: a perfect test of A for 3 minutes brings 31.0 down to 25.6.
    a_or_not = np.array([[0.45, 0.0, 0.0, 0.0, 0.0], [0.0, 0.30, 0.15, 0.10, 0.0]])

    saves = saved_minutes([a_or_not[None]], PLAN)

    assert 31.0 - float(saves[0]) + 3.0 == pytest.approx(25.6, abs=0.05)


def test_repairs_stop_where_help_is_cheaper() -> None:
    # By hand: B for 10, then nothing but D for 200 or help for 50: 10 + .4 x 50.
    plan = RepairPlan(minutes=np.array([10.0, 200.0]), give_up_minutes=50.0)

    found = float(expected_repair_minutes(np.array([0.6, 0.4]), plan))

    assert found == pytest.approx(30.0, abs=1e-9)


def test_without_repairs_there_is_only_help() -> None:
    plan = RepairPlan(minutes=np.empty(0), give_up_minutes=50.0)

    assert expected_repair_minutes(np.empty((3, 0)), plan).tolist() == [50.0] * 3


def test_reading_that_tells_nothing_apart_is_worth_nothing() -> None:
    groups = np.array([0.45, 0.30, 0.15, 0.10, 0.0])
    joint = np.outer([0.2, 0.5, 0.3], groups)[None]

    # the last digit of what is left to believe, times a thousand million to give up
    assert saved_minutes([joint], PLAN) == pytest.approx(0.0, abs=1e-6)
    assert told_bits(joint) == pytest.approx(0.0, abs=1e-9)


def test_bits_of_both_functions_agree() -> None:
    joint = np.random.default_rng(3).random((6, 4, 5))
    joint /= joint.sum(axis=(1, 2), keepdims=True)

    assert told_bits(joint) == pytest.approx(mutual_bits(joint), abs=1e-12)


def test_saving_is_never_negative() -> None:
    # Knowing more can't make the best plan dearer: the minimum of a mean over the mean
    # of minima (Jensen).
    random = np.random.default_rng(5)
    joint = random.random((200, 3, 5)) ** 4
    joint /= joint.sum(axis=(1, 2), keepdims=True)
    plan = RepairPlan(minutes=MINUTES, give_up_minutes=60.0)

    assert saved_minutes([joint], plan).min() > -1e-9


def test_readings_of_several_kinds_are_worth_what_each_is_alone() -> None:
    # One of two outcomes, one of three of which the first never happens.
    random = np.random.default_rng(7)
    two, three = random.random((2, 2, 5)), random.random((3, 3, 5))
    three[1, 0] = 0.0
    # the same is believed before each of them
    before = np.array([0.3, 0.2, 0.1, 0.3, 0.1])
    two *= (before / two.sum(axis=1))[:, None]
    three *= (before / three.sum(axis=1))[:, None]
    plan = RepairPlan(minutes=MINUTES, give_up_minutes=60.0)

    found = saved_minutes([two, three], plan)

    def minutes(chances: FloatArray) -> float:
        return float(expected_repair_minutes(chances, plan))

    expected = [
        minutes(before[:4])
        - sum(
            float(outcome.sum()) * minutes(outcome[:4] / outcome.sum())
            for outcome in joint
            if outcome.any()
        )
        for joint in (*two, *three)
    ]
    assert found == pytest.approx(expected, abs=1e-9)
    assert min(expected) > 0.0


def test_nothing_to_mend_is_never_mended() -> None:
    # By hand: half the time nothing of the list is wrong. The one repair takes 10 min
    # and then half of 40 for help; help at once takes 40.
    plan = RepairPlan(minutes=np.array([10.0]), give_up_minutes=40.0)

    assert float(expected_repair_minutes(np.array([0.5]), plan)) == pytest.approx(30.0)
    # a reading that tells: .5 x 10 for the repair alone, .5 x 40 for help at once
    joint = np.array([[[0.5, 0.0], [0.0, 0.5]]])
    assert saved_minutes([joint], plan) == pytest.approx([30.0 - 25.0])


def test_half_split_is_worth_its_bit_where_one_may_read_on() -> None:
    # By hand: eight causes as likely, each 20 min to mend, help takes 60. Trying them
    # one after the other takes 90 on average, trying the four that are left 50, help 60
    # at most: the half saves 60 - 50 = 10. Where trying takes longer than help before
    # and after, it saves nothing by that.
    halves = np.zeros((1, 2, 9))
    halves[0, 0, :4] = halves[0, 1, 4:8] = 0.125
    plan = RepairPlan(minutes=np.full(8, 20.0), give_up_minutes=60.0)
    dear = replace(plan, minutes=np.full(8, 50.0))

    assert saved_minutes([halves], plan) == pytest.approx([60.0 - 50.0])
    assert saved_minutes([halves], dear) == pytest.approx([0.0])
    # reading on at .2 min a bit: 3 bits and one repair before, 2 and one after
    reads = replace(dear, bit_minutes=0.2)
    assert saved_minutes([halves], reads) == pytest.approx([0.2])
    # what tells nothing is worth nothing
    nothing = np.full((1, 2, 9), 0.0625)
    nothing[..., 8] = 0.0
    assert saved_minutes([nothing], reads) == pytest.approx([0.0])


def test_two_faults_are_looked_for_one_beside_the_other() -> None:
    # By hand: a dead horn by the first or the second cause, a dead pump by the third or
    # the fourth, any two together alike likely. For the horn 10 + .5 x 10, for the pump
    # 20 + .5 x 20; a reading that tells of the horn saves the 5.
    pairs = [(0, 2), (0, 3), (1, 2), (1, 3)]
    horn, pump = (
        Alternatives(
            minutes=np.array(minutes),
            needed=np.array([[one in pair for one in ones] for pair in pairs], float),
        )
        for ones, minutes in (((0, 1), (10.0, 10.0)), ((2, 3), (20.0, 20.0)))
    )
    plan = RepairPlan(
        minutes=np.array([30.0] * 4), give_up_minutes=1e6, alternatives=(horn, pump)
    )
    even = np.full(4, 0.25)
    horn_known = np.array([[0.25, 0.25, 0.0, 0.0, 0.0], [0.0, 0.0, 0.25, 0.25, 0.0]])

    assert float(expected_repair_minutes(even, plan)) == pytest.approx(15.0 + 30.0)
    assert saved_minutes([horn_known[None]], plan) == pytest.approx([5.0])


def test_what_no_group_needs_is_given_up_once() -> None:
    # By hand: a tenth is nothing on the list. .9 x 10 min for the first, .1 x (10 + 40)
    # for what is none of both, and the second is there in half of all cars, 20 min.
    first = Alternatives(minutes=np.array([10.0]), needed=np.array([[1.0], [1.0]]))
    second = Alternatives(minutes=np.array([20.0]), needed=np.array([[1.0], [0.0]]))
    plan = RepairPlan(
        minutes=np.array([30.0, 10.0]),
        give_up_minutes=40.0,
        alternatives=(first, second),
    )

    found = float(expected_repair_minutes(np.array([0.5, 0.4]), plan))

    assert found == pytest.approx(9.0 + 0.1 * 50.0 + 0.5 * 20.0)


def test_help_is_fetched_at_once_where_repairs_hardly_cure() -> None:
    # By hand: 10 + .9 x 40 would be 46.
    plan = RepairPlan(minutes=np.array([10.0]), give_up_minutes=40.0)

    assert float(expected_repair_minutes(np.array([0.1]), plan)) == pytest.approx(40.0)


# Four inverters in a row, each faulty with .01 and then giving either value, last
# output wrong: rules of de Kleer & Williams, "Diagnosing multiple faults", Artificial
# Intelligence 32, 1987; figures computed from them.


def inverter_joint() -> FloatArray:
    """Return place, wrong or right there, and fault set, given a wrong last output."""
    sets = list(itertools.product((False, True), repeat=4))
    joint = np.zeros((3, 2, len(sets)))
    for number, is_faulty in enumerate(sets):
        prior = 0.01 ** sum(is_faulty) * 0.99 ** (4 - sum(is_faulty))
        for flips in itertools.product((False, True), repeat=4):
            if any(f and not b for f, b in zip(flips, is_faulty, strict=True)):
                continue
            is_wrong = np.cumsum(flips) % 2
            if is_wrong[3] == 1:
                joint[range(3), is_wrong[:3], number] += prior * 0.5 ** sum(is_faulty)
    return np.asarray(joint / joint.sum(axis=(1, 2), keepdims=True))


def entropy_bits(chances: FloatArray) -> float:
    some = chances[chances > 0]
    return -float((some * np.log2(some)).sum())


def test_inverters_share_the_blame() -> None:
    sets = np.array(list(itertools.product((False, True), repeat=4)))
    chances = inverter_joint()[0].sum(axis=0)

    assert chances @ sets == pytest.approx([0.2538] * 4, abs=5e-5)
    assert entropy_bits(chances) == pytest.approx(2.1221, abs=5e-5)


def test_middle_of_four_inverters_tells_most() -> None:
    joint = inverter_joint()
    before = entropy_bits(joint[0].sum(axis=0))

    after = before - mutual_bits(joint)

    assert after == pytest.approx([1.3184, 1.1322, 1.3184], abs=5e-5)


# Three multipliers and two adders of the same paper: X = AC, Y = BD, Z = CE, F = X + Y,
# G = Y + Z with 3, 2, 2, 3, 3 at A to E.

PLACES = ("X", "Y", "Z", "F", "G")
SOUND_EQUATIONS: tuple[tuple[tuple[float, ...], float], ...] = (
    ((1, 0, 0, 0, 0), 6.0),
    ((0, 1, 0, 0, 0), 6.0),
    ((0, 0, 1, 0, 0), 6.0),
    ((-1, -1, 0, 1, 0), 0.0),
    ((0, -1, -1, 0, 1), 0.0),
)
VALUES = 10
FAULT_SETS = tuple(itertools.product((False, True), repeat=5))


def predicted_value(
    is_faulty: Sequence[bool], known: Mapping[str, float], place: str
) -> float | None:
    """Return what the sound components and the values known say of a place, if they do.

    Raises
    ------
    ValueError
        If they contradict one another.
    """
    rows = [e for e, bad in zip(SOUND_EQUATIONS, is_faulty, strict=True) if not bad]
    unit = np.eye(len(PLACES))
    rows += [(tuple(unit[PLACES.index(p)]), value) for p, value in known.items()]
    left = np.array([row[0] for row in rows], dtype=np.float64).reshape(-1, 5)
    right = np.array([row[1] for row in rows])
    wanted = unit[PLACES.index(place)]
    rank = np.linalg.matrix_rank
    if len(rows) and rank(np.column_stack([left, right])) > rank(left):
        raise ValueError("contradiction")
    if rank(np.vstack([left, wanted])) > rank(left):
        return None
    return float(np.linalg.lstsq(left, right, rcond=None)[0] @ wanted)


def chances_after(known: Mapping[str, float]) -> FloatArray:
    """Return the posterior of the fault sets; unpredicted values are equally likely."""
    weights = [0.01 ** sum(s) * 0.99 ** (5 - sum(s)) for s in FAULT_SETS]
    told: dict[str, float] = {}
    for place, value in known.items():
        for number, faulty in enumerate(FAULT_SETS):
            if not weights[number]:
                continue
            predicted = predicted_value(faulty, told, place)
            if predicted is None:
                weights[number] /= VALUES
            elif abs(predicted - value) > 1e-6:
                weights[number] = 0.0
        told[place] = value
    chances = np.array(weights)
    return np.asarray(chances / chances.sum())


def place_joint(known: Mapping[str, float], places: Sequence[str]) -> FloatArray:
    """Return place, value there, and fault set."""
    chances = chances_after(known)
    joint = np.zeros((len(places), VALUES, len(FAULT_SETS)))
    for row, place in enumerate(places):
        column_of: dict[float, int] = {}
        for number in np.flatnonzero(chances).tolist():
            value = predicted_value(FAULT_SETS[number], known, place)
            if value is None:
                joint[row, :, number] = chances[number] / VALUES
            else:
                column = column_of.setdefault(round(value, 6), len(column_of))
                joint[row, column, number] = chances[number]
    return joint


def component_chances(chances: FloatArray) -> dict[str, float]:
    """Return the chance of each single fault set, by component."""
    names = ("M1", "M2", "M3", "A1", "A2")
    return {
        name: float(chances[FAULT_SETS.index(tuple(n == name for n in names))])
        for name in names
    }


def test_wrong_sum_leaves_three_single_faults_alike() -> None:
    chances = chances_after({"F": 10.0})

    found = component_chances(chances)

    assert [found[name] for name in ("M1", "M2", "A1")] == pytest.approx(
        [0.3234] * 3, abs=5e-5
    )
    assert entropy_bits(chances) == pytest.approx(1.8278, abs=5e-5)


def test_other_sum_tells_most_after_a_wrong_sum() -> None:
    joint = place_joint({"F": 10.0}, ("G", "X", "Y", "Z"))
    before = entropy_bits(joint[0].sum(axis=0))

    after = before - mutual_bits(joint)

    assert after == pytest.approx([0.8056, 0.8734, 0.8734, 1.7584], abs=5e-5)


def test_right_other_sum_leaves_two_single_faults() -> None:
    chances = chances_after({"F": 10.0, "G": 12.0})

    found = component_chances(chances)

    assert [found["M1"], found["A1"]] == pytest.approx([0.4955] * 2, abs=5e-5)
    assert entropy_bits(chances) == pytest.approx(1.0870, abs=5e-5)


def test_first_product_is_measured_next() -> None:
    joint = place_joint({"F": 10.0, "G": 12.0}, ("X", "Y", "Z"))
    before = entropy_bits(joint[0].sum(axis=0))

    after = before - mutual_bits(joint)

    assert after == pytest.approx([0.0578, 1.0752, 1.0804], abs=5e-5)


# Ten lamps in series, one of them open.


def readings_to_find(open_lamp: int) -> int:
    """Return how many readings the most telling choice takes to find one open lamp."""
    left, count = list(range(10)), 0
    while len(left) > 1:
        behind = np.array([[lamp <= place for lamp in left] for place in range(9)])
        one_hot = np.stack([behind, ~behind], axis=1).astype(np.float64)
        best = int(mutual_bits(one_hot / len(left)).argmax())
        left = [lamp for lamp in left if (lamp <= best) is (open_lamp <= best)]
        count += 1
    return count


def test_ten_lamps_take_four_readings_at_worst() -> None:
    # Half-split: ten leaves of a binary tree, six at depth 3 and four at depth 4.
    counts = [readings_to_find(lamp) for lamp in range(10)]

    assert max(counts) == 4
    assert sum(counts) / 10 == pytest.approx(3.4, abs=1e-9)


# From particles to joints.


def particles(groups: Sequence[int], shares: Sequence[float]) -> Particles:
    count = len(groups)
    return Particles(
        row=np.arange(count),
        draw=np.zeros(count, dtype=np.int64),
        share=np.array(shares),
        group=np.array(groups),
    )


def test_outcomes_are_counted_by_bin_and_group() -> None:
    # By hand: edges at 1 and 5 make three bins.
    values = np.array([[0.5, 3.0, 9.0, 9.5], [0.0, 0.0, 1.0, 1.0]])
    some = particles([0, 0, 1, 1], [0.1, 0.2, 0.3, 0.4])

    joint = binned_joint(values, some, edges=np.array([1.0, 5.0]), n_groups=2)

    assert joint == pytest.approx(
        np.array([[[0.1, 0], [0.2, 0], [0, 0.7]], [[0.3, 0], [0, 0.7], [0, 0]]])
    )


def test_over_range_has_the_last_bin() -> None:
    some = particles([0, 1], [0.5, 0.5])

    joint = binned_joint(np.array([[np.inf, 1.0]]), some, edges=OHM_EDGES, n_groups=2)

    assert joint[0, -1].tolist() == [0.5, 0.0]


def test_answers_are_weighed_by_their_chance() -> None:
    some = particles([0, 1], [0.25, 0.75])

    joint = yes_no_joint(np.array([[0.8, 0.4]]), some, n_groups=2)

    assert joint[0] == pytest.approx(np.array([[0.2, 0.3], [0.05, 0.45]]))


def test_sets_that_show_the_same_are_given_the_same_draws() -> None:
    # Two sets whose facts so far fit alike: a reading that shows the same in both for
    # every draw must be worth nothing, whatever the draws weigh.
    random = np.random.default_rng(11)
    draws = random.random(12)
    weights = np.stack([0.7 * draws, 0.3 * draws])
    weights /= weights.sum()
    rows, numbers, share = common_particles(weights, most_sets=2, n_draws=6)
    shown = 9.0 + 5.0 * random.random(12)
    chosen = Particles(row=rows, draw=numbers, share=share, group=rows)

    joint = binned_joint(shown[numbers][None], chosen, edges=VOLT_EDGES, n_groups=2)

    assert float(mutual_bits(joint)[0]) == pytest.approx(0.0, abs=1e-9)


def test_particles_keep_the_chances_of_their_sets() -> None:
    weights = np.random.default_rng(2).random((5, 16))
    weights /= weights.sum()

    rows, _, share = common_particles(weights, most_sets=5, n_draws=8)

    assert np.bincount(rows, share) == pytest.approx(weights.sum(axis=1), abs=1e-12)


def test_shares_of_sets_given_up_go_to_those_kept() -> None:
    # By hand: .6 and .3 of three sets are kept, two thirds and a third of what is left.
    weights = np.repeat(np.array([[0.1], [0.6], [0.3]]) / 4, 4, axis=1)

    rows, _, share = common_particles(weights, most_sets=2, n_draws=4)

    assert np.bincount(rows, share) == pytest.approx([0.0, 2 / 3, 1 / 3], abs=1e-12)


def test_sets_below_a_ten_thousandth_of_the_likeliest_are_left_out() -> None:
    weights = np.array([[0.5, 0.9 * 0.5e-4, 1.1 * 0.5e-4]]).T

    rows, _, _ = common_particles(weights, most_sets=3, n_draws=1)

    assert rows.tolist() == [0, 2]


def test_draws_below_a_fiftieth_of_a_set_s_best_are_left_out_of_it() -> None:
    weights = np.array([[0.5, 0.5 * 0.019, 0.5 * 0.021], [0.1, 0.1, 0.1]])

    rows, _, share = common_particles(weights, most_sets=2, n_draws=3)

    assert (share[rows == 0] > 0.0).tolist() == [True, False, True]
    assert (share[rows == 1] > 0.0).all()


def test_fewer_draws_than_wanted_are_all_taken() -> None:
    rows, draws, share = common_particles(
        np.full((2, 3), 1 / 6), most_sets=2, n_draws=9
    )

    assert (rows.tolist(), draws.tolist()) == ([0, 0, 0, 1, 1, 1], [0, 1, 2] * 2)
    assert float(share.sum()) == pytest.approx(1.0)


def test_draws_ruled_out_for_a_set_are_left_out_of_it() -> None:
    weights = np.array([[0.0, 0.25, 0.25], [0.2, 0.2, 0.1]])

    rows, draws, share = common_particles(weights, most_sets=2, n_draws=3)

    assert share[(rows == 0) & (draws == 0)].tolist() == [0.0]


@pytest.mark.parametrize("edges", [VOLT_EDGES, AMP_EDGES, OHM_EDGES, LOOK_EDGES])
def test_edges_rise(edges: FloatArray) -> None:
    assert (np.diff(edges) > 0).all()


def test_particles_take_the_draws_that_all_sets_together_believe_in() -> None:
    # By hand: the draws weigh .25, .1, .35 and .3 over both sets; the third and the
    # fourth are taken, in their order, and both sets get them as 35 to 30.
    weights = np.array([[0.2, 0.0, 0.2, 0.1], [0.05, 0.1, 0.15, 0.2]])

    rows, draws, share = common_particles(weights, most_sets=2, n_draws=2)

    assert (rows.tolist(), draws.tolist()) == ([0, 0, 1, 1], [2, 3, 2, 3])
    half = 0.5 * np.array([35, 30]) / 65
    assert share == pytest.approx([*half, *half])
