"""How likely a right reading is shown again, worked by hand."""

from __future__ import annotations

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.observations import observations_of
from diagnose.session.evidence.repeated_readings import repeat_density
from diagnose.session.facts import (
    ComplaintFact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model, open_model
from tests.lamp_car import CAR, GROUND, make_knowledge


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(), n_draws=4)


@pytest.mark.parametrize(
    ("value", "density"),
    [
        # The meter's limit at 12 V is .5 % of it and two counts, .08 V: two standard
        # deviations of .04 V. Two readings differ by .04 x sqrt(2) = .0566 V, a normal
        # of which is 1 / (.0566 x 2.5066) high in its middle.
        (12.0, 7.052),
        # At 1 V the limit would be .025 V; a car moves by .05 V: .025 x sqrt(2).
        (1.0, 11.284),
    ],
)
def test_volts_come_again_within_two_errors_of_the_meter(
    value: float, density: float, lamp_model: Model
) -> None:
    volts = ReadingFact(
        reading=Reading(
            kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black=GROUND
        ),
        value=value,
    )

    # .001: the digits given
    assert repeat_density(volts, lamp_model) == pytest.approx(density, abs=1e-3)


def test_millivolts_along_a_fuse_come_again_as_the_meter_allows(
    lamp_model: Model,
) -> None:
    # On a fuse nothing but the meter moves: at 30 mV .5 % and three counts of .1 mV,
    # .45 mV: 1 / (.225e-3 x sqrt(2) x 2.5066).
    millivolts = ReadingFact(
        reading=Reading(kind=ReadingKind.FUSE, state="lit", red="lamp-fuse", black=""),
        value=0.030,
    )

    assert repeat_density(millivolts, lamp_model) == pytest.approx(1253.7, abs=0.1)


def test_a_no_never_keeps_itself_from_being_an_answer(model: Model) -> None:
    # to hold its idle with the loads on is to keep running with them: whoever says that
    # it does not has not said that the question has no answer
    mended = RepairFact(cause=model.compiled.causes[0].name)
    for name in model.compiled.symptom_names:
        no = SymptomFact(symptom=name, is_present=False)
        seen, _ = observations_of((mended, no), model)
        assert [noted.observation for noted in seen] == [no]


def test_a_complaint_told_again_stays_as_sure_and_counts_once(model: Model) -> None:
    complaint = ComplaintFact(complaint="starter-runs-by-itself")
    again = SymptomFact(symptom="starter-runs-on", is_present=True)

    seen, _ = observations_of((complaint, again), model)

    assert [noted.is_complaint for noted in seen] == [True]


def test_a_complaint_told_otherwise_counts_as_told(model: Model) -> None:
    complaint = ComplaintFact(complaint="starter-runs-by-itself")
    not_so = SymptomFact(symptom="starter-runs-on", is_present=False)

    seen, _ = observations_of((complaint, not_so), model)

    assert [noted.observation for noted in seen] == [not_so]
    assert not seen[0].is_complaint


def test_what_ran_when_it_was_complained_of_is_past_once_it_does_not_start(
    sedan_model: Model,
) -> None:
    stalls = ComplaintFact(complaint="stalls-while-driving")
    stays_dead = SymptomFact(symptom="engine-starts", is_present=False)

    before, _ = observations_of((stalls,), sedan_model)
    after, _ = observations_of((stalls, stays_dead), sedan_model)

    assert not any(noted.is_past for noted in before)
    past = {
        noted.observation.symptom
        for noted in after
        if noted.is_past and isinstance(noted.observation, SymptomFact)
    }
    assert past == {"runs-at-idle"}


def test_a_fault_that_lasts_may_have_come_while_the_car_drove(
    sedan_model: Model,
) -> None:
    # a wire that is off for good lets no engine run; ten to one is what that costs it
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="stalls-while-driving"))
    diagnosis.tell(SymptomFact(symptom="engine-starts", is_present=False))
    diagnosis.tell(SymptomFact(symptom="pump-primes", is_present=False))

    first = diagnosis.answer.causes[0]

    assert any(not name.endswith(":comes_and_goes") for name in first.members)
