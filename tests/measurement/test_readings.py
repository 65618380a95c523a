"""Which readings are worth ranking, and what they are called."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.measurement.points.where_to_measure import (
    clamp_parts,
    drain_readings,
    is_at_rest,
    meaningless_ohms,
    proposable_readings,
    ripple_nodes,
)
from diagnose.measurement.readings import Reading, ReadingKind, fuse_tolerance
from diagnose.session.ready_car import Model
from tests.circuit.small_circuits import make_part
from tests.lamp_car import CAR, GROUND

READINGS = proposable_readings(CAR)


def of_kind(kind: ReadingKind, car: Car = CAR) -> list[Reading]:
    return [reading for reading in proposable_readings(car) if reading.kind is kind]


def test_name_is_the_key_faces_use() -> None:
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black=GROUND
    )

    assert reading.name == "volts|lit|lamp.plus|battery.minus"


def test_no_reading_is_listed_twice() -> None:
    assert len({reading.name for reading in READINGS}) == len(READINGS)


def test_volts_are_read_at_every_point_in_every_live_state() -> None:
    # By hand: seven nodes beside the battery post, two live states.
    found = {
        (r.red, r.state) for r in of_kind(ReadingKind.DC_VOLTS) if r.black == GROUND
    }

    assert len(found & {(n, s) for n in CAR.nodes for s in ("key-off", "lit")}) == 14


def test_ripple_is_read_across_the_battery_while_the_engine_runs(model: Model) -> None:
    found = of_kind(ReadingKind.AC_VOLTS, model.car)

    assert {(r.red, r.black) for r in found} == {("battery.plus", "battery.minus")}
    # its file writes no other state with the engine running
    assert {r.state for r in found} == {"idle"}


def test_tolerance_of_a_fuse_is_the_spread_of_its_resistance(model: Model) -> None:
    # part-kinds.yaml: lognormal, .2; the middle 68 % of it is 20 % either way.
    fuse = model.car.part("fuel-pump-fuse")

    assert fuse_tolerance(fuse) == pytest.approx(0.2, abs=0.002)


def test_a_car_without_alternator_has_no_ripple_to_read() -> None:
    assert of_kind(ReadingKind.AC_VOLTS) == []


def test_an_alternator_that_tells_no_ripple_has_none_to_read() -> None:
    alternator = make_part("alternator", "alternator", "battery.plus", "body.metal")

    assert ripple_nodes(replace(CAR, parts=(*CAR.parts, alternator))) is None


def test_ohms_are_read_with_the_battery_disconnected_only() -> None:
    assert {r.state for r in of_kind(ReadingKind.OHMS)} == {"isolated"}


def test_volts_are_never_read_with_the_battery_disconnected() -> None:
    assert "isolated" not in {r.state for r in of_kind(ReadingKind.DC_VOLTS)}


def test_drops_are_read_where_current_may_flow() -> None:
    drops = {(r.red, r.black, r.state) for r in READINGS if r.kind.value == "volts"}

    assert ("light-switch.out", "lamp.plus", "lit") in drops
    assert ("light-switch.out", "lamp.plus", "key-off") not in drops


def test_every_fuse_can_be_looked_at_once() -> None:
    found = [(r.red, r.state) for r in of_kind(ReadingKind.LOOK)]

    assert found == [("main-fuse", "key-off"), ("lamp-fuse", "key-off")]


def test_hidden_point_is_not_probed() -> None:
    points = {n: p for n, p in CAR.test_points.items() if n != "lamp.plus"}

    found = proposable_readings(replace(CAR, test_points=points))

    assert not any("lamp.plus" in (reading.red, reading.black) for reading in found)


def test_clamp_goes_round_fuses_and_the_battery() -> None:
    assert clamp_parts(CAR) == ("battery", "main-fuse", "lamp-fuse")


@pytest.mark.parametrize("kind", list(ReadingKind))
def test_every_proposed_reading_of_the_shipped_car_has_a_prediction(
    kind: ReadingKind, sedan_model: Model
) -> None:
    compiled = sedan_model.compiled
    readings = of_kind(kind, sedan_model.car)
    some = np.arange(0, len(compiled.singles.sets), 50)

    shown = [
        compiled.readings.predicted(compiled.singles, r, rows=some) for r in readings
    ]

    named = zip(readings, shown, strict=True)
    assert [r.name for r, values in named if np.isnan(values).any()] == []


def test_drain_is_looked_for_at_rest(sedan_model: Model) -> None:
    found = drain_readings(sedan_model.car)

    assert {reading.state for reading in found} == {"key-off"}
    amps = [one.red for one in found if one.kind is ReadingKind.AMPS]
    assert amps == ["battery"]
    # A fusible link is crimped and a breaker bolted: no points to put the leads on.
    fuses = {one.red for one in found if one.kind is ReadingKind.FUSE}
    assert "fuel-pump-fuse" in fuses
    assert not {"old-main-fuse", "light-feed-fuse"} & fuses


AT_REST = OperatingState(name="rest", label="at rest", switch_positions={})


@pytest.mark.parametrize(
    "state",
    [
        replace(AT_REST, switch_positions={"light-switch": "on"}),
        replace(AT_REST, commands=frozenset({"lamp"})),
        replace(AT_REST, is_cranking=True),
        replace(AT_REST, engine_rpm=1.0),
        replace(AT_REST, is_battery_connected=False),
    ],
    ids=["switched on", "commanded", "cranking", "running", "disconnected"],
)
def test_car_is_at_rest_with_nothing_switched_on(state: OperatingState) -> None:
    assert is_at_rest(AT_REST)
    assert not is_at_rest(state)


def test_every_reading_of_a_small_car_is_there() -> None:
    # By hand. Volts to the post: seven nodes in two states. Drops while the lamp is on:
    # two fuses, switch, feed, lamp and ground wire; the stud's is that of the body to
    # the post. Ohms: the seven nodes. A look at two fuses; at rest amps at the battery
    # and millivolts along both. Key off and no key on: lamps are not counted here.
    count = {kind: len(of_kind(kind)) for kind in ReadingKind}

    assert count == {
        ReadingKind.DC_VOLTS: 14 + 6,
        ReadingKind.OHMS: 7,
        ReadingKind.LOOK: 2,
        ReadingKind.AMPS: 1,
        ReadingKind.FUSE: 2,
        ReadingKind.AC_VOLTS: 0,
        ReadingKind.LAMP: count[ReadingKind.LAMP],
    }


def test_ohms_mean_nothing_across_electronics_alone() -> None:
    module = make_part("electronics", "module", "module.plus", "module.minus")
    car = replace(CAR, parts=(*CAR.parts, module))

    def of(red: str, black: str, kind: ReadingKind = ReadingKind.OHMS) -> str:
        reading = Reading(kind=kind, state="isolated", red=red, black=black)
        return meaningless_ohms(reading, car)

    assert of("module.plus", "module.minus") == "module"
    assert of(GROUND, "module.plus") == "module"
    assert of("module.plus", "lamp.plus") == ""
    assert of("module.minus", GROUND) == ""
    assert of("lamp.plus", GROUND) == ""
    assert of("module.plus", "module.minus", ReadingKind.DC_VOLTS) == ""
