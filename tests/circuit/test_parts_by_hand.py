"""What parts take and give, worked by hand to three digits, at 6, 12 and 24 V.

Where a figure of the trade leaves a wide band, these say what the part is meant to do:
the value of its own that decides, and the volts at which it begins to.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.operating_states import OperatingState
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    SolvedCircuit,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
    with_values,
)

IDLE = OperatingState(
    name="idle", label="idling", switch_positions={"key": "run"}, engine_rpm=800.0
)
OUTPUT, SENSE, EXCITER = "alternator.output", "alternator.sense", "alternator.exciter"
SYSTEMS = (6.0, 12.0, 24.0)


def make_alternator(*optional: str, scale: float = 1.0, **changed: float) -> Part:
    """Return an alternator of 100 A; a sense or an exciter terminal where named.

    `scale` is the system over 12 V: volts go with it, ohms of the same power with its
    square.
    """
    values = {
        "set_volts": 14.2 * scale,
        "droop_volts": 0.25 * scale,
        "rated_amps": 100.0,
        "cut_in_rpm": 1000.0,
        "speed_constant_rpm": 1500.0,
        "pulley_ratio": 2.2,
        "field_ohms": 4.0 * scale**2,
        "is_working": 1.0,
        "sense_error_volts": 0.0,
        "sense_limit_volts": 2.5 * scale,
        "sense_backup_volts": 1.0 * scale,
        "belt_amps_per_rpm": 10.0,
        "ripple_ohms": 3e-4,
        "diode_leak_ohms": 1e9,
    }
    part = with_values(make_part("alternator", "alternator", OUTPUT, GROUND), values)
    inner = {name: f"alternator.{name}" for name in optional}
    part = replace(part, terminals={**part.terminals, **inner})
    return with_values(part, changed)


def amps_into(
    part: Part, volts: float, system_volts: float, state: OperatingState = KEY_ON
) -> SolvedCircuit:
    """Solve a part with so many volts from its first terminal to its second."""
    first, second, *rest = part.terminals
    plus = part.terminals[first]
    if volts < 0.0:
        part = replace(part, terminals={first: GROUND, second: plus})
    assert not (volts < 0.0 and rest)
    source = make_source(plus, abs(volts))
    return solve_circuit([source, part], state, system_volts=system_volts)


# By hand: avalanche begins at 2 V for each volt of the system, a fifth of an ohm in
# all: 24 V in a 12 V car, where 26 V from another battery drive 10 A through it.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_diodes_of_an_alternator_give_way_at_twice_the_system(
    system_volts: float,
) -> None:
    alternator = make_alternator(scale=system_volts / 12.0)

    for beyond, amps in ((-1.0, 0.0), (0.2, 1.0), (2.0, 10.0)):
        solved = amps_into(
            alternator, 2.0 * system_volts + beyond, system_volts, KEY_OFF
        )
        found = solved.branch_amps["alternator/above-set-volts"]
        # the source's microohm and the leak of a gigohm
        assert found == pytest.approx(amps, abs=1e-3)


# By hand: at 800 x 2.2 = 1760 rpm it gives 100 A x (1 - e^(-760/1500)) over
# (1 - e^(-5000/1500)) = 41.2 A. Its regulator sees nothing, so all of that has to go
# beside the load: none up to 2.5 V above the 14.2 V, half of it 0.15 V further on, all
# from 0.3 V on; and 10 A more 2 V beyond the avalanche.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_regulator_takes_its_field_back_over_a_third_of_a_volt(
    system_volts: float,
) -> None:
    scale = system_volts / 12.0
    alternator = make_alternator("sense", scale=scale)
    shorted = make_resistor(SENSE, GROUND, 0.001, name="sense-wire")

    for volts, amps in (
        (16.6 * scale, 0.0),
        (16.85 * scale, 20.6),
        (17.2 * scale, 41.2),
        (24.0 * scale + 2.0, 51.2),
    ):
        solved = solve_circuit(
            [make_source(OUTPUT, volts), alternator, shorted],
            IDLE,
            system_volts=system_volts,
        )
        found = solved.branch_amps["alternator/above-set-volts"]
        assert found == pytest.approx(amps, abs=0.05)
        assert solved.branch_amps["alternator"] == pytest.approx(-41.2, abs=0.05)


# By hand: 10 kohm take 1.42 mA at 14.2 V; with the wire off, the resistor inside, so
# many ohms that a volt falls over it while the set point is at the sense terminal:
# 10 kohm / 14.2, holds the terminal at 14.2 of 15.2 V.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_sense_input_is_ten_kilohms_and_its_backup_a_volt_of_the_set_point(
    system_volts: float,
) -> None:
    scale = system_volts / 12.0
    parts = [make_source(OUTPUT, 15.2 * scale), make_alternator("sense", scale=scale)]

    running = solve_circuit(parts, IDLE, system_volts=system_volts)
    at_rest = solve_circuit(parts, KEY_OFF, system_volts=system_volts)

    found = running.branch_amps["alternator/sense-input"]
    assert found == pytest.approx(1.42e-3 * scale, rel=1e-3)
    assert running.drop_volts(SENSE) == pytest.approx(14.2 * scale, rel=1e-3)
    assert at_rest.drop_volts(SENSE) == pytest.approx(0.0, abs=1e-3)


# By hand: .25 V on the field of a 12 V car make it build up. From 12.6 V into 4 ohm
# that takes 197.6 ohm; a 24 V car has twice the volts and four times the ohms.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_quarter_of_a_volt_on_the_field_excites_an_alternator(
    system_volts: float,
) -> None:
    scale = system_volts / 12.0
    given = {}
    for ohms in (190.0, 205.0):
        parts = [
            make_source("plus", 12.6 * scale),
            make_resistor("plus", OUTPUT, 0.05 * scale, name="charge-wire"),
            make_resistor("plus", EXCITER, ohms * scale**2, name="charge-lamp"),
            make_alternator("exciter", scale=scale),
        ]
        solved = solve_circuit(parts, IDLE, system_volts=system_volts)
        given[ohms] = -solved.branch_amps["alternator"]

    # By hand: .05 ohm of wire between 14.2 and 12.6 V take 32 A, the field 14.1 V over
    # 4.1 ohm, 3.4 A; .25 V of droop for 100 A are a twentieth of that wire.
    assert given[190.0] == pytest.approx((32.0 + 3.44 / scale) / 1.05, abs=0.1)
    assert given[205.0] == pytest.approx(0.0, abs=1e-6)


# By hand: the exciter diodes are .1 ohm in a 12 V car and go with the square of the
# volts, as the field's 4 ohm do: 14 V leave 14 x 4 / 4.1 V on the field.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_exciter_diodes_are_a_fortieth_of_the_field(system_volts: float) -> None:
    scale = system_volts / 12.0
    parts = [
        make_source(OUTPUT, 14.0 * scale),
        make_alternator("exciter", scale=scale),
        make_resistor(OUTPUT, EXCITER, 50.0 * scale**2, name="charge-lamp"),
    ]

    solved = solve_circuit(parts, IDLE, system_volts=system_volts)

    # .0998 ohm with the 50 ohm of the lamp beside them
    across = solved.drop_volts(EXCITER)
    assert across == pytest.approx(14.0 * scale * 4.0 / 4.0998, rel=1e-4)


# By hand: a full alternator gives rated amps over the droop for each volt below the set
# point: at 14.15 V, a fifth of .25 V below it, 20 A of 100.
@pytest.mark.parametrize(
    ("volts", "amps"), [(13.0, 41.2), (14.15, 20.0), (14.19, 4.0), (14.3, 0.0)]
)
def test_the_current_of_an_alternator_falls_over_the_droop(
    volts: float, amps: float
) -> None:
    solved = amps_into(make_alternator(), volts, 12.0, IDLE)

    assert -solved.branch_amps["alternator"] == pytest.approx(amps, abs=0.05)


# By hand: 150 A through .02 ohm turn it from 3 V on; 9 V more, of 12, add three
# quarters of a tenth. In other systems the same power at their volts.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_starter_takes_a_tenth_more_for_the_volts_of_the_system(
    system_volts: float,
) -> None:
    scale = system_volts / 12.0
    starter = make_part(
        "starter",
        "starter",
        "starter.plus",
        GROUND,
        cranking_amps=150.0 / scale,
        stall_ohms=0.02 * scale**2,
    )

    for volts, amps in ((2.0, 100.0), (3.0, 150.0), (12.0, 161.25)):
        solved = amps_into(starter, volts * scale, system_volts, CRANKING)
        expected = pytest.approx(amps / scale, rel=1e-3)
        assert solved.branch_amps["starter"] == expected


# By hand: up from .5 V on, it takes its .8 A from 3 V on, and half of that at half of
# them; beside it the 2 kohm of its standby.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_controller_takes_the_same_current_beyond_three_volts(
    system_volts: float,
) -> None:
    scale = system_volts / 12.0
    controller = make_part(
        "controller",
        "controller",
        "controller.supply",
        GROUND,
        supply_amps=0.8 / scale,
        reset_volts=0.2 * scale,
        restart_volts=0.5 * scale,
        is_working=1.0,
    )

    for volts, amps in ((0.4, 0.0), (1.5, 0.4), (3.0, 0.8), (12.0, 0.8)):
        solved = amps_into(controller, volts * scale, system_volts)
        standby = solved.branch_amps["controller/standby"]
        assert solved.branch_amps["controller"] == pytest.approx(amps / scale, abs=1e-4)
        assert standby == pytest.approx(volts * scale / 2000.0, rel=1e-3)


# By hand: 14.9 V for 12.6 V at rest is where a battery gasses, so 7.45 V for 6.3 V and
# 29.8 V for 25.2 V; a volt further on, 50 A more through .02 ohm.
@pytest.mark.parametrize("system_volts", SYSTEMS)
def test_a_battery_gasses_at_the_volts_of_its_cells(system_volts: float) -> None:
    scale = system_volts / 12.0
    battery = make_part(
        "battery",
        "battery",
        "plus",
        GROUND,
        state_of_charge=1.0,
        empty_volts=11.8 * scale,
        full_volts=12.6 * scale,
        internal_ohms=0.009 * scale,
        acceptance_ohms=0.23 * scale,
        surface_volts=0.0,
        surface_ohms=0.1 * scale,
    )

    for beyond, amps in ((0.0, 10.0), (1.0, 60.0)):
        solved = amps_into(battery, 14.9 * scale + beyond, system_volts)
        assert solved.branch_amps["battery"] == pytest.approx(amps, rel=1e-3)


# By hand: half charged, halfway from 11.8 to 12.6 V. With .3 V of surface charge at .1
# ohm: 12.35 V are .15 V below 12.5 V and take 1.5 A, 12 V take 3 A and 200 mV over 5
# milliohm, 12.7 V put 1 A into .2 ohm.
@pytest.mark.parametrize(
    ("volts", "amps"), [(12.0, -43.0), (12.35, -1.5), (12.5, 0.0), (12.7, 1.0)]
)
def test_surface_charge_lies_between_giving_and_taking(
    volts: float, amps: float
) -> None:
    battery = make_part(
        "battery",
        "battery",
        "plus",
        GROUND,
        state_of_charge=0.5,
        empty_volts=11.8,
        full_volts=12.6,
        internal_ohms=0.005,
        acceptance_ohms=0.2,
        surface_volts=0.3,
        surface_ohms=0.1,
    )

    solved = amps_into(battery, volts, 12.0)

    assert solved.branch_amps["battery"] == pytest.approx(amps, rel=1e-3, abs=1e-3)


# By hand: .25 ohm up to 2 A, which is .5 V; beyond, a millisiemens: 10 mA more at 10.5
# V.
@pytest.mark.parametrize(("volts", "amps"), [(0.4, 1.6), (0.5, 2.0), (10.5, 2.01)])
def test_an_output_holds_its_limit(volts: float, amps: float) -> None:
    controller = make_part(
        "controller",
        "controller",
        "plus",
        GROUND,
        supply_amps=0.1,
        reset_volts=6.5,
        restart_volts=7.5,
        is_working=1.0,
    )
    output = make_part(
        "driver",
        "controller.pin",
        "pin",
        GROUND,
        gate="controller",
        on_ohms=0.25,
        limit_amps=2.0,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        is_short_proof=1.0,
    )
    state = replace(KEY_ON, commands=frozenset({"controller.pin"}))

    solved = solve_circuit(
        [make_source("plus", 12.0), make_source("pin", volts), controller, output],
        state,
    )

    assert solved.branch_amps["controller.pin"] == pytest.approx(amps, abs=1e-4)


def make_diode(**changed: float) -> Part:
    """Return a diode of .7 V and .05 ohm from a to b."""
    values = {"forward_volts": 0.7, "on_ohms": 0.05}
    values |= dict.fromkeys(("is_shorted", "is_open", "is_reversed"), 0.0)
    return with_values(make_part("diode", "diode", "a", GROUND), values | changed)


# By hand: .1 V beyond .7 V over .05 ohm are 2 A, one way only; shorted, 1 V drives 20 A
# either way; turned round it is the other way; open, nothing does anything.
@pytest.mark.parametrize(
    ("changed", "volts", "amps"),
    [
        ({}, 0.8, 2.0),
        ({}, 0.6, 0.0),
        ({}, -12.0, 0.0),
        ({"is_shorted": 1.0}, 1.0, 20.0),
        ({"is_shorted": 1.0}, -1.0, -20.0),
        ({"is_reversed": 1.0}, -0.8, -2.0),
        ({"is_reversed": 1.0}, 12.0, 0.0),
        ({"is_reversed": 1.0}, -0.6, 0.0),
        ({"is_reversed": 1.0, "is_shorted": 1.0}, 1.0, 20.0),
        ({"is_reversed": 1.0, "is_shorted": 1.0}, -1.0, -20.0),
        ({"is_open": 1.0}, 12.0, 0.0),
        ({"is_open": 1.0}, -12.0, 0.0),
    ],
)
def test_a_diode_conducts_one_way_beyond_its_forward_volts(
    changed: dict[str, float], volts: float, amps: float
) -> None:
    solved = amps_into(make_diode(**changed), volts, 12.0)

    # a microohm of the source
    assert solved.branch_amps["diode"] == pytest.approx(amps, rel=1e-3, abs=1e-6)


# By hand: 3 W at 13.5 V are .2222 A; from 9 V on in a straight line to that: a third of
# it at 10.5 V, and a third more at 15 V.
@pytest.mark.parametrize(
    ("volts", "amps"), [(8.9, 0.0), (10.5, 0.07407), (13.5, 0.22222), (15.0, 0.2963)]
)
def test_a_diode_lamp_has_its_watts_at_its_volts(volts: float, amps: float) -> None:
    lamp = make_part(
        "led-lamp",
        "lamp",
        "a",
        GROUND,
        led_watts=3.0,
        led_volts=13.5,
        knee_volts=9.0,
        is_open=0.0,
        is_reversed=0.0,
    )

    solved = amps_into(lamp, volts, 12.0)

    assert solved.branch_amps["lamp"] == pytest.approx(amps, rel=1e-3, abs=1e-9)


# By hand: 55 W at 13.5 V are 4.074 A, and less with the power .55 of the volts: 3.260 A
# at 9 V, 3.819 A at 12 V, 4.472 A at 16 V; the chords stay within 1 % from 9 V on, and
# meet the power law where they end: 1.4985 V and .2987 of the current, 4.995 V and
# .5788, 10.0035 V and .848.
@pytest.mark.parametrize(
    ("volts", "amps", "share"),
    [
        (1.4985, 1.2161, 1e-4),
        (4.995, 2.3580, 1e-4),
        (10.0035, 3.4548, 1e-4),
        (16.0, 4.4733, 1e-3),
        (9.0, 3.2597, 0.01),
        (12.0, 3.8185, 0.01),
        (13.5, 4.0741, 0.01),
        (-1.4985, -1.2161, 1e-4),
    ],
)
def test_a_filament_takes_the_power_law_of_tungsten(
    volts: float, amps: float, share: float
) -> None:
    lamp = make_part(
        "lamp", "lamp", "a", GROUND, lamp_watts=55.0, lamp_volts=13.5, is_open=0.0
    )

    solved = amps_into(lamp, volts, 12.0)

    assert solved.branch_amps["lamp"] == pytest.approx(amps, rel=share)


# By hand: 7 A at 13.5 V are 6.2 A at 12 V; a third more load a third more, and a held
# rotor five times as much. So for any other load.
@pytest.mark.parametrize(
    ("changed", "amps"),
    [
        ({}, 6.2222),
        ({"load_factor": 4.0 / 3.0}, 8.2963),
        ({"is_stalled": 1.0}, 31.111),
        ({"is_stalled": 1.0, "load_factor": 0.5}, 15.5556),
        ({"is_open": 1.0}, 0.0),
    ],
)
def test_a_motor_takes_its_amps_by_its_load(
    changed: dict[str, float], amps: float
) -> None:
    values = {"motor_amps": 7.0, "motor_volts": 13.5, "load_factor": 1.0}
    values |= {"is_open": 0.0, "is_stalled": 0.0, "stall_factor": 5.0}
    motor = with_values(make_part("motor", "motor", "a", GROUND), values | changed)

    solved = amps_into(motor, 12.0, 12.0)

    assert solved.branch_amps["motor"] == pytest.approx(amps, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize(
    ("changed", "amps"),
    [({}, 4.4444), ({"load_factor": 1.5}, 6.6667), ({"is_open": 1.0}, 0.0)],
)
def test_a_load_takes_its_amps_by_its_volts(
    changed: dict[str, float], amps: float
) -> None:
    values = {"load_amps": 5.0, "load_volts": 13.5, "load_factor": 1.0, "is_open": 0.0}
    load = with_values(make_part("load", "load", "a", GROUND), values | changed)

    solved = amps_into(load, 12.0, 12.0)

    assert solved.branch_amps["load"] == pytest.approx(amps, rel=1e-4, abs=1e-12)


# By hand: .01 + .002 + .003 + .005 = .02 ohm of wire drop 1 V at 50 A; its start leaks
# to the body through 20 Mohm, 600 nA at 12 V.
def test_a_wire_is_its_copper_and_both_its_joints() -> None:
    wire = make_part(
        "wire",
        "wire",
        "plus",
        "load",
        wire_ohms=0.01,
        joint_a_ohms=0.002,
        joint_b_ohms=0.003,
        extra_ohms=0.005,
        leak_ohms=2e7,
    )
    parts = [make_source("plus", 12.0), wire, make_resistor("load", GROUND, 0.22)]

    solved = solve_circuit(parts)

    assert solved.drop_volts("plus", "load") == pytest.approx(1.0, rel=1e-4)
    assert solved.branch_amps["wire/insulation"] == pytest.approx(6e-7, rel=1e-3)


# By hand: a coil of 85 ohm at rest is 254.5 parts at 20 degrees C, 334.5 at 100: 31 %
# more ohms, and as much more volts to pull in; .02 ohm bridge 87 and 86 at rest.
def test_a_bridge_in_the_socket_is_a_fiftieth_of_an_ohm() -> None:
    coil = make_part(
        "coil",
        "relay.coil",
        "coil-feed",
        GROUND,
        coil_ohms=85.0,
        coil_rise_celsius=80.0,
        pull_in_volts=20.0,
        release_volts=2.5,
        is_elsewhere=0.0,
    )
    values = {"contact_ohms": 0.004, "is_bridged": 1.0, "bridge_ohms": 0.02}
    values |= dict.fromkeys(
        (
            "is_stuck_closed",
            "is_stuck_open",
            "is_on_other_contact",
            "is_feed_swapped",
            "is_other_layout",
        ),
        0.0,
    )
    contacts = make_part("contacts", "relay.contacts", "feed", "load")
    contacts = replace(with_values(contacts, values), gate="relay.coil")
    load = make_resistor("load", GROUND, 1.0)

    solved = solve_circuit([make_source("coil-feed", 12.0), coil, contacts, load])

    amps = solved.branch_amps["load-battery.minus"]
    assert amps == pytest.approx(12.0 / 1.02, rel=1e-4)
    assert solved.branch_amps["relay.coil"] == pytest.approx(
        12.0 / (85.0 * 334.5 / 254.5), rel=1e-4
    )
