"""Which outcomes are told apart when steps are ranked, beyond volts."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.inference.choice.information import mutual_bits
from diagnose.inference.choice.joints import (
    AC_VOLT_EDGES,
    AMP_EDGES,
    OHM_EDGES,
    binned_joint,
    edges_for,
    graded_joint,
)
from diagnose.inference.choice.particles import Particles
from diagnose.inference.choice.volts_outcomes import VOLT_EDGES
from diagnose.measurement.readings import ReadingKind
from tests.lamp_car import METER

TWO = Particles(
    row=np.array([1, 2]),
    draw=np.array([0, 0]),
    share=np.array([0.5, 0.5]),
    group=np.array([0, 1]),
)


def outcome(kind: ReadingKind, value: float) -> int:
    return int(np.searchsorted(edges_for(kind.value), value, side="right"))


# A step much narrower than what the meter and a sound car stray would make believe that
# a reading tells what it doesn't. A clamp tells nothing below .3 A.
@pytest.mark.parametrize(
    ("kind", "edges"),
    [
        (ReadingKind.DC_VOLTS, VOLT_EDGES),
        (ReadingKind.AC_VOLTS, AC_VOLT_EDGES),
        (ReadingKind.OHMS, OHM_EDGES),
        (ReadingKind.AMPS, AMP_EDGES[AMP_EDGES >= 0.3]),
    ],
    ids=lambda value: getattr(value, "value", ""),
)
def test_steps_between_outcomes_are_as_wide_as_a_reading_strays(
    kind: ReadingKind, edges: FloatArray
) -> None:
    spread = spread_of(kind, METER, system_volts=12.0)
    middle = 0.5 * (edges[1:] + edges[:-1])

    assert (np.diff(edges) / spread.deviation(middle) > 0.9).all()


@pytest.mark.parametrize("kind", [one for one in ReadingKind if one.value != "lamp"])
def test_outcomes_rise_from_above_nothing(kind: ReadingKind) -> None:
    edges = edges_for(kind.value)

    assert (np.diff(edges) > 0).all()
    assert edges[0] > 0


# What the trade tells apart: a battery full, at three, two and one quarters and flat
# (12.7, 12.4, 12.2, 12.0 and 11.8 V at rest); an alternator that charges too little,
# well, and too much for a 12 V battery (13.3, 14.2 and 15 V).
def test_volts_of_a_battery_and_its_charging_have_outcomes_of_their_own() -> None:
    volts = [11.8, 12.0, 12.4, 12.7, 13.3, 14.2, 15.0]

    assert len(set(np.searchsorted(VOLT_EDGES, volts))) == len(volts)


# Ripple of a sound alternator stays under .05 V AC; a broken diode makes some .2 V and
# more. Ohms of a good joint, a lamp's cold filament, a coil and an open wire. Amps of a
# drain, a lamp, a pump, a fan and a starter.
@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (ReadingKind.AC_VOLTS, [0.03, 0.2, 0.5]),
        (ReadingKind.OHMS, [0.1, 0.5, 2.5, 85.0, 1e5, 1e8]),
        (ReadingKind.AMPS, [0.01, 0.05, 0.5, 5.0, 8.0, 20.0, 150.0, 200.0]),
        (ReadingKind.LOOK, [0.0, 1.0]),
    ],
    ids=lambda value: getattr(value, "value", ""),
)
def test_values_that_mean_different_things_have_outcomes_of_their_own(
    kind: ReadingKind, values: list[float]
) -> None:
    assert len({outcome(kind, value) for value in values}) == len(values)


# By hand: a fuse drops .075 V at its rating, here of 15 A, and so .005 V an ampere.
@pytest.mark.parametrize("amps", [0.05, 0.5, 5.0, 15.0, 30.0])
def test_volts_along_a_fuse_have_the_outcomes_of_its_amps(amps: float) -> None:
    volts = amps * 0.075 / 15.0

    assert outcome(ReadingKind.FUSE, volts) == outcome(ReadingKind.AMPS, amps)


def test_a_look_at_a_fuse_tells_a_blown_one_from_a_sound_one() -> None:
    looks = np.array([[0.0, 1.0], [1.0, 1.0]])

    joint = binned_joint(looks, TWO, edges=edges_for("look"), n_groups=2)

    # By hand: of two equally likely faults, one bit, or nothing where both blow it.
    assert mutual_bits(joint) == pytest.approx([1.0, 0.0], abs=1e-9)


def test_a_test_lamp_that_is_bright_or_dark_for_sure_tells_all() -> None:
    grades = np.array([[1.0, 0.0], [0.5, 0.5]])

    joint = graded_joint(grades, TWO, n_groups=2)

    assert joint.shape == (2, 3, 2)
    assert joint.sum(axis=(1, 2)) == pytest.approx(np.ones(2))
    assert mutual_bits(joint) == pytest.approx([1.0, 0.0], abs=1e-9)
