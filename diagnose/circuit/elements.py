"""How each kind of part carries current: every part becomes branches.

A branch's current is piecewise linear in one control voltage, and a gate may switch it:

    i = siemens[m] * x + amps[m]   for breaks[m-1] <= x < breaks[m],   0 while gated off

with x = v(control[0]) - v(control[1]). Sign rule: the current flows through the branch
from output[0] to output[1]; a load has i > 0 when output[0] is the higher; a source
that feeds the car has i < 0. All arrays have one row per tolerance draw.

Leaves solving to `nodal` and what builds on it, faults to `faults` (a fault is a change
of the parameters read here), and default values to knowledge/.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diagnose.arrays import FloatArray
from diagnose.circuit.car import (
    OperatingState,
    Part,
)
from diagnose.circuit.protection import (
    OPENING_PARAMETERS,
    PROTECTIVE_KINDS,
    opening_a2s,
    opening_multiple,
)
from diagnose.circuit.wires import REFERENCE_CELSIUS, copper_warmth

OPEN_OHMS = 1e9
# Derived: 12 V over this is 12 nA, which no meter here can see.

ALTERNATOR_RATED_RPM = 6000.0
# ISO 8854: rated output is stated at 6000 alternator rpm (read in a secondary copy).

LABEL_LOW_RPM = 1500.0
# ISO 8854: the first current of a label such as 28/70 is stated at 1500 alternator rpm
# (from memory).

LAMP_EXPONENT = 0.55
# Current of a tungsten lamp ~ volts**0.55: Fink & Beaty, Standard Handbook for
# Electrical Engineers, 11th ed., p. 22-8 (secondary copy).

LAMP_BREAKS = np.array([0.111, 0.37, 0.741])
# Derived: chords over these fractions of rated volts (and 1.185) stay within 1 % of the
# power law from 9 V to 16 V of a 13.5 V lamp.

STANDBY_OHMS = 2e3
# From memory: a controller in reset still draws a few milliamps; without it an open
# feed would float up to the battery's volts through the insulation.

DRIVER_LIMIT_SIEMENS = 1e-3
BURNING_SECONDS = 1.0
# From memory: a relay-driver transistor at its limit turns some 15 W into heat and is
# gone within a second or so.

FULL_VOLTS = 12.6
GASSING_VOLTS = 14.9
GASSING_OHMS = 0.02
# From memory: a 12 V lead-acid battery gasses above about 2.45 V a cell and holds an
# unregulated alternator to some 16 to 17 V.

CLAMP_VOLTS = 24.0
CLAMP_SIEMENS = 5.0
# From memory: avalanche rectifier diodes hold an alternator without a battery to some
# 24 V behind a fraction of an ohm.

SENSE_OHMS = 10e3
# From memory: a regulator's sense input draws about a milliamp; without it an open
# sense wire would float to the battery's volts and look sound.

SENSE_LIMIT_WIDTH_VOLTS = 0.3
# From memory, as the droop of the set point: over so many volts a regulator that limits
# its own output goes from full field to none.

EXCITER_SIEMENS = 10.0
# From memory: the exciter diodes follow the output diodes within some tenths of a volt,
# here .35 V at the 3.5 A of a field.

BRIDGE_OHMS = 0.02
# From memory: strands or terminals that touch, as the least of a short to ground.

EXCITED_VOLTS = 0.25
# From memory: residual magnetism plus some tenths of a volt on the field make an
# alternator build up; below that it stays dead at idle speed.


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A condition that switches a branch: volts between two nodes, with hysteresis.

    Parameters
    ----------
    watch : tuple[str, str]
        Nodes; the magnitude of the voltage between them counts.
    on_volts, off_volts : FloatArray
        Pull-in and release, shape (n_draws,). [V]
    is_inverted : NDArray[bool] or bool
        The branch conducts while the gate is off (an 87a contact), shape (n_draws,).
    is_self_holding : bool
        The branch feeds its own gate once on, so it has to prove that it starts.
    """

    watch: tuple[str, str]
    on_volts: FloatArray
    off_volts: FloatArray
    is_inverted: npt.NDArray[np.bool_] | bool = False
    is_self_holding: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """When a branch opens by its current; each array of shape (n_draws,).

    Parameters
    ----------
    trip_amps : FloatArray
        It opens above this within the time the state lasts. [A]
    a2s : FloatArray
        Of several that carry too much, the one with the least of it per squared current
        opens first. [A² s]
    resets_itself : FloatArray
        1: it closes again when it has cooled down, and so goes on and off.
    """

    trip_amps: FloatArray
    a2s: FloatArray
    resets_itself: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One current path.

    Parameters
    ----------
    breaks : FloatArray
        Shape (n_draws, n_segments - 1), rising along the last axis. [V]
    siemens, amps : FloatArray
        Shape (n_draws, n_segments). [S], [A]
    forced : FloatArray
        Shape (n_draws,): 1 always on, -1 always off, 0 as the gate says.
    protection : Protection or None
        What opens it by current.
    """

    name: str
    part: str
    output: tuple[str, str]
    control: tuple[str, str]
    breaks: FloatArray
    siemens: FloatArray
    amps: FloatArray
    forced: FloatArray
    gate: Gate | None = None
    protection: Protection | None = None


Values = Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """All that an element function may look at.

    Parameters
    ----------
    values : Values
        Parameter to its draws, shape (n_draws,), in the unit of its name.
    gate_part, gate_values
        The part named by `Part.gate` and its values, or None.
    position : str
        Position of the part's switch in this state.
    scale : float
        System volts over 12: thresholds in element code are for a 12 V car.
    is_mirrored : bool
        The part is the other way round, as in a positive-ground car; see
        `Element.has_ground_side`.
    """

    part: Part
    values: Values
    gate_part: Part | None
    gate_values: Values | None
    state: OperatingState
    position: str
    body: str
    scale: float
    is_mirrored: bool = False

    def between(self, first: str, second: str) -> tuple[str, str]:
        """Return the nodes of two terminals, the more positive one of them first."""
        nodes = self.part.terminals[first], self.part.terminals[second]
        return nodes[::-1] if self.is_mirrored else nodes

    def linear(
        self,
        ohms: FloatArray,
        *,
        nodes: tuple[str, str],
        suffix: str = "",
        forced: FloatArray | None = None,
        gate: Gate | None = None,
        protection: Protection | None = None,
    ) -> Branch:
        """Return a branch that obeys Ohm's law between two nodes."""
        return Branch(
            name=self.part.name + suffix,
            part=self.part.name,
            output=nodes,
            control=nodes,
            breaks=np.empty((len(ohms), 0)),
            siemens=1.0 / ohms[:, None],
            amps=np.zeros((len(ohms), 1)),
            forced=np.ones(len(ohms)) if forced is None else forced,
            gate=gate,
            protection=protection,
        )

    def curve(
        self,
        *,
        breaks: FloatArray,
        siemens: FloatArray,
        amps: FloatArray,
        nodes: tuple[str, str],
        control: tuple[str, str] | None = None,
        forced: FloatArray | None = None,
        gate: Gate | None = None,
        suffix: str = "",
        protection: Protection | None = None,
    ) -> Branch:
        """Return a branch with a piecewise-linear characteristic."""
        return Branch(
            name=self.part.name + suffix,
            part=self.part.name,
            output=nodes,
            control=nodes if control is None else control,
            breaks=breaks,
            siemens=siemens,
            amps=amps,
            forced=np.ones(len(siemens)) if forced is None else forced,
            gate=gate,
            protection=protection,
        )


def _columns(*columns: FloatArray) -> FloatArray:
    return np.stack(columns, axis=1)


def _stuck(values: Values, forced: FloatArray) -> FloatArray:
    """Return `forced` with stuck contacts put in; stuck open wins."""
    forced = np.where(values["is_stuck_closed"] > 0.5, 1.0, forced)
    return np.where(values["is_stuck_open"] > 0.5, -1.0, forced)


def _battery(setting: Setting) -> tuple[Branch, ...]:
    """Rest volts behind one resistance out, another (charge acceptance) in.

    Surface charge lifts the volts without load, and a small current takes it off.
    Beyond the gassing volts the charge turns to gas and the battery takes what comes.
    Good for minutes: its charge does not fall while it feeds the car.
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
            breaks=_columns(*breaks),
            siemens=_columns(*siemens),
            amps=_columns(*amps),
            forced=np.full(len(charge), 1.0 if is_connected else -1.0),
        ),
    )


def alternator_limit_amps(
    *,
    rated_amps: FloatArray,
    alternator_rpm: FloatArray,
    cut_in_rpm: FloatArray,
    speed_constant_rpm: FloatArray,
) -> FloatArray:
    """Return the most an alternator can deliver at a speed.

    Parameters
    ----------
    rated_amps, alternator_rpm, cut_in_rpm, speed_constant_rpm : FloatArray
        Same shape. [A], [1/min]

    Returns
    -------
    FloatArray
        Output limit, `rated_amps` at 6000 rpm. [A]

    Notes
    -----
    rated * (1 - exp(-(n - n0)/k)) / (1 - exp(-(6000 - n0)/k)); with n0 = 850 and
    k = 950 it is 38 % of the rating at 1300, between the third (hot) and the half
    (cold) that service practice quotes for idle.

    Examples
    --------
    >>> limit = alternator_limit_amps(
    ...     rated_amps=np.array([50.0]),
    ...     alternator_rpm=np.array([1300.0]),
    ...     cut_in_rpm=np.array([850.0]),
    ...     speed_constant_rpm=np.array([950.0]),
    ... )
    >>> round(float(limit[0]), 1)
    18.9
    """

    def rise(rpm: FloatArray) -> FloatArray:
        above = np.maximum(rpm - cut_in_rpm, 0.0)
        return np.asarray(-np.expm1(-above / speed_constant_rpm))

    top = rise(np.full_like(rated_amps, ALTERNATOR_RATED_RPM))
    return np.asarray(rated_amps * rise(alternator_rpm) / top)


def speed_constant_rpm(*, share: float, cut_in_rpm: float) -> float:
    """Return the speed constant of an alternator from the two currents on its label.

    Parameters
    ----------
    share : float
        Current at 1500 alternator rpm over the one at 6000 rpm, as in 28/70. [1]
    cut_in_rpm : float
        Where it begins to charge, below 1500. [1/min]

    Returns
    -------
    float
        For `alternator_limit_amps`. [1/min]

    Raises
    ------
    ValueError
        If no constant gives such a share: it must lie between that of a straight line
        and 1.

    Examples
    --------
    >>> round(speed_constant_rpm(share=0.4, cut_in_rpm=1000.0))
    987
    """
    low, high = 10.0, 1e6
    rpm = np.array([LABEL_LOW_RPM])

    def share_at(constant_rpm: float) -> float:
        limit = alternator_limit_amps(
            rated_amps=np.ones(1),
            alternator_rpm=rpm,
            cut_in_rpm=np.array([cut_in_rpm]),
            speed_constant_rpm=np.array([constant_rpm]),
        )
        return float(limit[0])

    if not share_at(high) < share < share_at(low):
        raise ValueError(
            f"a share of {share:.2f} at {LABEL_LOW_RPM:.0f} rpm can't be; it lies "
            f"between {share_at(high):.2f} and 1"
        )
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if share_at(middle) > share else (low, middle)
    return low


def _alternator(setting: Setting) -> tuple[Branch, ...]:
    """Regulated current source with an output limit, field, and exciter diodes.

    The drop from its terminal rectifier, inside, to its output is the alternating part
    of its volts as the battery lets it through: no direct current cares for it, as it
    lies in series with a current source. Good for steady speeds, from cut-in to 6000
    alternator rpm; a dead one does not wake at higher speeds.
    """
    part, values = setting.part, setting.values
    rpm = setting.state.engine_rpm * values["pulley_ratio"]
    limit = alternator_limit_amps(
        rated_amps=values["rated_amps"],
        alternator_rpm=rpm,
        cut_in_rpm=values["cut_in_rpm"],
        speed_constant_rpm=values["speed_constant_rpm"],
    )
    limit = np.minimum(limit, values["belt_amps_per_rpm"] * rpm)
    case = part.terminals["case"]
    set_volts = values["set_volts"] + values["sense_error_volts"]
    slope = values["rated_amps"] / values["droop_volts"]
    none = np.zeros_like(limit)
    can_charge = (values["is_working"] > 0.5) & (rpm > values["cut_in_rpm"])
    exciter = part.terminals.get("exciter")
    gate = None
    forced = np.where(can_charge, 1.0, -1.0)
    if exciter is not None:
        watch = np.full_like(limit, EXCITED_VOLTS * setting.scale)
        gate = Gate(
            watch=(exciter, case),
            on_volts=watch,
            off_volts=watch,
            is_self_holding=True,
        )
        forced = np.where(can_charge, 0.0, -1.0)
    source = _source_terminal(setting)
    output = setting.curve(
        nodes=setting.between(source, "case"),
        control=setting.between(
            "sense" if "sense" in part.terminals else source, "case"
        ),
        breaks=_columns(set_volts - limit / slope, set_volts),
        siemens=_columns(none, slope, none),
        amps=_columns(-limit, -slope * set_volts, none),
        forced=forced,
        gate=gate,
    )
    above = _above_set_volts(setting, limit=limit, set_volts=set_volts)
    sense = _sense_input(setting, is_turning=rpm > values["cut_in_rpm"])
    inner = (*sense, *_ripple(setting), _diode_leak(setting))
    if exciter is None:
        return output, above, *inner
    diodes = setting.linear(
        np.full_like(limit, setting.scale**2 / EXCITER_SIEMENS),
        nodes=(part.terminals["output"], exciter),
        suffix="/exciter-diodes",
        forced=forced,
        gate=gate,
    )
    field = setting.linear(values["field_ohms"], nodes=(exciter, case), suffix="/field")
    return output, above, *inner, diodes, field


def _source_terminal(setting: Setting) -> str:
    """Return where the alternator's current comes from: before its ripple drop."""
    return "rectifier" if "rectifier" in setting.part.terminals else "output"


def _ripple(setting: Setting) -> tuple[Branch, ...]:
    """Return what stands for the alternating volts, if the car tells them."""
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
    """Return what keeps the output post from rising: a limit of its own, avalanche.

    A regulator that senses elsewhere takes its field back when its own output is some
    volts above the set point: the branch then takes what the source gives too much.
    """
    none = np.zeros_like(limit)
    clamp = np.full_like(limit, CLAMP_VOLTS * setting.scale)
    slope = np.full_like(limit, CLAMP_SIEMENS)
    nodes = setting.between(_source_terminal(setting), "case")
    if not _has_sense_wire(setting):
        return setting.curve(
            nodes=nodes,
            breaks=clamp[:, None],
            siemens=_columns(none, slope),
            amps=_columns(none, -slope * clamp),
            suffix="/above-set-volts",
        )
    start = set_volts + setting.values["sense_limit_volts"]
    end = start + SENSE_LIMIT_WIDTH_VOLTS * setting.scale
    clamp = np.maximum(clamp, end)
    back = limit / (end - start)
    return setting.curve(
        nodes=nodes,
        breaks=_columns(start, end, clamp),
        siemens=_columns(none, back, none, slope),
        amps=_columns(none, -back * start, limit, limit - slope * clamp),
        suffix="/above-set-volts",
    )


def _has_sense_wire(setting: Setting) -> bool:
    terminals = setting.part.terminals
    return terminals.get("sense", terminals["output"]) != terminals["output"]


def _sense_input(
    setting: Setting, *, is_turning: npt.NDArray[np.bool_]
) -> tuple[Branch, ...]:
    """Return what the regulator draws from a sense wire of its own, and its backup.

    A resistor inside, from the output, holds the sense terminal when its wire is
    broken: the divider makes the regulator charge `sense_backup_volts` high. A
    regulator that sleeps, the engine at rest, has none: it would feed a panel whose
    main fuse is blown.

    Parameters
    ----------
    is_turning : NDArray
        Shape (n_draws,).
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


def _starter(setting: Setting) -> tuple[Branch, ...]:
    """Return a near-constant current; a resistance once volts can't turn it.

    The engine's torque sets the current, and volts less current times resistance set
    the speed; a faster engine takes a little more. Good as a mean over the strokes; for
    the first tenth of a second it is the resistance.
    """
    values = setting.values
    stall = 1.0 / values["stall_ohms"]
    turning_volts = values["cranking_amps"] * values["stall_ohms"]
    rise = 0.1 * values["cranking_amps"] / (12.0 * setting.scale)
    return (
        setting.curve(
            nodes=setting.between("plus", "case"),
            breaks=turning_volts[:, None],
            siemens=_columns(stall, rise),
            amps=_columns(
                np.zeros_like(stall), values["cranking_amps"] - rise * turning_volts
            ),
        ),
    )


def _coil_warmth(values: Values) -> FloatArray:
    """Return what a coil's own heat does to its ohms and to the volts it needs."""
    return copper_warmth(REFERENCE_CELSIUS + values["coil_rise_celsius"])


def _coil(setting: Setting) -> tuple[Branch, ...]:
    """Copper at its own temperature; good once its current has risen, some 10 ms."""
    values = setting.values
    ohms = values["coil_ohms"] * _coil_warmth(values)
    return (setting.linear(ohms, nodes=setting.between("a", "b")),)


def _contacts(setting: Setting) -> tuple[Branch, ...]:
    """Relay or solenoid contacts, switched by the volts across the coil.

    The armature moves at a certain current, so a warm coil takes more volts. Good for
    contacts that do not arc: all relays move at once, in no time.
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
    free = np.zeros(len(is_swapped))
    switched = (
        setting.linear(
            values["contact_ohms"],
            nodes=setting.between(first, "b"),
            forced=np.where(is_there, _stuck(values, free), -1.0),
            gate=gate,
            suffix=suffix,
        )
        for first, is_there, suffix in (
            ("a", ~is_swapped, ""),
            ("swapped", is_swapped, "/swapped"),
        )
        if first in setting.part.terminals
    )
    return *switched, *_bridge(setting, coil["a"])


def _bridge(setting: Setting, coil_feed: str) -> tuple[Branch, ...]:
    """Return the way from 87 to 86 that is there if the two touch in the socket."""
    output = setting.part.terminals["b"]
    if setting.part.is_normally_closed or output == coil_feed:
        return ()
    is_there = setting.values["is_bridged"] > 0.5
    return (
        setting.linear(
            np.full(len(is_there), BRIDGE_OHMS),
            nodes=(output, coil_feed),
            forced=np.where(is_there, 1.0, -1.0),
            suffix="/bridge",
        ),
    )


def _switch_contact(setting: Setting) -> tuple[Branch, ...]:
    values = setting.values
    is_closed = setting.position in setting.part.closed_in
    forced = np.full(len(values["contact_ohms"]), 1.0 if is_closed else -1.0)
    fails = "fails_in_crank" if setting.state.is_cranking else "fails_in_run"
    forced = np.where(values[fails] > 0.5, -1.0, forced)
    return (
        setting.linear(
            values["contact_ohms"],
            nodes=setting.between("a", "b"),
            forced=_stuck(values, forced),
        ),
    )


def _up_gate(terminals: Mapping[str, str], values: Values) -> Gate:
    """Return the gate of what works only while a controller is out of reset."""
    return Gate(
        watch=(terminals["supply"], terminals["ground"]),
        on_volts=values["restart_volts"],
        off_volts=values["reset_volts"],
    )


def _controller(setting: Setting) -> tuple[Branch, ...]:
    """Return a constant current while out of reset, a small standby load always.

    It starts in reset, so it needs its restart volts. While cranking that is what the
    starter's inrush leaves: where the steady volts lie between reset and restart, those
    of the first moment lie below the reset. Good within a third: some supplies take
    more amps at less volts (memory).
    """
    values = setting.values
    supply = values["supply_amps"]
    none = np.zeros_like(supply)
    knee_volts = np.full_like(supply, 3.0 * setting.scale)
    return (
        setting.curve(
            nodes=setting.between("supply", "ground"),
            breaks=knee_volts[:, None],
            siemens=_columns(supply / knee_volts, none),
            amps=_columns(none, supply),
            forced=np.where(values["is_working"] > 0.5, 0.0, -1.0),
            gate=_up_gate(setting.part.terminals, values),
        ),
        setting.linear(
            np.full_like(supply, STANDBY_OHMS),
            nodes=setting.between("supply", "ground"),
            suffix="/standby",
        ),
    )


def _driver(setting: Setting) -> tuple[Branch, ...]:
    """Return an on resistance up to a current limit, while commanded.

    An output that is not short-proof burns out where its limit holds the current.
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
            siemens=_columns(on, leak),
            amps=_columns(np.zeros_like(on), limit - leak * knee_volts),
            forced=_stuck(values, forced),
            gate=_up_gate(setting.gate_part.terminals, setting.gate_values),
            protection=Protection(
                trip_amps=np.where(values["is_short_proof"] > 0.5, np.inf, limit),
                a2s=limit**2 * BURNING_SECONDS,
                resets_itself=np.zeros_like(limit),
            ),
        ),
    )


def _protection(setting: Setting) -> tuple[Branch, ...]:
    """Return a small resistance that opens by current: a fuse, link or breaker."""
    values = setting.values
    rating = values["rating_amps"] * values["blow_factor"]
    seconds = _columns(*(values[name] for name in OPENING_PARAMETERS))
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


def _wire(setting: Setting) -> tuple[Branch, ...]:
    """Conductor and its two joints in series, and the insulation to the body.

    Good for direct current that does not heat it: it is as warm as the air.
    """
    values = setting.values
    ohms = (
        values["wire_ohms"]
        + values["joint_a_ohms"]
        + values["joint_b_ohms"]
        + values["extra_ohms"]
    )
    start = setting.part.terminals["a"]
    conductor = setting.linear(ohms, nodes=setting.between("a", "b"))
    if start == setting.body:
        return (conductor,)
    insulation = setting.linear(
        values["leak_ohms"], nodes=(start, setting.body), suffix="/insulation"
    )
    return conductor, insulation


def _joint(setting: Setting) -> tuple[Branch, ...]:
    return (
        setting.linear(setting.values["joint_ohms"], nodes=setting.between("a", "b")),
    )


def _resistor(setting: Setting) -> tuple[Branch, ...]:
    return (setting.linear(setting.values["ohms"], nodes=setting.between("a", "b")),)


def _diode(setting: Setting) -> tuple[Branch, ...]:
    """Blocks below the forward volts, then a small resistance.

    Good within .1 V from a hundredth of its rated current to all of it (memory).
    """
    values = setting.values
    on, shorted = 1.0 / values["on_ohms"], values["is_shorted"] > 0.5
    return (
        _one_way(
            setting,
            siemens=on,
            knee_volts=np.where(shorted, 0.0, values["forward_volts"]),
            back_siemens=np.where(shorted, on, 0.0),
        ),
    )


def _led_lamp(setting: Setting) -> tuple[Branch, ...]:
    """Dark up to the volts its diodes need, then a series resistor's line.

    Good up to 16 V; one that regulates its current takes the same at all volts.
    """
    values = setting.values
    knee_volts = values["knee_volts"]
    rated_amps = values["led_watts"] / values["led_volts"]
    siemens = rated_amps / (values["led_volts"] - knee_volts)
    none = np.zeros_like(siemens)
    return (
        _one_way(setting, siemens=siemens, knee_volts=knee_volts, back_siemens=none),
    )


def _one_way(
    setting: Setting,
    *,
    siemens: FloatArray,
    knee_volts: FloatArray,
    back_siemens: FloatArray,
) -> Branch:
    """Return what conducts from a to b beyond a knee, or turned round from b to a."""
    is_reversed = setting.values["is_reversed"] > 0.5
    sign = np.where(is_reversed, -1.0, 1.0)
    amps = -sign * knee_volts * siemens
    none = np.zeros_like(siemens)
    return setting.curve(
        nodes=setting.between("a", "b"),
        breaks=(sign * knee_volts)[:, None],
        siemens=_columns(
            np.where(is_reversed, siemens, back_siemens),
            np.where(is_reversed, back_siemens, siemens),
        ),
        amps=_columns(
            np.where(is_reversed, amps, none), np.where(is_reversed, none, amps)
        ),
        forced=np.where(setting.values["is_open"] > 0.5, -1.0, 1.0),
    )


def _lamp(setting: Setting) -> tuple[Branch, ...]:
    """Chords of the tungsten power law; the cold slope also serves reversed volts."""
    values = setting.values
    volts = values["lamp_volts"]
    rated = values["lamp_watts"] / volts
    fractions = np.concatenate([[0.0], LAMP_BREAKS, [16.0 / 13.5]])
    amps_at = fractions**LAMP_EXPONENT
    slopes = np.diff(amps_at) / np.diff(fractions)
    offsets = amps_at[:-1] - slopes * fractions[:-1]
    return (
        setting.curve(
            nodes=setting.between("a", "b"),
            breaks=volts[:, None] * LAMP_BREAKS,
            siemens=(rated / volts)[:, None] * slopes,
            amps=rated[:, None] * offsets,
            forced=np.where(values["is_open"] > 0.5, -1.0, 1.0),
        ),
    )


def _motor(setting: Setting) -> tuple[Branch, ...]:
    """Return a motor whose load follows its speed, or a held one; good from 9 to 16 V.

    Its current then falls about as its volts do (memory); the inrush is that of the
    held rotor.
    """
    values = setting.values
    stalled = np.where(values["is_stalled"] > 0.5, values["stall_factor"], 1.0)
    amps = values["motor_amps"] * values["load_factor"] * stalled
    return (_consumer(setting, volts=values["motor_volts"], amps=amps),)


def _load(setting: Setting) -> tuple[Branch, ...]:
    """Return a resistance; good from 9 to 16 V for what regulates no current."""
    values = setting.values
    amps = values["load_amps"] * values["load_factor"]
    return (_consumer(setting, volts=values["load_volts"], amps=amps),)


def _consumer(setting: Setting, *, volts: FloatArray, amps: FloatArray) -> Branch:
    return setting.linear(
        volts / amps,
        nodes=setting.between("a", "b"),
        forced=np.where(setting.values["is_open"] > 0.5, -1.0, 1.0),
    )


def _no_branches(setting: Setting) -> tuple[Branch, ...]:
    del setting
    return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """A kind of part: its terminals, its parameters, and how it becomes branches.

    Parameters
    ----------
    follows_state : bool
        What it does depends on the operating state.
    has_ground_side : bool
        Its first terminal is the one away from ground and counts as the positive one;
        a positive-ground car has it the other way round.
    """

    terminals: tuple[str, ...]
    parameters: tuple[str, ...]
    branches: Callable[[Setting], tuple[Branch, ...]]
    optional_terminals: tuple[str, ...] = ()
    needs_gate: bool = False
    follows_state: bool = False
    has_ground_side: bool = False


_AB = ("a", "b")
_STUCK = ("is_stuck_closed", "is_stuck_open")
_PROTECTION = Element(
    terminals=_AB,
    parameters=(
        "rating_amps",
        "ohms",
        "is_blown",
        "blow_factor",
        *OPENING_PARAMETERS,
        "is_self_resetting",
    ),
    branches=_protection,
    follows_state=True,
)

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
        branches=_battery,
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
        branches=_alternator,
        has_ground_side=True,
        follows_state=True,
    ),
    "starter": Element(
        terminals=("plus", "case"),
        parameters=("cranking_amps", "stall_ohms"),
        branches=_starter,
        has_ground_side=True,
    ),
    "coil": Element(
        terminals=_AB,
        parameters=("coil_ohms", "coil_rise_celsius", "pull_in_volts", "release_volts"),
        branches=_coil,
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
        ),
        branches=_contacts,
        needs_gate=True,
    ),
    "switch-contact": Element(
        terminals=_AB,
        parameters=("contact_ohms", *_STUCK, "fails_in_crank", "fails_in_run"),
        branches=_switch_contact,
        follows_state=True,
    ),
    "controller": Element(
        terminals=("supply", "ground"),
        parameters=("supply_amps", "reset_volts", "restart_volts", "is_working"),
        branches=_controller,
        has_ground_side=True,
    ),
    "driver": Element(
        terminals=("out", "return"),
        parameters=("on_ohms", "limit_amps", *_STUCK, "is_short_proof"),
        branches=_driver,
        has_ground_side=True,
        needs_gate=True,
        follows_state=True,
    ),
    **dict.fromkeys(PROTECTIVE_KINDS, _PROTECTION),
    "wire": Element(
        terminals=_AB,
        parameters=(
            "wire_ohms",
            "joint_a_ohms",
            "joint_b_ohms",
            "leak_ohms",
            "extra_ohms",
        ),
        branches=_wire,
    ),
    "joint": Element(terminals=_AB, parameters=("joint_ohms",), branches=_joint),
    "resistor": Element(terminals=_AB, parameters=("ohms",), branches=_resistor),
    "diode": Element(
        terminals=_AB,
        parameters=(
            "forward_volts",
            "on_ohms",
            "is_shorted",
            "is_open",
            "is_reversed",
        ),
        branches=_diode,
    ),
    "lamp": Element(
        terminals=_AB,
        parameters=("lamp_watts", "lamp_volts", "is_open"),
        branches=_lamp,
        has_ground_side=True,
    ),
    "led-lamp": Element(
        terminals=_AB,
        parameters=("led_watts", "led_volts", "knee_volts", "is_open", "is_reversed"),
        branches=_led_lamp,
        has_ground_side=True,
    ),
    "motor": Element(
        terminals=_AB,
        parameters=(
            "motor_amps",
            "motor_volts",
            "is_open",
            "is_stalled",
            "stall_factor",
            "load_factor",
        ),
        branches=_motor,
    ),
    "load": Element(
        terminals=_AB,
        parameters=("load_amps", "load_volts", "is_open", "load_factor"),
        branches=_load,
    ),
    "engine": Element(terminals=(), parameters=(), branches=_no_branches),
}
