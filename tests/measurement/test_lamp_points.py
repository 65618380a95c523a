"""Where a test lamp may not go: near airbags, at controllers and their outputs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.circuit.car import Car, Part, Place
from diagnose.errors import ReadingError
from diagnose.measurement.points.lamp_points import lamp_readings, unfit_for_lamp
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from tests.circuit.small_circuits import make_part
from tests.lamp_car import CAR, GROUND


def with_airbag(car: Car, node: str) -> Car:
    """Return the car with one of its test points in a dashboard with an airbag."""
    dash = Place(name="dash", minutes=2.0, caution="airbag")
    return replace(
        car,
        places={**car.places, "dash": dash},
        test_points={**car.test_points, node: "dash"},
    )


def lamp_nodes(car: Car) -> set[str]:
    """Return every node that a proposed lamp would touch."""
    found = {r for r in proposable_readings(car) if r.kind is ReadingKind.LAMP}
    return {node for reading in found for node in (reading.red, reading.black)}


# Rule: nobody holds a lamp where an airbag is, be it at a feed or at a ground. By hand:
# one wire leads to each, from the switch and from the lamp.
@pytest.mark.parametrize(
    ("node", "far_end"),
    [("lamp.plus", "light-switch.out"), ("body.metal", "lamp.minus")],
)
def test_no_lamp_is_proposed_near_an_airbag(node: str, far_end: str) -> None:
    car = with_airbag(CAR, node)

    assert node in lamp_nodes(CAR)
    assert unfit_for_lamp(car) == {node, far_end}
    assert not lamp_nodes(car) & {node, far_end}


def test_a_lamp_read_near_an_airbag_is_refused(model: Model) -> None:
    car = with_airbag(model.car, "fuel-pump.plus")
    reading = Reading(
        kind=ReadingKind.LAMP,
        state="key-off",
        red="fuel-pump.plus",
        black=model.car.reference,
    )
    told = ReadingFact(reading=reading, value=0.0)

    Diagnosis(model).tell(told)
    with pytest.raises(ReadingError, match=r"nothing is read at fuel-pump\.plus: an"):
        Diagnosis(replace(model, car=car)).tell(told)


def controlled(*parts: Part) -> Car:
    """Return the lamp car with a controller, an output and what hangs on it."""
    controller = make_part(
        "controller", "controller", "lamp-fuse.out", "body.metal", supply_amps=1.0
    )
    output = make_part(
        "driver",
        "controller.pin",
        "pin",
        "body.metal",
        gate="controller",
        assembly="controller",
    )
    added = (controller, output, *parts)
    nodes = [node for part in added for node in part.terminals.values()]
    return replace(
        CAR,
        parts=(*CAR.parts, *added),
        test_points={**CAR.test_points, **dict.fromkeys(nodes, "bay")},
    )


# By hand: the wire leads from the pin to the coil's 85, the coil to 86.
def test_a_wire_from_an_output_takes_the_ban_with_it_and_a_coil_does_not() -> None:
    wire = make_part("wire", "pin-wire", "pin", "relay.85", leak_ohms=1e7)
    coil = make_part("coil", "relay.coil", "relay.86", "relay.85", coil_ohms=85.0)

    found = unfit_for_lamp(controlled(wire, coil))

    assert found == {"lamp-fuse.out", "body.metal", "pin", "relay.85"}


# By hand: an output that switches to plus is the pin, not the feed it switches.
def test_an_output_that_switches_to_plus_is_kept_from_a_lamp() -> None:
    output = make_part(
        "driver",
        "controller.high",
        "lamp-fuse.out",
        "high",
        gate="controller",
        assembly="controller",
    )
    wire = make_part("wire", "high-wire", "high", "relay.86", leak_ohms=1e7)

    found = unfit_for_lamp(controlled(output, wire))

    assert found == {"lamp-fuse.out", "body.metal", "pin", "high", "relay.86"}


# By hand: the lamp's ground side is wired to the body, so a lamp there hurts nothing.
def test_what_grounds_an_output_keeps_its_lamp() -> None:
    wire = make_part("wire", "pin-wire", "pin", "lamp.minus", leak_ohms=1e7)

    found = unfit_for_lamp(controlled(wire))

    assert found == {"lamp-fuse.out", "body.metal", "pin"}


def test_the_battery_post_that_holds_the_clip_is_never_unfit() -> None:
    car = with_airbag(CAR, "battery.plus")

    assert "battery.plus" not in unfit_for_lamp(car)
    assert {reading.black for reading in lamp_readings(car)} >= {GROUND}


# By hand: what is inside the controller's box shares its pins, whatever it is.
def test_no_lamp_goes_where_something_shares_a_controller_s_box() -> None:
    sensor = make_part(
        "resistor", "controller.sensor", "sensor-pin", "body.metal", ohms=1e3
    )

    inside = unfit_for_lamp(controlled(replace(sensor, assembly="controller")))
    outside = unfit_for_lamp(controlled(sensor))

    assert inside - outside == {"sensor-pin"}


# By hand: the feed has its clip on the grounded post, the ground on the other one; the
# lamp burns with the engine off, be the key off or the lamp switched on.
def test_the_clip_is_on_the_other_side_of_what_is_touched() -> None:
    found = {(r.red, r.black, r.state) for r in lamp_readings(CAR)}

    states = ("key-off", "lit")
    assert {one for one in found if "lamp.plus" in one} == {
        ("lamp.plus", GROUND, state) for state in states
    }
    assert {one for one in found if "body.metal" in one} == {
        ("battery.plus", "body.metal", state) for state in states
    }
