"""How likely a right reading is shown again, worked by hand."""

from __future__ import annotations

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.observations import observations_of
from diagnose.session.evidence.repeated_readings import repeat_density
from diagnose.session.facts import ReadingFact, RepairFact, SymptomFact
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
