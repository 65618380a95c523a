"""Cars that differ from their file: their draws, their laws, and games with them."""

from __future__ import annotations

import ast
import inspect
from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.parts.branches import Branch
from diagnose.circuit.values import Distribution, Shape
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.ready_car import Model
from diagnose.session.sheets.sheet import Band
from diagnose.trial.hidden import unlike_car, unlike_stock
from diagnose.trial.hidden.complaints import complaints_of
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.hidden.outside import draw_outside_car
from diagnose.trial.hidden.unlike_car import OwnDraws, unlike_values
from diagnose.trial.hidden.unlike_laws import UnlikeModel
from diagnose.trial.hidden.unlike_stock import (
    UNLIKE_ERRORS,
    UnlikeCars,
    UnsoundCarsError,
    is_in_band,
    sound_readings,
)
from diagnose.trial.running import TrialPlan, run_trial
from tests.lamp_car import CAR as LAMP_CAR
from tests.trial.lamp_trial import PLAN, lamp_model

MANY = OwnDraws(n_draws=4000, seed=1)
EXACT = Errors(slip_probability=0.0, has_meter_error=False, has_report_error=False)
UNLIKE_PLAN = replace(PLAN, is_unlike=True, errors=UNLIKE_ERRORS)


def amps_at(
    branch: Branch, volts: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the current of every draw of a branch, read off its segments."""
    segment = (branch.breaks <= volts).sum(axis=1)
    draws = np.arange(len(segment))
    return np.asarray(
        branch.siemens[draws, segment] * volts + branch.amps[draws, segment]
    )


def with_other_spreads(car: Car) -> Car:
    """Return a car whose every value has the same middle, and is much less sure."""

    def unsure(spread: Distribution) -> Distribution:
        if spread.nominal <= 0.0:
            return spread
        return Distribution(shape=Shape.LOGNORMAL, first=spread.nominal, second=2.0)

    parts = tuple(
        replace(
            part,
            values={
                name: replace(value, distribution=unsure(value.distribution))
                for name, value in part.values.items()
            },
        )
        for part in car.parts
    )
    return replace(car, parts=parts)


@pytest.mark.parametrize("module", [unlike_car, unlike_stock])
def test_draws_know_no_distribution_of_the_model(module: object) -> None:
    tree = ast.parse(inspect.getsource(module))  # type: ignore[arg-type]
    imported = {
        name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for name in (node.module, *(f"{node.module}.{one.name}" for one in node.names))
    }
    asked = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}

    assert not any("tolerance_draws" in str(name) for name in imported)
    assert not any("faults.knowledge" in str(name) for name in imported)
    assert not asked & {"quantile", "first", "second", "shape"}


def test_spread_of_the_file_changes_no_value(model: Model) -> None:
    few = OwnDraws(n_draws=8, seed=2)

    as_written = unlike_values(model.car, few)
    unsure = unlike_values(with_other_spreads(model.car), few)

    for part, values in as_written.items():
        for name, drawn in values.items():
            assert unsure[part][name] == pytest.approx(drawn, rel=1e-12), (part, name)


def test_lengths_stray_by_a_third_and_sizes_in_one_wire_of_ten(model: Model) -> None:
    wire = next(part for part in model.car.parts if "length_m" in part.values)
    drawn = unlike_values(replace(model.car, parts=(wire,)), MANY)[wire.name]

    longer = drawn["length_m"] / wire.values["length_m"].distribution.nominal
    thicker = drawn["area_mm2"] / wire.values["area_mm2"].distribution.nominal

    # As asked for: e^.35 either way, one in ten; of 4000 draws within 5 % and 1.5 %.
    assert np.log(longer).std() == pytest.approx(0.35, rel=0.05)
    assert (thicker != 1.0).mean() == pytest.approx(0.1, abs=0.015)
    # Two gauge numbers: 12 AWG has 3.31 mm2, 14 AWG 2.08 mm2 (gauge table).
    assert thicker.max() == pytest.approx(3.31 / 2.08, abs=0.01)


def test_resistance_follows_length_and_size(model: Model) -> None:
    wire = next(part for part in model.car.parts if "length_m" in part.values)
    drawn = unlike_values(replace(model.car, parts=(wire,)), MANY)[wire.name]
    middle = {name: one.distribution.nominal for name, one in wire.values.items()}

    warmth = (
        drawn["wire_ohms"]
        / middle["wire_ohms"]
        / (drawn["length_m"] / middle["length_m"])
        * (drawn["area_mm2"] / middle["area_mm2"])
    )

    # Copper from 5 to 60 °C: 1 + .0039 (t - 20).
    assert warmth.min() > 1.0 - 0.0039 * 16.0
    assert warmth.max() < 1.0 + 0.0039 * 41.5
    assert np.ptp(warmth) > 0.1


def test_every_spread_is_of_a_value_that_cars_have() -> None:
    from diagnose.circuit.elements import ELEMENTS

    known = {name for one in ELEMENTS.values() for name in one.parameters}
    known |= {f"{kind}/{p}" for kind, one in ELEMENTS.items() for p in one.parameters}

    assert set(unlike_car.EITHER_WAY) <= known


def test_battery_takes_five_to_thirty_amps(model: Model) -> None:
    battery = next(part for part in model.car.parts if part.kind == "battery")
    alternator = next(part for part in model.car.parts if part.kind == "alternator")
    drawn = unlike_values(replace(model.car, parts=(battery, alternator)), MANY)
    above = (
        alternator.values["set_volts"].distribution.nominal
        - battery.values["full_volts"].distribution.nominal
    )

    amps = above / drawn[battery.name]["acceptance_ohms"]

    assert amps.min() == pytest.approx(5.0, abs=0.1)
    assert amps.max() == pytest.approx(30.0, abs=0.5)


def test_alternator_at_idle_differs_by_a_fifth(model: Model) -> None:
    alternator = next(part for part in model.car.parts if part.kind == "alternator")
    drawn = unlike_values(replace(model.car, parts=(alternator,)), MANY)["alternator"]
    middle = {name: v.distribution.nominal for name, v in alternator.values.items()}
    idle = min(s.engine_rpm for s in model.car.states if s.is_engine_running)
    rpm = idle * middle["pulley_ratio"] - middle["cut_in_rpm"]
    top = 6000.0 - middle["cut_in_rpm"]

    def limit(rated: object, constant: object) -> object:
        # the law that `alternator_limit_amps` states, written out once more
        k = np.asarray(constant)
        return np.asarray(rated) * (1 - np.exp(-rpm / k)) / (1 - np.exp(-top / k))

    ratio = np.asarray(
        limit(drawn["rated_amps"], drawn["speed_constant_rpm"])
    ) / np.asarray(limit(middle["rated_amps"], middle["speed_constant_rpm"]))

    assert ratio.min() == pytest.approx(1 / 1.2, abs=0.01)
    assert ratio.max() == pytest.approx(1.2, abs=0.01)


def test_filament_is_cold_at_a_meters_volts_and_goes_by_a_power_when_hot() -> None:
    cars = UnlikeModel(LAMP_CAR, MANY)
    lamp = cars.parts["lamp"]
    (branch,) = cars.part_branches(lamp, LAMP_CAR.states[1])
    watts = cars.values["lamp"]["lamp_watts"]
    rated_ohms = 13.5**2 / watts

    cold = rated_ohms / (0.001 / amps_at(branch, 0.001))
    # Tungsten: cold a twelfth to a fifteenth of the hot resistance.
    assert cold.min() == pytest.approx(12.0, abs=0.1)
    assert cold.max() == pytest.approx(15.0, abs=0.1)
    # At rated volts the chord lies a little under a curve that bends down.
    at_rated = amps_at(branch, 13.5) / (watts / 13.5)
    assert at_rated.min() > 0.97
    assert at_rated.max() < 1.0
    # Between two ends of a chord the exponent comes out again.
    power = np.log(amps_at(branch, 0.7 * 13.5) / amps_at(branch, 0.25 * 13.5))
    exponent = power / np.log(0.7 / 0.25)
    assert exponent.min() == pytest.approx(0.5, abs=0.01)
    assert exponent.max() == pytest.approx(0.65, abs=0.01)


def test_half_the_starters_are_resistances(model: Model) -> None:
    cars = UnlikeModel(model.car, MANY)
    starter = next(part for part in model.car.parts if part.kind == "starter")
    (branch,) = cars.part_branches(starter, model.car.states[0])
    amps = cars.values[starter.name]["cranking_amps"]
    turns = amps < 10.5 / cars.values[starter.name]["stall_ohms"]

    # All take the file's amps at 10.5 V if they turn there at all.
    ohms_low, ohms_high = 9.0 / amps_at(branch, 9.0), 12.0 / amps_at(branch, 12.0)
    is_resistive = np.isclose(ohms_low, ohms_high, rtol=1e-6)

    assert turns.mean() > 0.98
    assert amps_at(branch, 10.5)[turns] == pytest.approx(amps[turns], rel=1e-9)
    assert is_resistive.mean() == pytest.approx(0.5, abs=0.03)
    assert (ohms_low <= ohms_high * (1.0 + 1e-9)).all()


def test_held_motor_is_its_winding_at_all_volts(model: Model) -> None:
    cars = UnlikeModel(model.car, OwnDraws(n_draws=4, seed=1))
    motor = next(part for part in model.car.parts if part.kind == "motor")
    values = {**cars.values[motor.name], "is_stalled": np.ones(4)}
    state = model.car.states[0]

    (turning,) = cars.part_branches(motor, state)
    (held,) = cars.part_branches(motor, state, {motor.name: values})

    winding = values["motor_volts"] / (
        values["motor_amps"] * values["load_factor"] * values["stall_factor"]
    )
    assert 12.0 / amps_at(held, 12.0) == pytest.approx(winding, rel=1e-9)
    # A meter's millivolts turn nothing, so it reads the same winding.
    assert 0.01 / amps_at(turning, 0.01) == pytest.approx(winding, rel=1e-9)
    rated = values["motor_amps"] * values["load_factor"]
    assert amps_at(turning, 13.5) == pytest.approx(rated, rel=1e-9)
    # Its fed side is below the other in a positive-ground car.
    assert amps_at(turning, -13.5) == pytest.approx(-rated, rel=1e-9)
    assert amps_at(held, -12.0) == pytest.approx(-12.0 / winding, rel=1e-9)


def test_leads_add_to_ohms_and_to_nothing_else(model: Model) -> None:
    stock = UnlikeCars(model, n_cars=4, seed=1)
    car = HiddenCar(stock, 2, (), errors=EXACT, seed=1)
    sound = stock.with_faults(())
    state = next(s for s in model.car.states if not s.is_battery_connected)

    ohms = Reading(
        kind=ReadingKind.OHMS,
        state=state.name,
        red="fuel-pump.plus",
        black=model.car.reference,
    )
    volts = replace(ohms, kind=ReadingKind.DC_VOLTS, state=model.car.states[0].name)

    leads = float(stock.compiled.readings.lead_ohms[2])
    assert 0.1 < leads < 0.5
    shown = car.measures(ohms)
    stock.compiled.readings.lead_ohms = np.zeros(4)
    assert shown == pytest.approx(
        float(stock.compiled.readings.predicted(sound, ohms)[0, 2]) + leads
    )
    assert car.measures(volts) == pytest.approx(
        float(stock.compiled.readings.predicted(sound, volts)[0, 2])
    )


def test_band_counts_as_the_meter_shows_it() -> None:
    tenths = MeterRange(percent=0.0, counts=0, resolution=0.1)
    band = Band(low=1.04, middle=1.2, high=1.26)

    # 1.04 shows 1.0 and 1.26 shows 1.3.
    shown = is_in_band(np.array([0.94, 0.96, 1.34, 1.36, np.inf]), band, tenths)

    assert shown.tolist() == [False, True, True, False, False]


def test_over_range_is_in_a_band_that_says_so() -> None:
    tenths = MeterRange(percent=0.0, counts=0, resolution=0.1)
    band = Band(low=np.inf, middle=np.inf, high=np.inf)

    assert is_in_band(np.array([np.inf, 1e5]), band, tenths).tolist() == [True, False]


def test_sheet_foretells_more_of_cars_of_its_own_draws(model: Model) -> None:
    own = sound_readings(model, HiddenCars(model, n_cars=8, seed=1))
    unlike = sound_readings(model, UnlikeCars(model, n_cars=8, seed=1))

    assert own[0].name == unlike[0].name == "all"
    assert own[0].readings == sum(one.readings for one in own[2:])
    assert own[0].share > unlike[0].share


def test_cars_that_are_played_give_sound_no_complaint(model: Model) -> None:
    stock = UnlikeCars(model, n_cars=8, seed=1)
    model_car = HiddenCars(model, n_cars=1, seed=1)
    usual = set(complaints_of(HiddenCar(model_car, 0, (), errors=EXACT, seed=0), model))

    assert stock.numbers
    for number in stock.numbers:
        car = HiddenCar(stock, number, (), errors=EXACT, seed=0)
        assert set(complaints_of(car, model)) <= usual
    assert stock.number_of(3) in stock.numbers


def test_stock_without_a_sound_car_says_so(model: Model) -> None:
    stock = UnlikeCars(model, n_cars=2, seed=1)
    stock.numbers = ()

    with pytest.raises(UnsoundCarsError, match="its design has no room"):
        stock.number_of(3)


def test_same_seed_gives_the_same_cars_and_games() -> None:
    plan = replace(UNLIKE_PLAN, n_games=2)

    assert run_trial(lamp_model, plan) == run_trial(lamp_model, plan)


def test_game_on_an_unlike_car_is_another_than_on_one_of_the_model() -> None:
    # Same seeds, same hidden faults, but other volts on the meter.
    unlike = run_trial(lamp_model, UNLIKE_PLAN)
    own = run_trial(lamp_model, TrialPlan(n_games=3, first_seed=7, batch=1))

    assert [game.seed for game in unlike] == [7, 8, 9]
    assert all(game.faults and game.complaint for game in unlike)
    assert [game.facts for game in unlike] != [game.facts for game in own]


def test_fault_outside_the_model_can_sit_in_an_unlike_car(model: Model) -> None:
    stock = UnlikeCars(model, n_cars=2, seed=1)

    car, complaint = draw_outside_car(stock, seed=1, errors=UNLIKE_ERRORS)

    assert car.outside
    assert complaint in model.knowledge.complaints
