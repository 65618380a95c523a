"""Published figures on lamps, feeds and dropping resistors, from the car's own parts.

Each test names its source and its basis: read (in the document), copy (in a secondary
copy), memory, or rule (of the trade).
"""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.alternator_label import alternator_limit_amps
from diagnose.circuit.wire_limits import allowable_amps, most_fuse_amps
from diagnose.faults.knowledge import Knowledge
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_ON,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
)

RUNNING_VOLTS = 13.5
# ISO 8854 states label currents at 13.5 V (read in a secondary copy).


def make_lamp(plus: str) -> Part:
    """Return a 55 W lamp rated at 13.5 V (a common headlamp rating, memory)."""
    return make_part(
        "lamp",
        "lamp",
        plus,
        GROUND,
        lamp_watts=55.0,
        lamp_volts=13.5,
        cold_factor=13.0,
        is_open=0.0,
    )


def make_contact(name: str, first: str, last: str, *positions: str) -> Part:
    """Return a contact of the ignition switch, closed in some of its positions."""
    return make_part(
        "switch-contact",
        name,
        first,
        last,
        assembly="key",
        closed_in=frozenset(positions),
        contact_ohms=0.01,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        fails_in_crank=0.0,
        fails_in_run=0.0,
    )


def ignition_feed(*, resistor_ohms: float) -> list[Part]:
    """Return an ignition coil fed through a dropping resistor, bypassed in crank."""
    return [
        make_source("battery.plus", RUNNING_VOLTS),
        make_contact("run-contact", "battery.plus", "key.run", "run", "crank"),
        make_contact("bypass-contact", "battery.plus", "coil.plus", "crank"),
        make_part("resistor", "ballast", "key.run", "coil.plus", ohms=resistor_ohms),
        make_part(
            "load",
            "ignition-coil",
            "coil.plus",
            GROUND,
            load_amps=9.0,
            load_volts=13.5,
            is_open=0.0,
            load_factor=1.0,
        ),
    ]


# Fink & Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8 (copy,
# 1 %): a lamp at 90 % of its rated volts takes 94 % of its current.
def test_lamp_at_ninety_percent_volts_takes_ninety_four_percent_current() -> None:
    rated = solve_circuit([make_source("lamp.plus", 13.5), make_lamp("lamp.plus")])
    dim = solve_circuit([make_source("lamp.plus", 12.15), make_lamp("lamp.plus")])

    ratio = dim.branch_amps["lamp"] / rated.branch_amps["lamp"]
    assert ratio == pytest.approx(0.94, rel=0.01)


# Rule of the trade: 1.2 to 1.8 ohm leaves 6 to 9 V at the ignition coil while running.
# A coil of 1.5 ohm primary (9 A at 13.5 V) is common practice for such a resistor.
@pytest.mark.parametrize("resistor_ohms", [1.2, 1.8])
def test_dropping_resistor_leaves_six_to_nine_volts_in_run(
    resistor_ohms: float,
) -> None:
    solved = solve_circuit(ignition_feed(resistor_ohms=resistor_ohms), KEY_ON)

    assert 6.0 <= solved.drop_volts("coil.plus") <= 9.0


# Rule of the trade: the bypass gives the coil full volts while cranking, also where the
# resistor path is open, so the engine fires in start and dies in run.
@pytest.mark.parametrize("resistor_ohms", [1.5, 1e9])
def test_bypass_gives_the_coil_full_volts_in_crank(resistor_ohms: float) -> None:
    solved = solve_circuit(ignition_feed(resistor_ohms=resistor_ohms), CRANKING)

    # Derived: only the contact's 10 milliohm at 9 A, 0.09 V, is lost.
    assert solved.drop_volts("coil.plus") == pytest.approx(13.41, abs=0.02)


def test_open_resistor_path_leaves_the_coil_dead_in_run() -> None:
    solved = solve_circuit(ignition_feed(resistor_ohms=1e9), KEY_ON)

    assert solved.drop_volts("coil.plus") == pytest.approx(0.0, abs=1e-6)


# Rule of the trade: a controller on a feed that is live in run only dies in crank; on
# the feed live in both it lives on.
@pytest.mark.parametrize(
    ("positions", "state", "amps"),
    [
        (("run",), KEY_ON, 0.8),
        (("run",), CRANKING, 0.0),
        (("run", "crank"), CRANKING, 0.8),
    ],
)
def test_controller_lives_only_where_its_feed_does(
    positions: tuple[str, ...], state: OperatingState, amps: float
) -> None:
    solved = solve_circuit(
        [
            make_source("battery.plus", 12.0),
            make_contact("feed", "battery.plus", "controller.supply", *positions),
            make_part(
                "controller",
                "controller",
                "controller.supply",
                GROUND,
                supply_amps=0.8,
                reset_volts=6.5,
                restart_volts=7.5,
                is_working=1.0,
            ),
        ],
        state,
    )

    assert solved.branch_amps["controller"] == pytest.approx(amps, abs=1e-9)


# A service manual (read): a 50 A class gives 16 A hot and 24 A cold at 1300 rpm, and
# at idle about a third (hot) to a half (cold) of its rating, the same two figures: 1300
# is the alternator's own speed at an idle of 650 with pulleys of 2 to 1. (At an
# engine's 1300 rpm it turns at 2600 and more and gives most of its rating; and what
# gave a third only at 1760 would give 9 A at 1300.) Cold and hot are some 80 K apart,
# as the ends of the table of conditions are; 10 %, for units differ as much.
@pytest.mark.parametrize(("celsius", "amps"), [(50.0, 16.0), (-30.0, 24.0)])
def test_a_fifty_ampere_alternator_gives_its_amps_at_1300_rpm(
    celsius: float, amps: float, knowledge: Knowledge
) -> None:
    defaults = knowledge.defaults["alternator"]
    by_heat = knowledge.conditions["alternator"]["rated_amps"].celsius
    assert by_heat is not None
    limit_amps = alternator_limit_amps(
        rated_amps=np.array([50.0 * by_heat.factor(celsius)]),
        alternator_rpm=np.array([1300.0]),
        cut_in_rpm=np.array([defaults["cut_in_rpm"].distribution.nominal]),
        speed_constant_rpm=np.array(
            [defaults["speed_constant_rpm"].distribution.nominal]
        ),
    )

    assert float(limit_amps[0]) == pytest.approx(amps, rel=0.1)


# FAA AC 43.13-1B 11-188, 11-189 (read): a bonded frame is under 2.5 mohm, a jumper
# joint at most 3 mohm, so at 20 A a good joint drops at most 60 mV.
def test_a_good_joint_drops_sixty_millivolts_at_most_at_twenty_amps(
    knowledge: Knowledge,
) -> None:
    defaults = knowledge.defaults
    joint = defaults["wire"]["joint_a_ohms"].distribution.nominal
    stud = defaults["joint"]["joint_ohms"].distribution.nominal
    solved = solve_circuit(
        [
            make_source("battery.plus", 12.0),
            make_resistor("battery.plus", "lug", joint),
            make_resistor("lug", "stud", 0.597),
            make_part("joint", "stud-joint", "stud", GROUND, joint_ohms=stud),
        ]
    )

    assert solved.branch_amps["stud-joint"] == pytest.approx(20.0, rel=0.01)
    assert solved.drop_volts("battery.plus", "lug") <= 0.0605
    assert solved.drop_volts("stud") <= 0.050


# Rule of the trade: a 40 to 50 A panel is fed by 10 AWG with a matching breaker; 33 CFR
# 183.425 and 183.455 (read) give 60 A and up to 90 A of protection.
@pytest.mark.parametrize("panel_amps", [40.0, 50.0])
def test_ten_gauge_feeds_a_panel_of_forty_to_fifty_amps(panel_amps: float) -> None:
    assert panel_amps <= allowable_amps(10) <= most_fuse_amps(10)


# Tables of resistance alloys (memory): nickel-chromium has .00017 more per K, a
# twenty-third of copper's .0039 (FAA AC 43.13-1B p. 11-22, read: 1/254.5 at 20 degC).
@pytest.mark.parametrize(
    ("kind", "parameter", "per_kelvin"),
    [("resistor", "ohms", 0.00017), ("coil", "coil_ohms", 1.0 / 254.5)],
)
def test_resistors_follow_the_air_temperature_less_than_copper(
    kind: str, parameter: str, per_kelvin: float, knowledge: Knowledge
) -> None:
    by_heat = knowledge.conditions[kind][parameter].celsius
    assert by_heat is not None

    for celsius in (-30.0, 50.0):
        expected = 1.0 + per_kelvin * (celsius - 20.0)
        assert by_heat.factor(celsius) == pytest.approx(expected, rel=1e-3)
