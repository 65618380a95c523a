"""An error that the readings of one path share counts once, not once a reading."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.observations import observations_of
from diagnose.session.evidence.shared_errors import (
    SharedErrors,
    rounded_counts,
    shared_squares,
)
from diagnose.session.facts import Fact, ReadingFact, SymptomFact
from diagnose.session.ready_car import Model, open_model
from tests.lamp_car import CAR, GROUND, METER, MODES, make_knowledge

DIM = SymptomFact(symptom="lamp-is-dim", is_present=True)
RARE = tuple(replace(mode, rate=0.05 * mode.rate) for mode in MODES)


def volts(red: str, value: float, state: str = "lit") -> ReadingFact:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=GROUND)
    return ReadingFact(reading=reading, value=value)


# Two ends of one wire's fuse: they move as one with the battery.
FIRST, SECOND = volts("main-fuse.out", 12.3), volts("lamp-fuse.out", 12.28)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(RARE), n_draws=16)


def counts(model: Model, *facts: Fact) -> list[float]:
    found, _ = observations_of(facts, model)
    return [noted.n_shared for noted in SharedErrors(model).counted(found)]


def test_lone_reading_has_its_error_to_itself(lamp_model: Model) -> None:
    assert counts(lamp_model, DIM, FIRST) == [1.0, 1.0]


def test_readings_that_move_as_one_share_their_error(lamp_model: Model) -> None:
    assert counts(lamp_model, FIRST, SECOND) == pytest.approx([2.0, 2.0], abs=0.3)


def test_readings_of_two_states_do_not(lamp_model: Model) -> None:
    resting = volts("lamp-fuse.out", 12.5, "key-off")

    assert counts(lamp_model, FIRST, resting) == [1.0, 1.0]


def test_order_does_not_matter(lamp_model: Model) -> None:
    facts: tuple[Fact, ...] = (DIM, FIRST, SECOND, volts("lamp.plus", 9.0))
    reasoner = Reasoner(lamp_model)
    expected = reasoner.conclude(facts).beliefs.set_probabilities()

    for told in itertools.permutations(facts):
        found = reasoner.conclude(told).beliefs.set_probabilities()
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)


# By hand, at 12 V: the model strays by .03 V and 1 %, hypot(.03, .12) = .1237 V, the
# meter by half of .5 % and two counts, .04 V. Of four readings that share it the
# model's counts fourfold: hypot(2 x .1237, .04) = .2506 V.
def test_shared_spread_by_hand() -> None:
    spread = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=12.0)

    alone = float(spread.deviation(np.array(12.0)))
    shared = float(spread.shared_by(4.0).deviation(np.array(12.0)))

    assert alone == pytest.approx(0.1300, abs=0.0005)
    assert shared == pytest.approx(0.2506, abs=0.0005)


# Four readings a quarter of a volt low along one path. By hand the misfit of one counts
# z^2 / 2 = (.25 / .13)^2 / 2 = 1.85 nat, four by themselves 7.4, shared at most 2.0.
def test_misfit_shared_along_a_path_counts_once() -> None:
    spread = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=12.0)
    off = 0.25

    def misfit(n_shared: float) -> float:
        sigma = float(spread.shared_by(n_shared).deviation(np.array(12.0)))
        return 0.5 * (off / sigma) ** 2

    assert 4.0 * misfit(1.0) > 7.0
    assert 4.0 * misfit(4.0) == pytest.approx(misfit(1.0), rel=0.1)


def test_many_that_move_as_one_are_counted_to_a_tenth() -> None:
    moves = np.tile(np.array([[1.0, 2.0, 3.0, 4.0]]), (30, 1))

    share = [shared_squares(moves[:n]).sum(axis=1) for n in range(1, 31)]
    counted = [float(rounded_counts(one)[0]) for one in share]

    assert counted[:4] == [1.0, 2.0, 3.0, 4.0]
    assert counted == sorted(counted)
    assert all(abs(found / n - 1.0) < 0.1 for n, found in enumerate(counted, 1))
    # a new reading seldom weighs the others anew
    assert len(set(counted)) < 18
