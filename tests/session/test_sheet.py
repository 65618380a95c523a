"""The expected-readings sheet against hand working on a small invented car."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.errors import ReadingError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Band, Choice, Row, Sheet

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"
OPEN_GROUND = "fuel-pump-ground:open_circuit"
SHORT = "fuel-pump-wire:short_to_ground"


@pytest.fixture(scope="module")
def car(knowledge: Knowledge) -> Car:
    return load_car(CAR, knowledge)


@pytest.fixture(scope="module")
def healthy(car: Car, knowledge: Knowledge) -> Sheet:
    return expected_sheet(car, knowledge, Choice(has_drops=True))


@pytest.fixture(scope="module")
def shorted(car: Car, knowledge: Knowledge) -> Sheet:
    return expected_sheet(car, knowledge, Choice(fault=SHORT))


def row(sheet: Sheet, red: str, black: str = "battery.minus") -> Row:
    return next(r for r in sheet.rows if (r.red, r.black) == (red, black))


def healthy_band(sheet: Sheet, red: str, state: str) -> Band:
    cell = row(sheet, red).cell(state)
    assert cell is not None
    return cell.healthy


def faulty_band(sheet: Sheet, red: str, state: str) -> Band:
    cell = row(sheet, red).cell(state)
    assert cell is not None
    assert cell.faulty is not None
    return cell.faulty


def test_battery_at_rest_reads_its_rest_voltage(car: Car, healthy: Sheet) -> None:
    # Key off, nothing drains: rest volts run straight from empty to full with the state
    # of charge; at the median values of the car that is the middle of the band.
    values = car.part("battery").values
    empty, full, charge = (
        values[name].distribution.nominal
        for name in ("empty_volts", "full_volts", "state_of_charge")
    )
    rest_volts = empty + charge * (full - empty)

    middle = healthy_band(healthy, "battery.plus", "key-off").middle
    # 0.02 V: twice the step between neighbours among 39 draws of a band 0.3 V wide
    assert middle == pytest.approx(rest_volts, abs=0.02)


def test_band_is_as_wide_as_the_charge_is_unsure(healthy: Sheet) -> None:
    # Charge is uniform from 0.6 to 1: nine tenths of 0.4 x 0.8 V = 0.32 V are 0.29 V,
    # and the end points have 0.03 V of spread each; together about 0.3 V.
    band = healthy_band(healthy, "battery.plus", "key-off")

    assert band.high - band.low == pytest.approx(0.3, abs=0.05)


def test_drop_along_the_pump_ground_is_its_current_times_its_ohms(
    healthy: Sheet,
) -> None:
    # 7 A at 13.5 V is 1.93 ohm; at the 14 V of idle it takes 7.2 A. The ground wire,
    # 3 ft of 12 AWG (5.2 mohm/m, 0.91 m: 4.8 mohm) with two joints of 1.9 mohm,
    # drops 7.2 A x 8.6 mohm = 0.062 V.
    cell = row(healthy, "fuel-pump.minus", "body.metal").cell("idle")

    assert cell is not None
    assert cell.healthy.middle == pytest.approx(0.062, abs=0.008)


def test_ohms_include_the_leads(healthy: Sheet, knowledge: Knowledge) -> None:
    # From the engine block to the battery post lies 3 ft of 2 AWG: half a milliohm,
    # with joints a few; what remains is the leads.
    band = healthy_band(healthy, "engine.block", "isolated")

    assert band.middle == pytest.approx(knowledge.meter.lead_ohms, abs=0.01)


def test_open_pump_ground_lifts_the_pump_s_minus_to_the_supply(
    car: Car, knowledge: Knowledge
) -> None:
    sheet = expected_sheet(car, knowledge, Choice(fault=OPEN_GROUND))

    minus = faulty_band(sheet, "fuel-pump.minus", "key-on")
    plus = faulty_band(sheet, "fuel-pump.plus", "key-on")
    # No current, so no drop along the motor; 10 Mohm of meter takes 1.2 uA.
    assert minus.middle == pytest.approx(plus.middle, abs=0.01)


def test_short_blows_its_fuse(shorted: Sheet) -> None:
    assert faulty_band(shorted, "fuel-pump.plus", "key-on").high < 0.05
    look = row(shorted, "fuel-pump-fuse", "").cells[0]
    assert look.faulty == Band(low=1.0, middle=1.0, high=1.0)


def test_short_leaves_the_charge_fuse_alone(shorted: Sheet) -> None:
    look = row(shorted, "charge-fuse", "").cells[0]

    assert look.faulty == look.healthy


def test_reading_that_alone_tells_the_fault_is_marked(shorted: Sheet) -> None:
    cell = row(shorted, "fuel-pump.plus").cell("key-on")

    assert cell is not None
    assert cell.tells


def test_reading_far_from_the_fault_is_not_marked(shorted: Sheet) -> None:
    cell = row(shorted, "battery.plus").cell("key-off")

    assert cell is not None
    assert (cell.differs, cell.tells) == (False, False)


def test_car_without_its_pump_does_not_idle(shorted: Sheet) -> None:
    assert "idle" in shorted.unreached


def test_healthy_sheet_looks_at_no_fuse(healthy: Sheet) -> None:
    assert [r.red for r in healthy.rows if r.is_look] == []


def test_cautions_of_the_tank_stand_with_its_readings(
    healthy: Sheet, knowledge: Knowledge
) -> None:
    assert knowledge.cautions["fuel"] in row(healthy, "fuel-pump.plus").cautions


def test_every_value_is_counted_once(car: Car, healthy: Sheet) -> None:
    counted = healthy.default_values + healthy.own_values

    assert counted == sum(len(part.values) for part in car.parts)


def test_states_and_places_narrow_the_sheet(car: Car, knowledge: Knowledge) -> None:
    sheet = expected_sheet(car, knowledge, Choice(states=("key-on",), places=("tank",)))

    assert {r.place for r in sheet.rows} == {"tank"}
    assert [state.name for state in sheet.states] == ["key-on"]


def test_part_narrows_to_its_terminals(car: Car, knowledge: Knowledge) -> None:
    sheet = expected_sheet(car, knowledge, Choice(parts=("fuel-pump-wire",)))

    assert {r.red for r in sheet.rows} == {"fuel-pump-fuse.out", "fuel-pump.plus"}


def test_part_named_for_a_cause_gets_its_causes(car: Car, knowledge: Knowledge) -> None:
    with pytest.raises(ReadingError, match=r"those of fuel-pump are: fuel-pump:"):
        expected_sheet(car, knowledge, Choice(fault="fuel-pump"))


def test_unknown_state_gets_the_nearest(car: Car, knowledge: Knowledge) -> None:
    with pytest.raises(ReadingError, match=r'"ilde"; nearest: "idle"'):
        expected_sheet(car, knowledge, Choice(states=("ilde",)))


def test_choice_that_leaves_nothing_is_refused(car: Car, knowledge: Knowledge) -> None:
    with pytest.raises(ReadingError, match="no reading is left"):
        expected_sheet(
            car, knowledge, Choice(parts=("battery-cable",), places=("tank",))
        )
