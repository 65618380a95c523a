"""What an audit finds: a sound car has none, and one change makes one finding.

Figures are worked by hand beside each test: copper has 1/58 ohm mm²/m, and the AWG 14,
12 and 10 have 2.081, 3.309 and 5.261 mm² (ASTM B258).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.paperwork.audit.auditing import audit
from diagnose.paperwork.audit.findings import Finding, Weight

# An invented car with one of everything that an audit looks at.
SOUND = (Path(__file__).parent / "sound.yaml").read_text(encoding="utf-8")

Look = Callable[..., tuple[Finding, ...]]


@pytest.fixture
def found(tmp_path: Path, knowledge: Knowledge) -> Look:
    """Return what is found in the sound car with some of its text replaced."""

    def look(*changes: tuple[str, str], rule: str = "") -> tuple[Finding, ...]:
        text = SOUND
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "car.yaml"
        path.write_text(text, encoding="utf-8")
        assert knowledge.design_limits is not None
        car = load_car(path, knowledge)
        return audit(car, knowledge.design_limits, rule=rule).findings

    return look


def kinds(findings: Sequence[Finding]) -> list[tuple[str, str]]:
    return [(one.check, one.part) for one in findings]


def test_nothing_is_wrong_with_a_sound_car(found: Look) -> None:
    assert found() == ()


def test_a_fuse_too_big_for_its_wire(found: Look) -> None:
    (one,) = found(("fuse: 5 A, wire: 14 AWG 3 ft", "fuse: 35 A, wire: 18 AWG 3 ft"))

    # 33 CFR 183.425: 18 gauge carries 20 A; 183.455: 150 % of it.
    assert kinds([one]) == [("fuse-for-wire", "controller-feed-fuse")]
    assert (one.figure, one.limit, one.unit) == (35.0, 30.0, "A")
    assert one.weight is Weight.DANGER
    assert one.change == (
        "fit a fuse of 30 A at most, or give controller-feed-wire a fuse of its own, "
        "or run it in 16 AWG"
    )
    assert "183.455" in one.source
    assert "controller-feed" in SOUND.splitlines()[one.line - 1]


def test_the_rule_of_the_file_and_of_the_command(found: Look) -> None:
    # 12 gauge: 45 A, so 67.5 A; in an engine space .85 of it, 57.4 A.
    change = (
        "60 A slow-fuse, to: panel.constant",
        "60 A slow-fuse, wire: 12 AWG 1 ft, to: panel.constant",
    )

    assert kinds(found(change)) == []
    (one,) = found(change, rule="engine-space")
    assert kinds([one]) == [("fuse-for-wire", "main-fuse")]
    assert one.limit == pytest.approx(0.85 * 1.5 * 45.0)
    # 60 A over 1.5 and .85 are 47.1 A: 10 gauge carries 60 A.
    assert one.change.endswith("or run it in 10 AWG")
    (two,) = found(change, ("system: 12 V", "system: 12 V\nwire-rule: engine-space"))
    assert two.limit == one.limit


def test_a_wire_that_carries_too_much_for_good(found: Look) -> None:
    one, *_ = found(
        (
            "wire: 12 AWG 3 ft, load: 100 W lamps",
            "wire: 18 AWG 3 ft, load: 300 W lamps",
        )
    )

    # A lamp takes more where there is more than its rated volts: some 21 A here.
    assert kinds([one]) == [("wire-for-current", "headlamps-wire")]
    assert one.limit == 20.0
    assert 20.0 < one.figure < 23.0
    assert one.states == ("idle-loaded",)
    assert one.change == "run it in 16 AWG"


def test_copper_that_drops_too_much(found: Look) -> None:
    (one,) = found(("    wire: 12 AWG 6 ft\n", "    wire: 16 AWG 20 ft\n"))

    # 20 ft of 1.309 mm² are .0803 ohm, 1 and 2 ft of 3.309 mm² .0048 ohm: at 5.85 A,
    # .498 V. The panel's feed of .5 ft and 8.37 mm², .0003 ohm, has some 11 A more.
    assert kinds([one]) == [("copper-drop", "fuel-pump")]
    assert one.figure == pytest.approx(5.85 * (0.0803 + 0.0048) + 0.006, abs=0.015)
    assert one.limit == pytest.approx(0.03 * 12.0)
    # .347 V too much over .47 V: a third of the copper is missing; 14 gauge has 1.6
    # times as much and 12 gauge 2.5 times
    assert one.change == "run fuel-pump-wire in 12 AWG"


def test_what_is_unfused_and_how_much_of_it(found: Look) -> None:
    key_feed = "key-feed: {from: panel.constant, fuse: 20 A, wire: 12 AWG 3 ft"

    two = found((key_feed, "key-feed: {from: battery.plus, wire: 12 AWG 6 ft"))

    assert kinds(two) == [
        ("unfused-wire", "starter-relay-86-wire"),
        ("unfused-wire", "key-feed-wire"),
    ]
    assert all(one.weight is Weight.DANGER for one in two)
    # 3 ft and 6 ft
    assert "2 such wires, 2.7 m in all" in two[0].says


def test_a_short_way_to_the_first_fuse_is_only_advised_on(found: Look) -> None:
    (one,) = found(("battery.plus via 8 AWG 0.5 ft", "battery.plus via 8 AWG 2 ft"))

    assert (one.check, one.part, one.weight) == (
        "unfused-wire",
        "main-feed",
        Weight.ADVICE,
    )
    assert one.figure == pytest.approx(0.6096)
    assert one.limit == 0.178


def test_an_alternator_too_small_and_how_long_the_battery_lasts(found: Look) -> None:
    small, *_ = found(("place: bay, rated: 120 A", "place: bay, rated: 30 A"))

    # 800 rpm times 2.2 are 1760: 30 (1 - exp(-(1760 - 850) / 950)) = 18.5 A
    assert kinds([small]) == [("alternator-for-loads", "alternator")]
    assert small.limit == pytest.approx(18.5, abs=0.2)
    assert small.figure > small.limit
    assert "the battery gives 1 A and is down after" in small.says
    assert small.change.startswith("switch off headlamps there")


def test_an_output_asked_for_too_much(found: Look) -> None:
    (one,) = found(("limit: 1 A", "limit: 0.1 A"))

    assert kinds([one]) == [("output-limit", "engine-controller.pump-output")]
    assert one.limit == 0.1


def test_a_coil_that_kicks_back_into_an_output(found: Look) -> None:
    (one,) = found((", suppression: diode", ""))

    assert kinds([one]) == [("coil-suppression", "fuel-pump-relay")]
    assert one.weight is Weight.ADVICE


def test_a_coil_that_kicks_back_into_an_output_that_switches_to_plus(
    found: Look,
) -> None:
    high = (
        ("pump-output: {side: low", "pump-output: {side: high"),
        ("86: controller-feed-fuse.out via 16 AWG 1 ft, 85", "85: body, 86"),
    )

    assert found(*high) == ()
    bare = found(*high, (", suppression: diode", ""))
    assert kinds(bare) == [("coil-suppression", "fuel-pump-relay")]


# A clock of .3 A on what is live with the key off: six times what the trade lets a car
# take, and a 60 A h battery is down in a week.
CLOCK = (
    "  light-feed:",
    "  clock: {from: panel.constant, fuse: 3 A, wire: 16 AWG 3 ft, load: 0.3 A load, "
    "ground: stud via 16 AWG 2 ft, place: bay}\n  light-feed:",
)


def test_what_empties_the_battery_with_the_key_off(found: Look) -> None:
    (one,) = found(CLOCK)

    assert kinds([one]) == [("key-off-drain", "battery")]
    assert one.weight is Weight.FAULT
    # 13.5 V / .3 A are 45 ohm, on 12.5 V .28 A
    assert one.figure == pytest.approx(0.28, abs=0.02)
    assert (one.limit, one.unit, one.states) == (0.05, "A", ("key-off",))
    assert one.says.endswith(" to clock")


def test_a_drain_that_a_car_may_have(found: Look) -> None:
    small = (CLOCK[0], CLOCK[1].replace("0.3 A load", "0.03 A load"))

    assert found(small) == ()


def test_batteries_in_series_are_drained_as_one(found: Look) -> None:
    # at 24 V half the amps: the same watts
    series = (
        ("system: 12 V", "system: 24 V"),
        ("cold-cranking: 600 A}", "cold-cranking: 600 A, series-link: 2 AWG 1 ft}"),
    )
    drained = found(*series, (CLOCK[0], CLOCK[1].replace("0.3 A", "0.04 A")))

    (one,) = [finding for finding in drained if finding.check == "key-off-drain"]
    assert (one.part, one.limit) == ("live-battery", 0.025)
    assert one.says.endswith(" to clock")


def test_feeds_that_die_while_cranking(found: Look) -> None:
    dead = found(("crank: [run, start]", "crank: [start]"))

    assert kinds(dead) == [
        ("dead-while-cranking", "engine-controller"),
        ("dead-while-cranking", "fuel-pump"),
        ("dead-while-cranking", "ignition"),
    ]


def test_a_resistor_left_in_a_feed(found: Look) -> None:
    (one,) = found(
        ("wire: 12 AWG 3 ft, load: 4 A load", "wire: 0.3 ohm/ft 3 ft, load: 4 A load")
    )

    # .9 ohm and a load of 4 A at 13.5 V, 3.4 ohm, share some 14 V: 2.9 V
    assert kinds([one]) == [("resistor-in-feed", "ignition-wire")]
    assert one.figure == pytest.approx(14.0 * 0.9 / (0.9 + 13.5 / 4.0), abs=0.15)


def test_a_pump_that_only_the_key_stops(found: Look) -> None:
    straight = ("85: engine-controller.pump-output via", "85: body via")

    (one,) = found(straight)
    assert (one.check, one.part, one.weight) == (
        "pump-in-a-crash",
        "fuel-pump",
        Weight.DANGER,
    )


def test_an_inertia_switch_stops_a_pump(found: Look) -> None:
    # it is closed at rest, in every state of the car
    switch = (
        "  light-switch:",
        "  inertia-switch: {place: bay, live: {whole: [out], struck: []}}\n"
        "  light-switch:",
    )
    by_it = (
        "86: controller-feed-fuse.out via 16 AWG 1 ft, "
        "85: engine-controller.pump-output via",
        "86: inertia-switch.out via 16 AWG 1 ft, 85: body via",
    )
    feed = (
        "wires:\n",
        "wires:\n  inertia-feed: {from: controller-feed-fuse.out, "
        "to: inertia-switch.feed, wire: 16 AWG 1 ft}\n",
    )

    assert found(switch, by_it, feed) == ()


def test_a_ground_that_other_loads_lift(found: Look) -> None:
    first, *_ = found(
        ("ground: engine via 14 AWG 3 ft", "ground: stud via 14 AWG 3 ft"),
        ("to: body, wire: 4 AWG 1 ft", "to: body, wire: 18 AWG 3 ft"),
    )

    # 3 ft of .823 mm² are .0192 ohm with two joints of a few milliohm; pump 6 A and
    # lamps 7.5 A through it
    assert kinds([first]) == [("shared-ground", "engine-controller")]
    assert first.figure == pytest.approx(13.4 * (0.0192 + 0.004), rel=0.25)
    assert "body-strap" in first.says


def test_contacts_that_carry_too_much_and_a_relay_that_may(found: Look) -> None:
    heavy = (
        ("    load: 6 A motor", "    load: 35 A motor"),
        ("    fuse: 15 A\n", "    fuse: 50 A\n"),
        ("    wire: 12 AWG 6 ft\n", "    wire: 8 AWG 6 ft\n"),
        (
            "stud via 12 AWG 2 ft\n    place: tank",
            "stud via 8 AWG 2 ft\n    place: tank",
        ),
        ("relay: {wire: 12 AWG 1 ft", "relay: {wire: 8 AWG 1 ft"),
    )

    (one,) = found(*heavy)
    assert kinds([one]) == [("relay-contacts", "fuel-pump-relay")]
    assert (one.limit, one.states) == (30.0, ("idle",))
    rated = (", suppression: diode", ", suppression: diode, rated: 70 A")
    assert found(*heavy, rated) == ()


def test_a_coil_that_gets_too_little_to_pull_in(found: Look) -> None:
    kinds_found = kinds(
        found(
            (
                "controller-feed-fuse.out via 16 AWG 1 ft, 85",
                "controller-feed-fuse.out via 90 ohm/ft 1 ft, 85",
            )
        )
    )

    assert ("relay-coil", "fuel-pump-relay") in kinds_found


def test_a_main_fuse_loaded_too_much_for_good(found: Look) -> None:
    first, *_ = found(("fuse: 60 A slow", "fuse: 20 A slow"))

    assert kinds([first]) == [("fuse-load", "main-fuse")]
    assert first.limit == pytest.approx(0.8 * 20.0)


def test_the_sum_behind_a_fuse(found: Look) -> None:
    change = (
        "headlamps: {from: light-switch.out",
        "horn: {from: light-switch.feed via 12 AWG 1 ft, load: 12 A load, "
        "ground: stud via 12 AWG 1 ft}\n  headlamps: {from: light-switch.out",
    )

    sums = [one for one in found(change) if one.check == "sum-behind-fuse"]
    # 12 A and 100 W lamps behind 15 A
    assert kinds(sums) == [("sum-behind-fuse", "light-feed-fuse")]
    assert sums[0].limit == 15.0
    assert 19.0 < sums[0].figure < 23.0


def test_a_starter_cable_too_thin(found: Look) -> None:
    (one,) = found(("wire: 2 AWG 3 ft, role", "wire: 8 AWG 6 ft, role"))

    # 6 ft of 8.37 mm² are .0038 ohm: .59 V at 156 A, and joints with the contacts
    assert kinds([one]) == [("starter-drop", "starter")]
    assert one.limit == 0.6
    assert one.figure > 0.6
    assert one.change.startswith("run starter-cable in ")


def test_a_positive_ground_car_is_audited_alike(found: Look) -> None:
    turned = (
        ("battery: {place: bay, cold", "battery: {place: bay, grounded: plus, cold"),
        ("battery.plus via 8 AWG", "battery.minus via 8 AWG"),
        ("battery.plus via 4 AWG", "battery.minus via 4 AWG"),
        ("starter-cable: {from: battery.plus", "starter-cable: {from: battery.minus"),
        ("ground-cable: {from: battery.minus", "ground-cable: {from: battery.plus"),
        ("87: starter.plus", "87: starter.minus"),
    )
    thin = ("    wire: 12 AWG 6 ft\n", "    wire: 16 AWG 20 ft\n")

    assert kinds(found(*turned, thin)) == [("copper-drop", "fuel-pump")]


# What an electrician would say of the shipped cars, each looked at: the first stretch
# of each main feed lies bare for a foot, and the fan's relay has no diode. The head of
# each other file says what is meant to be found.
KNOWN = {
    "sedan": [
        ("unfused-wire", "main-feed"),
        ("unfused-wire", "charge-feed"),
        ("unfused-wire", "old-main-feed"),
        ("coil-suppression", "fan-relay"),
    ],
    "pickup": [
        ("unfused-wire", "sense-wire"),
        ("unfused-wire", "charge-feed"),
        ("unfused-wire", "old-main-feed"),
        ("unfused-wire", "main-feed"),
        ("coil-suppression", "fan-relay"),
    ],
    "roadster": [
        ("pump-in-a-crash", "fuel-pump"),
        ("unfused-wire", "charging-wire"),
        ("copper-drop", "headlamps"),
        ("way-drop", "brake-lamps"),
        ("way-drop", "horn"),
        ("unfused-wire", "old-main-feed"),
        ("unfused-wire", "fuel-pump-feed"),
    ],
    "truck": [
        ("unfused-wire", "starter-relay-30-wire"),
        ("unfused-wire", "starter-solenoid-86-wire"),
        ("pump-in-a-crash", "lift-pump"),
        ("unfused-wire", "charge-feed"),
        ("unfused-wire", "old-main-feed"),
        ("unfused-wire", "main-feed"),
    ],
    "van": [
        ("pump-in-a-crash", "fuel-pump"),
        ("unfused-wire", "sense-wire"),
        ("unfused-wire", "charge-feed"),
        ("unfused-wire", "old-main-feed"),
        ("unfused-wire", "main-feed"),
        ("unfused-wire", "split-feed-feed"),
    ],
}


@pytest.mark.parametrize("car", KNOWN)
def test_the_findings_on_a_shipped_car_are_the_known_ones(
    car: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["audit", car, "--format", "json"])

    data = json.loads(capsys.readouterr().out)
    assert [(one["check"], one["part"]) for one in data["findings"]] == KNOWN[car]
    # 3 but for the sedan, where there is advice alone
    assert code == (0 if car == "sedan" else 3)


def test_each_way_of_listing_says_figure_limit_source_and_change(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(SOUND.replace("limit: 1 A", "limit: 0.1 A"), encoding="utf-8")

    assert main(["audit", str(path)]) == 3
    table = capsys.readouterr().out
    assert main(["audit", str(path), "--format", "markdown"]) == 3
    markdown = capsys.readouterr().out

    assert "0.104 A, limit 0.1 A." in table
    assert "Change: let it switch a relay, and the relay the load." in table
    assert "| 0.104 A | 0.1 A | let it switch a relay" in markdown


def test_a_sound_car_is_told_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(SOUND, encoding="utf-8")

    assert main(["audit", str(path)]) == 0
    assert "nothing found that is wrong by design" in capsys.readouterr().out


def test_an_unknown_rule_is_told_with_the_nearest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(
        SOUND.replace("system: 12 V", "system: 12 V\nwire-rule: open-ear"),
        encoding="utf-8",
    )

    assert main(["audit", "sedan", "--rule", "engine-spac"]) == 1
    assert 'did you mean "engine-space"?' in capsys.readouterr().err
    assert main(["audit", str(path)]) == 1
    assert '5:12: there is no wire-rule "open-ear"' in capsys.readouterr().err


def test_a_state_that_never_comes_to_rest_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # a coil fed by its own contact at rest: a buzzer, whenever the key is in run
    buzzer = (
        "parts:\n"
        "  buzz-coil: {kind: coil, place: bay, "
        "terminals: {a: tie, b: stud}}\n"
        "  buzz-contacts: {kind: contacts, gate: buzz-coil, normally-closed: true, "
        "place: bay, terminals: {a: key.run, b: tie}}\n"
        "states:\n"
    )
    path = tmp_path / "car.yaml"
    text = SOUND.replace("states:\n", buzzer)
    text = text.replace("panels:\n", "splices: {tie: bay}\npanels:\n")
    path.write_text(text, encoding="utf-8")

    main(["audit", str(path), "--format", "json"])

    unsettled = json.loads(capsys.readouterr().out)["unsettled"]
    assert "key-on" in unsettled
    assert "key-off" not in unsettled


def test_the_cautions_of_the_work_stand_before_what_to_change(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    text = SOUND.replace("    wire: 12 AWG 6 ft\n", "    wire: 16 AWG 20 ft\n")
    path.write_text(text, encoding="utf-8")

    main(["audit", str(path)])
    table = capsys.readouterr().out

    # the pump is at the tank, whose caution is fuel; the clamp comes off first
    off = table.index("Take off the grounded clamp first")
    fuel = table.index("Caution: ", off)
    assert off < fuel < table.index("Change: ")
    assert "fuel" in table[fuel : table.index("Change: ")].lower()
