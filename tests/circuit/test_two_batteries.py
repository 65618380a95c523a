"""Two batteries: in series, where each bears half, and beside each other.

The cars are invented. Copper is 1/58 ohm mm²/m at 20 °C, and a 10 gauge has 5.261 mm²
(ASTM B258).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.circuit.values import fixed
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.measurement.points.lamp_points import lamp_readings
from diagnose.measurement.points.where_to_measure import (
    drain_readings,
    proposable_readings,
)
from diagnose.measurement.readings import Reading
from diagnose.terminal.preparation.car_files import open_car
from tests.circuit.small_circuits import make_part

SERIES = """
car-file: 1
title: Two batteries in series
system: 24 V
places: {bay: 1 min}
metal: {body: bay, engine: bay}
battery: {place: bay, cold-cranking: 800 A, series-link: 10 AWG 3 ft}
switches:
  key: {place: bay, feed: battery, live: {off: [], run: [run]}}
circuits:
  key-feed: {from: battery.plus via 10 AWG 1 ft, fuse: 30 A, to: key.battery}
  heater:
    from: key.run
    wire: 10 AWG 3 ft
    load: 12 A load
    ground: engine via 10 AWG 2 ft
    place: bay
wires:
  ground-cable: {from: battery.minus, to: body, wire: 2 AWG 2 ft, role: battery-cable}
  strap: {from: engine, to: body, wire: 4 AWG 1 ft, role: ground-strap}
states:
  key-on: {switches: {key: run}}
"""


def loaded(text: str, folder: Path, knowledge: Knowledge) -> Car:
    path = folder / "car.yaml"
    path.write_text(text, encoding="utf-8")
    return load_car(path, knowledge)


def volts(car: Car, state: str) -> Mapping[str, float]:
    """Return the volts of every node of the middle car against its reference."""
    network = CarModel(car, Middle(n_draws=1)).network(car.state(state))
    found = solve_operating_point(network).volts[0]
    zero = found[network.nodes.index(car.reference)]
    pairs = zip(network.nodes, found, strict=True)
    return {node: float(value - zero) for node, value in pairs}


@pytest.fixture
def series(tmp_path: Path, knowledge: Knowledge) -> Car:
    return loaded(SERIES, tmp_path, knowledge)


def test_each_battery_in_series_bears_half(series: Car) -> None:
    rest = volts(series, "key-off")

    # 12.4 to 12.7 V are a battery in service at rest
    assert rest["battery.plus"] == pytest.approx(2.0 * rest["live-battery.minus"])
    assert 12.3 < rest["grounded-battery.plus"] < 12.7


def test_the_link_between_them_carries_the_whole_current(series: Car) -> None:
    loaded_car = volts(series, "key-on")

    # .914 m of 5.261 mm² are .0030 ohm, two usual joints of 3 mohm: 9.0 mohm in all;
    # 12 A at 27 V are 2.25 ohm, 10.8 A at 24.3 V: .097 V
    drop = loaded_car["grounded-battery.plus"] - loaded_car["live-battery.minus"]
    amps = (loaded_car["heater.plus"] - loaded_car["heater.minus"]) / (27.0 / 12.0)
    link = series.part("battery-link").values
    joints = sum(
        link[name].distribution.nominal for name in ("joint_a_ohms", "joint_b_ohms")
    )
    assert drop == pytest.approx(amps * (0.9144 / (58.0 * 5.261) + joints), rel=0.1)


def test_a_battery_with_a_dead_cell_shows_between_its_own_posts(series: Car) -> None:
    sound = series.part("grounded-battery")
    # a cell of six lost: 2.1 V of 12.6 V (electrochemistry of lead and acid)
    values = dict(sound.values)
    for name in ("empty_volts", "full_volts"):
        nominal = values[name].distribution.nominal
        values[name] = replace(values[name], distribution=fixed(nominal - 2.1))
    parts = tuple(
        replace(part, values=values) if part is sound else part for part in series.parts
    )

    usual, found = (
        volts(series, "key-off"),
        volts(replace(series, parts=parts), "key-off"),
    )

    across = "grounded-battery.plus"
    assert usual[across] - found[across] == pytest.approx(2.1, abs=0.01)
    live = found["battery.plus"] - found["live-battery.minus"]
    assert live == pytest.approx(usual["battery.plus"] / 2.0, abs=0.01)


def test_batteries_in_series_are_read_one_by_one_and_drained_as_one(
    series: Car,
) -> None:
    names = {reading.name for reading in proposable_readings(series)}

    assert "volts|key-off|battery.plus|live-battery.minus" in names
    assert "volts|key-off|grounded-battery.plus|battery.minus" in names
    drains = [reading.red for reading in drain_readings(series)]
    assert [red for red in drains if "battery" in red] == ["grounded-battery"]


def beside(car: Car) -> Car:
    """Return a car with a second battery whose minus is wired to the body."""
    second = replace(
        make_part("battery", "second", "second.plus", "second.minus"),
        values=car.part("battery").values,
    )
    wire = make_part("wire", "second-ground", "second.minus", "body.metal")
    points = dict.fromkeys(("second.plus", "second.minus"), "bay")
    return replace(
        car,
        parts=(*car.parts, second, wire),
        test_points={**car.test_points, **points},
    )


def test_a_lamp_is_clipped_to_the_first_battery_only(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    alone = SERIES.replace(", series-link: 10 AWG 3 ft", "").replace("24 V", "12 V")
    car = beside(loaded(alone, tmp_path, knowledge))

    clips = {clip_of(reading, car) for reading in lamp_readings(car)}

    assert clips == {"battery.plus", "battery.minus"}


def clip_of(reading: Reading, car: Car) -> str:
    """Return where the clip of a test lamp is: on ground for a feed, else on plus."""
    is_feed = reading.black == car.reference
    return reading.black if is_feed else reading.red


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("truck", "battery disconnected at its negative post"),
        ("roadster", "battery disconnected at its positive post"),
        ("van", "both batteries disconnected at their negative posts"),
    ],
)
def test_the_state_without_battery_names_every_battery(
    name: str, words: str, knowledge: Knowledge
) -> None:
    car = open_car(name, knowledge)

    assert car.state("isolated").label == f"{words}, everything off"
    ripple = {r.red for r in proposable_readings(car) if r.name.startswith("ac|")}
    posts = set(car.battery.terminals.values()) if car.battery else set()
    assert ripple == posts - {car.reference}
