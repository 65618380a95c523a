"""What stands beside a part: its name, its size, its terminals, volts and amps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.circuit.car import Part
from diagnose.circuit.design.reach import is_copper
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.wires import (
    AWG_GAUGES,
    SAE_GAUGES,
    awg_area_mm2,
    gauge_name,
    sae_area_mm2,
)

# How near an area must be to a gauge's to be called that. [1] Own choice: rounding.
_SAME_AREA = 1e-6

# Volts, and differences of volts, below this are none. [V] Derived: a tenth is written.
_LEAST_VOLTS = 0.05

# Volts that differ by a smaller share are not what a fault is seen by. [1] Own choice:
# a tenth of a volt at the battery, where every load that a fault takes away shows.
_SAME_VOLTS_SHARE = 0.01

# Amps that differ by a smaller share look alike. [1] Own choice: written in two digits.
_SAME_SHARE = 0.02

# Smaller currents are not written. [A] Own choice.
_LEAST_AMPS = 0.0005

# Currents below this are written in milliamps. [A] Own choice.
_MILLIAMPS_BELOW = 0.1

# Names of terminals as they are written beside a symbol; others as they are.
_TERMINAL_SIGNS = {"plus": "+", "minus": "-", "in": "", "out": "", "case": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Volts of every node against the grounded post, and amps of every part."""

    volts: Mapping[str, float]
    amps: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """What is written onto a diagram beside the circuit itself.

    Parameters
    ----------
    state : str
        The operating state in words, or empty.
    sound, faulty : Readings or None
        The car in that state, and the same with a fault.
    fault : str
        The fault by its name, or empty.
    fault_part : str
        The part that has it, or empty.
    red, black : str
        Nodes the two probes are on, or empty.
    """

    state: str = ""
    sound: Readings | None = None
    faulty: Readings | None = None
    fault: str = ""
    fault_part: str = ""
    red: str = ""
    black: str = ""

    def volts(self, node: str) -> tuple[str, bool]:
        """Return the volts of a node in words, and whether the fault moves them."""
        if self.sound is None:
            return "", False
        sound = self.sound.volts[node]
        faulty = sound if self.faulty is None else self.faulty.volts[node]
        words = [_shown_volts(sound), _shown_volts(faulty)]
        least = max(_LEAST_VOLTS, _SAME_VOLTS_SHARE * abs(sound))
        if words[0] == words[1] or abs(sound - faulty) < least:
            return f"{words[0]} V", False
        return f"{'/'.join(words)} V", True

    def amps(self, part: str) -> tuple[str, bool]:
        """Return the amps of a part in words, and whether the fault moves them."""
        if self.sound is None:
            return "", False
        sound = self.sound.amps[part]
        faulty = sound if self.faulty is None else self.faulty.amps[part]
        if abs(sound - faulty) < max(_LEAST_AMPS, _SAME_SHARE * sound):
            return (_amps_words(sound) if sound > _LEAST_AMPS else ""), False
        return _amps_words(sound, faulty), True


def _shown_volts(volts: float) -> str:
    """Return volts to a tenth; no minus before what is nothing."""
    return f"{volts:.1f}" if abs(volts) >= _LEAST_VOLTS else "0"


def _amps_words(*amps: float) -> str:
    """Return currents in two digits with their unit, small ones in milliamps."""
    is_small = max(amps) < _MILLIAMPS_BELOW
    shown = [one * 1000.0 if is_small else one for one in amps]
    least = _LEAST_AMPS * 1000.0 if is_small else _LEAST_AMPS
    words = [
        "0" if one < least else f"{one:.0f}" if one >= 10.0 else f"{one:.2g}"
        for one in shown
    ]
    return f"{'/'.join(words)} {'mA' if is_small else 'A'}"


def shown_name(part: Part) -> str:
    """Return what a part is called on a diagram: relays and switches by assembly."""
    if part.kind in {"coil", "contacts", "switch-contact"}:
        return part.assembly
    return part.name


def size_words(part: Part) -> str:
    """Return the size of a part as it is bought, or nothing."""
    values = {name: one.distribution.nominal for name, one in part.values.items()}
    if part.kind in PROTECTIVE_KINDS:
        kind = "" if part.kind == "fuse" else f" {part.kind}"
        return f"{values['rating_amps']:g} A{kind}"
    for name, unit in (
        ("lamp_watts", "W"),
        ("led_watts", "W"),
        ("motor_amps", "A"),
        ("load_amps", "A"),
        ("supply_amps", "A"),
        ("rated_amps", "A"),
        ("cranking_amps", "A"),
    ):
        if name in values:
            amount = values[name]
            if unit == "A" and amount < _MILLIAMPS_BELOW:
                return f"{1000 * amount:.3g} mA"
            return f"{amount:.3g} {unit}"
    if part.kind == "resistor":
        return f"{values['ohms']:.3g} ohm"
    return ""


def wire_words(wire: Part) -> list[str]:
    """Return size and length of a wire, and its colour on a line of its own."""
    length_m = wire.values["length_m"].distribution.nominal if is_copper(wire) else 0.0
    if is_copper(wire):
        area_mm2 = wire.values["area_mm2"].distribution.nominal
        lines = [f"{_gauge(area_mm2)} {length_m:.2g} m"]
    else:
        ohms = wire.values["wire_ohms"].distribution.nominal
        lines = [f"{ohms:.2g} ohm wire"]
    return [*lines, wire.colour] if wire.colour else lines


def _gauge(area_mm2: float) -> str:
    """Return a cross-section as it was given: a gauge, or square millimetres."""
    for gauges, area, series in (
        (AWG_GAUGES, awg_area_mm2, "AWG"),
        (SAE_GAUGES, sae_area_mm2, "SAE"),
    ):
        for gauge in gauges:
            if abs(area(gauge) - area_mm2) < _SAME_AREA * area_mm2:
                return f"{gauge_name(gauge)} {series}"
    return f"{area_mm2:.3g} mm²"


def terminal_word(part: Part, node: str) -> str:
    """Return what a part's terminal at a node is called, empty when it is no matter."""
    if part.kind in {"wire", "driver", "battery"}:
        return ""
    owner, _, name = node.rpartition(".")
    if owner != part.assembly:
        # what sits on another part's terminal: a relay's number all the same
        return _relay_number(part, node)
    return _TERMINAL_SIGNS.get(name, name)


def _relay_number(part: Part, node: str) -> str:
    """Return a relay's terminal number by DIN 72552 for a node of another part."""
    first, second = tuple(part.terminals.values())[:2]
    if part.kind == "coil":
        return "86" if node == first else "85" if node == second else ""
    if part.kind == "contacts":
        out = "87a" if part.is_normally_closed else "87"
        return "30" if node == first else out if node == second else ""
    return ""
