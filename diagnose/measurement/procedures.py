"""Procedures: how each kind of reading is taken, and what spoils it.

The words are data; here is only which procedure a reading follows. Leaves the words to
knowledge/ and how a page looks to `terminal`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.circuit.car import Car
from diagnose.measurement.points.forbidden_points import battery_posts, wired_to
from diagnose.measurement.points.where_to_measure import heavy_points, is_at_rest
from diagnose.measurement.readings import Reading, ReadingKind

# The procedures that readings follow, all of which knowledge/ has to have. By
# definition.
OF_READINGS = (
    "volts",
    "rest-volts",
    "charging-volts",
    "cranking-volts",
    "drop-under-load",
    "drop-while-cranking",
    "ground-drop",
    "ripple",
    "ohms",
    "coil-ohms",
    "drain",
    "drain-in-series",
    "amps",
    "fuse-millivolts",
    "test-lamp",
    "fuse-look",
)

# The same of the tests with the circuit changed, by the kind of change; a lead is a
# jump lead where it carries the starter's current. By definition.
OF_TESTS = ("fused-lead", "jump-lead", "swap-part", "unplug-part", "take-wire-off")

# The same of tests that bring a fault, by their verb. By definition.
OF_PROVOCATIONS = ("wiggle", "warm", "damp", "touch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """How one kind of reading is taken.

    Parameters
    ----------
    name : str
        Key: ``drop-under-load``.
    act : str
        What is read with, in a few words: ``DC volts``.
    how : str
        What the meter is set to and where its leads go, with ``{red}``, ``{black}`` and
        ``{part}``.
    car : str
        What the car must be doing and what must draw meanwhile; empty where nothing.
    lasts : str
        How long it takes until the figure counts.
    spoils : str
        What spoils it.
    caution : str
        Key of the caution before it; empty where place and state say all.
    is_minded : bool
        Whether the page says beside the reading what the car must be doing.
    """

    name: str
    act: str
    how: str
    car: str
    lasts: str
    spoils: str
    caution: str
    is_minded: bool

    def taken(self, *, red: str = "", black: str = "", part: str = "") -> str:
        """Return how it is taken at given places.

        Parameters
        ----------
        red, black, part : str
            Where the leads go, or the part that it is about.

        Returns
        -------
        str
            Sentences.
        """
        return (
            self.how.replace("{red}", red)
            .replace("{black}", black)
            .replace("{part}", part)
        )

    def told(self, caution: str) -> str:
        """Return all of it in sentences, for who asks what it is.

        Parameters
        ----------
        caution : str
            What stands before it, in words; empty where nothing does.

        Returns
        -------
        str
        """
        how = self.taken(red="the first point", black="the second", part="the part")
        said = (caution, how, self.car, self.lasts, f"What spoils it: {self.spoils}")
        return " ".join(one for one in said if one)


# All procedures by name.
Procedures = Mapping[str, Procedure]


def procedure_name(reading: Reading, car: Car) -> str:
    """Return which procedure a reading follows.

    Parameters
    ----------
    reading : Reading
        Any reading.
    car : Car
        The car.

    Returns
    -------
    str
        One of `OF_READINGS`; what else a drain can be read by is ``drain-in-series``.
    """
    match reading.kind:
        case ReadingKind.DC_VOLTS:
            return _volts_name(reading, car)
        case ReadingKind.AC_VOLTS:
            return "ripple"
        case ReadingKind.OHMS:
            coils = [set(p.terminals.values()) for p in car.parts if p.kind == "coil"]
            is_coil = {reading.red, reading.black} in coils
            return "coil-ohms" if is_coil else "ohms"
        case ReadingKind.AMPS:
            return "drain" if is_at_rest(car.state(reading.state)) else "amps"
        case ReadingKind.FUSE:
            return "fuse-millivolts"
        case ReadingKind.LAMP:
            return "test-lamp"
        case ReadingKind.LOOK:
            return "fuse-look"


def _volts_name(reading: Reading, car: Car) -> str:
    """Return which procedure DC volts follow."""
    state = car.state(reading.state)
    if {reading.red, reading.black} <= battery_posts(car):
        if state.is_cranking:
            return "cranking-volts"
        return "charging-volts" if state.is_engine_running else "rest-volts"
    if reading.black == car.reference:
        is_ground = reading.red in wired_to({car.reference}, car)
        return "ground-drop" if is_ground else "volts"
    is_of_starter = {reading.red, reading.black} <= heavy_points(car)
    if state.is_cranking and is_of_starter:
        return "drop-while-cranking"
    return "drop-under-load"
