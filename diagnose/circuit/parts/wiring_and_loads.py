"""Wires, joints, resistors and diodes, and what they feed: lamps, motors, loads.

Leaves the ohms of a gauge and a length to `wires`, and default values to knowledge/.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.parts.branches import Branch, Setting
from diagnose.circuit.parts.loads import one_way

# Role of the clamp on the battery's grounded post.
GROUNDED_CLAMP = "grounded-clamp"

# What is between the lead of a meter and the clamp that it is put on. [Ω] Own choice:
# less than any meter shows.
LEAD_ON_CLAMP_OHMS = 1e-4


def wire_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a wire: conductor and two joints in series, and insulation to the body.

    Good for direct current that does not heat it: it is as warm as the air.

    Parameters
    ----------
    setting : Setting
        The wire in one state.

    Returns
    -------
    tuple[Branch, ...]
        From a to b, and ``/insulation`` unless it starts at the body; ``/stud`` where
        an end could sit on the stud beside its own, on when it does or touches it.
    """
    values = setting.values
    ohms = (
        values["wire_ohms"]
        + values["joint_a_ohms"]
        + values["joint_b_ohms"]
        + values["extra_ohms"]
    )
    start = setting.part.terminals["a"]
    conductors = _conductors(setting, ohms)
    if start == setting.body:
        return conductors
    insulation = setting.linear(
        values["leak_ohms"], nodes=(start, setting.body), suffix="/insulation"
    )
    return *conductors, insulation


def _conductors(setting: Setting, ohms: FloatArray) -> tuple[Branch, ...]:
    """Return the way through a wire, and that with an end on the wrong stud."""
    nodes = setting.between("a", "b")
    if setting.part.stud_beside is None:
        return (setting.linear(ohms, nodes=nodes),)
    end, stud = setting.part.stud_beside
    is_wrong = setting.values["is_on_wrong_stud"] > 0.5
    is_there = is_wrong | (setting.values["touches_stud"] > 0.5)
    wrong = (stud, nodes[1]) if end == "a" else (nodes[0], stud)
    return (
        setting.linear(ohms, nodes=nodes, forced=np.where(is_wrong, -1.0, 1.0)),
        setting.linear(
            ohms, nodes=wrong, forced=np.where(is_there, 1.0, -1.0), suffix="/stud"
        ),
    )


def joint_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a joint: the resistance of two metals bolted or pressed together.

    Parameters
    ----------
    setting : Setting
        The joint in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    return (
        setting.linear(setting.values["joint_ohms"], nodes=setting.between("a", "b")),
    )


def pin_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a pin of a plug: a joint, and what leaks to the pin beside it.

    Parameters
    ----------
    setting : Setting
        The pin in one state.

    Returns
    -------
    tuple[Branch, ...]
        From a to b, and ``/leak`` to the pin beside it where the plug has another.
    """
    own = joint_branches(setting)
    if setting.part.stud_beside is None:
        return own
    end, beside = setting.part.stud_beside
    return (
        *own,
        setting.linear(
            setting.values["leak_ohms"],
            nodes=(setting.part.terminals[end], beside),
            suffix="/leak",
        ),
    )


def clamp_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a clamp on a post or stud: a joint that all leads on it share.

    With the battery disconnected the grounded clamp is off its post, and the lead that
    ohms are read against is on the clamp: whatever is wrong between the two is not read
    then (own choice of words, by what is done).

    Parameters
    ----------
    setting : Setting
        The clamp in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    ohms = setting.values["joint_ohms"]
    is_off = not setting.state.is_battery_connected
    if is_off and setting.part.role == GROUNDED_CLAMP:
        ohms = np.full(len(ohms), LEAD_ON_CLAMP_OHMS)
    return (setting.linear(ohms, nodes=setting.between("a", "b")),)


def resistor_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a resistor.

    Parameters
    ----------
    setting : Setting
        The resistor in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    return (setting.linear(setting.values["ohms"], nodes=setting.between("a", "b")),)


def diode_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a diode: it blocks below its forward volts, then a small resistance.

    Good within .1 V from a hundredth of its rated current to all of it (from memory).

    Parameters
    ----------
    setting : Setting
        The diode in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    on, shorted = 1.0 / values["on_ohms"], values["is_shorted"] > 0.5
    return (
        one_way(
            setting,
            siemens=on,
            knee_volts=np.where(shorted, 0.0, values["forward_volts"]),
            back_siemens=np.where(shorted, on, 0.0),
        ),
    )
