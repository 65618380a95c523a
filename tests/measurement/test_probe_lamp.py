"""The test lamp: how it loads a source, what people say of it, where it may not go."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.measurement.points.lamp_points import lamp_readings, unfit_for_lamp
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.probe_lamp import (
    GRADES,
    ProbeLamp,
    answer_chance,
    lamp_grade,
    lamp_share,
)
from diagnose.measurement.readings import ReadingKind
from diagnose.session.ready_car import Model

LAMP = ProbeLamp(
    watts=3.0, volts=12.0, lit_light=0.5, dark_light=0.01, lit_blur=0.25, dark_blur=0.6
)


def grade(open_volts: float, source_ohms: float, system_volts: float = 12.0) -> float:
    return float(
        lamp_grade(
            np.array(open_volts),
            np.array(source_ohms),
            lamp=LAMP,
            system_volts=system_volts,
        )
    )


@pytest.mark.parametrize("ohms", [0.1, 12.0, 90.0, 2000.0])
def test_lamp_and_source_share_the_volts(ohms: float) -> None:
    share = float(lamp_share(np.array(1.05), np.array(ohms), 48.0))

    # Kirchhoff: 12.6 V are the lamp's volts and the drop in the source, whose amps are
    # the lamp's .25 A times the root of its share.
    assert 12.0 * share + ohms * 0.25 * share**0.5 == pytest.approx(12.6)


def test_half_the_people_say_dim_at_half_the_light() -> None:
    # Derived: .5 ** (1/3.4) = .8156 of 12 V is 9.787 V.
    assert grade(9.787, 0.0) == pytest.approx(0.75, abs=0.001)


def test_half_the_people_say_dark_at_a_hundredth_of_the_light() -> None:
    # Derived: .01 ** (1/3.4) = .2581 of 12 V is 3.097 V.
    assert grade(3.097, 0.0) == pytest.approx(0.25, abs=0.001)


def test_joint_of_a_hundred_ohms_leaves_the_lamp_dark() -> None:
    # Derived: r = 100/48, u = 1.05: root 2.1 / (2.083 + sqrt(4.340 + 4.2)) = .4196, a
    # share of .176 and .0027 of the light; a meter of 10 Mohm shows 12.6 V.
    # Chance of dim 1/(1 + exp(ln(.01/.0027)/.6)) = .10, half a grade each.
    assert grade(12.6, 100.0) == pytest.approx(0.05, abs=0.01)


def test_leads_may_be_swapped() -> None:
    assert grade(-12.6, 5.0) == grade(12.6, 5.0)


def test_a_dead_end_is_dark() -> None:
    assert grade(12.6, 1e9) == pytest.approx(0.0, abs=1e-6)


def test_a_24_volt_lamp_of_as_many_watts_has_four_times_the_ohms() -> None:
    assert grade(25.2, 80.0, system_volts=24.0) == pytest.approx(grade(12.6, 20.0))


@pytest.mark.parametrize("grade_", [0.0, 0.3, 0.5, 0.9, 1.0])
def test_chances_of_the_answers_add_up_and_have_the_grade_as_their_mean(
    grade_: float,
) -> None:
    chances = {v: float(answer_chance(v, np.array(grade_))) for v in GRADES.values()}

    assert sum(chances.values()) == pytest.approx(1.0)
    assert sum(v * chance for v, chance in chances.items()) == pytest.approx(grade_)


def test_lamp_is_not_asked_for_at_controllers_and_their_outputs(
    sedan_model: Model,
) -> None:
    car = sedan_model.car
    asked = {node for r in lamp_readings(car) for node in (r.red, r.black)}

    assert not asked & unfit_for_lamp(car)
    assert {"engine-controller.pump-output", "fuel-pump-relay.85"} <= unfit_for_lamp(
        car
    )


def test_lamp_is_asked_for_with_the_engine_off_only(model: Model) -> None:
    found = [r for r in proposable_readings(model.car) if r.kind is ReadingKind.LAMP]

    assert {r.state for r in found} == {"key-off", "key-on"}
