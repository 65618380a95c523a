"""Loads: lamps, motors, coils and heaters, and what is left of them at few volts."""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.operating_states import DrawsWhen
from diagnose.circuit.parts.branches import Branch, Setting, columns

# The current of a tungsten lamp goes with this power of its volts: Fink & Beaty,
# Standard Handbook for Electrical Engineers, 11th ed., p. 22-8 (secondary copy). [1]
LAMP_EXPONENT = 0.55


# Where the chords of that power law end, in parts of the rated volts: they stay within
# 1 % of it from 9 V to 16 V of a 13.5 V lamp (derived). [1]
LAMP_BREAKS = np.array([0.111, 0.37, 0.741])


# Where the last of those chords meets the power law again: 16 V of a 13.5 V lamp
# (derived). [1]
LAMP_TOP = 16.0 / 13.5


# Most times its usual current that a sound electronic load takes; what is beyond is
# shorted, and flows while the engine stands as well (own choice: half way from 1.1 of
# sound loads to the twice of shorted ones). [1]
SOUND_LOAD_FACTOR = 1.5


def led_lamp_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a lamp of diodes: dark up to the volts they need, then a resistor's line.

    Good up to 16 V; one that regulates its current takes the same at all volts.

    Parameters
    ----------
    setting : Setting
        The lamp in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    knee_volts = values["knee_volts"]
    rated_amps = values["led_watts"] / values["led_volts"]
    siemens = rated_amps / (values["led_volts"] - knee_volts)
    none = np.zeros_like(siemens)
    return (
        one_way(setting, siemens=siemens, knee_volts=knee_volts, back_siemens=none),
    )


def one_way(
    setting: Setting,
    *,
    siemens: FloatArray,
    knee_volts: FloatArray,
    back_siemens: FloatArray,
) -> Branch:
    """Return what conducts from a to b beyond a knee, or turned round from b to a.

    Parameters
    ----------
    setting : Setting
        The part in one state.
    siemens, back_siemens : FloatArray
        Beyond the knee and short of it, shape (n_draws,). [S]
    knee_volts : FloatArray
        Where it begins to conduct, shape (n_draws,). [V]

    Returns
    -------
    Branch
        Open where the part is.
    """
    is_reversed = setting.values["is_reversed"] > 0.5
    sign = np.where(is_reversed, -1.0, 1.0)
    amps = -sign * knee_volts * siemens
    none = np.zeros_like(siemens)
    return setting.curve(
        nodes=setting.between("a", "b"),
        breaks=(sign * knee_volts)[:, None],
        siemens=columns(
            np.where(is_reversed, siemens, back_siemens),
            np.where(is_reversed, back_siemens, siemens),
        ),
        amps=columns(
            np.where(is_reversed, amps, none), np.where(is_reversed, none, amps)
        ),
        forced=np.where(setting.values["is_open"] > 0.5, -1.0, 1.0),
    )


def lamp_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a filament lamp: chords of the tungsten power law.

    The slope of the first chord also serves reversed volts. With the battery
    disconnected the filament is cold, and a plain resistance: its hot one over
    ``cold_factor``. Where a car under volts leaves a filament less than some hundredths
    of its own, the chord makes it up to five times too large; behind megohms of
    insulation both are nothing.

    Parameters
    ----------
    setting : Setting
        The lamp in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    volts = values["lamp_volts"]
    rated = values["lamp_watts"] / volts
    forced = np.where(values["is_open"] > 0.5, -1.0, 1.0)
    if not setting.state.is_battery_connected:
        cold_ohms = volts / rated / values["cold_factor"]
        ends = setting.between("a", "b")
        return (setting.linear(cold_ohms, nodes=ends, forced=forced),)
    fractions = np.concatenate([[0.0], LAMP_BREAKS, [LAMP_TOP]])
    amps_at = fractions**LAMP_EXPONENT
    slopes = np.diff(amps_at) / np.diff(fractions)
    offsets = amps_at[:-1] - slopes * fractions[:-1]
    return (
        setting.curve(
            nodes=setting.between("a", "b"),
            breaks=volts[:, None] * LAMP_BREAKS,
            siemens=(rated / volts)[:, None] * slopes,
            amps=rated[:, None] * offsets,
            forced=forced,
        ),
    )


def motor_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return a motor whose load follows its speed, or one that is held.

    Good from 9 to 16 V: its current then falls about as its volts do (from memory); the
    inrush is that of the held rotor. A meter's small current turns nothing: it meets
    the winding, which the held rotor's current tells, and brushes that scatter widely.

    Parameters
    ----------
    setting : Setting
        The motor in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    amps = values["motor_amps"] * values["load_factor"]
    if not setting.state.is_battery_connected:
        amps = amps * values["stall_factor"] / values["brush_factor"]
    else:
        stalled = values["is_stalled"] > 0.5
        amps = amps * np.where(stalled, values["stall_factor"], 1.0)
    return (_resistive_load(setting, volts=values["motor_volts"], amps=amps),)


def load_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return any other load as a resistance: coils, heaters, horns.

    Good from 9 to 16 V for what regulates no current. One that draws only while the
    engine turns is pulsed then, and its amps are the mean; while the engine stands it
    takes next to nothing, and ohms are those of its coil, which draws more than the
    mean.

    Parameters
    ----------
    setting : Setting
        The load in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    amps = values["load_amps"] * values["load_factor"]
    if setting.part.draws_when is DrawsWhen.ENGINE_TURNS:
        if not setting.state.is_battery_connected:
            amps = amps / values["pulse_share"]
        elif not setting.state.is_engine_turning:
            amps = values["standing_amps"]
    return (_resistive_load(setting, volts=values["load_volts"], amps=amps),)


def electronics_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return an electronic load, such as an ignition module or a radio.

    As `load_branches` under volts. What is shorted inside draws in every state, whether
    the engine turns or not. Ohms through semiconductors are those of the meter's
    polarity and test volts, so they are drawn from a range that tells nothing.

    Parameters
    ----------
    setting : Setting
        The load in one state.

    Returns
    -------
    tuple[Branch, ...]
        One branch, from a to b.
    """
    values = setting.values
    volts, factor = values["load_volts"], values["load_factor"]
    amps = values["load_amps"] * factor
    if not setting.state.is_battery_connected:
        amps = volts / values["rest_ohms"] * factor
    elif (
        setting.part.draws_when is DrawsWhen.ENGINE_TURNS
        and not setting.state.is_engine_turning
    ):
        excess = np.maximum(factor - SOUND_LOAD_FACTOR, 0.0)
        amps = values["standing_amps"] + values["load_amps"] * excess
    return (_resistive_load(setting, volts=volts, amps=amps),)


def _resistive_load(setting: Setting, *, volts: FloatArray, amps: FloatArray) -> Branch:
    return setting.linear(
        volts / amps,
        nodes=setting.between("a", "b"),
        forced=np.where(setting.values["is_open"] > 0.5, -1.0, 1.0),
    )


def no_branches(setting: Setting) -> tuple[Branch, ...]:
    """Return nothing: a part that carries no current, such as the engine.

    Parameters
    ----------
    setting : Setting
        The part in one state.

    Returns
    -------
    tuple[Branch, ...]
        Empty.
    """
    del setting
    return ()
