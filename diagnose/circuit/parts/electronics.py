"""Controllers and their outputs, and how they reset at low volts.

An output that is first asked for in a state is up as its controller is: both have one
gate, though two branches; with a gate of its own an output would have to find the
restart volts again.

Leaves which outputs are commanded in a state to the car file, and default values to
knowledge/.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.circuit.parts.branches import (
    Branch,
    Gate,
    Protection,
    Setting,
    Values,
    columns,
)
from diagnose.circuit.parts.switching import with_stuck

# Volts below which a 12 V controller takes less than its constant current: a few, far
# below its reset (own choice). [V]
KNEE_VOLTS = 3.0

# A controller in reset still draws a few milliamperes; without that an open feed would
# float up to the battery's volts through the insulation (from memory). [Ω]
STANDBY_OHMS = 2e3

# Slope of an output at its current limit: nearly flat, yet not so flat that its volts
# are undecided (own choice). [S]
DRIVER_LIMIT_SIEMENS = 1e-3

# A relay-driver transistor at its limit turns some 15 W into heat and is gone within a
# second or so (from memory). [s]
BURNING_SECONDS = 1.0


def controller_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a controller: a constant current while up, a small standby load always.

    It starts in reset, so it needs its restart volts. While cranking that is what the
    starter's inrush leaves: where the steady volts lie between reset and restart, those
    of the first moment lie below the reset. Good within a third: some supplies take
    more amps at less volts (from memory). With the battery disconnected its ohms are
    drawn from a range that tells nothing, as for `electronics_branches`.

    Parameters
    ----------
    setting : Setting
        The controller in one state.

    Returns
    -------
    tuple[Branch, ...]
        From supply to ground: its current, gated, and ``/standby``.
    """
    values = setting.values
    supply = values["supply_amps"]
    none = np.zeros_like(supply)
    knee_volts = np.full_like(supply, KNEE_VOLTS * setting.scale)
    return (
        setting.curve(
            nodes=setting.between("supply", "ground"),
            breaks=knee_volts[:, None],
            siemens=columns(supply / knee_volts, none),
            amps=columns(none, supply),
            forced=np.where(values["is_working"] > 0.5, 0.0, -1.0),
            gate=_up_gate(setting.part.terminals, values),
        ),
        setting.linear(
            np.full_like(supply, STANDBY_OHMS)
            if setting.state.is_battery_connected
            else values["rest_ohms"],
            nodes=setting.between("supply", "ground"),
            suffix="/standby",
        ),
    )


def _up_gate(terminals: Mapping[str, str], values: Values) -> Gate:
    """Return the gate of what works only while a controller is out of reset."""
    return Gate(
        watch=(terminals["supply"], terminals["ground"]),
        on_volts=values["restart_volts"],
        off_volts=values["reset_volts"],
    )


def driver_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return an output: an on resistance up to a current limit, while commanded.

    An output that is not short-proof burns out where its limit holds the current.

    Parameters
    ----------
    setting : Setting
        The output in one state, its controller as `gate_part`.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from out to return.

    Raises
    ------
    ValueError
        If no controller is given.
    """
    if setting.gate_part is None or setting.gate_values is None:
        raise ValueError(f"output {setting.part.name} has no controller")
    values = setting.values
    on = 1.0 / values["on_ohms"]
    limit = values["limit_amps"]
    knee_volts = limit * values["on_ohms"]
    leak = np.full_like(on, DRIVER_LIMIT_SIEMENS)
    is_commanded = setting.part.name in setting.state.commands
    is_working = setting.gate_values["is_working"] > 0.5
    forced = np.where(is_working & is_commanded, 0.0, -1.0)
    return (
        setting.curve(
            nodes=setting.between("out", "return"),
            breaks=knee_volts[:, None],
            siemens=columns(on, leak),
            amps=columns(np.zeros_like(on), limit - leak * knee_volts),
            forced=with_stuck(values, forced),
            gate=_up_gate(setting.gate_part.terminals, setting.gate_values),
            protection=Protection(
                trip_amps=np.where(values["is_short_proof"] > 0.5, np.inf, limit),
                a2s=limit**2 * BURNING_SECONDS,
                resets_itself=np.zeros_like(limit),
            ),
        ),
    )
