"""Pairs in which one fault changes what the other shows, on the shipped car."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.faults.causes import FaultSet
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.observations import observations_of
from diagnose.session.evidence.several_faults.interacting_pairs import RoughPairs
from diagnose.session.evidence.several_faults.severity_ladders import Ladders
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ComplaintFact, Fact, ReadingFact
from diagnose.session.ready_car import Model

DRAW = 31
# Any draw in which a flat battery is the better half of what is told.
PAIR = ("battery:discharged", "starter-solenoid.contacts:solenoid_burnt")

# Volts say that a battery is flat, and not what left it so.
FLAT = ("battery:discharged", "battery:seldom_driven")


# Volts at the panel with the key on, and cranking. A flat battery alone falls far below
# that under the starter; here the starter draws little, for its contacts are burnt. The
# volts on both of their sides tell them from an open winding or a poor mount.
PLACES = (
    ("key-on", "panel-relay.86"),
    ("key-on", "injectors-fuse.out"),
    ("cranking", "fuel-pump-relay.87"),
    ("cranking", "panel-relay.86"),
    ("cranking", "starter-solenoid.30"),
    ("cranking", "starter.plus"),
)


@pytest.fixture(scope="module")
def pair(sedan_model: Model) -> FaultSet:
    names = [cause.name for cause in sedan_model.compiled.causes]
    return tuple(sorted(names.index(name) for name in PAIR))


@pytest.fixture(scope="module")
def solved(sedan_model: Model, pair: FaultSet) -> Hypotheses:
    return sedan_model.compiled.hypotheses([pair])


@pytest.fixture(scope="module")
def facts(sedan_model: Model, solved: Hypotheses) -> tuple[Fact, ...]:
    """Return what the pair shows in one draw."""
    told: list[Fact] = [ComplaintFact(complaint="no-crank")]
    for state, red in PLACES:
        reading = Reading(
            kind=ReadingKind.DC_VOLTS, state=state, red=red, black="battery.minus"
        )
        shown = sedan_model.compiled.readings.predicted(solved, reading)[0]
        told.append(
            ReadingFact(
                reading=Reading(
                    kind=reading.kind, state=state, red=red, black=reading.black
                ),
                value=round(float(shown[DRAW]), 2),
            )
        )
    return tuple(told)


def test_battery_that_burnt_contacts_spare_is_found(
    sedan_model: Model, facts: tuple[Fact, ...]
) -> None:
    beliefs = Reasoner(sedan_model).conclude(facts).beliefs

    found = dict(zip(beliefs.sets, beliefs.set_probabilities(), strict=True))
    names = [cause.name for cause in sedan_model.compiled.causes]
    flat_and_burnt = [
        found.get(tuple(sorted((names.index(flat), names.index(PAIR[1])))), 0.0)
        for flat in FLAT
    ]
    likelier = [one for one in found if found[one] > max(flat_and_burnt)]
    assert sum(flat_and_burnt) > 0.1
    assert len(likelier) < 3


def test_a_few_cars_tell_the_evidence_of_a_pair_roughly(
    sedan_model: Model, pair: FaultSet, solved: Hypotheses, facts: tuple[Fact, ...]
) -> None:
    # One reading, cranking, against all draws of the car: within a factor of four.
    weigher = Weigher(sedan_model)
    rough = RoughPairs(sedan_model, Ladders(sedan_model.compiled, weigher))
    noted, _ = observations_of(facts[3:4], sedan_model)
    told = weigher.likelihood(solved, noted[0])

    (found,) = rough.log_evidence([pair], noted)

    assert abs(found - np.log(told.mean())) < np.log(4.0)


def test_no_fault_explains_a_reading_better_than_can_be(
    sedan_model: Model, facts: tuple[Fact, ...]
) -> None:
    # by that a pair is not solved that would not count even then
    weigher, bank = Weigher(sedan_model), sedan_model.compiled.bank
    for noted in observations_of(facts, sedan_model)[0]:
        found = weigher.likelihood(bank.all, noted, rows=slice(0, bank.n_singles))
        # a slip may add a little
        assert found.max() <= 1.05 * weigher.most(noted)
