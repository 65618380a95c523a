"""Closed cases move the published rates: by Dirichlet's rule, and not too far."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np
import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.inference.learning.closed_cases import ClosedCase, PartGroup
from diagnose.inference.learning.counting import BATCH, Counter, Tally, batched
from diagnose.inference.learning.factors import (
    Learned,
    LearnedShare,
    learned_by,
    rates_digest,
    with_learned,
)
from diagnose.inference.prior.network import dirichlet_shares
from tests.lamp_car import CONTEXTS, MODES, make_knowledge

KNOWLEDGE = make_knowledge()
FUSE: PartGroup = ("fuse", "")
LAMP: PartGroup = ("lamp", "")
WIRE: PartGroup = ("wire", "")
GROUND: PartGroup = ("wire", "ground")
PARTS: Mapping[PartGroup, int] = {FUSE: 2, LAMP: 1, WIRE: 1, GROUND: 1}
SINGLE = 1e-6
"""The shares of cases are kept in single precision, factors settled to a millionth."""
DRY_IN_SERVICE = {"wiring": "in_service", "water": "dry"}


def closed(
    mode: str,
    group: PartGroup,
    *,
    parts: Mapping[PartGroup, int] = PARTS,
    history: Mapping[str, str] = DRY_IN_SERVICE,
) -> ClosedCase:
    return ClosedCase(
        case_id="",
        complaint="lamp-dead",
        history=history,
        parts=parts,
        group=group,
        mode=mode,
    )


def learned_of(
    cases: Iterable[ClosedCase], knowledge: Knowledge = KNOWLEDGE
) -> Learned:
    """Return what cases say, counted a batch at a time as `learn` does."""
    counter = Counter(knowledge.modes, knowledge.contexts)
    return learned_by(map(counter.tally, batched(cases)), knowledge)


def share_of(learned: Learned, mode: str) -> LearnedShare:
    return next(share for share in learned.shares if mode in share.modes)


def expected_share(
    mode: str,
    history: Mapping[str, str],
    parts: Mapping[PartGroup, int] = PARTS,
) -> float:
    counter = Counter(MODES, CONTEXTS)
    shares = counter.expected_shares(parts, history)
    place = next(i for i, (_, names) in enumerate(counter.categories) if mode in names)
    return float(shares[place])


def test_expected_share_counts_the_parts() -> None:
    # By hand, dry and in service: fuses 2 x .01, lamp .03, feed .02 + .03 + .03 + .01,
    # ground the same without the short: .02 of .22.
    found = expected_share("blown", DRY_IN_SERVICE)

    assert found == pytest.approx(0.02 / 0.22, abs=1e-12)


def test_expected_share_follows_the_history() -> None:
    # By hand, wet: fuses 2 x .01 x 3, lamp .03, feed .02 + 2 x .03 x 4 + .01, ground
    # .02 + 2 x .03 x 4: .06 of .62.
    found = expected_share("blown", {"wiring": "in_service", "water": "wet"})

    assert found == pytest.approx(0.06 / 0.62, abs=1e-12)


def test_open_question_is_averaged_over_its_answers() -> None:
    # By hand, water not known: blown .02 x (.7 + .3 x 3) = .032; lamp .03; each of the
    # four ends .03 x (.7 + .3 x 4) = .057; opens .04, short .01.
    found = expected_share("blown", {"wiring": "in_service"})

    assert found == pytest.approx(0.032 / (0.032 + 0.03 + 4 * 0.057 + 0.05), abs=1e-12)


def test_part_with_an_excepted_role_is_not_counted() -> None:
    with_ground = expected_share("short_to_ground", DRY_IN_SERVICE, {GROUND: 1})

    assert with_ground == 0.0


def test_no_case_moves_nothing() -> None:
    learned = learned_of([])

    assert {share.factor for share in learned.shares} == {1.0}


def test_share_after_cases_is_dirichlets_posterior_mean() -> None:
    # By hand: published .02/.22 counts as 18.18 of 200 cases; 30 of 100 were seen.
    cases = [closed("blown", FUSE)] * 30 + [closed("burnt_out", LAMP)] * 70

    share = share_of(learned_of(cases), "blown")

    published = 0.02 / 0.22
    expected = (200 * published + 30) / (200 + 100)
    assert share.factor * published == pytest.approx(expected, abs=SINGLE)


def test_published_shares_stay_when_the_cases_agree_with_them() -> None:
    # 22 cases in the published proportions .02 .03 .04 .12 .01 of .22 (two ends of two
    # wires are one category).
    seen = (
        ("blown", FUSE, 2),
        ("burnt_out", LAMP, 3),
        ("open_circuit", WIRE, 4),
        ("high_resistance_a", WIRE, 12),
        ("short_to_ground", WIRE, 1),
    )
    cases = [closed(mode, group) for mode, group, count in seen for _ in range(count)]

    learned = learned_of(cases)

    factors = [share.factor for share in learned.shares]
    assert factors == pytest.approx([1.0] * len(factors), abs=SINGLE)


def test_many_cases_outweigh_the_published_shares() -> None:
    cases = [closed("blown", FUSE)] * 3000 + [closed("burnt_out", LAMP)] * 7000

    share = share_of(learned_of(cases), "blown")

    # seen .3; the 200 published cases may still pull by their weight, 200 in 10,200
    assert share.factor * 0.02 / 0.22 == pytest.approx(0.3, abs=0.02)


@pytest.mark.parametrize(
    ("mode", "group"),
    [("blown", FUSE), ("burnt_out", LAMP), ("short_to_ground", WIRE)],
)
def test_ten_cases_cannot_swamp_the_published_shares(
    mode: str, group: PartGroup
) -> None:
    # Ten of 210 cases are all the probability that they can move.
    published = np.array(
        [
            expected_share(names[0], DRY_IN_SERVICE)
            for _, names in Counter(MODES, CONTEXTS).categories
        ]
    )

    learned = learned_of([closed(mode, group)] * 10)

    now = published * [share.factor for share in learned.shares]
    moved = np.abs(now - published).sum() / 2.0
    assert moved <= 10 / (200 + 10) + SINGLE


def test_one_case_of_a_rare_mode_at_most_doubles_it() -> None:
    # A mode counts for at least one case: one more makes two.
    rare = tuple(
        replace(mode, rate=1e-9) if mode.name == "short_to_ground" else mode
        for mode in MODES
    )

    learned = learned_of([closed("short_to_ground", WIRE)], make_knowledge(rare))

    # the other rates give way by one case in two hundred
    assert share_of(learned, "short_to_ground").factor == pytest.approx(2.0, rel=0.006)


def test_mode_too_rare_to_have_been_seen_is_not_ruled_out() -> None:
    # Expected .0001 times in 10,000 cases: not to have seen it says nothing.
    rare = tuple(
        replace(mode, rate=1e-9) if mode.name == "short_to_ground" else mode
        for mode in MODES
    )

    learned = learned_of([closed("blown", FUSE)] * 10_000, make_knowledge(rare))

    blown = share_of(learned, "blown")
    assert share_of(learned, "short_to_ground").factor > 0.1
    assert blown.factor * 0.02 / 0.21 > 0.9


def test_parts_that_no_car_has_keep_their_rates() -> None:
    learned = learned_of([closed("blown", FUSE)] * 50)

    assert share_of(learned, "discharged").factor == 1.0


def test_two_ends_of_a_wire_are_learned_together() -> None:
    # By hand: .12 of .22 counts as 109.1 of 200 cases; all of 20 more are these.
    learned = learned_of([closed("high_resistance_a", WIRE)] * 20)

    published = 0.12 / 0.22
    expected = (200 * published + 20) / (200 + 20) / published
    found = share_of(learned, "high_resistance_b").factor
    assert found == pytest.approx(expected, abs=SINGLE)


def test_expected_number_of_faults_stays() -> None:
    # Cases say which fault it was, not how often cars fail.
    cases = [closed("blown", FUSE)] * 40 + [closed("open_circuit", GROUND)] * 3
    learned = learned_of(cases)

    moved = sum(share.expected * share.factor for share in learned.shares)

    assert moved == pytest.approx(43.0, rel=SINGLE)


def test_cases_of_different_cars_are_each_held_against_their_own_car() -> None:
    # A car with a hundred fuses blows more fuses; that says nothing about fuses.
    # By hand: many 1.0 of 1.2, few .02 of .22; the cases agree with both.
    many: Mapping[PartGroup, int] = {**PARTS, FUSE: 100}
    rest = "burnt_out", LAMP
    cases = [closed("blown", FUSE, parts=many)] * 100
    cases += [closed(*rest, parts=many)] * 20
    cases += [closed("blown", FUSE)] * 20 + [closed(*rest)] * 200

    share = share_of(learned_of(cases), "blown")

    assert share.expected == pytest.approx(120.0, rel=SINGLE)
    assert share.seen == 120.0


def test_true_rates_are_found_from_cars_that_differ() -> None:
    # Fuses blow three times as often as published. A car with fifty fuses has hardly
    # any other fault; seen over expected, summed over both cars, would give 1.86.
    many: Mapping[PartGroup, int] = {**PARTS, FUSE: 50}
    random = np.random.default_rng(3)
    counter = Counter(MODES, CONTEXTS)
    names = [modes[0] for _, modes in counter.categories]
    groups = {"blown": FUSE, "burnt_out": LAMP}
    cases = []
    for parts in (PARTS, many):
        chances = counter.expected_shares(parts, DRY_IN_SERVICE).copy()
        chances[names.index("blown")] *= 3.0
        drawn = random.choice(len(names), size=4000, p=chances / chances.sum())
        for place in drawn.tolist():
            group = groups.get(names[place], WIRE)
            cases.append(closed(names[place], group, parts=parts))

    learned = learned_of(cases)

    # 4,000 cases of a share near .2 are good to 3 %, and the published ones pull a bit
    ratio = share_of(learned, "blown").factor / share_of(learned, "burnt_out").factor
    assert ratio == pytest.approx(3.0, rel=0.12)


def test_learned_rates_are_the_published_ones_times_the_factor() -> None:
    learned = learned_of([closed("blown", FUSE)] * 50)

    moved = with_learned(KNOWLEDGE, learned)

    blown = next(mode for mode in moved.modes if mode.name == "blown")
    assert blown.rate == pytest.approx(0.01 * share_of(learned, "blown").factor)


def test_learned_knowledge_is_never_taken_for_the_published() -> None:
    learned = learned_of([closed("blown", FUSE)])

    found = with_learned(KNOWLEDGE, learned)

    assert found.learned_digest != KNOWLEDGE.learned_digest


def test_factors_of_other_published_rates_are_refused() -> None:
    learned = learned_of([closed("blown", FUSE)])
    other = make_knowledge([replace(mode, rate=mode.rate / 2) for mode in MODES])

    with pytest.raises(ValueError, match="other published rates"):
        with_learned(other, learned)


@pytest.mark.parametrize("digest", ["", "~"], ids=["before", "behind"])
def test_factors_of_any_other_digest_are_refused(digest: str) -> None:
    learned = replace(learned_of([closed("blown", FUSE)]), rates_digest=digest)

    with pytest.raises(ValueError, match="other published rates"):
        with_learned(KNOWLEDGE, learned)


def test_mode_of_which_nothing_was_learned_keeps_its_rate() -> None:
    learned = replace(learned_of([closed("blown", FUSE)]), shares=())

    found = with_learned(KNOWLEDGE, learned)

    assert [m.rate for m in found.modes] == [m.rate for m in KNOWLEDGE.modes]


def test_case_of_an_impossible_mode_is_our_own_mistake() -> None:
    with pytest.raises(ValueError, match="can't have"):
        learned_of([closed("blown", LAMP)])


def test_cases_are_read_a_batch_at_a_time() -> None:
    # However many there are, no more than one batch is held.
    told = 0
    ahead = []
    counter = Counter(MODES, CONTEXTS)

    def cases() -> Iterator[ClosedCase]:
        nonlocal told
        for _ in range(2 * BATCH + 10):
            told += 1
            yield closed("blown", FUSE)

    def watched() -> Iterator[Tally]:
        done = 0
        for batch in batched(cases()):
            ahead.append(told - done)
            done += len(batch)
            yield counter.tally(batch)

    learned = learned_by(watched(), KNOWLEDGE)

    assert learned.n_cases == 2 * BATCH + 10
    assert max(ahead) == BATCH


def test_pgmpy_estimates_shares_in_the_order_of_the_counts() -> None:
    # By hand: (2.5 + 1) / 20, (0 + 2) / 20, ...: Dirichlet's posterior mean.
    counts = np.array([2.5, 0.0, 4.0, 1.5])
    pseudo = np.array([1.0, 2.0, 6.0, 3.0])

    found = dirichlet_shares(counts, pseudo)

    assert found == pytest.approx([0.175, 0.1, 0.5, 0.225], abs=1e-12)


# What a rate is multiplied by belongs to the rate: another answer's chance, or another
# factor of it, makes other rates.
def test_digest_is_that_of_rates_and_of_what_shifts_them() -> None:
    dry = replace(CONTEXTS[1], states={"dry": 0.8, "wet": 0.2})
    often = tuple(replace(mode, rate=1.5 * mode.rate) for mode in MODES)
    wetter = tuple(
        replace(mode, factors={"water": {"wet": 9.0}}) if mode.factors else mode
        for mode in MODES
    )
    longer = tuple(
        replace(mode, repair=replace(mode.repair, minutes=77.0)) for mode in MODES
    )

    as_published = rates_digest(KNOWLEDGE)

    assert rates_digest(make_knowledge(often)) != as_published
    assert rates_digest(make_knowledge(wetter)) != as_published
    assert rates_digest(replace(KNOWLEDGE, contexts=(CONTEXTS[0], dry))) != as_published
    assert rates_digest(make_knowledge(longer)) == as_published


@pytest.mark.parametrize("factor", [0.0, -1.0, float("inf"), float("nan")])
def test_factor_that_can_not_be_is_refused(factor: float) -> None:
    learned = learned_of([closed("blown", FUSE)])
    broken = replace(
        learned, shares=(replace(learned.shares[0], factor=factor), *learned.shares[1:])
    )

    with pytest.raises(ValueError, match="not a positive number"):
        with_learned(KNOWLEDGE, broken)


def test_learned_says_what_it_rests_on() -> None:
    learned = learned_of([closed("blown", FUSE)] * 3 + [closed("burnt_out", LAMP)])

    assert (learned.n_cases, learned.published_cases) == (4, 200.0)
    assert learned.rates_digest == rates_digest(KNOWLEDGE)
    blown, lamp = share_of(learned, "blown"), share_of(learned, "burnt_out")
    assert (blown.kind, blown.modes, blown.seen) == ("fuse", ("blown",), 3.0)
    # By hand: four cars with .02 and .03 of .22.
    assert blown.expected == pytest.approx(4 * 0.02 / 0.22, rel=SINGLE)
    assert lamp.expected == pytest.approx(4 * 0.03 / 0.22, rel=SINGLE)


def test_same_car_with_another_history_is_not_the_same() -> None:
    counter = Counter(MODES, CONTEXTS)
    dry = counter.expected_shares(PARTS, DRY_IN_SERVICE)
    wet = counter.expected_shares(PARTS, {**DRY_IN_SERVICE, "water": "wet"})

    again = counter.expected_shares(PARTS, DRY_IN_SERVICE)

    assert again.tolist() == dry.tolist() != wet.tolist()


def test_car_that_can_not_fail_is_our_own_mistake() -> None:
    counter = Counter(MODES, CONTEXTS)

    with pytest.raises(ValueError, match="can fail"):
        counter.expected_shares({("sender", ""): 3}, {})


def test_mode_of_one_role_is_counted_on_parts_in_it_alone() -> None:
    ground_only = tuple(
        replace(mode, roles=frozenset({"ground"}))
        if mode.name == "open_circuit"
        else mode
        for mode in MODES
    )
    counter = Counter(ground_only, CONTEXTS)
    place = [names for _, names in counter.categories].index(("open_circuit",))

    found = [
        float(counter.expected_shares({group: 1}, DRY_IN_SERVICE)[place])
        for group in (WIRE, GROUND)
    ]

    # By hand: .02 of .02 + .03 + .03 on the ground wire.
    assert found == pytest.approx([0.0, 0.25])


def test_batches_end_with_what_is_left() -> None:
    assert [len(one) for one in batched(range(2 * BATCH))] == [BATCH, BATCH]
    assert [len(one) for one in batched(range(BATCH + 1))] == [BATCH, 1]
    assert list(batched([])) == []
