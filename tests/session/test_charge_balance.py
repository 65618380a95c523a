"""What the alternator gives and the loads take, on an invented tourer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.session.sheets.charge_balance import (
    ChargeBalance,
    battery_capacity_ah,
    charge_balances,
    minutes_until_down,
)

TOURER = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"
STATES = ("key-on", "idle", "idle-loaded", "fast-idle")


@pytest.fixture
def tourer(tmp_path: Path, knowledge: Knowledge) -> Callable[[str], Car]:
    def load(rated: str) -> Car:
        path = tmp_path / "tourer.yaml"
        text = TOURER.read_text(encoding="utf-8")
        path.write_text(text.replace("130 A", rated, 1), encoding="utf-8")
        return load_car(path, knowledge)

    return load


def balance(car: Car, state: str) -> ChargeBalance:
    return next(b for b in charge_balances(car, states=STATES) if b.state == state)


def test_only_states_with_a_running_engine_have_a_balance(
    tourer: Callable[[str], Car],
) -> None:
    found = charge_balances(tourer("130 A"), states=STATES)

    assert [one.state for one in found] == ["idle", "idle-loaded", "fast-idle"]


# Kirchhoff: what the alternator gives goes into the loads, the battery and its field;
# the sense input, the insulation and the standby of the controller take milliamperes;
# the charge lamp's tenth of an ampere flows through the field and counts twice.
@pytest.mark.parametrize("state", ["idle", "idle-loaded"])
def test_the_current_adds_up(state: str, tourer: Callable[[str], Car]) -> None:
    found = balance(tourer("130 A"), state)

    taken = found.loads_amps + found.charge_amps + found.field_amps
    assert found.given_amps == pytest.approx(taken, abs=0.15)


def test_a_big_alternator_charges_the_battery_with_everything_on(
    tourer: Callable[[str], Car],
) -> None:
    found = balance(tourer("130 A"), "idle-loaded")

    assert found.charge_amps > 0.0
    assert (found.excess, found.minutes_left) == ((), float("inf"))


# By hand: 40 W at 13.5 V are 3.0 A, and some tenths more at the 14 V of an alternator.
def test_lamps_of_diodes_count_among_the_loads(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    text = TOURER.read_text(encoding="utf-8")
    path = tmp_path / "diodes.yaml"
    path.write_text(text.replace("90 W lamps", "40 W led-lamps"), encoding="utf-8")
    found = balance(load_car(path, knowledge), "idle-loaded")

    amps = {load.name: load.amps for load in found.loads}
    assert amps["headlamps"] == pytest.approx(3.2, abs=0.4)
    taken = found.loads_amps + found.charge_amps + found.field_amps
    assert found.given_amps == pytest.approx(taken, abs=0.15)


# A 22 A alternator, the size of an old car's dynamo (memory), gives about .6 of that at
# 1760 rpm, 13.6 A; ignition 4 A, pump 5 A and controller 1 A are then carried, and the
# fan's 12 A and the lamps' 7 A are not.
def test_a_small_alternator_leaves_lamps_and_fan_to_the_battery(
    tourer: Callable[[str], Car],
) -> None:
    found = balance(tourer("22 A"), "idle-loaded")

    assert found.most_amps == pytest.approx(13.6, abs=0.3)
    assert found.charge_amps < 0.0
    assert found.excess == ("fan", "headlamps")
    assert found.loads[0].name == "fan"


def test_the_middle_of_a_fault_is_balanced_too(
    tourer: Callable[[str], Car], knowledge: Knowledge
) -> None:
    car = tourer("130 A")
    causes = catalogue(car, knowledge.modes)
    dead = next(cause for cause in causes if cause.name == "alternator:dead")
    found = charge_balances(car, states=("idle",), fault=dead)

    assert found[0].given_amps == pytest.approx(0.0, abs=1e-6)
    assert found[0].charge_amps < -5.0


def test_a_positive_ground_car_has_the_same_balance(
    tmp_path: Path, knowledge: Knowledge, tourer: Callable[[str], Car]
) -> None:
    text = TOURER.read_text(encoding="utf-8").replace(".plus", ".other")
    text = text.replace(".minus", ".plus").replace(".other", ".minus")
    path = tmp_path / "positive.yaml"
    path.write_text(text.replace("grounded: minus", "grounded: plus"), encoding="utf-8")
    positive = balance(load_car(path, knowledge), "idle-loaded")
    negative = balance(tourer("130 A"), "idle-loaded")

    assert positive.given_amps == pytest.approx(negative.given_amps, abs=1e-6)
    assert positive.charge_amps == pytest.approx(negative.charge_amps, abs=1e-6)


# Peukert's law by hand: 60 A h give 3 A for 20 h, 20 A for 20 (3/20)^1.2 = 2.05 h; of
# that .6 from .9 of the charge to .3.
def test_a_battery_of_sixty_ampere_hours_gives_twenty_amps_for_over_an_hour() -> None:
    minutes = minutes_until_down(
        discharge_amps=20.0, state_of_charge=0.9, capacity_ah=60.0
    )

    assert minutes == pytest.approx(60.0 * 0.6 * 2.05, rel=0.01)


def test_a_flat_battery_has_no_time_left() -> None:
    minutes = minutes_until_down(
        discharge_amps=20.0, state_of_charge=0.2, capacity_ah=60.0
    )

    assert minutes == 0.0


# Rule: a starter battery has about ten cold-cranking amps for each ampere hour.
def test_the_capacity_follows_the_cold_cranking_amps(
    tourer: Callable[[str], Car],
) -> None:
    assert battery_capacity_ah(tourer("35 A")) == pytest.approx(85.0)
