"""What a car file stands for: the expansion of a small car and of the shipped one."""

from __future__ import annotations

import pathlib
from collections import Counter
from collections.abc import Callable, Mapping

import jsonschema
import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.parts.alternator_label import alternator_limit_amps
from diagnose.circuit.values import Origin, Shape
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.car.expansion.part_values import fuse_ohms
from diagnose.files.car.grammar.entries import car_json_schema
from diagnose.files.car.part_rows import describe_expansion
from diagnose.files.resources import shipped_cars
from diagnose.files.yaml_positions import read_document

Load = Callable[[str], Car]

RELAY_CIRCUIT = """\
  fan:
    from: panel.constant
    fuse: 30 A
    relay: {wire: 10 AWG 1 ft, 86: key.out via 18 AWG 2 ft, 85: body via 18 AWG 1 ft}
    wire: 10 AWG 4 ft
    load: 18 A motor
    ground: body via 10 AWG 3 ft
    place: bay
wires:
"""

FUSE_KINDS = {"fuse", "slow-fuse", "fusible-link", "breaker"}
LOAD_KINDS = {"motor", "lamp", "load"}


@pytest.fixture
def fan_car(load: Load, small_car: str) -> Car:
    """Return the small car with a fan on a relay."""
    return load(small_car.replace("wires:\n", RELAY_CIRCUIT))


@pytest.fixture(scope="module")
def sedan_path() -> pathlib.Path:
    return pathlib.Path(str(shipped_cars()["sedan"]))


@pytest.fixture(scope="module")
def sedan(sedan_path: pathlib.Path, knowledge: Knowledge) -> Car:
    return load_car(sedan_path, knowledge)


def test_switch_named_for_its_role_has_it(load: Load, small_car: str) -> None:
    switch = "  inertia-switch: {place: bay, live: {set: [out], tripped: []}}\n"
    text = small_car.replace("switches:\n", f"switches:\n{switch}")
    feed = (
        "wires:\n  knock: {from: key.out, to: inertia-switch.feed, wire: 14 AWG 1 ft}\n"
    )
    text = text.replace("wires:\n", feed).replace(
        "horn: {from: key.out", "horn: {from: inertia-switch.out"
    )

    car = load(text)

    contact = car.part("inertia-switch.out-contact")

    assert contact.role == "inertia-switch"
    assert contact.closed_in == {"set"}


def added(car: Car, base: Car) -> set[str]:
    """Return the names of the parts that one car has and the other hasn't."""
    return {part.name for part in car.parts} - {part.name for part in base.parts}


def test_a_relay_circuit_becomes_parts_with_fixed_names(
    fan_car: Car, load: Load, small_car: str
) -> None:
    # One fuse, a relay's coil and contacts, the load, five wires, and all of them as a
    # run: by hand.
    assert added(fan_car, load(small_car)) == {
        "fan-fuse",
        "fan-relay.coil",
        "fan-relay.contacts",
        "fan",
        "fan-relay-wire",
        "fan-relay-86-wire",
        "fan-relay-85-wire",
        "fan-wire",
        "fan-ground",
        "fan-run",
    }


@pytest.mark.parametrize(
    ("part", "terminals"),
    [
        ("fan-fuse", {"a": "panel.constant", "b": "fan-fuse.out"}),
        ("fan-relay-wire", {"a": "fan-relay.30", "b": "fan-fuse.out"}),
        ("fan-relay.coil", {"a": "fan-relay.86", "b": "fan-relay.85"}),
        ("fan-relay.contacts", {"a": "fan-relay.30", "b": "fan-relay.87"}),
        ("fan-relay-86-wire", {"a": "fan-relay.86", "b": "key.out"}),
        ("fan-relay-85-wire", {"a": "fan-relay.85", "b": "body.metal"}),
        ("fan-wire", {"a": "fan.plus", "b": "fan-relay.87"}),
        ("fan", {"a": "fan.plus", "b": "fan.minus"}),
        ("fan-ground", {"a": "fan.minus", "b": "body.metal"}),
    ],
)
def test_the_parts_of_a_circuit_form_one_path(
    part: str, terminals: Mapping[str, str], fan_car: Car
) -> None:
    assert dict(fan_car.part(part).terminals) == terminals


def test_relay_contacts_are_worked_by_their_coil(fan_car: Car) -> None:
    assert fan_car.part("fan-relay.contacts").gate == "fan-relay.coil"


def test_a_load_named_after_a_role_has_that_role(fan_car: Car) -> None:
    assert fan_car.part("fan").role == "fan"


def test_terminals_are_where_their_assembly_is(fan_car: Car) -> None:
    assert fan_car.test_points["key.out"] == "dash"


def test_a_wire_has_the_resistance_of_its_size_and_length(fan_car: Car) -> None:
    # 4 ft of 10 AWG solid copper: 0.9989 ohm per 1000 ft (NBS Handbook 100, secondary
    # copy) gives 3.996 mohm.
    ohms = fan_car.part("fan-wire").values["wire_ohms"].distribution

    assert ohms.first == pytest.approx(3.996e-3, rel=1e-3)


def test_a_thick_wire_has_lower_end_joints_than_a_thin_one(fan_car: Car) -> None:
    # 14 AWG (2.08 mm2) has the default joint; 10 AWG (5.26 mm2) 2.1/5.26 of it.
    thick = fan_car.part("fan-wire").values["joint_a_ohms"].distribution.first
    thin = fan_car.part("horn-wire").values["joint_a_ohms"].distribution.first

    assert thick / thin == pytest.approx(2.1 / 5.261, rel=1e-3)


def test_a_size_in_the_file_is_of_the_car_file(fan_car: Car) -> None:
    assert fan_car.part("fan").values["motor_amps"].origin is Origin.CAR_FILE


def test_a_value_left_out_is_the_default(fan_car: Car, knowledge: Knowledge) -> None:
    value = fan_car.part("fan-relay.coil").values["coil_ohms"]

    assert value == knowledge.defaults["coil"]["coil_ohms"]


def test_a_given_value_keeps_the_relative_spread_of_the_default(
    load: Load, small_car: str, knowledge: Knowledge
) -> None:
    text = small_car.replace("wires:\n", RELAY_CIRCUIT)
    text = text.replace("relay: {", "relay: {values: {coil_ohms: 170 ohm}, ")
    given = load(text).part("fan-relay.coil").values["coil_ohms"].distribution
    usual = knowledge.defaults["coil"]["coil_ohms"].distribution

    assert given.second / given.first == pytest.approx(usual.second / usual.first)


# Typical data sheets of blade fuses (memory), cold: within 6 % of the fitted line.
@pytest.mark.parametrize(
    ("rating_amps", "milliohms"),
    [(5.0, 17.9), (10.0, 7.7), (15.0, 4.8), (20.0, 3.4), (30.0, 1.9)],
)
def test_a_blade_fuse_has_the_resistance_of_its_rating(
    rating_amps: float, milliohms: float
) -> None:
    ohms = fuse_ohms("fuse", rating_amps, None).distribution.first

    assert 1e3 * ohms == pytest.approx(milliohms, rel=0.06)


def test_a_bolted_fuse_drops_75_millivolts_at_its_rating(sedan: Car) -> None:
    # .075 V at its rating: data sheet of a large blade fuse of 40 A, copied in a public
    # repository. Taken for all ratings.
    values = sedan.part("main-fuse").values
    rating_amps = values["rating_amps"].distribution.first
    ohms = values["ohms"].distribution.first

    assert rating_amps * ohms == pytest.approx(0.075)


def test_a_state_has_the_switch_positions_of_the_file(fan_car: Car) -> None:
    assert dict(fan_car.state("key-on").switch_positions) == {"key": "run"}


def test_a_new_state_is_like_the_one_it_names(load: Load, small_car: str) -> None:
    text = small_car + "  towing: {like: key-on, label: being towed, change: 3 min}\n"
    state = load(text).state("towing")

    assert (dict(state.switch_positions), state.label, state.change_minutes) == (
        {"key": "run"},
        "being towed",
        3.0,
    )


def test_an_optional_state_is_there_when_the_file_names_it(
    load: Load, small_car: str
) -> None:
    without = load(small_car)
    given = load(small_car + "  idle: {switches: {key: run}}\n  run-on: {}\n")

    assert "run-on" not in {state.name for state in without.states}
    assert given.state("run-on").after == "idle"


def test_a_state_comes_after_the_one_the_file_names(load: Load, small_car: str) -> None:
    text = small_car + "  towing: {like: key-on, after: key-off}\n"

    assert load(text).state("towing").after == "key-off"


def test_a_switch_rests_in_its_first_position(fan_car: Car) -> None:
    assert fan_car.switches["key"] == ("off", "run")


def test_an_unconnected_sense_terminal_is_left_to_the_output(fan_car: Car) -> None:
    assert set(fan_car.part("alternator").terminals) == {
        "output",
        "case",
        "rectifier",
    }


def test_a_connected_sense_terminal_is_kept(load: Load, small_car: str) -> None:
    text = small_car.replace(
        "wires:\n",
        "wires:\n"
        "  sense: {from: alternator.sense, to: battery.plus, wire: 1 mm2 1 m}\n",
    )

    assert "sense" in load(text).part("alternator").terminals


def test_contacts_87a_exist_when_something_is_joined_to_them(
    load: Load, small_car: str
) -> None:
    text = small_car.replace("wires:\n", RELAY_CIRCUIT)
    text = text.replace("relay: {", "relay: {87a: panel.constant via 1 mm2 1 m, ")

    assert load(text).part("fan-relay.contacts-87a").is_normally_closed


def test_a_coil_diode_blocks_in_normal_use(load: Load, small_car: str) -> None:
    text = small_car.replace("wires:\n", RELAY_CIRCUIT)
    text = text.replace("relay: {", "relay: {suppression: diode, ")

    assert dict(load(text).part("fan-relay.diode").terminals) == {
        "a": "fan-relay.85",
        "b": "fan-relay.86",
    }


def test_contacts_at_rest_know_where_30_is_when_it_is_swapped(
    load: Load, small_car: str
) -> None:
    text = small_car.replace("wires:\n", RELAY_CIRCUIT)
    text = text.replace("relay: {", "relay: {87a: panel.constant via 1 mm2 1 m, ")
    car = load(text)

    swapped = car.part("fan-relay.contacts-87a").terminals["swapped"]

    assert swapped == car.part("fan-relay.contacts").terminals["b"]


@pytest.mark.parametrize(
    ("part", "role"),
    [
        ("ignition-switch.ignition-contact", "key-contact"),
        ("ignition-switch.run-contact", None),
        ("ignition-switch.start-contact", None),
        ("light-switch.tail-contact", None),
        ("fuel-pump-relay.diode", "suppression"),
        ("fuel-pump-relay-86-wire", "coil-feed"),
        ("fuel-pump-relay-85-wire", None),
    ],
)
def test_wiring_errors_have_roles_where_they_can_be_made(
    part: str, role: str | None, sedan: Car
) -> None:
    assert sedan.part(part).role == role


def test_a_low_side_output_switches_the_ground(load: Load, small_car: str) -> None:
    text = small_car.replace("wires:\n", RELAY_CIRCUIT)
    text = text.replace("85: body", "85: ecu.out").replace(
        "circuits:\n",
        "controllers:\n"
        "  ecu:\n"
        "    place: dash\n"
        "    ground: body via 1 mm2 1 m\n"
        "    outputs: {out: {side: low, on-in: [key-on]}}\n"
        "circuits:\n"
        "  ecu-feed: {from: panel.constant, wire: 1 mm2 1 m, to: ecu.supply}\n",
    )
    car = load(text)

    assert (dict(car.part("ecu.out").terminals), car.state("key-on").commands) == (
        {"out": "ecu.out", "return": "ecu.ground"},
        frozenset({"ecu.out"}),
    )


def test_a_case_grounded_load_has_a_joint_to_the_body(
    load: Load, small_car: str
) -> None:
    text = small_car.replace("ground: body via 14 AWG 1 ft", "ground: body")

    assert load(text).part("horn-ground").kind == "joint"


def test_full_form_and_short_form_mix(load: Load, small_car: str) -> None:
    text = small_car.replace(
        "states:",
        "parts:\n"
        "  dropping-resistor:\n"
        "    kind: resistor\n"
        "    place: bay\n"
        "    terminals: {a: key.out via 1 mm2 1 m, b: horn.plus via 1 mm2 1 m}\n"
        "    values: {ohms: 1.5 ohm}\n"
        "states:",
    )
    ohms = load(text).part("dropping-resistor").values["ohms"]

    assert (ohms.distribution.first, ohms.origin) == (1.5, Origin.CAR_FILE)


def test_a_positive_ground_car_counts_from_its_positive_post(
    load: Load, small_car: str
) -> None:
    text = small_car.replace(
        "battery: {place: bay}", "battery: {place: bay, grounded: plus}"
    )
    text = text.replace("battery.plus", "battery.x").replace(
        "battery.minus", "battery.plus"
    )
    text = text.replace("battery.x", "battery.minus")
    text = text.replace("alternator: {place: bay}\n", "").replace(
        "  charge-wire: {from: alternator.output, to: battery.minus, "
        "wire: 6 AWG 4 ft}\n"
        "  engine-strap: {from: engine, to: body, wire: 4 AWG 1 ft}\n",
        "",
    )

    car = load(text)
    assert car.reference == "battery.plus"
    assert "at its positive post" in car.state("isolated").label


@pytest.mark.parametrize(("system", "factor"), [("6 V", 0.5), ("24 V", 2.0)])
def test_the_battery_of_another_system_has_other_volts(
    system: str, factor: float, load: Load, small_car: str
) -> None:
    # 12.6 V full for six cells (US Army TM 5-3805-262-20 p. 5-142); three or twelve
    # cells in series have half or twice that.
    car = load(small_car.replace("12 V", system))
    full_volts = car.part("battery").values["full_volts"].distribution.first

    assert full_volts == pytest.approx(12.6 * factor)


def test_cold_cranking_amps_give_the_internal_resistance(
    load: Load, small_car: str
) -> None:
    # 7.2 V at 600 A and -18 °C when new (SAE, copied by an owners' page):
    # (12.6 - 7.2) / 600 A is 9 mohm; at 20 °C and three years old that is
    # 9 / 2.24 / .75 = 5.36 mohm, and 1.4 times that with its plates polarised,
    # 7.5 mohm: at half of its amps it then holds 12.6 - 300 x .0075 = 10.35 V, of the
    # 10 to 10.5 V that a sound battery holds under a load test (service practice).
    car = load(small_car.replace("battery: {", "battery: {cold-cranking: 600 A, "))
    ohms = car.part("battery").values["internal_ohms"].distribution.first

    assert ohms == pytest.approx(1.4 * 5.36e-3, rel=1e-3)
    assert 10.0 <= 12.6 - 300.0 * ohms <= 10.5


def test_a_new_battery_in_the_cold_gives_its_cold_cranking_volts(
    load: Load, small_car: str
) -> None:
    # SAE, copied by an owners' page: 7.2 V at the cold-cranking amps, -18 °C, new; that
    # is without the factor for polarised plates, which holds at 20 °C.
    text = small_car.replace(
        "battery: {", "battery: {cold-cranking: 600 A, age: 0 years, "
    ).replace("system: 12 V", "system: 12 V\ntemperature: -18 °C")
    ohms = load(text).part("battery").values["internal_ohms"].distribution.first

    assert 12.6 - 600.0 * ohms / 1.4 == pytest.approx(7.2, abs=0.01)


def test_an_old_battery_has_more_resistance(load: Load, small_car: str) -> None:
    # knowledge/conditions.yaml: twice that of three years at nine.
    usual, old = (
        load(small_car.replace("battery: {", f"battery: {{{age}"))
        .part("battery")
        .values["internal_ohms"]
        for age in ("", "age: 9 years, ")
    )

    ratio = old.distribution.first / usual.distribution.first
    assert ratio == pytest.approx(2.0)


# Memory: regulators take 7 to 14 mV per K back: 14.2 V at 20 °C is 14.5 to 14.8 V at
# -20 °C and 13.8 to 14.0 V at 50 °C.
@pytest.mark.parametrize(
    ("temperature", "low", "high"),
    [("-20 °C", 14.48, 14.76), ("50 °C", 13.78, 13.99), ("-4 F", 14.48, 14.76)],
)
def test_the_regulator_charges_higher_in_the_cold(
    temperature: str, low: float, high: float, load: Load, small_car: str
) -> None:
    text = small_car.replace("12 V", f"12 V\ntemperature: {temperature}")
    value = load(text).part("alternator").values["set_volts"]

    assert low <= value.distribution.first <= high


# A service manual (read): at 1300 alternator rpm, a slow idle, an alternator gives half
# of its rating when it is cold and a third when it is hot.
@pytest.mark.parametrize("temperature", ["-30 °C", "20 °C", "50 °C"])
def test_the_output_at_idle_lies_between_a_third_and_a_half(
    temperature: str, load: Load, small_car: str
) -> None:
    text = small_car.replace("12 V", f"12 V\ntemperature: {temperature}")
    values = load(text).part("alternator").values
    limit = alternator_limit_amps(
        alternator_rpm=np.array([1300.0]),
        **{
            name: np.array([values[name].distribution.nominal])
            for name in ("rated_amps", "cut_in_rpm", "speed_constant_rpm")
        },
    )

    assert 0.333 <= float(limit[0]) / 65.0 <= 0.5


def test_a_battery_takes_its_cold_charge_of_the_standard(
    load: Load, small_car: str
) -> None:
    # EN 50342-1 (from memory): half charged, at 0 °C and 14.4 V at least twice the 20 h
    # current, 6 A of 60 Ah; 600 A is the usual cranking current of such a battery.
    text = small_car.replace("12 V", "12 V\ntemperature: 0 °C")
    ohms = load(text).part("battery").values["acceptance_ohms"].distribution.first

    assert (14.4 - 12.2) / ohms >= 6.0


def test_resistance_wire_keeps_its_resistance_in_the_cold(
    load: Load, small_car: str
) -> None:
    # By hand: .35 ohm/ft over 4 ft; its alloy is made not to follow the temperature.
    text = small_car.replace("wire: 14 AWG 6 ft", "wire: 0.35 ohm/ft 4 ft")
    text = text.replace("12 V", "12 V\ntemperature: 0 °C", 1)
    ohms = load(text).part("horn-wire").values["wire_ohms"].distribution.first

    assert ohms == pytest.approx(1.4, rel=1e-6)


def test_wires_have_less_resistance_in_the_cold(load: Load, small_car: str) -> None:
    # Copper goes with 234.5 + T (FAA AC 43.13-1B p. 11-22): 234.5 / 254.5 at 0 °C.
    usual, cold = (
        load(small_car.replace("system: 12 V", f"system: 12 V{words}"))
        .part("ground-cable")
        .values["wire_ohms"]
        for words in ("", "\ntemperature: 0 °C")
    )

    ratio = cold.distribution.first / usual.distribution.first
    assert ratio == pytest.approx(234.5 / 254.5, rel=0.01)


# ISO 8854 (from memory): a label of 28/70 A means 28 A at 1500 alternator rpm and 70 A
# at 6000. Derived with a cut-in at 850 rpm: 1 - exp(-650 / 1305) is .4 of what it is
# at 6000, and at 1760 rpm, a usual idle, 1 - exp(-910 / 1305) is .51 of it.
def test_both_currents_of_a_label_set_the_output_at_idle(
    load: Load, small_car: str
) -> None:
    text = small_car.replace(
        "alternator: {place: bay}",
        "alternator: {place: bay, rated: 70 A, low-speed: 28 A}",
    )
    values = load(text).part("alternator").values
    limits = alternator_limit_amps(
        rated_amps=np.array([70.0, 70.0]),
        alternator_rpm=np.array([1500.0, 1760.0]),
        cut_in_rpm=np.array([850.0, 850.0]),
        speed_constant_rpm=np.full(
            2, values["speed_constant_rpm"].distribution.nominal
        ),
    )

    assert limits.tolist() == pytest.approx([28.0, 35.8], abs=0.2)


def test_a_hidden_terminal_is_no_test_point(load: Load, small_car: str) -> None:
    car = load(small_car + "test-points: {horn.plus: hidden}\n")

    assert "horn.plus" not in car.test_points


def test_on_and_off_stay_names_of_positions(load: Load, small_car: str) -> None:
    # YAML 1.1 would read these as true and false.
    text = small_car.replace("{off: [], run: [out]}", "{off: [], on: [out]}")
    car = load(text.replace("{key: run}", "{key: on}"))

    assert car.switches["key"] == ("off", "on")


@pytest.mark.parametrize(
    ("kinds", "least"),
    [({"wire"}, 60), (FUSE_KINDS, 8), ({"coil"}, 4), (LOAD_KINDS, 12)],
)
def test_the_shipped_car_is_a_whole_car(
    kinds: set[str], least: int, sedan: Car
) -> None:
    # The least a car with these additions has; counted on the brief of the car.
    counts = Counter(part.kind for part in sedan.parts)

    assert sum(counts[kind] for kind in kinds) >= least


def test_the_shipped_car_has_exactly_the_parts_counted_by_hand(sedan: Car) -> None:
    # By hand in cases/cars/sedan.yaml: 11 entries under `wires` and 59 in circuits,
    # relays, controllers; 20 fuses; 6 relays; 16 loads with the memory feed; 11 live
    # switch terminals; 8 joints; 2 clamps; a plug with 3 pins; 24 circuits of two parts
    # or more that carry its current.
    counts = Counter(part.kind for part in sedan.parts)

    assert counts == {
        "battery": 1,
        "alternator": 1,
        "starter": 1,
        "engine": 1,
        "wire": 70,
        "fuse": 15,
        "slow-fuse": 2,
        "fusible-link": 1,
        "breaker": 2,
        "coil": 6,
        "contacts": 6,
        "diode": 1,
        "switch-contact": 11,
        "controller": 2,
        "driver": 3,
        "motor": 4,
        "lamp": 5,
        "load": 4,
        "electronics": 3,
        "joint": 8,
        "clamp": 2,
        "plug": 1,
        "pin": 3,
        "run": 24,
    }


def test_the_shipped_car_has_every_role_that_a_symptom_asks_for(
    sedan: Car, knowledge: Knowledge
) -> None:
    roles = {part.role for part in sedan.parts if part.role}

    # none of its relays has a wire on 87a or is a contactor, its pump is fed past no
    # inertia switch, and it has one battery
    absent = {"changeover-contact", "contactor", "inertia-switch", "series-battery"}
    assert set(knowledge.roles) - roles == absent


def test_every_part_of_the_shipped_car_has_the_parameters_of_its_kind(
    sedan: Car,
) -> None:
    missing = {
        f"{part.name}/{parameter}"
        for part in sedan.parts
        for parameter in ELEMENTS[part.kind].parameters
        if parameter not in part.values
    }

    assert missing == set()


def test_every_place_of_the_shipped_car_is_known(sedan: Car) -> None:
    used = {part.place for part in sedan.parts} | set(sedan.test_points.values())

    assert used <= set(sedan.places)


def test_only_the_ignition_feed_is_live_in_run_and_in_crank(sedan: Car) -> None:
    # Trade rule: only one ignition-switch feed may be live in both.
    live = {
        part.name
        for part in sedan.parts
        if part.assembly == "ignition-switch" and {"run", "crank"} <= part.closed_in
    }

    assert live == {"ignition-switch.ignition-contact"}


def test_a_shipped_car_says_that_it_is_invented(sedan: Car) -> None:
    assert "invented" in sedan.title.lower()


def test_the_schema_is_valid_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(car_json_schema())


def test_the_shipped_car_follows_the_schema(sedan_path: pathlib.Path) -> None:
    document = read_document(sedan_path, wanted="car file")

    jsonschema.validate(document.data, car_json_schema())


@pytest.mark.parametrize(
    "wrong",
    [
        {"title": 12},
        {"horn": {}},
        {"places": {"bay": 2}},
        {"circuits": {"horn": {"fuse": "5 A"}}},
        {"battery": {"place": "bay", "grounded": "left"}},
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(
    wrong: dict[str, object], sedan_path: pathlib.Path
) -> None:
    document = read_document(sedan_path, wanted="car file")

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document.data, **wrong}, car_json_schema())


def test_the_description_of_an_expansion_has_a_row_for_each_part(sedan: Car) -> None:
    rows = describe_expansion(sedan)

    assert [row.name for row in rows] == [part.name for part in sedan.parts]


def test_the_description_says_where_each_value_comes_from(fan_car: Car) -> None:
    rows = {row.name: row for row in describe_expansion(fan_car)}
    origins = {value.parameter: value.origin for value in rows["fan"].values}

    assert (origins["motor_amps"], origins["motor_volts"]) == (
        Origin.CAR_FILE,
        Origin.DEFAULT,
    )


def test_the_description_names_the_line_that_declares_a_part(fan_car: Car) -> None:
    # Line 17 of the text: the entry `fan:` stands where `wires:` was.
    rows = {row.name: row for row in describe_expansion(fan_car)}

    assert rows["fan"].line == 17


def test_reading_a_car_twice_gives_the_same_car(
    sedan_path: pathlib.Path, knowledge: Knowledge, sedan: Car
) -> None:
    assert load_car(sedan_path, knowledge) == sedan


def test_a_wire_is_as_sure_as_the_knowledge_says(
    fan_car: Car, knowledge: Knowledge
) -> None:
    spread = knowledge.defaults["wire"]["wire_ohms"].distribution.second
    ohms = fan_car.part("fan-wire").values["wire_ohms"].distribution

    assert (ohms.shape, ohms.second) == (Shape.LOGNORMAL, spread)


def test_a_wire_keeps_its_colour_and_its_note(load: Load, small_car: str) -> None:
    car = load(
        small_car.replace("wire: 14 AWG 6 ft,", "wire: 14 AWG 6 ft red/white,").replace(
            "to: body, wire: 2 AWG 2 ft}",
            "to: body, wire: 2 AWG 2 ft, colour: black, note: behind the tray}",
        )
    )

    horn, cable = car.part("horn-wire"), car.part("ground-cable")
    assert (horn.colour, horn.note) == ("red/white", "")
    assert (cable.colour, cable.note) == ("black", "behind the tray")


def test_the_wires_of_a_circuit_keep_their_notes(load: Load, small_car: str) -> None:
    of_wire = small_car.replace("wire: 14 AWG 6 ft,", "wire: 14 AWG 6 ft, note: sill,")
    both = of_wire.replace("note: sill,", "note: {wire: sill, ground: new bolt},")
    both = both.replace("ground: body,", "ground: body via 14 AWG 1 ft,")

    assert load(of_wire).part("horn-wire").note == "sill"
    car = load(both)
    notes = {part.name: part.note for part in car.parts if part.note}
    assert notes == {"horn-wire": "sill", "horn-ground": "new bolt"}


def test_a_note_of_a_wire_that_is_not_there_is_told(
    problems: Callable[[str], list[str]], small_car: str
) -> None:
    (problem,) = problems(
        small_car.replace("wire: 14 AWG 6 ft,", "wire: 14 AWG 6 ft, note: {feed: new},")
    )

    assert 'circuit "horn" has no feed of a size and length' in problem


def test_a_colour_that_no_wire_has_is_told_with_the_nearest(
    problems: Callable[[str], list[str]], small_car: str
) -> None:
    (problem,) = problems(small_car.replace("14 AWG 6 ft,", "14 AWG 6 ft red/whit,"))

    assert '"whit" is no colour of a wire (did you mean "white"?)' in problem


def test_a_wire_that_is_about_so_is_less_sure(
    small_car: str, load: Callable[[str], Car]
) -> None:
    text = small_car.replace("wire: 14 AWG 6 ft", "wire: about 14 AWG 6 ft")
    measured, about = (
        load(one).part("horn-wire").values["wire_ohms"].distribution
        for one in (small_car, text)
    )

    assert about.first == measured.first
    # two spreads that know nothing of each other: the sum of their squares
    assert about.second**2 == pytest.approx(measured.second**2 + 0.3**2)
