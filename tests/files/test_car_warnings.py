"""Doubts about a car that loads: fuses, charging, and what never comes to rest.

Each car is `conftest.SMALL_CAR` with one change; lines are counted by hand in it.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from diagnose.circuit.car import Car
from diagnose.files.car.checks.doubts import car_warnings
from diagnose.files.resources import shipped_cars
from tests.files.test_car_file_problems import changed

Load = Callable[[str], Car]
HORN = "  horn: {from: key.out, wire: 14 AWG 6 ft, load: 6 A load"


def doubts(car: Car) -> list[tuple[int, str]]:
    return [(warning.line, warning.message) for warning in car_warnings(car)]


def test_a_car_without_a_flaw_has_no_warning(small_car: str, load: Load) -> None:
    assert doubts(load(small_car)) == []


def test_shipped_cars_have_no_warning(load: Load) -> None:
    told = {
        name: doubts(load(file.read_text(encoding="utf-8")))
        for name, file in shipped_cars().items()
    }

    assert told == {name: [] for name in told}


def test_a_fuse_too_big_for_its_thinnest_wire_is_told(
    small_car: str, load: Load
) -> None:
    text = changed(small_car, "fuse: 10 A", "fuse: 40 A")

    # 33 CFR 183.425 table 5: 25 A for 16 gauge; 183.455: 150 % of it, 37.5 A.
    ((line, message),) = doubts(load(text))
    assert line == 15
    assert message.startswith(
        'fuse "key-feed-fuse" is rated 40 A; wire "key-feed-wire" behind it should '
        "have 37.5 A at most, 150 %"
    )
    # 40 A over 150 % are 26.7 A: too much for 16 gauge, and 14 gauge may carry 35 A.
    assert message.endswith("a smaller fuse or a thicker wire; 14 AWG would do here")


def test_a_fuse_at_the_limit_is_not_told(small_car: str, load: Load) -> None:
    text = changed(small_car, "fuse: 10 A", "fuse: 37 A")

    assert doubts(load(text)) == []


def test_a_wire_before_the_fuse_is_not_its_to_protect(
    small_car: str, load: Load
) -> None:
    # A 60 A fuse may feed a 10 gauge wire (60 A, so 90 A) but no 16 gauge one.
    text = changed(
        small_car, "battery.plus via 8 AWG 1 ft", "battery.plus via 16 AWG 1 ft"
    )

    assert doubts(load(text)) == []


def test_a_wire_behind_a_resistance_is_not_told(small_car: str, load: Load) -> None:
    coil = (
        "  coil-feed: {from: panel.constant, wire: 0.5 ohm/ft 4 ft, to: tie}\n"
        "  coil: {from: tie, wire: 18 AWG 4 ft, load: 1 A load, ground: body}\n"
    )
    text = changed(small_car, "wires:\n", f"{coil}wires:\n")
    text = changed(text, "panels:\n", "splices: {tie: bay}\npanels:\n")

    # The 60 A fuse feeds it; 12.6 V over 2 ohm is 6.3 A, under the 20 A of 18 gauge.
    assert doubts(load(text)) == []


def test_a_fuse_that_opens_in_the_sound_car_is_told_with_its_states(
    small_car: str, load: Load
) -> None:
    text = changed(small_car, "fuse: 10 A", "fuse: 3 A")

    # 6 A at 13.5 V is about 5.5 A at a battery's 12.5 V, above 1.35 times 3 A.
    ((line, message),) = doubts(load(text))
    assert line == 15
    assert message.startswith('fuse "key-feed-fuse" of 3 A would open: the sound car')
    assert "(key-on)" in message


# By hand: 6 A at 13.5 V are 5.5 A at 12.4 V; four and a half times that is 25 A, less
# what the wires take: three times 7.5 A, which a blade fuse stands for a fifth of a
# second, and five times 5 A, which it stands for less than a tenth.
@pytest.mark.parametrize(("fuse_amps", "doubted"), [("7.5 A", 0), ("5 A", 1)])
def test_a_fuse_that_a_starting_motor_opens_is_told(
    fuse_amps: str, doubted: int, small_car: str, load: Load
) -> None:
    text = changed(small_car, "load: 6 A load", "load: 6 A motor")
    text = changed(text, "fuse: 10 A", f"fuse: {fuse_amps}")

    told = [message for _, message in doubts(load(text)) if "starts" in message]

    assert len(told) == doubted
    assert all(m.startswith('fuse "key-feed-fuse" of 5 A may open') for m in told)


# By hand: 16 AWG is 1.31 mm2, so 30 ft (9.14 m) of it have 9.14 / (58 x 1.31) = .12
# ohm; 6 A at 13.5 V are a load of 2.25 ohm, which takes some 5.1 A at 12.4 V (a battery
# at eight tenths of charge) through all that. 3 % of 12 V over the 5.5 A it would take
# with a better wire are .065 ohm: that needs 2.4 mm2, and 12 SAE is the first even
# gauge with as much (2.96).
def test_a_long_thin_wire_is_told_with_the_gauge_that_would_do(
    small_car: str, load: Load
) -> None:
    text = changed(small_car, "wire: 14 AWG 6 ft", "wire: 16 AWG 30 ft")

    ((line, message),) = doubts(load(text))
    assert line == 16
    assert message == (
        'wire "horn-wire" drops 0.61 V in its copper at 5 A (key-on), more than 3 % of '
        "12 V; fit a thicker or a shorter one; 12 AWG would do here"
    )


@pytest.mark.parametrize(("gauge", "doubted"), [(14, 1), (12, 0)])
def test_the_gauge_that_would_do_is_the_thinnest_that_does(
    gauge: int, doubted: int, small_car: str, load: Load
) -> None:
    text = changed(small_car, "wire: 14 AWG 6 ft", f"wire: {gauge} AWG 30 ft")

    assert len(doubts(load(text))) == doubted


def test_a_wire_too_long_for_any_gauge_is_told_without_one(
    small_car: str, load: Load
) -> None:
    # 100 A over 60 ft (18.3 m) with .36 V: 18.3 x 100 / (58 x .36) = 88 mm2; the
    # thickest even gauge known, 1/0 SAE, has 50.
    text = changed(small_car, "wire: 14 AWG 6 ft", "wire: 6 AWG 60 ft")
    text = changed(text, "load: 6 A load", "load: 100 A load")

    (told,) = [text for _, text in doubts(load(text)) if '"horn-wire" drops' in text]
    assert told.endswith("fit a thicker or a shorter one")


def test_a_wire_given_by_its_ohms_is_meant_to_drop(small_car: str, load: Load) -> None:
    text = changed(small_car, "wire: 14 AWG 6 ft", "wire: 0.3 ohm/ft 4 ft")

    assert doubts(load(text)) == []


def test_an_output_that_drives_a_pump_directly_is_told(
    small_car: str, load: Load
) -> None:
    text = changed(
        small_car,
        "circuits:\n",
        "controllers:\n"
        "  ecu:\n"
        "    place: dash\n"
        "    ground: body via 16 AWG 2 ft\n"
        "    outputs: {pump: {side: low, limit: 1.5 A, on-in: [key-on]}}\n"
        "circuits:\n"
        "  ecu-feed: {from: key.out, wire: 16 AWG 4 ft, to: ecu.supply}\n"
        "  pump: {from: key.out, fuse: 10 A, load: 7 A motor, "
        "ground: ecu.pump via 14 AWG 6 ft}\n",
    )

    assert [message for _, message in doubts(load(text))] == [
        'output "ecu.pump" is asked for more than its 1.5 A (key-on); let it switch a '
        "relay, and the relay the load"
    ]


def test_a_sense_wire_on_a_feed_that_drops_is_told(small_car: str, load: Load) -> None:
    text = changed(small_car, "wire: 14 AWG 6 ft", "wire: 0.05 ohm/ft 4 ft")
    text = changed(
        text,
        "wires:\n",
        "wires:\n"
        "  sense-wire: {from: horn.plus, to: alternator.sense, wire: 16 AWG 4 ft}\n",
    )
    text += "  idle: {switches: {key: run}}\n  fast-idle: {}\n"

    # 6.3 A through .2 ohm, and through some .05 ohm of fuses, contact and wires before
    # it, drop 1.6 V, which the regulator makes up for: 14.2 + 1.6 V, less .3 V by which
    # it droops for the load and for what the battery takes.
    ((line, message),) = doubts(load(text))
    assert line == 8
    assert message.startswith('"alternator" charges the battery with up to 15.5 V')
    assert '"alternator.sense", where it senses' in message


def test_an_alternator_that_can_not_carry_the_loads_is_told(
    small_car: str, load: Load
) -> None:
    text = changed(small_car, "load: 6 A load", "load: 65 A load")
    text = changed(text, "wire: 14 AWG 6 ft", "wire: 4 AWG 6 ft")
    text = changed(text, "fuse: 10 A, wire: 16 AWG", "fuse: 80 A, wire: 4 AWG")
    text += "  idle-loaded: {switches: {key: run}}\n"

    # 65 A unit at 800 rpm x 2.2: 65 (1 - e**(-910/950)) / (1 - e**(-5150/950)) = 40 A
    # against some 60 A at 12 V.
    ((line, message),) = doubts(load(text))
    assert line == 8
    assert message.startswith("in state idle-loaded the battery gives ")
    assert '"alternator" gives 40 A there' in message


def test_a_relay_that_cuts_its_own_feed_never_comes_to_rest(
    small_car: str, load: Load
) -> None:
    text = changed(
        small_car,
        "wires:\n",
        "parts:\n"
        "  buzz-coil: {kind: coil, place: bay, "
        "terminals: {a: tie, b: body}}\n"
        "  buzz-contacts: {kind: contacts, gate: buzz-coil, normally-closed: true, "
        "place: bay, terminals: {a: panel.constant, b: tie}}\n"
        "wires:\n",
    )
    text = changed(text, "panels:\n", "splices: {tie: bay}\npanels:\n")

    assert any(
        "buzz" in message and "never comes to rest" in message
        for _, message in doubts(load(text))
    )


def test_a_fuse_is_not_held_against_wires_behind_a_coil_and_its_diode(
    small_car: str, load: Load
) -> None:
    # 40 A are too much for 18 gauge (20 A, so 30 A), but a coil and a diode against
    # the current keep a short on the wire behind them small
    fan = (
        "  fan: {from: panel.constant, fuse: 40 A, relay: {wire: 10 AWG 1 ft, "
        "86: fan-fuse.out, 85: body via 18 AWG 2 ft, suppression: diode}, "
        "wire: 10 AWG 3 ft, load: 10 A motor, ground: body via 10 AWG 1 ft}\n"
    )
    text = changed(small_car, "wires:\n", f"{fan}wires:\n")

    assert [one for one in doubts(load(text)) if "fan-fuse" in one[1]] == []
