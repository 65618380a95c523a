"""Causes that make others likelier, and conditions of whole places, on the lamp car."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.faults.causes import Cause, FaultSet, catalogue
from diagnose.faults.links import Link, Spot, Ties
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.compilation import priors_of
from diagnose.inference.prior.drawn_faults import drawn_fault_set
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.inference.prior.priors import Priors, rates_alone
from diagnose.inference.prior.several_faults import more_than_two, pair_lift
from tests.elimination import fault_sets, posterior
from tests.lamp_car import (
    CAR,
    COMES_AND_GOES,
    CONTEXTS,
    DISCHARGED,
    MODES,
    OPEN,
    RESISTANCE_A,
    RESISTANCE_B,
    SHORT,
)

TOLERANCE = 1e-9
DAMP = {"dry": 0.1, "wet": 0.5}
WEIGHT = 6.0
LOOSE, DRAINED = 4.0, 3.0
RARE = tuple(
    replace(mode, rate=0.1 * mode.rate)
    for mode in MODES
    if mode not in (RESISTANCE_B, SHORT)
)
"""Rare enough that no part is ever likelier broken than sound."""


@pytest.fixture(scope="module")
def causes() -> tuple[Cause, ...]:
    return catalogue(CAR, RARE)


def number(name: str, causes: Sequence[Cause]) -> int:
    return next(i for i, cause in enumerate(causes) if cause.name == name)


@pytest.fixture(scope="module")
def ties(causes: tuple[Cause, ...]) -> Ties:
    """Bad ground or feed, and a flat battery, kill the lamp; two wires share a spot."""
    joints = tuple(
        i for i, cause in enumerate(causes) if "high_resistance" in cause.mode.name
    )
    lamp = (number("lamp:burnt_out", causes),)
    flat = (number("battery:discharged", causes),)
    return Ties(
        links=(
            Link(
                name="loose", parents=joints, part="lamp", children=lamp, factor=LOOSE
            ),
            Link(name="flat", parents=flat, part="lamp", children=lamp, factor=DRAINED),
        ),
        spots=(
            Spot(
                name="damp_bay",
                context="water",
                chances=DAMP,
                weights=dict.fromkeys(joints, WEIGHT),
                parts=tuple(dict.fromkeys(causes[j].part.name for j in joints)),
            ),
        ),
    )


@pytest.fixture(scope="module")
def network(causes: tuple[Cause, ...], ties: Ties) -> CauseNetwork:
    return CauseNetwork(CONTEXTS, causes, ties)


@pytest.fixture(scope="module")
def priors(network: CauseNetwork) -> Priors:
    return priors_of(network)


def chance_by_hand(
    fault_set: FaultSet, causes: Sequence[Cause], told: Mapping[str, str]
) -> float:
    """Sum over the damp spot, straight from rates, factors and weights."""
    present = {causes[c].name for c in fault_set}
    total = 0.0
    for is_damp in (False, True):
        damp = DAMP[told["water"]]
        term = damp if is_damp else 1.0 - damp
        for part in dict.fromkeys(cause.part.name for cause in causes):
            chances = {}
            for cause in (c for c in causes if c.part.name == part):
                rate = cause.mode.rate * math.prod(
                    by.get(told[context], 1.0)
                    for context, by in cause.mode.factors.items()
                )
                if "high_resistance" in cause.mode.name:
                    rate *= (WEIGHT if is_damp else 1.0) / (1.0 - damp + damp * WEIGHT)
                if part == "lamp":
                    if any("high_resistance" in name for name in present):
                        rate *= LOOSE
                    if "battery:discharged" in present:
                        rate *= DRAINED
                chances[cause.name] = rate
            here = [name for name in chances if name in present]
            term *= chances[here[0]] if here else 1.0 - sum(chances.values())
        total += term
    return total


@pytest.mark.parametrize(
    "told",
    [
        {"wiring": "fresh", "water": "wet"},
        {"wiring": "in_service", "water": "dry"},
    ],
    ids=["fresh and wet", "in service and dry"],
)
def test_tied_sets_have_the_chance_worked_out_by_hand(
    told: Mapping[str, str],
    network: CauseNetwork,
    priors: Priors,
    causes: tuple[Cause, ...],
) -> None:
    sets = fault_sets(network)
    expected = [chance_by_hand(one, causes, told) for one in sets]

    found = priors.set_probabilities(sets, told)

    assert found == pytest.approx(expected, rel=1e-9)
    assert found.sum() == pytest.approx(1.0, abs=TOLERANCE)


@pytest.mark.parametrize("answers", [{}, {"water": "wet"}], ids=["skipped", "wet"])
def test_tied_marginals_are_those_of_variable_elimination(
    answers: Mapping[str, str],
    network: CauseNetwork,
    priors: Priors,
    causes: tuple[Cause, ...],
) -> None:
    expected = posterior(network, [], answers)

    found = cause_probabilities(priors, answers)

    assert found == pytest.approx([expected[c.name] for c in causes], abs=TOLERANCE)


def test_tied_posterior_is_that_of_variable_elimination(
    network: CauseNetwork, priors: Priors, causes: tuple[Cause, ...]
) -> None:
    sets = fault_sets(network)
    random = np.random.default_rng(4)
    facts = [random.random((len(sets), 2)) ** 6 for _ in range(2)]
    joint = priors.set_probabilities(sets, {"wiring": "fresh"})
    joint = joint * np.prod(np.stack(facts), axis=0).mean(axis=1)
    joint /= joint.sum()

    expected = posterior(network, facts, {"wiring": "fresh"})

    for index, cause in enumerate(causes):
        found = sum(
            chance
            for fault_set, chance in zip(sets, joint.tolist(), strict=True)
            if index in fault_set
        )
        assert found == pytest.approx(expected[cause.name], abs=TOLERANCE)


def test_two_joints_of_one_place_fail_together(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand, dry, with all else sound: the spot's share of the weights squared over
    # the square of its share of the weights, .1 and .9 moved a little by what is sound.
    first = number("feed:high_resistance_a", causes)
    second = number("ground:high_resistance_a", causes)
    dry = {"wiring": "in_service", "water": "dry"}

    none, one, other, both = priors.set_probabilities(
        [(), (first,), (second,), (first, second)], dry
    ).tolist()

    plain = (0.9 + 0.1 * WEIGHT**2) / (0.9 + 0.1 * WEIGHT) ** 2
    assert both * none / (one * other) == pytest.approx(plain, rel=0.1)
    lift = pair_lift(priors, dry)[first, second]
    assert lift == pytest.approx(plain, rel=0.02)


def test_rate_of_a_mode_is_the_same_on_average_over_its_spot(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand: .003 x 4 in the wet, x 2 on fresh wiring.
    found = cause_probabilities(priors, {"water": "wet", "wiring": "fresh"})

    assert found[number("feed:high_resistance_a", causes)] == pytest.approx(0.024)


def test_link_multiplies_the_chance_of_its_child(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand: .003 of the lamps are burnt out, .012 with a bad joint before them.
    joint = number("ground:high_resistance_a", causes)
    lamp = number("lamp:burnt_out", causes)
    told = {"wiring": "in_service", "water": "dry"}

    alone, both = priors.set_probabilities([(joint,), (joint, lamp)], told).tolist()

    assert both / (alone + both) == pytest.approx(0.012, abs=1e-12)


def test_pair_of_a_parent_and_its_child_is_likelier_by_the_factor(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    joint = number("ground:high_resistance_a", causes)
    flat = number("battery:discharged", causes)
    lamp = number("lamp:burnt_out", causes)
    fuse = number("main-fuse:blown", causes)

    lift = pair_lift(priors, {})

    # by the two links' factors, in single precision; nothing ties a fuse to a battery
    assert lift[joint, lamp] == lift[lamp, joint] == pytest.approx(LOOSE)
    assert lift[flat, lamp] == lift[lamp, flat] == pytest.approx(DRAINED)
    assert lift[flat, joint] == lift[flat, fuse] == 1.0


def test_drawn_faults_come_as_often_as_they_should(
    priors: Priors, network: CauseNetwork
) -> None:
    random = np.random.default_rng(2)
    drawn = [drawn_fault_set(priors, random) for _ in range(8000)]
    often = [
        pair
        for pair, chance in zip(
            fault_sets(network),
            priors.set_probabilities(fault_sets(network), {}),
            strict=True,
        )
        if len(pair) < 3 and chance > 0.001
    ]
    # 8000 draws see what has .4 % 32 times, give or take 6
    for pair in itertools.islice(often, 9):
        expected = float(priors.set_probabilities([pair], {})[0])
        seen = sum(one == pair for one in drawn) / len(drawn)
        assert seen == pytest.approx(expected, abs=4.0 * math.sqrt(expected / 8000))


def test_priors_come_back_from_arrays(priors: Priors, network: CauseNetwork) -> None:
    again = Priors.from_arrays(priors.arrays())

    sets = fault_sets(network)[:50]
    assert again.contexts == priors.contexts
    assert again.set_probabilities(sets, {}).tolist() == (
        priors.set_probabilities(sets, {}).tolist()
    )


@pytest.mark.parametrize("told", [{}, {"water": "wet"}, {"wiring": "fresh"}])
def test_bound_on_three_causes_holds_and_is_close(
    told: dict[str, str], network: CauseNetwork, priors: Priors
) -> None:
    # By counting: every combination of faults, those of three and more over those of
    # one and more.
    sets = fault_sets(network)
    chances = priors.set_probabilities(sets, told)
    sizes = np.array([len(fault_set) for fault_set in sets])
    exact = float(chances[sizes > 2].sum() / chances[sizes > 0].sum())

    found = more_than_two(priors, told)

    assert exact <= found < 1.3 * exact


DRY = {"wiring": "in_service", "water": "dry"}


@pytest.mark.parametrize("told", [{}, DRY, {"water": "wet", "wiring": "fresh"}])
def test_bound_on_three_causes_is_exact_with_one_parent(
    told: dict[str, str], causes: tuple[Cause, ...], ties: Ties
) -> None:
    # Only where a set holds two parents of one link is something taken off twice.
    flat = ties.links[1]
    assert len(flat.parents) == 1
    network = CauseNetwork(CONTEXTS, causes, replace(ties, links=(flat,)))
    priors, sets = priors_of(network), fault_sets(network)
    chances = priors.set_probabilities(sets, told)
    sizes = np.array([len(fault_set) for fault_set in sets])

    found = more_than_two(priors, told)

    # By counting, as above.
    exact = float(chances[sizes > 2].sum() / chances[sizes > 0].sum())
    assert found == pytest.approx(exact, rel=1e-6)


def test_lift_of_a_pair_in_one_spot_is_that_of_its_chances(
    causes: tuple[Cause, ...], ties: Ties
) -> None:
    # With every question answered the lift is not about, but just, how much likelier
    # the pair is than by the odds of its causes.
    priors = priors_of(CauseNetwork(CONTEXTS, causes, replace(ties, links=())))
    names = ("feed:high_resistance_a", "ground:high_resistance_a", "feed:open_circuit")
    first, second, other = (number(name, causes) for name in names)

    lift = pair_lift(priors, DRY)

    for one, two in ((first, second), (second, other)):
        none, alone, beside, both = priors.set_probabilities(
            [(), (one,), (two,), tuple(sorted((one, two)))], DRY
        ).tolist()
        expected = both * none / (alone * beside)
        assert lift[one, two] == pytest.approx(expected, rel=1e-6)
    assert lift[first, second] > 1.2


def test_links_of_two_parents_both_act_on_the_child(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand: .003 x 4 x 3 of the lamps behind a bad joint and on a flat battery.
    joint = number("ground:high_resistance_a", causes)
    flat = number("battery:discharged", causes)
    lamp = number("lamp:burnt_out", causes)
    pair = tuple(sorted((joint, flat)))

    alone, both = priors.set_probabilities(
        [pair, tuple(sorted((*pair, lamp)))], DRY
    ).tolist()

    assert both / (alone + both) == pytest.approx(0.036, abs=1e-12)


def test_link_leaves_no_part_likelier_broken_than_sound(
    causes: tuple[Cause, ...], ties: Ties
) -> None:
    # By hand: .003 x 400 would be 1.2; it is a half.
    strong = replace(ties.links[1], factor=400.0)
    priors = priors_of(CauseNetwork(CONTEXTS, causes, Ties(links=(strong,), spots=())))
    flat = number("battery:discharged", causes)
    lamp = number("lamp:burnt_out", causes)

    alone, both = priors.set_probabilities(
        [(flat,), tuple(sorted((flat, lamp)))], DRY
    ).tolist()

    assert both / (alone + both) == pytest.approx(0.5, abs=1e-12)


def test_drawn_faults_are_none_where_nothing_can_fail() -> None:
    none = rates_alone(
        [replace(one, mode=replace(one.mode, rate=0.0)) for one in catalogue(CAR, RARE)]
    )

    assert drawn_fault_set(none, np.random.default_rng(1)) == ()


def test_rates_alone_are_those_of_the_modes(causes: tuple[Cause, ...]) -> None:
    # By hand: the battery .002, two fuses .001 each, the switch .0005, the feed .002
    # and .003, the lamp .003, the ground as the feed.
    priors = rates_alone(causes)
    fuse = number("lamp-fuse:blown", causes)

    none, alone = priors.set_probabilities([(), (fuse,)], {}).tolist()

    expected = 0.998 * 0.999**2 * 0.9995 * 0.995 * 0.997 * 0.995
    assert none == pytest.approx(expected, abs=1e-12)
    assert alone == pytest.approx(expected * 0.001 / 0.999, abs=1e-12)


def test_link_makes_its_children_alone_likelier() -> None:
    # A flat battery, and a feed that is open, there or now and then, three times as
    # often. By hand, dry and in service: .02 of feeds each are open or come and go,
    # .03 have a bad joint; on a flat battery .06, .06 and .03 still.
    causes = catalogue(CAR, (DISCHARGED, OPEN, RESISTANCE_A, COMES_AND_GOES))
    flat, is_open, joint, fleeting = (
        number(name, causes)
        for name in (
            "battery:discharged",
            "feed:open_circuit",
            "feed:high_resistance_a",
            "feed:comes_and_goes",
        )
    )
    strain = Link(
        name="strain",
        parents=(flat,),
        part="feed",
        children=(is_open, fleeting),
        factor=3.0,
    )
    priors = priors_of(CauseNetwork(CONTEXTS, causes, Ties(links=(strain,), spots=())))
    sets = [(flat,), *((flat, one) for one in (is_open, joint, fleeting))]

    found = priors.set_probabilities(sets, DRY)

    assert found / found.sum() == pytest.approx([0.85, 0.06, 0.03, 0.06], abs=1e-12)
    marginals = cause_probabilities(priors, DRY)
    # By hand: one battery in fifty is flat.
    expected = [0.02 * (0.98 + 0.02 * 3), 0.03, 0.02 * (0.98 + 0.02 * 3)]
    assert marginals[[is_open, joint, fleeting]] == pytest.approx(expected, abs=1e-12)
