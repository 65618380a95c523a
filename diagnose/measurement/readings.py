"""Readings: what the meter was set to, where the leads were, in which state.

Leaves to `where_to_measure` which of them are worth taking, the predicted value to
`faults` and its likelihood to `inference`.

Millivolts along a fuse are kept as they were read: a fact is what the meter showed.
They are predicted as the fuse's amps times the middle of its resistance, and the fuse's
tolerance widens the reading instead of being drawn twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from diagnose.circuit.car import Part
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.units import Unit

# Ends of the middle 68 % of a distribution, as probabilities. [1] Derived: a normal has
# that much within one standard deviation of its mean.
MIDDLE_SIXTY_EIGHT = (0.16, 0.84)


class ReadingKind(Enum):
    """What the meter was set to."""

    DC_VOLTS = "volts"
    AC_VOLTS = "ac"  # the alternator's ripple, across the battery
    OHMS = "ohms"
    AMPS = "amps"
    FUSE = "fuse"  # volts along a fuse, turned into amps by its resistance
    LAMP = "lamp"  # a test lamp: its grade, 0 dark, 0.5 dim, 1 lit
    LOOK = "look"  # a look at a fuse: 1.0 blown, 0.0 sound

    @property
    def unit(self) -> Unit | None:
        """The unit its value is kept in; None for what is told in words."""
        return _UNITS.get(self)


# The unit that a value of each kind is kept in.
_UNITS = {
    ReadingKind.DC_VOLTS: Unit.VOLTS,
    ReadingKind.AC_VOLTS: Unit.VOLTS,
    ReadingKind.OHMS: Unit.OHMS,
    ReadingKind.AMPS: Unit.AMPS,
    ReadingKind.FUSE: Unit.VOLTS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One place and state to measure, without the value.

    Parameters
    ----------
    kind : ReadingKind
        What the meter is set to.
    state : str
        Operating state.
    red, black : str
        Nodes of the leads; AC_VOLTS are read across the battery, and a LAMP's clip is
        on one of its posts. For AMPS, `red` is the part the clamp is round and `black`
        is empty; for FUSE and LOOK, `red` is the fuse and `black` is empty.
    """

    kind: ReadingKind
    state: str
    red: str
    black: str

    @property
    def name(self) -> str:
        """Key, e.g. ``volts|cranking|pump.plus|battery.minus``."""
        return "|".join((self.kind.value, self.state, self.red, self.black))


def fuse_ohms(fuse: Part) -> float:
    """Return the resistance that turns the volts along a fuse into amps.

    Parameters
    ----------
    fuse : Part
        A fuse.

    Returns
    -------
    float
        The middle of what such a fuse has. [Ω]
    """
    return fuse.values["ohms"].distribution.nominal


def fuse_tolerance(fuse: Part) -> float:
    """Return the standard deviation of a fuse's resistance, as a share of it.

    Parameters
    ----------
    fuse : Part
        A fuse.

    Returns
    -------
    float
        Half of the width that the middle 68 % span. [1]
    """
    low, high = fuse.values["ohms"].distribution.quantile(np.array(MIDDLE_SIXTY_EIGHT))
    return float(0.5 * (high - low)) / fuse_ohms(fuse)


def meter_range(kind: ReadingKind, meter: Meter) -> MeterRange | None:
    """Return the meter's range for a kind of reading.

    Parameters
    ----------
    kind : ReadingKind
        What the meter is set to.
    meter : Meter
        The meter.

    Returns
    -------
    MeterRange or None
        None for what people say of a lamp or a fuse they look at.
    """
    return {
        ReadingKind.DC_VOLTS: meter.volts,
        ReadingKind.OHMS: meter.ohms,
        ReadingKind.AMPS: meter.amps,
        ReadingKind.AC_VOLTS: meter.ac_volts,
        ReadingKind.FUSE: meter.millivolts,
    }.get(kind)
