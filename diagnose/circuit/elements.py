"""The table of kinds: what every kind of part has, and what it becomes in the circuit.

A kind is added here, with its terminals, the values it reads, and its function in
`parts`. What other packages ask of a kind as such (does it take current, does it come
out of its socket) is declared here too, once.

A fault mode is a change of a part's values: opens, shorts, wear and wrong parts go one
way, and no function in `parts` knows a fault. Leaves default values to knowledge/.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from diagnose.circuit.parts.alternator import alternator_branches
from diagnose.circuit.parts.battery_and_starter import (
    battery_branches,
    starter_branches,
)
from diagnose.circuit.parts.branches import Branch, Setting
from diagnose.circuit.parts.electronics import controller_branches, driver_branches
from diagnose.circuit.parts.loads import (
    electronics_branches,
    lamp_branches,
    led_lamp_branches,
    load_branches,
    motor_branches,
    no_branches,
)
from diagnose.circuit.parts.switching import (
    coil_branches,
    contacts_branches,
    protection_branches,
    switch_contact_branches,
)
from diagnose.circuit.parts.wiring_and_loads import (
    clamp_branches,
    diode_branches,
    joint_branches,
    pin_branches,
    resistor_branches,
    wire_branches,
)
from diagnose.circuit.protection import OPENING_PARAMETERS, PROTECTIVE_KINDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """One kind of part.

    Parameters
    ----------
    terminals, optional_terminals : tuple[str, ...]
        Names of its terminals; the first two are those its main current flows between.
    parameters : tuple[str, ...]
        Values it reads, each with the unit at the end of its name.
    branches : Callable[[Setting], tuple[Branch, ...]]
        How it becomes branches.
    needs_gate : bool
        Another part switches it (contacts: the coil; an output: its controller).
    follows_state : bool
        What it becomes depends on the operating state.
    has_ground_side : bool
        Its first terminal is the one away from ground and counts as the positive one;
        in a positive-ground car it is the other way round.
    is_consumer : bool
        It takes current for what it does: loads, coils, controllers, the starter.
    is_load : bool
        A consumer that a circuit is built for: lamps, motors and other loads.
    is_pluggable : bool
        It has a plug, a socket or a holder, and is out where all of those are (links
        are crimped, and controllers stay plugged in: a rule of the trade).
    is_electronic : bool
        Semiconductors are between its terminals, so that ohms read there mean nothing
        (a rule of the trade).
    """

    terminals: tuple[str, ...]
    parameters: tuple[str, ...]
    branches: Callable[[Setting], tuple[Branch, ...]]
    optional_terminals: tuple[str, ...] = ()
    needs_gate: bool = False
    follows_state: bool = False
    has_ground_side: bool = False
    is_consumer: bool = False
    is_load: bool = False
    is_pluggable: bool = False
    is_electronic: bool = False


# Terminals of what has two, and parameters of whatever may stick.
_AB = ("a", "b")
_STUCK = ("is_stuck_closed", "is_stuck_open")


def _protection(kind: str) -> Element:
    """Return a kind that opens by its current."""
    return Element(
        terminals=_AB,
        parameters=(
            "rating_amps",
            "ohms",
            "is_blown",
            "blow_factor",
            *OPENING_PARAMETERS,
            "is_self_resetting",
        ),
        branches=protection_branches,
        follows_state=True,
        is_pluggable=kind != "fusible-link",
    )


# Every kind of part that a car may have, by the name it has in files.
ELEMENTS: Mapping[str, Element] = {
    "battery": Element(
        terminals=("plus", "minus"),
        parameters=(
            "state_of_charge",
            "empty_volts",
            "full_volts",
            "internal_ohms",
            "acceptance_ohms",
            "surface_volts",
            "surface_ohms",
        ),
        branches=battery_branches,
        follows_state=True,
    ),
    "alternator": Element(
        terminals=("output", "case"),
        optional_terminals=("sense", "exciter", "rectifier"),
        parameters=(
            "set_volts",
            "droop_volts",
            "rated_amps",
            "cut_in_rpm",
            "speed_constant_rpm",
            "pulley_ratio",
            "field_ohms",
            "is_working",
            "sense_error_volts",
            "sense_limit_volts",
            "sense_backup_volts",
            "belt_amps_per_rpm",
            "ripple_ohms",
            "diode_leak_ohms",
        ),
        branches=alternator_branches,
        has_ground_side=True,
        follows_state=True,
    ),
    "starter": Element(
        terminals=("plus", "case"),
        parameters=("cranking_amps", "stall_ohms"),
        branches=starter_branches,
        has_ground_side=True,
        is_consumer=True,
    ),
    "coil": Element(
        terminals=_AB,
        parameters=(
            "coil_ohms",
            "coil_rise_celsius",
            "pull_in_volts",
            "release_volts",
            "is_elsewhere",
        ),
        branches=coil_branches,
        is_consumer=True,
        is_pluggable=True,
    ),
    "contacts": Element(
        terminals=_AB,
        optional_terminals=("swapped",),
        parameters=(
            "contact_ohms",
            *_STUCK,
            "is_on_other_contact",
            "is_feed_swapped",
            "is_bridged",
            "bridge_ohms",
            "is_other_layout",
        ),
        branches=contacts_branches,
        needs_gate=True,
        is_pluggable=True,
    ),
    "switch-contact": Element(
        terminals=_AB,
        parameters=("contact_ohms", *_STUCK, "fails_in_crank", "fails_in_run"),
        branches=switch_contact_branches,
        follows_state=True,
    ),
    "controller": Element(
        terminals=("supply", "ground"),
        parameters=(
            "supply_amps",
            "reset_volts",
            "restart_volts",
            "rest_ohms",
            "is_working",
        ),
        branches=controller_branches,
        has_ground_side=True,
        follows_state=True,
        is_consumer=True,
        is_electronic=True,
    ),
    "driver": Element(
        terminals=("out", "return"),
        parameters=("on_ohms", "limit_amps", *_STUCK, "is_short_proof"),
        branches=driver_branches,
        has_ground_side=True,
        needs_gate=True,
        follows_state=True,
        is_electronic=True,
    ),
    **{kind: _protection(kind) for kind in PROTECTIVE_KINDS},
    "wire": Element(
        terminals=_AB,
        parameters=(
            "wire_ohms",
            "joint_a_ohms",
            "joint_b_ohms",
            "leak_ohms",
            "extra_ohms",
            "is_on_wrong_stud",
            "touches_stud",
        ),
        branches=wire_branches,
    ),
    "joint": Element(
        terminals=_AB, parameters=("joint_ohms",), branches=joint_branches
    ),
    "clamp": Element(
        terminals=_AB,
        parameters=("joint_ohms",),
        branches=clamp_branches,
        follows_state=True,
    ),
    "pin": Element(
        terminals=_AB, parameters=("joint_ohms", "leak_ohms"), branches=pin_branches
    ),
    "resistor": Element(
        terminals=_AB, parameters=("ohms",), branches=resistor_branches
    ),
    "diode": Element(
        terminals=_AB,
        parameters=(
            "forward_volts",
            "on_ohms",
            "is_shorted",
            "is_open",
            "is_reversed",
        ),
        branches=diode_branches,
    ),
    "lamp": Element(
        terminals=_AB,
        parameters=("lamp_watts", "lamp_volts", "cold_factor", "is_open"),
        branches=lamp_branches,
        has_ground_side=True,
        follows_state=True,
        is_consumer=True,
        is_load=True,
        is_pluggable=True,
    ),
    "led-lamp": Element(
        terminals=_AB,
        parameters=("led_watts", "led_volts", "knee_volts", "is_open", "is_reversed"),
        branches=led_lamp_branches,
        has_ground_side=True,
        is_consumer=True,
        is_load=True,
        is_pluggable=True,
    ),
    "motor": Element(
        terminals=_AB,
        parameters=(
            "motor_amps",
            "motor_volts",
            "is_open",
            "is_stalled",
            "stall_factor",
            "brush_factor",
            "load_factor",
        ),
        branches=motor_branches,
        follows_state=True,
        is_consumer=True,
        is_load=True,
        is_pluggable=True,
    ),
    "load": Element(
        terminals=_AB,
        parameters=(
            "load_amps",
            "load_volts",
            "is_open",
            "load_factor",
            "standing_amps",
            "pulse_share",
        ),
        branches=load_branches,
        follows_state=True,
        is_consumer=True,
        is_load=True,
        is_pluggable=True,
    ),
    "electronics": Element(
        terminals=_AB,
        parameters=(
            "load_amps",
            "load_volts",
            "is_open",
            "load_factor",
            "standing_amps",
            "rest_ohms",
        ),
        branches=electronics_branches,
        follows_state=True,
        is_consumer=True,
        is_load=True,
        is_pluggable=True,
        is_electronic=True,
    ),
    "engine": Element(terminals=(), parameters=(), branches=no_branches),
    # these are wholes of parts that have branches
    "battery-bank": Element(
        terminals=(),
        optional_terminals=("plus", "minus"),
        parameters=(),
        branches=no_branches,
    ),
    "plug": Element(terminals=(), parameters=(), branches=no_branches),
    "run": Element(terminals=(), parameters=(), branches=no_branches),
}

# Kinds that take current for what they do.
CONSUMER_KINDS = frozenset(
    kind for kind, element in ELEMENTS.items() if element.is_consumer
)

# Consumers that a circuit is built for; coils, controllers and the starter are none.
LOAD_KINDS = frozenset(kind for kind, element in ELEMENTS.items() if element.is_load)
