"""Relays and switch contacts, wired right and wrong, on the bench.

Each test names its source and its basis: read (in the document), copy (in a secondary
copy), memory, rule (of the trade), or by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.changes.base_case import Changes
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.solver.network import Slots
from diagnose.circuit.solver.operating_point import Start
from diagnose.circuit.solver.point_solver import (
    OperatingPointSolver,
    solve_operating_point,
)
from diagnose.circuit.tolerance_draws import Sample
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    SolvedCircuit,
    make_car,
    make_part,
    make_resistor,
    make_source,
    solve_circuit,
)

LOAD_OHMS = 2.0
PULL_IN_VOLTS = 7.5
RELEASE_VOLTS = 2.5
COIL_OHMS = 85.0
# Data sheets of three 12 V relays for cars: operate at 7.2, 8.0 and 8.4 V or less,
# release at 1.2 V or more, 75 to 100 ohm.


def make_coil(
    first: str, last: str, *, celsius: float = 20.0, is_elsewhere: float = 0.0
) -> Part:
    return make_part(
        "coil",
        "relay.coil",
        first,
        last,
        coil_ohms=COIL_OHMS,
        coil_rise_celsius=celsius - 20.0,
        pull_in_volts=PULL_IN_VOLTS,
        release_volts=RELEASE_VOLTS,
        is_elsewhere=is_elsewhere,
    )


def make_contacts(
    *nodes: str,
    is_on_other_contact: float = 0.0,
    is_feed_swapped: float = 0.0,
    is_bridged: float = 0.0,
    is_other_layout: float = 0.0,
) -> Part:
    """Return relay contacts; a third node is where the feed is when swapped."""
    return make_part(
        "contacts",
        f"relay.contacts-{nodes[1]}",
        *nodes,
        gate="relay.coil",
        contact_ohms=0.004,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        is_on_other_contact=is_on_other_contact,
        is_feed_swapped=is_feed_swapped,
        is_bridged=is_bridged,
        bridge_ohms=0.02,
        is_other_layout=is_other_layout,
    )


def make_rest_contact(*, is_feed_swapped: float) -> Part:
    """Return the contact from 30 to 87a; 87 is where the feed is when swapped."""
    contacts = make_contacts("30", "87a", "87", is_feed_swapped=is_feed_swapped)
    return replace(contacts, is_normally_closed=True)


def make_diode(*, shorted: bool = False, is_reversed: bool = False) -> Part:
    """Return the suppression diode, its band on 86."""
    return make_part(
        "diode",
        "relay.diode",
        "85",
        "86",
        forward_volts=0.7,
        on_ohms=0.05,
        is_shorted=float(shorted),
        is_open=0.0,
        is_reversed=float(is_reversed),
    )


def make_contact(name: str, first: str, last: str, *positions: str) -> Part:
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
        fails_in_crank=float(name == "dead-in-crank"),
        fails_in_run=float(name == "dead-in-run"),
    )


def relay_circuit(
    *parts: Part, volts: float = 12.0, feed_ohms: float = 0.2
) -> list[Part]:
    """Return a relay whose coil is fed in run, with a load on 87 and the given parts.

    The load's feed sits on 30; the coil's goes through `feed_ohms` to 86.
    """
    return [
        make_source("battery.plus", volts),
        make_contact("key-contact", "battery.plus", "key.run", "run"),
        make_resistor("key.run", "86", feed_ohms),
        make_resistor("85", GROUND, 0.01),
        make_resistor("battery.plus", "30", 0.01),
        make_resistor("87", GROUND, LOAD_OHMS, name="load"),
        *parts,
    ]


def sound_relay() -> tuple[Part, Part]:
    return make_coil("86", "85"), make_contacts("30", "87")


def load_amps(solved: SolvedCircuit) -> float:
    return solved.branch_amps["load"]


def test_diode_with_its_band_on_the_fed_side_takes_no_current() -> None:
    solved = solve_circuit(relay_circuit(*sound_relay(), make_diode()))

    assert solved.branch_amps["relay.diode"] == pytest.approx(0.0, abs=1e-9)
    assert load_amps(solved) > 5.9


def test_swapped_coil_ends_without_a_diode_change_nothing() -> None:
    right = solve_circuit(relay_circuit(*sound_relay()))

    wrong = solve_circuit(
        relay_circuit(make_coil("85", "86"), make_contacts("30", "87"))
    )

    assert load_amps(wrong) == pytest.approx(load_amps(right), rel=1e-12)


def test_swapped_coil_ends_with_a_diode_short_the_feed() -> None:
    # By hand: .21 ohm of wires, .01 of the key contact and .05 of the diode in line
    # with .7 V: (12 - .7) / .27 = 41.9 A, where a sound coil takes .14 A.
    solved = solve_circuit(relay_circuit(*sound_relay(), make_diode(is_reversed=True)))

    assert solved.branch_amps["key-contact"] == pytest.approx(41.9, rel=0.01)
    assert load_amps(solved) == pytest.approx(0.0, abs=1e-6)


def test_shorted_diode_leaves_the_coil_without_volts() -> None:
    # By hand: 12 V x .05 / .27 = 2.2 V across the diode, too little to pull in.
    solved = solve_circuit(relay_circuit(*sound_relay(), make_diode(shorted=True)))

    assert solved.drop_volts("86", "85") == pytest.approx(2.22, rel=0.01)
    assert load_amps(solved) == pytest.approx(0.0, abs=1e-6)


def test_reversed_diode_is_not_a_shorted_one_to_a_meter() -> None:
    # By hand: behind 100 ohm the shorted one drops 6 mV, the reversed one .7 V.
    drops = [
        solve_circuit(relay_circuit(*sound_relay(), diode, feed_ohms=100.0)).drop_volts(
            "86", "85"
        )
        for diode in (make_diode(shorted=True), make_diode(is_reversed=True))
    ]

    assert drops == pytest.approx([0.006, 0.70], abs=0.01)


# 30 and 87 exchanged: the contact doesn't care which way the current goes (by hand).
def test_swapped_feed_and_load_change_nothing_without_87a() -> None:
    right = solve_circuit(relay_circuit(*sound_relay()))

    wrong = solve_circuit(
        relay_circuit(make_coil("86", "85"), make_contacts("87", "30"))
    )

    assert load_amps(wrong) == pytest.approx(load_amps(right), rel=1e-12)


# By hand: at rest the common contact joins 87a to what lies on 30. Exchanged, that is
# the wire of the other load, which has no volts; energised, 87a is open either way.
@pytest.mark.parametrize(
    ("is_swapped", "state", "amps"),
    [(0.0, KEY_OFF, 6.0), (0.0, KEY_ON, 0.0), (1.0, KEY_OFF, 0.0), (1.0, KEY_ON, 0.0)],
)
def test_swapped_feed_and_load_leave_87a_dead_at_rest(
    is_swapped: float, state: OperatingState, amps: float
) -> None:
    rest_load = make_resistor("87a", GROUND, LOAD_OHMS, name="rest-load")

    solved = solve_circuit(
        [
            *relay_circuit(*sound_relay()),
            make_rest_contact(is_feed_swapped=is_swapped),
            rest_load,
        ],
        state,
    )

    assert solved.branch_amps["rest-load"] == pytest.approx(amps, rel=0.02, abs=1e-6)


def test_swapped_feed_and_load_tie_the_two_loads_together_at_rest() -> None:
    # 10 V from elsewhere on the load of 87 reaches the load of 87a.
    solved = solve_circuit(
        [
            *relay_circuit(*sound_relay()),
            make_rest_contact(is_feed_swapped=1.0),
            make_resistor("87a", GROUND, LOAD_OHMS, name="rest-load"),
            make_source("87", 10.0),
        ],
        KEY_OFF,
    )

    assert solved.drop_volts("87a") == pytest.approx(10.0, rel=0.01)


# By hand: 12 V over 2 ohm and 14 milliohm.
@pytest.mark.parametrize(
    ("is_on_87a", "state", "amps"),
    [
        (0.0, KEY_OFF, 0.0),
        (0.0, KEY_ON, 5.96),
        (1.0, KEY_OFF, 5.96),
        (1.0, KEY_ON, 0.0),
    ],
)
def test_load_on_87a_runs_while_the_relay_rests(
    is_on_87a: float, state: OperatingState, amps: float
) -> None:
    contacts = make_contacts("30", "87", is_on_other_contact=is_on_87a)

    solved = solve_circuit(relay_circuit(make_coil("86", "85"), contacts), state)

    assert load_amps(solved) == pytest.approx(amps, rel=0.01, abs=1e-6)


# By hand: 87 touches 86, and 85 is not grounded, so the relay rests; the load draws its
# current through the coil's feed of .2 ohm, the bridge of .02 and the key's contact.
def test_bridge_from_87_to_86_feeds_the_load_while_the_relay_rests() -> None:
    parts = relay_circuit(
        make_coil("86", "unearthed"), make_contacts("30", "87", is_bridged=1.0)
    )

    solved = solve_circuit(parts, KEY_ON)

    expected = 12.0 / (LOAD_OHMS + 0.2 + 0.02 + 0.01)
    assert load_amps(solved) == pytest.approx(expected, rel=1e-4)


# By hand: a relay whose pins 30 and 86 are exchanged has its coil across 30 and 85, so
# that it is pulled in with the key off; its contacts then lead from 86 to 87, and the
# load draws through the coil's feed of .2 ohm and the key's contact of .01.
@pytest.mark.parametrize(
    ("state", "amps"), [(KEY_OFF, 0.0), (KEY_ON, 12.0 / (LOAD_OHMS + 0.2 + 0.014))]
)
def test_relay_of_the_other_pin_layout_feeds_the_load_from_86(
    state: OperatingState, amps: float
) -> None:
    parts = relay_circuit(
        make_coil("86", "85", is_elsewhere=1.0),
        make_contacts("30", "87", is_other_layout=1.0),
    )

    solved = solve_circuit(parts, state)

    assert load_amps(solved) == pytest.approx(amps, rel=1e-3, abs=1e-6)
    # 12 V across 85 ohm, whatever the key does
    coil = solved.branch_amps["relay.contacts-87/layout-coil"]
    assert coil == pytest.approx(12.0 / COIL_OHMS, rel=1e-2)


# By hand: 85 / (85 + 60) of 12 V is 7.0 V, under the 7.5 V to pull in; of 14.2 V it is
# 8.3 V. 60 ohm are a 3 W lamp's at 13.5 V.
@pytest.mark.parametrize(("volts", "amps"), [(12.0, 0.0), (14.2, 7.05)])
def test_coil_fed_through_a_lamp_pulls_in_only_while_charging(
    volts: float, amps: float
) -> None:
    solved = solve_circuit(relay_circuit(*sound_relay(), volts=volts, feed_ohms=60.0))

    assert load_amps(solved) == pytest.approx(amps, rel=0.01, abs=1e-6)


# Data sheets of three 12 V relays: the middle one operates at 8.0 V or less; all of
# them release at 1.2 V or more, and 1.0 V is under that.
@pytest.mark.parametrize(("volts", "is_closed"), [(8.0, True), (1.0, False)])
def test_relay_operates_by_eight_volts_and_not_at_one(
    volts: float, is_closed: bool
) -> None:
    parts = [
        make_source("86", volts),
        make_coil("86", GROUND),
        make_source("30", 12.0),
        make_contacts("30", "87"),
        make_resistor("87", GROUND, LOAD_OHMS, name="load"),
    ]

    assert (load_amps(solve_circuit(parts)) > 1.0) is is_closed


# Data sheets of two 12 V relays: 50 mV at 10 A, typical.
def test_sound_contact_drops_under_fifty_millivolts_at_ten_amps() -> None:
    solved = solve_circuit(
        [
            make_source("86", 12.0),
            make_coil("86", GROUND),
            make_source("30", 12.0),
            make_contacts("30", "87"),
            make_resistor("87", GROUND, 1.196, name="load"),
        ]
    )

    assert load_amps(solved) == pytest.approx(10.0, rel=1e-3)
    assert solved.drop_volts("30", "87") <= 0.050


# FAA AC 43.13-1B p. 11-22 (read): copper goes with 234.5 + T; 120 degC is 1.393 times
# 20 degC, so 85 ohm are 118 ohm and 7.5 V are 10.4 V.
@pytest.mark.parametrize(("volts", "is_closed"), [(10.3, False), (10.6, True)])
def test_hot_coil_takes_more_volts_to_pull_in(volts: float, is_closed: bool) -> None:
    hot = make_coil("86", "85", celsius=120.0)

    solved = solve_circuit(
        relay_circuit(hot, make_contacts("30", "87"), volts=volts, feed_ohms=0.01)
    )

    assert (load_amps(solved) > 1.0) is is_closed
    ohms = solved.drop_volts("86", "85") / solved.branch_amps["relay.coil"]
    assert ohms == pytest.approx(118.4, rel=1e-3)


# Rule of the trade: a feed on a run-only contact dies in crank, one on the bypass
# contact dies in run.
@pytest.mark.parametrize(
    ("contact", "state", "volts"),
    [
        ("dead-in-run", KEY_ON, 0.0),
        ("dead-in-run", CRANKING, 12.0),
        ("dead-in-crank", KEY_ON, 12.0),
        ("dead-in-crank", CRANKING, 0.0),
    ],
)
def test_contact_is_live_in_the_one_position_left(
    contact: str, state: OperatingState, volts: float
) -> None:
    solved = solve_circuit(
        [
            make_source("battery.plus", 12.0),
            make_contact(contact, "battery.plus", "feed", "run", "crank"),
            make_resistor("feed", GROUND, 12.0),
        ],
        state,
    )

    assert solved.drop_volts("feed") == pytest.approx(volts, abs=0.02)


def ignition_with_bypass(*, is_bypassed: bool) -> list[Part]:
    """Return a 1.5 ohm coil behind 1.5 ohm, on a battery at 9.6 V while cranking."""
    bypass = make_contact("bypass", "battery.plus", "coil.plus", "crank")
    return [
        make_source("battery.plus", 9.6),
        make_contact("key-contact", "battery.plus", "key.run", "run", "crank"),
        make_resistor("key.run", "coil.plus", 1.5),
        make_resistor("coil.plus", GROUND, 1.5),
        *([bypass] if is_bypassed else []),
    ]


# Rule of the trade: full volts by the bypass contact. By hand: half of 9.6 V without
# it, less the contact's 10 milliohm; 7 V is what an ignition needs.
@pytest.mark.parametrize(("is_bypassed", "volts"), [(True, 9.54), (False, 4.78)])
def test_dead_bypass_contact_halves_the_coils_volts_in_crank(
    is_bypassed: bool, volts: float
) -> None:
    solved = solve_circuit(ignition_with_bypass(is_bypassed=is_bypassed), CRANKING)

    assert solved.drop_volts("coil.plus") == pytest.approx(volts, abs=0.01)


def buzzer() -> list[Part]:
    """Return a coil fed through its own contact at rest: it can't come to rest."""
    rest = replace(make_contacts("30", "86"), is_normally_closed=True)
    return [make_source("30", 12.0), make_coil("86", GROUND), rest]


def test_relay_that_cuts_its_own_feed_is_reported_as_chatter() -> None:
    network = CarModel(make_car(buzzer()), Sample(n_draws=1)).network(KEY_ON)

    point = solve_operating_point(network)

    contacts = network.branch_indices()["relay.contacts-86"]
    assert not point.is_settled.any()
    assert point.is_chattering[0].nonzero()[0].tolist() == [contacts]


# Rule here: pulled in, let go, pulled in, let go again, and it is left at that.
def test_a_relay_that_chatters_is_left_after_it_has_let_go_twice() -> None:
    network = CarModel(make_car(buzzer()), Sample(n_draws=1)).network(KEY_ON)

    point = solve_operating_point(network)

    contacts = network.branch_indices()["relay.contacts-86"]
    assert point.flips[0, contacts] == 4
    assert not point.is_on[0, contacts]


def test_chattering_contacts_are_neither_open_nor_closed() -> None:
    network = CarModel(make_car(buzzer()), Sample(n_draws=1)).network(KEY_ON)
    solver = CompensationSolver(network)
    contacts = np.array([network.branch_indices()["relay.contacts-86"]])
    coil = np.array([[network.branch_indices()["relay.coil"]]])
    unchanged = network.curves[:, coil[0]]

    solved = solver.solve(np.zeros(1, dtype=int), Slots(branch=coil, curves=unchanged))

    assert solved.branch_conducts(contacts).tolist() == [[0.5]]


# Where gates may rest is given to find that out sooner: it must not decide it.
@pytest.mark.parametrize("goal", [False, True])
@pytest.mark.parametrize("volts", [12.0, 3.0])
def test_a_relay_ends_where_its_volts_put_it_whatever_is_expected(
    volts: float, goal: bool
) -> None:
    parts = [
        make_source("30", volts),
        make_coil("30", GROUND),
        make_contacts("30", "87"),
        make_resistor("87", GROUND, LOAD_OHMS, name="load"),
    ]
    network = CarModel(make_car(parts), Sample(n_draws=1)).network(KEY_ON)
    solver, draw = OperatingPointSolver(network), np.zeros(1, dtype=np.int64)
    nothing = Slots(
        branch=np.full((1, 1), -1), curves=np.zeros((1, 1, network.curves.shape[2]))
    )
    is_pulled_in = volts > PULL_IN_VOLTS

    for begins in (False, True):
        start = Start(solver.base.segment, network.has_gate[None] & begins)
        is_on, is_settled = solver.ends(
            draw, nothing, network.has_gate[None] & goal, start=start
        )
        # 3 V hold a relay that is in: they are between release and pull-in
        expected = is_pulled_in or begins
        assert is_settled.all()
        assert is_on[0, network.has_gate].tolist() == [expected]


def test_relay_that_pulls_its_feed_down_chatters() -> None:
    # By hand: the load of 2 ohm behind 10 ohm leaves 2.0 V for the coil, under its 2.5
    # V to release; without the load it has 12 x 85/95 = 10.7 V.
    parts = [
        make_source("battery.plus", 12.0),
        make_resistor("battery.plus", "30", 10.0),
        make_coil("30", GROUND),
        make_contacts("30", "87"),
        make_resistor("87", GROUND, LOAD_OHMS, name="load"),
    ]
    network = CarModel(make_car(parts), Sample(n_draws=1)).network(KEY_ON)

    assert not solve_operating_point(network).is_settled.any()


def test_point_that_comes_to_rest_without_a_change_is_its_base_case() -> None:
    parts = make_car(relay_circuit(*sound_relay()))
    network = CarModel(parts, Sample(n_draws=1)).network(KEY_ON)
    solver = CompensationSolver(network)
    none = np.zeros((1, 0))
    changes = Changes(
        draw=np.array([0]),
        branch=none.astype(np.int64),
        siemens=none,
        amps=none,
        is_conducting=none.astype(np.bool_),
        control_volts=none,
        compensating_amps=none,
        is_sound=np.ones(1, dtype=np.bool_),
    )

    volts = solver.base_case.node_volts(changes)

    assert volts.tolist() == solver.base_case.base.volts[[0]].tolist()
