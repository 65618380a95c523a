"""What opens and closes: coils, relay contacts, switches, fuses, links and breakers.

A wire on the wrong terminal is a value of the part: contacts that work the other way
round, a branch from the wrong terminal that is normally open. Wiring errors are then
fault modes like any other, and no solver knows them.

Leaves controllers and their outputs to `electronics`, how long a fuse holds to
`protection`, and default values to knowledge/.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.parts.branches import (
    Branch,
    Gate,
    Protection,
    Setting,
    Values,
    columns,
)
from diagnose.circuit.protection import (
    OPENING_PARAMETERS,
    opening_a2s,
    opening_multiple,
)
from diagnose.circuit.wires import REFERENCE_CELSIUS, copper_warmth

# What a coil has that sits at other pins: no current. [Ω] As an open circuit.
ELSEWHERE_OHMS = 1e9


def coil_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a coil: copper at its own temperature.

    Good once its current has risen, after some 10 ms.

    Parameters
    ----------
    setting : Setting
        The coil in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b; without current where the relay in the socket has its
        coil at other pins.
    """
    values = setting.values
    ohms = np.where(
        values["is_elsewhere"] > 0.5, ELSEWHERE_OHMS, _own_coil_ohms(values)
    )
    return (setting.linear(ohms, nodes=setting.between("a", "b")),)


def _own_coil_ohms(values: Values) -> FloatArray:
    """Return the ohms of a coil, wherever its pins are."""
    return values["coil_ohms"] * _coil_warmth(values)


def _coil_warmth(values: Values) -> FloatArray:
    """Return what a coil's own heat does to its ohms and to the volts it needs."""
    return copper_warmth(REFERENCE_CELSIUS + values["coil_rise_celsius"])


def contacts_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return relay or solenoid contacts, switched by the volts across the coil.

    The armature moves at a certain current, so a warm coil takes more volts. Good for
    contacts that do not arc: all relays move at once, in no time.

    Parameters
    ----------
    setting : Setting
        The contacts in one state, the coil as `gate_part`.

    Returns
    -------
    tuple[Branch, ...]
        From the feed to b; ``/swapped`` from the terminal of the other contact, on
        where the feed sits there; ``/bridge`` from b to the coil's feed;
        ``/layout`` and ``/layout-coil`` where a relay of the other pin layout, 30 and
        86 exchanged, is in the socket.

    Raises
    ------
    ValueError
        If no coil is given.
    """
    if setting.gate_part is None or setting.gate_values is None:
        raise ValueError(f"contacts {setting.part.name} have no coil")
    coil = setting.gate_part.terminals
    warmth = _coil_warmth(setting.gate_values)
    values = setting.values
    gate = Gate(
        watch=(coil["a"], coil["b"]),
        on_volts=setting.gate_values["pull_in_volts"] * warmth,
        off_volts=setting.gate_values["release_volts"] * warmth,
        is_inverted=(values["is_on_other_contact"] > 0.5)
        != setting.part.is_normally_closed,
    )
    is_swapped = values["is_feed_swapped"] > 0.5
    is_other = values["is_other_layout"] > 0.5
    free = np.zeros(len(is_swapped))
    switched = (
        setting.linear(
            values["contact_ohms"],
            nodes=setting.between(first, "b"),
            forced=np.where(is_there, with_stuck(values, free), -1.0),
            gate=gate,
            suffix=suffix,
        )
        for first, is_there, suffix in (
            ("a", ~is_swapped & ~is_other, ""),
            ("swapped", is_swapped, "/swapped"),
        )
        if first in setting.part.terminals
    )
    return *switched, *_bridge(setting, coil["a"]), *_other_layout(setting)


def _bridge(setting: Setting, coil_feed: str) -> tuple[Branch, ...]:
    """Return the way from 87 to 86 that is there if the two touch in the socket."""
    output = setting.part.terminals["b"]
    if setting.part.is_normally_closed or output == coil_feed:
        return ()
    is_there = setting.values["is_bridged"] > 0.5
    return (
        setting.linear(
            setting.values["bridge_ohms"],
            nodes=(output, coil_feed),
            forced=np.where(is_there, 1.0, -1.0),
            suffix="/bridge",
        ),
    )


def _other_layout(setting: Setting) -> tuple[Branch, ...]:
    """Return coil and contacts of a relay whose pins 30 and 86 are exchanged.

    Its coil is across 30 and 85 of the socket, its contacts between 86 and 87. Good
    where 30 is fed and 85 grounded: it is pulled in as long as there is a feed.
    """
    part, coil = setting.part, setting.gate_part
    if part.is_normally_closed or coil is None or setting.gate_values is None:
        return ()
    feed, trigger = part.terminals["a"], coil.terminals["a"]
    if feed == trigger:
        return ()
    is_there = np.where(setting.values["is_other_layout"] > 0.5, 1.0, -1.0)
    return (
        setting.linear(
            setting.values["contact_ohms"],
            nodes=(trigger, part.terminals["b"]),
            forced=is_there,
            suffix="/layout",
        ),
        setting.linear(
            _own_coil_ohms(setting.gate_values),
            nodes=(feed, coil.terminals["b"]),
            forced=is_there,
            suffix="/layout-coil",
        ),
    )


def switch_contact_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return one contact of a switch: closed in some of its positions.

    Parameters
    ----------
    setting : Setting
        The contact in one state, with the position of its switch.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    is_closed = setting.position in setting.part.closed_in
    forced = np.full(len(values["contact_ohms"]), 1.0 if is_closed else -1.0)
    fails = "fails_in_crank" if setting.state.is_cranking else "fails_in_run"
    forced = np.where(values[fails] > 0.5, -1.0, forced)
    return (
        setting.linear(
            values["contact_ohms"],
            nodes=setting.between("a", "b"),
            forced=with_stuck(values, forced),
        ),
    )


def with_stuck(values: Values, forced: FloatArray) -> FloatArray:
    """Return what forces a branch on or off, stuck contacts put in.

    Parameters
    ----------
    values : Values
        With ``is_stuck_closed`` and ``is_stuck_open``; stuck open wins.
    forced : FloatArray
        As in `Branch` for what is not stuck, shape (n_draws,).

    Returns
    -------
    FloatArray
        Same shape.
    """
    forced = np.where(values["is_stuck_closed"] > 0.5, 1.0, forced)
    return np.where(values["is_stuck_open"] > 0.5, -1.0, forced)


def protection_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a fuse, link or breaker: a small resistance that opens by its current.

    Parameters
    ----------
    setting : Setting
        The part in one state, which lasts for so many seconds.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    rating = values["rating_amps"] * values["blow_factor"]
    seconds = columns(*(values[name] for name in OPENING_PARAMETERS))
    return (
        setting.linear(
            values["ohms"],
            nodes=setting.between("a", "b"),
            forced=np.where(values["is_blown"] > 0.5, -1.0, 1.0),
            protection=Protection(
                trip_amps=rating
                * opening_multiple(setting.state.lasts_seconds, seconds),
                a2s=opening_a2s(rating, seconds),
                resets_itself=values["is_self_resetting"],
            ),
        ),
    )
