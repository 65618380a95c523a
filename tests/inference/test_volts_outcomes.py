"""What planning tells apart in volts, against the normal it stands for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.inference.choice.information import mutual_bits
from diagnose.inference.choice.joints import shared_out
from diagnose.inference.choice.particles import Particles
from diagnose.inference.choice.volts_outcomes import VOLT_EDGES, VoltsOutcomes

FIXED_VOLTS, FRACTION = 0.03, 0.01
# as in knowledge/meter.yaml
OUTCOMES = VoltsOutcomes.of(FIXED_VOLTS, FRACTION)
TWO = Particles(
    row=np.array([1, 2]),
    draw=np.array([0, 0]),
    share=np.array([0.5, 0.5]),
    group=np.array([0, 1]),
)


def told_bits(first: float, second: float) -> float:
    """Return what a reading tells of two equally likely faults that show these."""
    values = np.array([[first, second]], dtype=np.float32)
    return float(mutual_bits(OUTCOMES.joint(values, TWO, n_groups=2))[0])


def bits_of_normals(first: float, second: float) -> float:
    """Return the same for readings that are not put into bins, by a sum over volts."""
    x = np.arange(0.0, 17.0, 1e-4)
    densities = []
    for mean in (first, second):
        deviation = np.hypot(FIXED_VOLTS, FRACTION * mean)
        both = [np.exp(-0.5 * ((side * x - mean) / deviation) ** 2) for side in (1, -1)]
        density = both[0] + both[1]
        densities.append(density / density.sum())
    mixed = 0.5 * (densities[0] + densities[1])
    bits = 0.0
    for density in densities:
        some = density > 1e-200
        bits += 0.5 * float(
            (density[some] * np.log2(density[some] / mixed[some])).sum()
        )
    return bits


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (0.0, 0.035),
        (0.0, -0.035),
        (0.02, 0.06),
        (0.0, 0.2),
        (12.3, 12.35),
        (12.2, 12.4),
        (9.0, 9.6),
        (11.4, 12.3),
        (13.9, 14.4),
        (0.0, 12.3),
    ],
)
def test_bins_tell_no_more_than_the_reading_itself(first: float, second: float) -> None:
    exact = bits_of_normals(first, second)

    found = told_bits(first, second)
    # bins lose some of what a reading tells, and must not make any up
    assert found <= exact + 0.005
    assert found >= 0.6 * exact


def test_volts_within_the_spread_tell_next_to_nothing() -> None:
    # 12.30 and 12.35 V with a deviation of .127 V: the exact sum gives .028 bit.
    assert told_bits(12.30, 12.35) < 0.05


def test_volts_far_apart_tell_all() -> None:
    assert told_bits(0.0, 12.3) == pytest.approx(1.0, abs=1e-6)


def test_every_reading_sums_to_one() -> None:
    values = np.linspace(-15.9, 15.9, 400, dtype=np.float32).reshape(200, 2)

    joint = OUTCOMES.joint(values, TWO, n_groups=2)

    assert joint.shape == (200, len(VOLT_EDGES) + 1, 2)
    assert joint.sum(axis=(1, 2)) == pytest.approx(np.ones(200))
    assert joint.sum(axis=1) == pytest.approx(np.full((200, 2), 0.5))


def test_no_reading_gives_no_joint() -> None:
    joint = OUTCOMES.joint(np.empty((0, 2), dtype=np.float32), TWO, n_groups=2)

    assert joint.shape == (0, len(VOLT_EDGES) + 1, 2)


def test_swapped_leads_show_the_same() -> None:
    values = np.array([[0.3, 12.1], [-0.3, -12.1]], dtype=np.float32)

    forwards, backwards = OUTCOMES.joint(values, TWO, n_groups=2)

    assert forwards.tolist() == backwards.tolist()


def test_chances_are_those_of_the_joint() -> None:
    values = np.array([0.12, 12.4], dtype=np.float32)

    chances = OUTCOMES.chances(values)

    (joint,) = OUTCOMES.joint(values[None], TWO, n_groups=2)
    used = joint.any(axis=1)
    assert chances == pytest.approx(2.0 * joint[used])


def test_neighbouring_bins_hold_nearly_all_of_the_normal() -> None:
    # what lies outside is shared out among them; a tenth moves no choice
    random = np.random.default_rng(3)
    for volts in (0.1, 0.4, 3.0, 10.6, 12.35, 14.1):
        drawn = np.abs(
            random.normal(volts, np.hypot(FIXED_VOLTS, FRACTION * volts), 20_000)
        )
        bins = np.bincount(np.searchsorted(VOLT_EDGES, drawn), minlength=31) / 20_000
        (found,) = OUTCOMES.joint(
            np.array([[volts, volts]], dtype=np.float32), TWO, n_groups=2
        )
        assert found.sum(axis=1) == pytest.approx(bins[:30], abs=0.08), volts


@pytest.mark.parametrize(
    ("volts", "above"),
    [
        # The last bin begins at 14.9 V. By hand, in deviations of hypot(.03, 1 %):
        # 14.895 V is .033 of .152 V below, half but .013; 15.305 V is 2.60 of .156 V
        # above, .9953; 16 V and more is certain.
        (14.895, 0.487),
        (15.305, 0.9953),
        (25.0, 1.0),
    ],
)
def test_last_bin_holds_all_that_is_above_it(volts: float, above: float) -> None:
    (found,) = OUTCOMES.joint(
        np.array([[volts, volts]], dtype=np.float32), TWO, n_groups=2
    )

    # .001: the digits given
    assert float(found[-1].sum()) == pytest.approx(above, abs=1e-3)


def bins_of(volts: float) -> dict[int, float]:
    """Return the bins that a predicted value falls into, with their chances."""
    (found,) = OUTCOMES.joint(
        np.array([[volts, volts]], dtype=np.float32), TWO, n_groups=2
    )
    chances = found.sum(axis=1)
    return {int(n): float(chances[n]) for n in np.flatnonzero(chances)}


def test_value_on_an_edge_is_on_either_side_of_it_alike() -> None:
    # By hand: 5 V is the eleventh edge; steps of a hundredth are taken at their
    # middle, 5.005 V, .09 of the .0583 V that it strays above the edge.
    found = bins_of(5.001)

    assert found[10] == pytest.approx(0.466, abs=0.002)
    assert found[11] == pytest.approx(0.534, abs=0.002)


@pytest.mark.parametrize(
    ("volts", "chances"),
    [
        # By hand, around 0 V by the .03 V that all readings stray; leads get swapped,
        # so that both sides count. Of .005 V: .05 V is 1.5 deviations above and -.05
        # V 1.83 below, .9332 - .0334; .1 V is 3.17 and -.1 V 3.5, .9992 - .0002.
        (0.001, {0: 0.8998, 1: 0.0992, 2: 0.001}),
        # Of .075 V, straying by .03001: .05 and .1 V are .833 below and above, .2024,
        # .5952 and .2024; .0062 lies above .15 V, taken off the last and shared out.
        (0.0705, {0: 0.2037, 1: 0.5989, 2: 0.1974}),
    ],
)
def test_volts_next_to_nothing_count_on_both_sides(
    volts: float, chances: dict[int, float]
) -> None:
    assert bins_of(volts) == pytest.approx(chances, abs=0.001)


def test_each_reading_is_counted_by_itself() -> None:
    # More readings than are counted at once, the last one unlike the others.
    values = np.full((200, 2), 12.0, dtype=np.float32)
    values[130], values[199] = 3.0, 7.0

    joint = OUTCOMES.joint(values, TWO, n_groups=2)

    for row, volts in ((0, 12.0), (129, 12.0), (130, 3.0), (198, 12.0), (199, 7.0)):
        expected = bins_of(volts)
        assert set(np.flatnonzero(joint[row].any(axis=1)).tolist()) == set(expected)


def test_shares_and_groups_of_the_particles_are_kept() -> None:
    some = Particles(
        row=np.array([0, 1, 2]),
        draw=np.array([0, 0, 0]),
        share=np.array([0.2, 0.3, 0.5]),
        group=np.array([2, 0, 2]),
    )
    values = np.array([[0.0, 0.0, 12.0]], dtype=np.float32)

    (joint,) = OUTCOMES.joint(values, some, n_groups=4)

    assert joint.sum(axis=0) == pytest.approx([0.3, 0.0, 0.7, 0.0])
    # By hand: what shows 0 V is in the first three bins, what shows 12 V far above.
    assert joint[:3].sum(axis=0) == pytest.approx([0.3, 0.0, 0.2, 0.0])


def test_particles_that_no_fault_moves_tell_nothing_apart() -> None:
    # Facts left one draw to each of two faults, 11.9 V and 12.3 V of a supply that
    # neither touches: read there, the volts would seem to tell them apart.
    values = np.array([[11.9, 12.3]], dtype=np.float32)
    both = np.array([[True, True]])
    apart = replace(TWO, group=np.where(both, 2, TWO.group))

    seems = OUTCOMES.joint(values, TWO, n_groups=2)
    found = shared_out(OUTCOMES.joint(values, apart, n_groups=3), both, TWO)

    assert mutual_bits(seems)[0] > 0.5
    assert mutual_bits(found)[0] == pytest.approx(0.0, abs=1e-12)
    assert found.sum(axis=2) == pytest.approx(seems.sum(axis=2))
