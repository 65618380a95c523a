"""Nothing is read near an airbag; no ohms, lamp or bare probe at electronics."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.circuit.car import Car
from diagnose.errors import ReadingError
from diagnose.measurement.points.forbidden_points import (
    AIRBAG,
    airbag_point_of,
    airbag_points,
    electronic_points,
)
from diagnose.measurement.points.lamp_points import unfit_for_lamp
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# Places of the sedan that may hold an airbag once a donor's parts are in.
AIRBAG_PLACES = ("column", "dash", "under-dash")


def with_airbag_at(car: Car, place: str) -> Car:
    """Return the car with an airbag at one of its places."""
    held = replace(car.places[place], caution=AIRBAG)
    return replace(car, places={**car.places, place: held})


def wires_out_of(car: Car, place: str) -> set[str]:
    """Return both ends of every wire with an end at a place."""
    wires = [set(part.terminals.values()) for part in car.parts if part.kind == "wire"]
    return {
        node
        for ends in wires
        if any(car.test_points.get(one) == place for one in ends)
        for node in ends
    }


def points_of(reading: Reading, car: Car) -> set[str]:
    """Return what the leads touch, or the terminals of what is clamped."""
    if reading.black:
        return {reading.red, reading.black}
    return set(car.part(reading.red).terminals.values())


# Rule: no reading of any kind at a place with an airbag, nor at wires out of it.
@pytest.mark.parametrize("place", AIRBAG_PLACES)
def test_nothing_is_proposed_near_an_airbag(sedan_model: Model, place: str) -> None:
    car = with_airbag_at(sedan_model.car, place)
    forbidden = wires_out_of(car, place) - {car.reference}

    found = proposable_readings(car)

    assert found
    for reading in found:
        if reading.kind is ReadingKind.LOOK:
            assert car.part(reading.red).place != place
        else:
            assert not points_of(reading, car) & forbidden, reading.name


def test_nothing_is_left_out_without_an_airbag(sedan_model: Model) -> None:
    assert airbag_points(sedan_model.car) == frozenset()


# By hand: from the column to the horn's relay and the stud under the dash, to the key's
# wires as far as the next fuse, coil and switch.
def test_the_wires_of_the_column_are_forbidden_as_far_as_the_next_fuse(
    sedan_model: Model,
) -> None:
    found = airbag_points(with_airbag_at(sedan_model.car, "column"))

    assert {"horn-relay.85", "dash-stud.stud", "old-main-fuse.out"} <= found
    assert not {"old-main-fuse.in", "horn.plus", "body.metal"} & found


@pytest.mark.parametrize(
    ("kind", "state", "black", "value"),
    [
        (ReadingKind.DC_VOLTS, "key-on", "battery.minus", 12.0),
        (ReadingKind.OHMS, "isolated", "battery.minus", 1.0),
        (ReadingKind.LAMP, "key-on", "battery.minus", 1.0),
    ],
)
def test_a_reading_told_near_an_airbag_is_refused_with_its_reason(
    sedan_model: Model, kind: ReadingKind, state: str, black: str, value: float
) -> None:
    car = with_airbag_at(sedan_model.car, "dash")
    diagnosis = Diagnosis(replace(sedan_model, car=car))
    reading = Reading(kind=kind, state=state, red="instruments.plus", black=black)

    with pytest.raises(ReadingError, match="airbag") as refused:
        diagnosis.tell(ReadingFact(reading=reading, value=value))

    assert "read volts" not in str(refused.value)
    assert "licensed workshop" in str(refused.value)


def test_a_fuse_at_a_place_with_an_airbag_is_not_even_looked_at(
    sedan_model: Model,
) -> None:
    car = with_airbag_at(sedan_model.car, "under-dash")
    look = Reading(kind=ReadingKind.LOOK, state="key-off", red="horn-fuse", black="")

    assert airbag_point_of(look, car) == "horn-fuse"
    assert airbag_point_of(look, sedan_model.car) == ""


# Rule: no lamp at the terminals of an ignition module and of controllers.
def test_a_lamp_is_kept_from_ignition_module_and_controllers(
    sedan_model: Model,
) -> None:
    wanted = {"ignition.plus", "ignition.minus", "engine-controller.supply"}

    assert wanted <= electronic_points(sedan_model.car)
    assert wanted <= unfit_for_lamp(sedan_model.car)


def test_a_lamp_told_at_an_ignition_module_is_refused(sedan_model: Model) -> None:
    reading = Reading(
        kind=ReadingKind.LAMP,
        state="key-on",
        red="ignition.plus",
        black="battery.minus",
    )

    with pytest.raises(ReadingError, match=r"no test lamp at ignition\.plus"):
        Diagnosis(sedan_model).tell(ReadingFact(reading=reading, value=1.0))


def test_no_ohms_are_proposed_at_electronics(sedan_model: Model) -> None:
    electronic = electronic_points(sedan_model.car)
    ohms = [
        reading
        for reading in proposable_readings(sedan_model.car)
        if reading.kind is ReadingKind.OHMS
    ]

    assert ohms
    assert not {reading.red for reading in ohms} & electronic
