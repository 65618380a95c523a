"""Faults that come and go: at one look, at several, and in tests that bring them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import catalogue
from diagnose.faults.modes import FaultMode
from diagnose.inference.compiled.intermittent import Presence, drawn_trigger
from tests.lamp_car import CAR, COMES_AND_GOES, MODES, SHAKEN

HOT = replace(SHAKEN, name="hot", present={"lit": 0.9}, otherwise=0.2)
N_DRAWS = 2


def presence_of(mode: FaultMode) -> Presence:
    """Return the presence of a fault that comes and goes in two wires of a car."""
    triggers = {"vibration": SHAKEN, "hot": HOT}
    return Presence(catalogue(CAR, (*MODES, mode)), triggers, Sample(n_draws=N_DRAWS))


SHAKEN_ONLY = presence_of(COMES_AND_GOES)
HOT_ONLY = presence_of(replace(COMES_AND_GOES, triggers={"hot": 1.0}))


def test_one_look_weighs_there_by_its_chance() -> None:
    # By hand, there in three looks of four: .75 x .8 + .25 x .04. Taken the wrong way
    # round it would be .25 x .8 + .75 x .04 = .23.
    found = Presence.mixed(np.array([[0.8]]), np.array([0.04]), np.array([[0.75]]))

    assert found.tolist() == [[pytest.approx(0.61, abs=1e-12)]]


def test_looks_that_agree_are_every_way_to_have_been_there() -> None:
    # Two readings with likelihood .9 and .8 (one and both of them) while the fault is
    # there, .1 and .02 while it is not; there in three looks of four. By hand: never
    # .25^2 x .02, once 2 x .75 x .25 x .9 x .1, both times .75^2 x .8.
    there = [np.array([[one]]) for one in (1.0, 0.9, 0.8)]
    away = [np.array([[one]]) for one in (1.0, 0.1, 0.02)]

    found = Presence.looked_at(there, away, np.array([[0.75]]))

    expected = 0.00125 + 0.03375 + 0.45
    assert found.tolist() == [[pytest.approx(expected, abs=1e-12)]]


def test_fault_is_there_as_its_trigger_is() -> None:
    # made up above: .6 lit and .3 otherwise if shaken, .9 and .2 if hot
    shape = (2, N_DRAWS)

    for presence, lit, otherwise in ((SHAKEN_ONLY, 0.6, 0.3), (HOT_ONLY, 0.9, 0.2)):
        assert presence.chance("lit").tolist() == np.full(shape, lit).tolist()
        off = presence.chance("key-off")
        assert off.tolist() == np.full(shape, otherwise).tolist()


def test_fault_was_there_when_its_owner_complained() -> None:
    found = SHAKEN_ONLY.chance("lit", is_complaint=True)

    assert found.tolist() == np.full((2, N_DRAWS), 0.97).tolist()


def test_mean_over_states_counts_each_once() -> None:
    # By hand: (.6 + .3 + .3) / 3.
    found = SHAKEN_ONLY.mean_chance(["lit", "key-off", "cranking"])

    assert found == pytest.approx(np.full((2, N_DRAWS), 0.4), abs=1e-12)


def test_test_brings_what_has_its_trigger_and_sits_there() -> None:
    # The first wire is wiggled, the second is not: .85 if shaking brings it, .15 if
    # heat does, .02 where nothing was wiggled.
    share_there = np.array([1.0, 0.0])

    shaken = SHAKEN_ONLY.reaction("vibration", share_there)
    hot = HOT_ONLY.reaction("vibration", share_there)

    assert shaken[:, 0].tolist() == [0.85, 0.02]
    assert hot[:, 0].tolist() == [0.15, 0.02]


def test_wire_with_one_end_there_reacts_half_as_often() -> None:
    # By hand: half of .85, and half of the .02 of what is not wiggled.
    found = SHAKEN_ONLY.reaction("vibration", np.array([0.5, 0.0]))

    assert found[:, 0].tolist() == pytest.approx([0.435, 0.02], abs=1e-12)


def test_three_looks_that_agree_are_every_way_to_have_been_there() -> None:
    # By hand, there at one look in four: never .75^3 x .001, at one of three looks
    # 3 x .25 x .75^2 x .6 x .01, at two 3 x .25^2 x .75 x .4 x .1, at all .25^3 x .3.
    there = [np.array([[one]]) for one in (1.0, 0.6, 0.4, 0.3)]
    away = [np.array([[one]]) for one in (1.0, 0.1, 0.01, 0.001)]

    found = Presence.looked_at(there, away, np.array([[0.25]]))

    expected = 0.421875e-3 + 2.53125e-3 + 5.625e-3 + 4.6875e-3
    assert found.tolist() == [[pytest.approx(expected, abs=1e-12)]]


def test_trigger_without_a_share_is_never_drawn() -> None:
    # By hand: a quarter hot, the rest vibration, none damp; the last level is the
    # end of the range.
    mode = replace(COMES_AND_GOES, triggers={"hot": 0.25, "vibration": 0.75})
    (cause,) = catalogue(CAR, [replace(mode, kind="lamp")])
    levels = np.array([0.0, 0.2499, 0.25, 0.6, 1.0])

    found = drawn_trigger(cause, ("damp", "hot", "vibration", "salt"), levels)

    assert found.tolist() == [1, 1, 2, 2, 2]


def test_car_without_faults_that_come_and_go_has_no_chances() -> None:
    presence = Presence(catalogue(CAR, MODES), {}, Sample(n_draws=N_DRAWS))

    assert presence.chance("lit").shape == (0, N_DRAWS)
    assert presence.mean_chance(["lit", "key-off"]).shape == (0, N_DRAWS)


def test_complaint_of_one_trigger_is_not_that_of_another() -> None:
    half = replace(COMES_AND_GOES, triggers={"vibration": 0.5, "hot": 0.5})
    seldom = replace(HOT, in_complaint=0.4)
    presence = Presence(
        catalogue(CAR, (*MODES, half)),
        {"vibration": SHAKEN, "hot": seldom},
        Sample(n_draws=8),
    )

    complained = presence.chance("lit", is_complaint=True)
    lit = presence.chance("lit")

    # made up above: shaken .97 and .6, hot .4 and .9
    is_hot = presence.trigger == 1
    assert 0 < is_hot.sum() < is_hot.size
    assert complained.tolist() == np.where(is_hot, 0.4, 0.97).tolist()
    assert lit.tolist() == np.where(is_hot, 0.9, 0.6).tolist()
