"""What a hand feels after the car ran, and what was renewed without help."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from diagnose.errors import ReadingError
from diagnose.faults.causes import Cause
from diagnose.inference.choice.information import SharedInformation
from diagnose.inference.compiled.heat import BLUR, hot_chance
from diagnose.measurement.quantities import Probe
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SymptomCheck
from diagnose.measurement.touch import (
    ALONG_WIRE,
    CRANKING_WATTS,
    HEAVY_LASTING_WATTS,
    LASTING_WATTS,
    touches,
)
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import ComplaintFact, Fact, SymptomFact
from diagnose.session.fleeting.provocation_tests import BAD_NEW
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.moment import Moments
from diagnose.session.steps.outcomes import Outcomes
from diagnose.session.steps.priced import Pricing, point_of
from diagnose.session.steps.proposing.ranked_steps import RankedSteps
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from tests.lamp_car import BURNT_OUT, CAR, MODES, make_knowledge

DEAD = ComplaintFact(complaint="lamp-dead")


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    bought = replace(BURNT_OUT, repair=replace(BURNT_OUT.repair, price="small"))
    modes = [bought if mode is BURNT_OUT else mode for mode in MODES]
    return open_model(CAR, make_knowledge(modes), n_draws=16)


def told(model: Model, *facts: Fact) -> Diagnosis:
    diagnosis = Diagnosis(model)
    diagnosis.recall(facts)
    return diagnosis


def touched(part: str, *, is_hot: bool = True) -> SymptomFact:
    return SymptomFact(symptom=f"touch-{part}", is_present=is_hot)


def chance(diagnosis: Diagnosis, part: str, word: str = "") -> float:
    return sum(
        cause.probability
        for cause in diagnosis.answer.causes
        if cause.name.startswith(f"{part}:") and word in cause.name
    )


def cause_number(model: Model, name: str) -> int:
    causes: tuple[Cause, ...] = model.compiled.causes
    return next(n for n, cause in enumerate(causes) if cause.name == name)


def test_what_is_in_line_with_a_fuse_carries_its_current() -> None:
    found = touches(CAR)

    in_line = {name for name, one in found.items() if one.amps_of == "lamp-fuse"}
    assert in_line == {
        "touch-lamp-fuse",
        "touch-light-switch",
        "touch-feed",
        "touch-ground",
        "touch-body-stud",
    }
    assert found["touch-main-fuse"].amps_of == "main-fuse"
    assert found["touch-feed"].limit_watts["lit"] == LASTING_WATTS
    assert "isolated" not in found["touch-feed"].limit_watts


def test_a_cable_is_hot_at_more_watts_while_cranking(model: Model) -> None:
    limits = [set(one.limit_watts.values()) for one in model.touches.values()]
    heavy = [one for one in limits if CRANKING_WATTS in one]

    assert heavy
    assert all(one == {CRANKING_WATTS, HEAVY_LASTING_WATTS} for one in heavy)
    assert all(one.symptom.caution == "touching" for one in model.touches.values())


def test_the_watts_are_the_volts_across_times_the_amps_through(
    lamp_model: Model,
) -> None:
    compiled, touch = lamp_model.compiled, lamp_model.touches["touch-feed"]
    red, black = touch.ends
    across = Reading(kind=ReadingKind.DC_VOLTS, state="lit", red=red, black=black)
    amps = Reading(kind=ReadingKind.AMPS, state="lit", red="lamp-fuse", black="")
    volts = compiled.readings.predicted(compiled.singles, across)
    through = np.abs(compiled.readings.predicted(compiled.singles, amps))
    watts = np.abs(volts) * through - ALONG_WIRE * 0.05 * through**2

    found = hot_chance(compiled.singles, touch, compiled)

    clear = watts > 0.01
    expected = [
        1.0 / (1.0 + (LASTING_WATTS / one) ** (1.0 / BLUR)) for one in watts[clear]
    ]
    assert found[clear] == pytest.approx(np.array(expected), abs=2e-3)
    assert (found[~clear] < 1e-4).all()
    assert clear.any()
    assert (found > 0.5).any()
    assert Probe(branch="lamp-fuse", state="lit", is_current=True) in (
        compiled.predictor.probes
    )
    assert math.isclose(touch.wire_ohms, 0.05)


def test_a_hot_wire_speaks_for_its_bad_joint_and_a_cool_one_against_it(
    lamp_model: Model,
) -> None:
    dim = SymptomFact(symptom="lamp-is-dim", is_present=True)
    before = chance(told(lamp_model, dim), "ground", "high")
    hot = chance(told(lamp_model, dim, touched("ground")), "ground", "high")
    cool = chance(
        told(lamp_model, dim, touched("ground", is_hot=False)), "ground", "high"
    )

    assert cool < before < hot


def test_a_hidden_car_is_felt_by_its_own_watts(lamp_model: Model) -> None:
    number = cause_number(lamp_model, "ground:high_resistance_a")
    stock = HiddenCars(lamp_model, n_cars=1, seed=3)
    careful = Errors(
        slip_probability=0.0, has_meter_error=False, has_report_error=False
    )
    hot = lamp_model.touches["touch-ground"]
    felt, share = [], []
    for faults in ((), (number,)):
        car = HiddenCar(stock, 0, faults, errors=careful, seed=5)
        felt.append(np.mean([car.sees("touch-ground") for _ in range(200)]))
        shown = stock.with_faults(faults)
        share.append(hot_chance(shown, hot, stock.compiled)[0, 0])

    # By hand: 200 looks are off by .07 at two standard deviations.
    assert felt == pytest.approx(share, abs=0.08)
    assert felt[0] < 0.05


def test_what_was_renewed_is_hardly_at_fault(lamp_model: Model) -> None:
    renewed = SymptomFact(symptom="renewed-lamp", is_present=True)
    before, after = told(lamp_model, DEAD), told(lamp_model, DEAD, renewed)

    odds = [chance(one, "lamp") / chance(one, "feed") for one in (before, after)]
    assert odds[1] / odds[0] == pytest.approx(BAD_NEW, rel=0.2)
    assert chance(after, "lamp") > 0.0


def test_nobody_is_asked_to_renew_on_a_guess(lamp_model: Model) -> None:
    diagnosis = told(lamp_model, DEAD)

    steps = {one.step for one in diagnosis.candidates()}
    assert not any(
        isinstance(step, SymptomCheck) and step.symptom.startswith("renewed")
        for step in steps
    )


def test_a_part_to_feel_that_the_car_has_not_is_refused(lamp_model: Model) -> None:
    with pytest.raises(ReadingError, match="touch-feed"):
        told(lamp_model, touched("feet"))


def test_steps_beside_each_other_do_not_tell_the_same(lamp_model: Model) -> None:
    reasoner = Reasoner(lamp_model)
    outcomes = Outcomes(lamp_model, reasoner.expected)
    steps = RankedSteps(lamp_model, outcomes, Pricing(lamp_model, outcomes))
    moment = Moments(lamp_model).at((DEAD,), reasoner.conclude((DEAD,)))
    priced = steps.ranked(moment, excluded=frozenset())
    # what one of the best tells, told once more at the other end of the wire
    again = [priced[0], priced[0], *priced[1:]]

    beside = steps.told_apart(again, moment, most=3)

    share = moment.believed.particles.share
    chances = [outcomes.chances(one.step, moment) for one in beside[:3]]
    assert beside[0] is priced[0]
    assert beside[1] is not priced[0]
    assert len(beside) == len(again)
    points = [point for one in beside[:3] if (point := point_of(one))]
    assert len(set(points)) == len(points)
    shared = SharedInformation(chances, share)
    for first, second in itertools.combinations(range(3), 2):
        assert shared.told_by(first)[second] < 0.95


def test_what_is_the_same_in_other_words_is_told_whole() -> None:
    live = np.array([[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    other = np.array([[1.0, 0.0, 1.0, 0.0], [0.0, 1.0, 0.0, 1.0]])
    share = np.full(4, 0.25)

    steps = [live, live[::-1], other, np.ones((1, 4))]
    told = SharedInformation(steps, share).told_by(0)
    # By hand: one bit told twice, and two coins that know nothing of each other; what
    # tells nothing leaves nothing untold.
    assert told == pytest.approx([1.0, 1.0, 0.0, 1.0], abs=1e-12)
