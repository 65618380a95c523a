"""Each mistake in a car file gives its own message, with its line and column.

Expected messages are the program's own wording; lines and columns are counted by hand
in `conftest.SMALL_CAR`.
"""

from __future__ import annotations

import pathlib
from collections.abc import Callable

import pytest

from diagnose.errors import InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car

Problems = Callable[[str], list[str]]


def changed(text: str, old: str, new: str) -> str:
    """Return the text with one replacement, which must be possible."""
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


def with_part(text: str, entry: str) -> str:
    """Return the text with one part in full form, in line 22."""
    return changed(text, "states:", f"parts:\n  extra: {{{entry}}}\nstates:")


NAMES = [
    (
        "wires:",
        "  link: {from: key.oot, wire: 14 AWG 1 ft, to: engine}\nwires:",
        '17:16: "key" has no terminal "oot" (did you mean "out"?); it has feed, out',
    ),
    (
        "from: key.out, wire: 14 AWG 6 ft, load",
        "from: horn.plus, load",
        '16:16: "horn.plus" sits on itself; one end must be another part',
    ),
    (
        "to: key.feed",
        "to: key.fed",
        '15:71: "key" has no terminal "fed" (did you mean "feed"?); it has feed, out',
    ),
    (
        "from: key.out",
        "from: kye.out",
        '16:31: there is no terminal "kye.out" (did you mean "key.out"?)',
    ),
    (
        "from: key.out",
        "from: key",
        '16:27: "key" has several terminals; name one: key.feed or key.out',
    ),
    (
        "to: body, wire: 4 AWG",
        "to: spare.splice, wire: 4 AWG",
        '20:36: there is no terminal "spare.splice"',
    ),
    (
        "key: {place: dash",
        "key: {place: dahs",
        '12:16: there is no place "dahs" (did you mean "dash"?); known: bay, dash',
    ),
    (
        "engine: bay}",
        "engine: bya}",
        '6:28: there is no place "bya" (did you mean "bay"?); known: bay, dash',
    ),
    (
        "key-on: {",
        "key-onn: {",
        '22:3: there is no operating state "key-onn" (did you mean "key-on"?); a new '
        "one needs `like: ` and the state it is like",
    ),
    (
        "key-on: {",
        "towing: {like: key-no, ",
        '22:18: there is no operating state "key-no" (did you mean "key-on"?)',
    ),
    (
        "{key: run}",
        "{kye: run}",
        '22:23: there is no switch "kye" (did you mean "key"?)',
    ),
    (
        "{key: run}",
        "{key: rn}",
        '22:28: switch "key" has no position "rn" (did you mean "run"?); it has off, '
        "run",
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, role: headlamps,",
        '16:66: "headlamps" is no role of a load, but of a lamp or led-lamp; '
        "known: blower, fan, fuel-pump, horn, ignition, injectors, instruments, "
        "wipers",
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {load_volt: 13 V},",
        '16:69: "load_volt" is no value of a load (did you mean "load_volts"?); known: '
        "is_open, load_amps, load_factor, load_volts, pulse_share, standing_amps",
    ),
    (
        "alternator: {place: bay}",
        "alternator: {place: bay, bolted-to: frame}",
        "8:37: this car has no frame; add `frame` with its place to `metal`",
    ),
]

AMOUNTS = [
    (
        "14 AWG 6 ft",
        "14 AWG 6",
        '16:31: circuit "horn": "6" has no unit; a length needs ft or m or in or cm '
        "or mm, such as 6 ft, 1.8 m, 10 in or 25 cm",
    ),
    (
        "fuse: 10 A",
        "fuse: 10",
        '15:42: circuit "key-feed": "10" has no unit; a current needs A or mA, such as '
        "15 A or 20 mA",
    ),
    (
        "dash: 5 min",
        "dash: 5",
        '5:28: place "dash": "5" has no unit; a time needs min, such as 2 min',
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {load_volts: 13},",
        '16:81: load_volts: "13" has no unit; a voltage needs V or mV, such as 12 V or '
        "700 mV",
    ),
    (
        "14 AWG 6 ft",
        "14 6 ft",
        '16:31: circuit "horn": found "14 6 ft", expected a wire: size and length, '
        "such as 14 AWG 6 ft, 14 SAE 1.8 m, 2.5 mm2 2 m or 0.35 ohm/ft 4 ft",
    ),
    (
        "14 AWG 6 ft",
        "14 AWG",
        '16:31: circuit "horn": wire "14 AWG" has no length; add it, such as '
        "`14 AWG 6 ft`",
    ),
    (
        "14 AWG 6 ft",
        "14 AWG 6 feet",
        '16:31: circuit "horn": unit "feet" in "6 feet" is not known for a length; use '
        "ft or m or in or cm or mm; write `6 ft`",
    ),
    (
        "14 AWG 6 ft",
        "10 ga 6 ft",
        '16:31: circuit "horn": found "10 ga 6 ft", expected a wire: size and length, '
        "such as 14 AWG 6 ft, 14 SAE 1.8 m, 2.5 mm2 2 m or 0.35 ohm/ft 4 ft; write "
        "`10 AWG 6 ft`",
    ),
    (
        "14 AWG 6 ft",
        "10 gauge",
        '16:31: circuit "horn": found "10 gauge", expected a wire: size and length, '
        "such as 14 AWG 6 ft, 14 SAE 1.8 m, 2.5 mm2 2 m or 0.35 ohm/ft 4 ft; write "
        "`10 AWG` with its length behind it",
    ),
    (
        "fuse: 10 A",
        "fuse: 40 amp",
        '15:42: circuit "key-feed": unit "amp" in "40 amp" is not known for a current; '
        "use A or mA; write `40 A`",
    ),
    (
        "6 A load",
        "110 W bulbs",
        '16:50: circuit "horn": found "110 W bulbs", expected a load: size and kind, '
        "such as 7 A motor, 110 W lamps, 3 W led-lamp, 1 A electronics or 5 A load; "
        "write `110 W lamps`",
    ),
    (
        "6 A load",
        "2 bulbs",
        '16:50: circuit "horn": found "2 bulbs", expected a load: size and kind, such '
        "as 7 A motor, 110 W lamps, 3 W led-lamp, 1 A electronics or 5 A load; write "
        "what it takes in all, such as `42 W lamps`",
    ),
    (
        "ground: body via",
        "ground: chassis via",
        '16:68: there is no terminal "chassis"; the metal of the car is `body`',
    ),
    (
        "ground: body via",
        "ground: frame via",
        "16:68: this car has no frame; add `frame` with its place to `metal`",
    ),
    (
        "fuse: 10 A",
        "fuse: 10 V",
        '15:42: circuit "key-feed": unit "V" in "10 V" is not known for a current; use '
        "A or mA",
    ),
    (
        "14 AWG 6 ft",
        "15 SAE 6 ft",
        '16:31: circuit "horn": there is no SAE gauge 15 here; known: 20, 18, 16, 14, '
        "12, 10, 8, 6, 4, 2, 1, 1/0, 2/0",
    ),
    (
        "14 AWG 6 ft",
        "41 AWG 6 ft",
        '16:31: circuit "horn": there is no AWG gauge 41; the series ends at 4/0 and '
        "40",
    ),
    (
        "14 AWG 6 ft",
        "14.5 AWG 6 ft",
        '16:31: circuit "horn": there is no AWG gauge "14.5"; gauges are whole '
        "numbers, or 1/0 to 4/0",
    ),
    (
        "14 AWG 6 ft",
        "14 AWG -6 ft",
        '16:31: circuit "horn": length "-6 ft" must be greater than 0',
    ),
    (
        "14 AWG 6 ft",
        "14 AWG 0 ft",
        '16:31: circuit "horn": length "0 ft" must be greater than 0',
    ),
    (
        "14 AWG 6 ft",
        "14 AWG 6000 ft",
        '16:31: circuit "horn": length "6000 ft" can\'t be on a car; check number and '
        "unit",
    ),
    (
        "14 AWG 6 ft",
        "0 mm2 6 ft",
        '16:31: circuit "horn": "0 mm2" can\'t be a wire; sizes go from 0.05 to 240 '
        "mm2",
    ),
    (
        "6 A load",
        "6 A lod",
        '16:50: circuit "horn": found "6 A lod", expected a load: size and kind, such '
        "as 7 A motor, 110 W lamps, 3 W led-lamp, 1 A electronics or 5 A load",
    ),
    (
        "dash: 5 min",
        "dash: -5 min",
        '5:28: place "dash": time "-5 min" must be from 0 min to 600 min',
    ),
    (
        "12 V",
        "13 V",
        '4:9: system voltage is "13 V"; must be 6 V, 12 V or 24 V',
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {load_volts: 0 V},",
        '16:81: load_volts: "0 V" must be greater than 0',
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {load_factor: many},",
        '16:82: load_factor: found "many", expected a number',
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {is_open: 2},",
        '16:78: is_open: found "2", expected 0 for no or 1 for yes',
    ),
    (
        "battery: {place: bay}",
        "battery: {place: bay, values: {state_of_charge: 92}}",
        '7:49: state_of_charge: "92" can\'t be; full is 1',
    ),
]

GRAMMAR = [
    (
        "ground: body via",
        "gronud: body via",
        '16:60: unknown key "gronud" (did you mean "ground"?); known: from, fuse, '
        "relay, wire, load, to, ground, draws-when, place, role, note, values",
    ),
    (
        "panels:",
        "panles:",
        '9:1: unknown key "panles" (did you mean "panels"?); known: car-file, title, '
        "system, temperature, wire-rule, places, metal, battery, alternator, starter, "
        "grounds, splices, switches, panels, clamps, plugs, controllers, relays, "
        "circuits, wires, parts, states, test-points",
    ),
    ("battery: {place: bay}\n", "", '1:1: key "battery" is missing'),
    (
        "wire: 2 AWG 2 ft}",
        "place: bay}",
        '18:3: wire "ground-cable": key "wire" is missing',
    ),
    (
        "title: Invented test car",
        "title:",
        '3:1: "title" has no value; give one or delete it',
    ),
    (
        "battery: {place: bay}",
        "battery: bay",
        '7:10: found "bay", expected a mapping (keys with values)',
    ),
    ("title: Invented test car", "title: [a, b]", "3:8: found a list, expected text"),
    ("title: Invented test car", "title: 12", "3:8: found 12, expected text"),
    (
        "buses: [constant]",
        "buses: constant",
        '10:30: panel "panel": found "constant", expected a list, such as [run, crank]',
    ),
    (
        "battery: {place: bay}",
        "battery: {place: bay, grounded: left}",
        '7:33: battery: found "left", expected minus or plus',
    ),
    (
        "alternator: {place: bay}",
        "alternator: {place: bay, low-speed: 28 A}",
        "8:26: low-speed needs `rated` too: the larger current",
    ),
    (
        "alternator: {place: bay}",
        "alternator: {place: bay, rated: 70 A, low-speed: 70 A}",
        "8:50: low-speed: a share of 1.00 at 1500 rpm can't be; it lies between 0.13 "
        "and 1",
    ),
    (
        "battery: {place: bay}",
        "battery: {place: bay, age: old}",
        '7:28: battery: found "old", expected an age such as 4 years',
    ),
    (
        "system: 12 V",
        "system: 12 V\ntemperature: 20",
        "5:14: found 20, expected a temperature such as 5 °C",
    ),
    (
        "system: 12 V",
        "system: 12 V\ntemperature: 200 F",
        '5:14: temperature "200 F" must be from -40 °C to 60 °C',
    ),
    (
        "car-file: 1",
        "car-file: 2",
        "2:11: car-file is 2; this program reads car-file 1",
    ),
    (
        "  horn: {",
        "  Horn: {",
        '16:3: "Horn" can\'t be a name; use small letters, digits and hyphens, '
        "starting with a letter",
    ),
    (
        "load: 6 A load,",
        "load: 6 A load, values: {is_open: [1]},",
        '16:78: circuit "horn": found a list, expected an amount such as 85 ohm',
    ),
    (
        "  horn: {",
        "  main: {",
        '16:3: key "main" is repeated; it stands in line 14 already',
    ),
    (
        "title: Invented test car",
        'title: "a \\e[31m car"',
        "3:8: control character U+001B, written as an escape; delete it",
    ),
    (
        "title: Invented test car",
        "title: !secret car",
        '3:8: tag "!secret" is not used here; delete it',
    ),
]

CIRCUITS = [
    (
        "wires:",
        "relays:\n"
        "  bad: {place: bay, 30: panel.constant, 87: body, 86: key.out, 85: body}\n"
        "wires:",
        '18:3: "bad.contacts" shorts the battery when it closes: metal joins one end '
        "to each post; put a load in between",
    ),
    (
        "load: 6 A load, ground: body via 14 AWG 1 ft}",
        "load: 6 A load}",
        '16:3: circuit "horn" has a load but no ground return; add `ground`, such as '
        "`ground: body via 14 AWG 2 ft`",
    ),
    (
        "ground: body via 14 AWG 1 ft",
        "ground: panel.constant",
        '16:3: "horn" has no ground return: nothing joins "panel.constant" to '
        "battery.minus",
    ),
    (
        "load: 6 A load, ground",
        "to: panel.constant, ground",
        '16:64: circuit "horn" has a ground but no load; add `load`, such as '
        "`load: 5 A load`",
    ),
    (
        "load: 6 A load, ground",
        "to: panel.constant, load: 6 A load, ground",
        '16:3: circuit "horn" has both `load` and `to`; give one of them',
    ),
    (
        ", load: 6 A load, ground: body via 14 AWG 1 ft",
        "",
        '16:3: circuit "horn" leads nowhere; add `load` with `ground`, or `to`',
    ),
    (
        "wires:",
        "  link: {from: key.out, to: key.feed}\nwires:",
        '17:3: circuit "link" has nothing between `from` and `to`; add `wire`',
    ),
    (
        "from: key.out,",
        "from: key.out via 14 AWG 1 ft,",
        '16:47: circuit "horn" has two wires in a row: `from ... via` and `wire`; keep '
        "one",
    ),
    (
        "wires:",
        "splices: {end: bay}\nwires:\n  stub: {from: body, to: end, wire: 14 AWG 1 ft}",
        '19:3: wire "stub" ends on "end.splice", where nothing else is connected; join '
        "something there, or delete the wire",
    ),
    (
        "from: engine, to: body",
        "from: body, to: body",
        '20:3: wire "engine-strap" has both ends on "body.metal"; move one',
    ),
    (
        "to: key.feed}",
        "to: key.out}",
        '12:3: nothing is connected to "key.feed"; join its supply to it',
    ),
    (
        "wires:",
        "  spare: {from: panel.constant, fuse: 5 A}\nwires:",
        '17:33: fuse "spare-fuse" is on no path: nothing beyond "spare-fuse.out" gives '
        "or takes current; join something there, or delete it",
    ),
    (
        "wires:",
        "  key: {from: panel.constant, load: 1 A load, ground: body}\nwires:",
        '17:3: "key" is declared in line 12 already; give one of the two another name',
    ),
    (
        "  engine-strap",
        "  horn-wire",
        '20:3: part "horn-wire" is declared in line 16 already; give one of the two '
        "another name",
    ),
    (
        "run: [out]",
        "run: [out, feed]",
        '12:43: switch "key" lists its own feed "feed" as live; delete it here',
    ),
    (
        "from: alternator.output, to: battery.plus",
        "from: horn.plus, to: key.out",
        '8:1: nothing joins "alternator.output" to the battery; add the charging wire',
    ),
    (
        "circuits:",
        "controllers:\n"
        "  ecu: {place: dash, ground: body, outputs: {pump: {side: low, on-in: "
        "[idel]}}}\ncircuits:\n"
        "  ecu-feed: {from: panel.constant, wire: 14 AWG 1 ft, to: ecu.supply}",
        '14:72: there is no operating state "idel" (did you mean "idle"?); known: '
        "key-off, key-on, isolated, unplugged",
    ),
]

FULL_FORM = [
    (
        "kind: bttery, place: bay",
        '22:17: there is no kind of part "bttery" (did you mean "battery"?); known: '
        "alternator, battery, battery-bank, breaker, clamp, coil, contacts, "
        "controller, diode, driver, electronics, engine, fuse, fusible-link, joint, "
        "lamp, led-lamp, load, motor, pin, plug, resistor, run, slow-fuse, starter, "
        "switch-contact, wire",
    ),
    (
        "kind: diode, place: bay, terminals: {a: body}",
        "22:3: kind diode needs its terminal b",
    ),
    (
        "kind: diode, place: bay, terminals: {a: body, b: engine, k: engine}",
        '22:68: kind diode has no terminal "k"; it has a, b',
    ),
    (
        "kind: contacts, place: bay, terminals: {a: body, b: engine}",
        "22:3: kind contacts needs `gate: ` and the coil that works it",
    ),
    (
        "kind: contacts, gate: cool, place: bay, terminals: {a: body, b: engine}",
        '22:33: there is no coil "cool"',
    ),
    (
        "kind: diode, gate: x, place: bay, terminals: {a: body, b: engine}",
        "22:30: kind diode has no gate; delete this",
    ),
    (
        "kind: switch-contact, assembly: key, closed-in: [rnu], place: dash, "
        "terminals: {a: key.feed via 14 AWG 1 ft, b: key.out via 14 AWG 1 ft}",
        '22:60: switch "key" has no position "rnu" (did you mean "run"?); it has off, '
        "run",
    ),
    (
        "kind: battery, place: bay, terminals: {plus: battery.plus via 4 AWG 2 ft, "
        "minus: body}",
        '22:3: "extra" and "battery" are sources in one loop, in parallel, with '
        "nothing but metal between them; put a relay, a switch or a diode between them",
    ),
    (
        "kind: battery, place: bay, terminals: {minus: battery.plus via 4 AWG 2 ft, "
        "plus: body}",
        '22:3: "extra" and "battery" are sources in one loop, the wrong way round, '
        "with nothing but metal between them; put a relay, a switch or a diode "
        "between them",
    ),
    (
        "kind: lamp, place: bay, terminals: {a: body, b: engine}",
        '22:3: "extra" has no supply: nothing joins "body.metal" to battery.plus',
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), NAMES)
def test_an_unknown_name_is_reported_with_the_nearest_known_one(
    old: str, new: str, message: str, small_car: str, problems: Problems
) -> None:
    found = problems(changed(small_car, old, new))

    assert message in found


@pytest.mark.parametrize(("old", "new", "message"), AMOUNTS)
def test_a_wrong_amount_is_the_one_problem_reported(
    old: str, new: str, message: str, small_car: str, problems: Problems
) -> None:
    found = problems(changed(small_car, old, new))

    assert found == [message]


@pytest.mark.parametrize(("old", "new", "message"), GRAMMAR)
def test_a_slip_of_grammar_is_reported_where_it_stands(
    old: str, new: str, message: str, small_car: str, problems: Problems
) -> None:
    found = problems(changed(small_car, old, new))

    assert message in found


@pytest.mark.parametrize(("old", "new", "message"), CIRCUITS)
def test_an_unsound_circuit_is_the_one_problem_reported(
    old: str, new: str, message: str, small_car: str, problems: Problems
) -> None:
    found = problems(changed(small_car, old, new))

    assert found == [message]


@pytest.mark.parametrize(
    ("before", "message"),
    [
        ("idel", 'there is no operating state "idel" (did you mean "idle"?); known: '),
        ("cranking", 'state "key-on" would come after itself'),
    ],
)
def test_a_state_that_comes_after_none_or_after_itself_is_reported(
    before: str, message: str, small_car: str, problems: Problems
) -> None:
    text = changed(small_car, "key-on: {", f"key-on: {{after: {before}, ")

    found = problems(text)

    assert [message in line for line in found] == [True]


@pytest.mark.parametrize(("entry", "message"), FULL_FORM)
def test_a_wrong_part_in_full_form_is_reported(
    entry: str, message: str, small_car: str, problems: Problems
) -> None:
    found = problems(with_part(small_car, entry))

    assert message in found


def test_an_unknown_caution_is_reported_with_all_known_ones(
    small_car: str, problems: Problems, knowledge: Knowledge
) -> None:
    known = ", ".join(sorted(knowledge.cautions))
    found = problems(
        changed(small_car, "dash: 5 min", "dash: {time: 5 min, caution: fule}")
    )

    assert found == [
        f'5:51: there is no caution "fule" (did you mean "fuel"?); known: {known}'
    ]


def test_an_unknown_role_is_reported_with_all_known_ones(
    small_car: str, problems: Problems, knowledge: Knowledge
) -> None:
    known = ", ".join(sorted(knowledge.roles))
    found = problems(
        changed(small_car, "load: 6 A load,", "load: 6 A load, role: fule-pump,")
    )

    assert found == [
        '16:66: there is no role "fule-pump" (did you mean "fuel-pump"?); known: '
        f"{known}"
    ]


def test_an_unknown_value_of_a_relay_is_reported_once(
    small_car: str, problems: Problems
) -> None:
    found = problems(
        changed(
            small_car,
            "ground: body via 14 AWG 1 ft}",
            "ground: body via 14 AWG 1 ft, relay: {86: panel.constant, 85: body, "
            "values: {coil_ohm: 80 ohm}}}",
        )
    )

    assert found == [
        '16:137: "coil_ohm" is no value of a coil or a contacts (did you mean '
        '"coil_ohms"?); known: bridge_ohms, coil_ohms, coil_rise_celsius, '
        "contact_ohms, is_bridged, is_elsewhere, is_feed_swapped, "
        "is_on_other_contact, is_other_layout, is_stuck_closed, is_stuck_open, "
        "pull_in_volts, release_volts"
    ]


def test_a_short_circuit_of_metal_is_reported_for_each_source(
    small_car: str, problems: Problems
) -> None:
    found = problems(
        changed(
            small_car,
            "wires:",
            "wires:\n  short: {from: battery.plus, to: body, wire: 1 mm2 1 m}",
        )
    )

    assert found == [
        '7:1: "battery.plus" and "battery.minus" are joined by nothing but metal: a '
        "short circuit of battery",
        '8:1: "alternator.output" and "alternator.case" are joined by nothing but '
        "metal: a short circuit of alternator",
    ]


def test_all_problems_of_a_file_come_in_one_pass_in_the_order_of_lines(
    small_car: str, problems: Problems
) -> None:
    text = changed(small_car, "dash: 5 min", "dash: 5")
    text = changed(text, "fuse: 10 A", "fuse: 10")
    text = changed(text, "to: body, wire: 4", "to: bdy, wire: 4")
    text = changed(text, "{key: run}", "{key: rn}")

    assert [problem.split(" ")[0] for problem in problems(text)] == [
        "5:28:",
        "15:42:",
        "20:36:",
        "22:28:",
    ]


def test_an_entry_that_cannot_be_read_casts_no_blame_on_its_neighbours(
    small_car: str, problems: Problems
) -> None:
    # Without the circuit `main` the panel, the key and the horn have no supply.
    found = problems(changed(small_car, "fuse: 60 A", "fuse: 60"))

    assert len(found) == 1


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty, expected a car file"),
        (b" \n\n", "is empty, expected a car file"),
        (b"# only a comment\n", "holds only comments, expected a car file"),
        (b"\x7fELF\x00\x01", "is a binary file, expected a car file, a text"),
    ],
)
def test_a_file_that_is_no_text_is_refused_as_a_whole(
    content: bytes, message: str, tmp_path: pathlib.Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "car.yaml"
    path.write_bytes(content)
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)

    assert str(caught.value) == f"{path}: {message}"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b"title: my car\n",
            '1:1: is no car file: its first key is "title", expected `car-file: 1` and '
            "the sections of a car file",
        ),
        (
            b"- a\n- b\n",
            "1:1: found a list, expected a car file: keys with values, such as `title: "
            "my car`",
        ),
        (
            b"my car\n",
            "1:1: found one piece of text, expected a car file: keys with values, such "
            "as `title: my car`",
        ),
        (
            b"{}\n",
            "1:1: found an empty mapping, expected a car file: keys with values, such "
            "as `title: my car`",
        ),
        (
            b"car-file: 1\ntitle: a: b\n",
            "2:9: is not YAML here: a second `: ` in one line; put the value in "
            "quotes, or start a new line",
        ),
        (
            b"car-file: 1\nplaces:\n\tbay: 1 min\n",
            "3:1: is not YAML here: a tab; indent with spaces",
        ),
        (
            b"car-file: 1\n---\ntitle: x\n",
            "2:1: is not YAML here: a second document after `---`; use one file each",
        ),
        (
            b"car-file: 1\ntitle: caf\xe9\n",
            "2:11: is not UTF-8 text; save the file as UTF-8",
        ),
        (b"car-file: 1\ntitle: \x1b[2J\n", "2:8: control character U+001B; delete it"),
        (b"[" * 2_000, "1:1: entries are nested too deeply"),
    ],
)
def test_a_file_that_is_no_car_file_is_refused_where_that_shows(
    content: bytes, message: str, tmp_path: pathlib.Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "car.yaml"
    path.write_bytes(content)
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)

    assert str(caught.value) == f"{path}:{message}"


def test_a_missing_file_is_refused(
    tmp_path: pathlib.Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "none.yaml"
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)

    assert str(caught.value) == f"{path}: no such file, expected a car file"


def test_a_folder_is_refused(tmp_path: pathlib.Path, knowledge: Knowledge) -> None:
    with pytest.raises(InvalidFileError) as caught:
        load_car(tmp_path, knowledge)

    assert str(caught.value) == f"{tmp_path}: is a folder, expected a car file"


def test_a_file_longer_than_any_car_s_is_refused(
    tmp_path: pathlib.Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "car.yaml"
    path.write_bytes(b"#" * 300_001)
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)

    assert str(caught.value) == (
        f"{path}: 300001 bytes is too long for a car file; the limit is 300000"
    )


def test_an_alias_is_refused(small_car: str, problems: Problems) -> None:
    text = changed(
        small_car, "{bay: 1 min, dash: 5 min}", "{bay: &time 1 min, dash: *time}"
    )

    assert "5:15: an alias (`*name`) is not used here; write it out" in problems(text)


def test_a_missing_strap_is_one_problem_however_many_parts_it_leaves(
    small_car: str, problems: Problems
) -> None:
    lamp = "  lamp: {from: key.out, wire: 14 AWG 6 ft, load: 10 W lamp, ground: body}\n"
    text = changed(small_car, "wires:\n", f"{lamp}wires:\n")
    text = changed(text, "battery.minus, to: body", "battery.minus, to: engine")
    text = changed(
        text,
        "engine-strap: {from: engine, to: body",
        "",
    ).replace("  , wire: 4 AWG 1 ft}\n", "")

    # `body` is the first key of line 6, behind `metal: {`.
    assert problems(text) == [
        "6:9: nothing joins body to battery.minus; without that horn, lamp have no "
        "ground return; add the strap or cable under `wires`"
    ]
