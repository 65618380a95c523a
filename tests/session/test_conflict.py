"""Whether something outside the model explains the facts better."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.faults.predictions.overloads import OPEN_SHARE
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.advice.misfit import OUTSIDE
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.implied.outside_model import (
    FREE_SHARE,
    OUTSIDE_PRIOR,
    oddest_reading,
    outside_probability,
)
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.reading_slips import OTHER_SLIPS
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model

COMPLAINT = ComplaintFact(complaint="pump-does-not-run")


def volts(value: float, red: str, state: str = "key-on") -> ReadingFact:
    return ReadingFact(
        reading=Reading(
            kind=ReadingKind.DC_VOLTS, state=state, red=red, black="battery.minus"
        ),
        value=value,
    )


NO_VOLTS = volts(0.01, "fuel-pump.plus")


def chance(model: Model, *facts: Fact) -> float:
    return outside_probability(Reasoner(model).conclude(facts), model)


def test_complaint_alone_leaves_the_prior(model: Model) -> None:
    assert chance(model, COMPLAINT) == OUTSIDE_PRIOR


def test_fitting_fact_lowers_it(model: Model) -> None:
    assert chance(model, COMPLAINT, NO_VOLTS) < OUTSIDE_PRIOR


def test_order_of_facts_does_not_matter(model: Model) -> None:
    other = volts(12.4, "battery.plus")

    one = chance(model, COMPLAINT, NO_VOLTS, other)

    assert chance(model, COMPLAINT, other, NO_VOLTS) == pytest.approx(one, rel=1e-9)


def test_impossible_volts_raise_it_by_the_ratio_of_error_rates(model: Model) -> None:
    # By hand: no cause gives 17 V, so within the model only a slip does that shows
    # anything (a fifth of 2 % over the span, more by the points near no level), outside
    # it anything does (`FREE_SHARE` over the span, and the slips of the rest); the span
    # cancels.
    def odds(slip: float) -> float:
        ratio = (FREE_SHARE + (1.0 - FREE_SHARE) * slip) / slip
        return OUTSIDE_PRIOR / (1.0 - OUTSIDE_PRIOR) * ratio

    slip = model.knowledge.meter.slip_probability
    found = chance(model, COMPLAINT, volts(17.0, "battery.plus", "key-off"))

    assert odds(slip) < found / (1.0 - found) <= 1.01 * odds(OTHER_SLIPS * slip)


def test_oddest_reading_is_the_one_no_cause_gives(model: Model) -> None:
    odd = volts(17.0, "battery.plus", "key-off")

    conclusion = Reasoner(model).conclude((COMPLAINT, NO_VOLTS, odd))

    assert oddest_reading(conclusion, model) == odd


def test_readings_of_a_known_cause_are_not_odd(model: Model) -> None:
    conclusion = Reasoner(model).conclude((COMPLAINT, NO_VOLTS))

    assert oddest_reading(conclusion, model) is None


def test_useless_repair_raises_it(model: Model) -> None:
    wanted = model.knowledge.complaints[COMPLAINT.complaint]
    still = SymptomFact(symptom=wanted.retest, is_present=not wanted.cured_answer)
    blown = ReadingFact(
        reading=Reading(
            kind=ReadingKind.LOOK, state="key-off", red="fuel-pump-fuse", black=""
        ),
        value=1,
    )
    facts = (COMPLAINT, NO_VOLTS, blown)
    mended = RepairFact(cause="fuel-pump-fuse:blown")

    before = chance(model, *facts)

    assert chance(model, *facts, mended, still) > 1.3 * before


def test_sound_diagnosis_stays_far_from_it(model: Model) -> None:
    diagnosis = Diagnosis(model)
    answer = diagnosis.tell(COMPLAINT)
    answer = diagnosis.tell(NO_VOLTS)

    assert answer.fit.outside_probability < 0.1 * OUTSIDE


def test_reading_where_something_chatters_counts_as_broad(model: Model) -> None:
    reasoner, sound = Reasoner(model), model.compiled.singles.kept(np.array([0]))
    moving = replace(
        sound,
        prediction=replace(
            sound.prediction, is_settled=np.zeros_like(sound.prediction.is_settled)
        ),
    )
    noted = Noted(0, volts(9.0, "battery.plus", "key-off"), is_complaint=False)

    # 3 V below a sound battery: at rest nothing but a slip, chattering quite likely.
    at_rest = reasoner.weigher.likelihood(sound, noted).mean()
    spread = spread_of(
        ReadingKind.DC_VOLTS, model.knowledge.meter, system_volts=model.car.system_volts
    )
    slip = model.knowledge.meter.slip_probability / spread.span
    assert 0.99 * OTHER_SLIPS * slip <= at_rest <= slip
    # By hand: a normal density of 3.5 V at one deviation, 0.242 / 3.5 V.
    assert reasoner.weigher.likelihood(moving, noted).mean() == pytest.approx(
        0.07, rel=0.1
    )


def test_breaker_that_cycles_mostly_shows_what_it_leaves_open(model: Model) -> None:
    reasoner, sound = Reasoner(model), model.compiled.singles.kept(np.array([0]))
    settled = np.full_like(sound.prediction.is_settled, OPEN_SHARE)
    cycling = replace(sound, prediction=replace(sound.prediction, is_settled=settled))
    near = Noted(0, volts(12.3, "battery.plus", "key-off"), is_complaint=False)
    far = Noted(0, volts(9.0, "battery.plus", "key-off"), is_complaint=False)

    # By hand: seven tenths of what holds at rest, and three of a normal density of
    # 3.5 V, which is 0.4 / 3.5 V near its middle and 0.242 / 3.5 V one deviation off.
    at_rest = reasoner.weigher.likelihood(sound, near).mean()
    expected = OPEN_SHARE * at_rest + (1.0 - OPEN_SHARE) * 0.4 / 3.5
    assert reasoner.weigher.likelihood(cycling, near).mean() == pytest.approx(
        expected, rel=0.1
    )
    found = reasoner.weigher.likelihood(cycling, far).mean()
    assert found == pytest.approx((1.0 - OPEN_SHARE) * 0.07, rel=0.15)


def test_settled_state_adds_no_spread(model: Model) -> None:
    reading = Reading(kind=ReadingKind.AMPS, state="key-on", red="fuel-pump", black="")
    sound = model.compiled.singles.kept(np.array([0]))

    assert not Reasoner(model).weigher.scatter.stray(sound, reading).any()
