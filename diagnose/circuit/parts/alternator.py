"""Alternators: a regulated current source, its limit, its field and its diodes.

Good for steady speeds, from cut-in to 6000 alternator rpm; one that is dead does not
wake at higher speeds.

The ripple is a drop inside the alternator, from its hidden terminal `rectifier` to its
output, of so many volts AC for each ampere. In series with a current source it changes
no direct current, costs one branch, and follows the current under every fault; what the
battery lets through is a value, not solved.

A regulator with a sense wire limits its own output too, and falls back on it when that
wire breaks: else an open charging wire would put 40 V on the alternator. The limit and
the fallback are values of the part.

Leaves default values to knowledge/, and worn belts or shorted diodes to `faults`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.parts.alternator_label import (
    alternator_limit_amps,
)
from diagnose.circuit.parts.branches import Branch, Gate, Setting, columns

# Avalanche rectifier diodes hold a 12 V alternator without a battery to some 24 V (from
# memory). [V]
CLAMP_VOLTS = 24.0

# Slope of those diodes beyond their avalanche volts: a fraction of an ohm (from
# memory). [S]
CLAMP_SIEMENS = 5.0

# Resistance of a regulator's sense input, which draws about a milliampere; without it
# an open sense wire would float to the battery's volts and look sound (from
# memory). [Ω]
SENSE_OHMS = 10e3

# Volts over which a regulator that limits its own output goes from full field to none,
# like the droop of its set point (from memory). [V]
SENSE_LIMIT_WIDTH_VOLTS = 0.3

# Slope of the exciter diodes: they follow the output diodes within some tenths of a
# volt, here .35 V at the 3.5 A of a field (from memory). [S]
EXCITER_SIEMENS = 10.0

# Volts at the exciter that make a 12 V alternator build up: residual magnetism plus
# some tenths of a volt on the field; below that it stays dead at idle speed (from
# memory). [V]
EXCITED_VOLTS = 0.25


def alternator_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return an alternator: what it gives, what limits it, and what feeds its field.

    Parameters
    ----------
    setting : Setting
        The alternator in one state.

    Returns
    -------
    tuple[Branch, ...]
        The regulated source first, under the part's own name, then
        ``/above-set-volts``, and as far as the part has them ``/sense-input``,
        ``/sense-backup``, ``/ripple``, ``/diode-leak``, ``/exciter-diodes`` and
        ``/field``.
    """
    values = setting.values
    rpm = setting.state.engine_rpm * values["pulley_ratio"]
    limit = alternator_limit_amps(
        rated_amps=values["rated_amps"],
        alternator_rpm=rpm,
        cut_in_rpm=values["cut_in_rpm"],
        speed_constant_rpm=values["speed_constant_rpm"],
    )
    limit = np.minimum(limit, values["belt_amps_per_rpm"] * rpm)
    set_volts = values["set_volts"] + values["sense_error_volts"]
    can_charge = (values["is_working"] > 0.5) & (rpm > values["cut_in_rpm"])
    gate, forced = _excitation(setting, can_charge)
    return (
        _source(setting, limit=limit, set_volts=set_volts, gate=gate, forced=forced),
        _above_set_volts(setting, limit=limit, set_volts=set_volts),
        *_sense_input(setting, is_turning=rpm > values["cut_in_rpm"]),
        *_ripple(setting),
        _diode_leak(setting),
        *_exciter(setting, gate=gate, forced=forced),
    )


def _excitation(
    setting: Setting, can_charge: BoolArray
) -> tuple[Gate | None, FloatArray]:
    """Return what switches the output: one with an exciter has to build up first."""
    terminals = setting.part.terminals
    if "exciter" not in terminals:
        return None, np.where(can_charge, 1.0, -1.0)
    watch_volts = np.full(len(can_charge), EXCITED_VOLTS * setting.scale)
    gate = Gate(
        watch=(terminals["exciter"], terminals["case"]),
        on_volts=watch_volts,
        off_volts=watch_volts,
        is_self_holding=True,
    )
    return gate, np.where(can_charge, 0.0, -1.0)


def _source(
    setting: Setting,
    *,
    limit: FloatArray,
    set_volts: FloatArray,
    gate: Gate | None,
    forced: FloatArray,
) -> Branch:
    """Return the regulated source: full output, the regulator's slope, no output."""
    values = setting.values
    slope = values["rated_amps"] / values["droop_volts"]
    none = np.zeros_like(limit)
    source = _source_terminal(setting)
    sense = "sense" if "sense" in setting.part.terminals else source
    return setting.curve(
        nodes=setting.between(source, "case"),
        control=setting.between(sense, "case"),
        breaks=columns(set_volts - limit / slope, set_volts),
        siemens=columns(none, slope, none),
        amps=columns(-limit, -slope * set_volts, none),
        forced=forced,
        gate=gate,
    )


def _exciter(
    setting: Setting, *, gate: Gate | None, forced: FloatArray
) -> tuple[Branch, ...]:
    """Return the exciter diodes and the field that they feed, if there are any."""
    terminals, values = setting.part.terminals, setting.values
    if "exciter" not in terminals:
        return ()
    exciter = terminals["exciter"]
    diodes = setting.linear(
        np.full(len(forced), setting.scale**2 / EXCITER_SIEMENS),
        nodes=(terminals["output"], exciter),
        suffix="/exciter-diodes",
        forced=forced,
        gate=gate,
    )
    field = setting.linear(
        values["field_ohms"], nodes=(exciter, terminals["case"]), suffix="/field"
    )
    return diodes, field


def _source_terminal(setting: Setting) -> str:
    """Return where the current comes from: before the ripple's drop, if any."""
    return "rectifier" if "rectifier" in setting.part.terminals else "output"


def _ripple(setting: Setting) -> tuple[Branch, ...]:
    """Return what stands for the alternating volts, if the car is told to have them."""
    if "rectifier" not in setting.part.terminals:
        return ()
    nodes = setting.between("rectifier", "output")
    ohms = setting.values["ripple_ohms"]
    return (setting.linear(ohms, nodes=nodes, suffix="/ripple"),)


def _diode_leak(setting: Setting) -> Branch:
    """Return the way from the output back through a shorted diode, key off too.

    It leads by a winding and the exciter diodes to the field.
    """
    ohms = setting.values["diode_leak_ohms"]
    if "exciter" in setting.part.terminals:
        nodes = setting.between("output", "exciter")
    else:
        nodes = setting.between("output", "case")
        ohms = ohms + setting.values["field_ohms"]
    return setting.linear(ohms, nodes=nodes, suffix="/diode-leak")


def _above_set_volts(
    setting: Setting, *, limit: FloatArray, set_volts: FloatArray
) -> Branch:
    """Return what keeps the output from rising: its own limit, then avalanche.

    A regulator that senses elsewhere takes its field back when its own output is some
    volts above the set point: this branch then takes what the source gives too much.
    """
    none = np.zeros_like(limit)
    clamp = np.full_like(limit, CLAMP_VOLTS * setting.scale)
    slope = np.full_like(limit, CLAMP_SIEMENS)
    nodes = setting.between(_source_terminal(setting), "case")
    if not _has_sense_wire(setting):
        return setting.curve(
            nodes=nodes,
            breaks=clamp[:, None],
            siemens=columns(none, slope),
            amps=columns(none, -slope * clamp),
            suffix="/above-set-volts",
        )
    start = set_volts + setting.values["sense_limit_volts"]
    end = start + SENSE_LIMIT_WIDTH_VOLTS * setting.scale
    clamp = np.maximum(clamp, end)
    back = limit / (end - start)
    return setting.curve(
        nodes=nodes,
        breaks=columns(start, end, clamp),
        siemens=columns(none, back, none, slope),
        amps=columns(none, -back * start, limit, limit - slope * clamp),
        suffix="/above-set-volts",
    )


def _has_sense_wire(setting: Setting) -> bool:
    terminals = setting.part.terminals
    return terminals.get("sense", terminals["output"]) != terminals["output"]


def _sense_input(setting: Setting, *, is_turning: BoolArray) -> tuple[Branch, ...]:
    """Return what the regulator draws from a sense wire of its own, and its backup.

    A resistor inside, from the output, holds the sense terminal when its wire is
    broken: the divider makes the regulator charge `sense_backup_volts` high. A
    regulator that sleeps, the engine at rest, has none: it would feed a panel whose
    main fuse is blown.
    """
    if not _has_sense_wire(setting):
        return ()
    values = setting.values
    ohms = np.full_like(values["set_volts"], SENSE_OHMS)
    backup = ohms * values["sense_backup_volts"] / values["set_volts"]
    return (
        setting.linear(
            ohms, nodes=setting.between("sense", "case"), suffix="/sense-input"
        ),
        setting.linear(
            backup,
            nodes=setting.between("output", "sense"),
            suffix="/sense-backup",
            forced=np.where(is_turning, 1.0, -1.0),
        ),
    )
