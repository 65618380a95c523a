"""Battery and starter: what the car runs on while the engine does not.

Good for minutes, not hours: a battery's charge does not fall while it feeds the car.
Leaves default values to knowledge/, and faults (a lost cell, worn brushes) to `faults`,
which change the values read here.
"""

from __future__ import annotations

import numpy as np

from diagnose.circuit.parts.branches import Branch, Setting, columns

# Rest volts of a full 12 V lead-acid battery, which the gassing volts below go with
# (from memory: 2.1 V a cell). [V]
FULL_VOLTS = 12.6

# Volts at which such a battery gasses; with the resistance below it holds an
# unregulated alternator to some 16 to 17 V (from memory: above about 2.45 V a
# cell). [V]
GASSING_VOLTS = 14.9

# Resistance of a battery that gasses, beyond its gassing volts (from memory, as
# above). [Ω]
GASSING_OHMS = 0.02

# Share of its cranking amps that a starter takes more for each 12 V beyond those that
# just turn it: a faster engine takes a little more (own choice, small). [1]
CURRENT_RISE = 0.1


def battery_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a battery: rest volts behind one resistance out, and another in.

    The resistance inwards is its charge acceptance. Surface charge lifts the volts
    without load, and a small current takes it off. Beyond the gassing volts the charge
    turns to gas, and the battery takes what comes.

    Parameters
    ----------
    setting : Setting
        The battery in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from plus to minus; off while the battery is disconnected.
    """
    values = setting.values
    empty, full = values["empty_volts"], values["full_volts"]
    rest_volts = empty + values["state_of_charge"] * (full - empty)
    discharge = 1.0 / values["internal_ohms"]
    charge = 1.0 / values["acceptance_ohms"]
    surface = 1.0 / values["surface_ohms"]
    open_volts = rest_volts + values["surface_volts"]
    gassing_volts = np.maximum(full / FULL_VOLTS * GASSING_VOLTS, open_volts)
    gassing = np.full_like(charge, 1.0 / GASSING_OHMS)
    taken_off = (open_volts - rest_volts) * surface
    accepted = (gassing_volts - open_volts) * charge
    breaks = [rest_volts, open_volts, gassing_volts]
    siemens = [discharge, surface, charge, gassing]
    amps = [
        -rest_volts * discharge - taken_off,
        -open_volts * surface,
        -open_volts * charge,
        accepted - gassing * gassing_volts,
    ]
    if not taken_off.any():
        # a segment without width would only cost a round of solving
        del breaks[0], siemens[1], amps[1]
    is_connected = setting.state.is_battery_connected
    return (
        setting.curve(
            nodes=setting.between("plus", "minus"),
            breaks=columns(*breaks),
            siemens=columns(*siemens),
            amps=columns(*amps),
            forced=np.full(len(charge), 1.0 if is_connected else -1.0),
        ),
    )


def starter_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a starter: a near-constant current, and a resistance while it stands.

    The engine's torque sets the current; volts less current times resistance set the
    speed. Below the volts that turn it, the starter is its resistance. Good as a mean
    over the strokes; in the first tenth of a second it is the resistance.

    Parameters
    ----------
    setting : Setting
        The starter in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from plus to case.
    """
    values = setting.values
    stall = 1.0 / values["stall_ohms"]
    turning_volts = values["cranking_amps"] * values["stall_ohms"]
    rise = CURRENT_RISE * values["cranking_amps"] / (12.0 * setting.scale)
    return (
        setting.curve(
            nodes=setting.between("plus", "case"),
            breaks=turning_volts[:, None],
            siemens=columns(stall, rise),
            amps=columns(
                np.zeros_like(stall), values["cranking_amps"] - rise * turning_volts
            ),
        ),
    )
