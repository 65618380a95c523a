"""Meters: how far a shown value may lie from the true one.

Leaves to `inference` what that means for the causes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.measurement.probe_lamp import ProbeLamp

# Most a hand-held meter carries in series. [A] Rule of the trade: the jack of usual
# meters is marked 10 A and fused so.
SERIES_AMPS = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterRange:
    """Accuracy of one function of a meter.

    Parameters
    ----------
    percent : float
        Accuracy in percent of the reading. [%]
    counts : float
        Accuracy in counts of the last digit. [1]
    resolution : float
        Value of one count. [unit of the function]
    """

    percent: float
    counts: float
    resolution: float

    def half_width(self, value: FloatArray) -> FloatArray:
        """Return by how much a shown value may be off at most.

        Parameters
        ----------
        value : FloatArray
            What the meter shows, of any shape and sign. [unit of the function]

        Returns
        -------
        FloatArray
            Same shape, positive. [unit of the function]

        References
        ----------
        The convention of meters' handbooks, ±(percent of the reading + counts of the
        last digit) (from memory).

        Examples
        --------
        A meter of ±(1 % + 2 counts) showing 100.0 V may be 1.2 V off.

        >>> float(
        ...     MeterRange(percent=1.0, counts=2, resolution=0.1).half_width(
        ...         np.array(100.0)
        ...     )
        ... )
        1.2
        """
        return np.abs(value) * self.percent / 100.0 + self.counts * self.resolution


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A multimeter with its leads, and a test lamp.

    Parameters
    ----------
    volts, ohms, amps, ac_volts, millivolts : MeterRange
        Accuracy of each function; amps are those of a clamp, millivolts the lowest
        range of DC volts.
    series_amps, milliamps : MeterRange or None
        Accuracy of amps with the meter in series, in its 10 A jack and in its jack for
        milliamps; None: as the clamp's.
    test_lamp : ProbeLamp
        What lies beside the meter in the box.
    input_ohms : float
        Resistance between the leads on the volts function. [Ω]
    lead_ohms : float
        Both leads together, the middle of all; adds to every ohms reading. [Ω]
    slip_probability : float
        Chance that a reading was taken at the wrong terminal or in the wrong state. [1]
    series_caution : str
        Key of the caution for amps in series; empty when none.
    model_volts, model_fraction : float
        How far a sound car strays from its file beyond the drawn tolerances: a fixed
        part in volts, and a fraction of the value. [V], [1]
    lead_log_spread : float
        Standard deviation of the natural logarithm of the leads' resistance. [1]
    """

    volts: MeterRange
    ohms: MeterRange
    amps: MeterRange
    ac_volts: MeterRange
    millivolts: MeterRange
    test_lamp: ProbeLamp
    input_ohms: float
    lead_ohms: float
    slip_probability: float
    model_volts: float
    model_fraction: float
    lead_log_spread: float = 0.0
    series_caution: str = ""
    series_amps: MeterRange | None = None
    milliamps: MeterRange | None = None

    def range_of_amps(self, amps: float, last_digit: float) -> MeterRange:
        """Return the range that amps with the key off were read in.

        Parameters
        ----------
        amps : float
            What the meter showed. [A]
        last_digit : float
            What one of the last digit told is worth; 0 when that is not known. [A]

        Returns
        -------
        MeterRange
            A clamp shows no hundredths: a value with them was read in series.

        Examples
        --------
        >>> clamp = MeterRange(percent=3.0, counts=5, resolution=0.1)
        >>> series = MeterRange(percent=1.5, counts=3, resolution=0.01)
        >>> milli = MeterRange(percent=1.0, counts=3, resolution=0.0001)
        >>> meter = Meter(
        ...     volts=clamp,
        ...     ohms=clamp,
        ...     amps=clamp,
        ...     ac_volts=clamp,
        ...     millivolts=clamp,
        ...     test_lamp=None,
        ...     input_ohms=1e7,
        ...     lead_ohms=0.2,
        ...     slip_probability=0.02,
        ...     model_volts=0.03,
        ...     model_fraction=0.01,
        ...     series_amps=series,
        ...     milliamps=milli,
        ... )
        >>> [
        ...     meter.range_of_amps(*read).resolution
        ...     for read in ((0.1, 0.1), (0.08, 0.01), (0.0823, 0.0001), (30.0, 0.01))
        ... ]
        [0.1, 0.01, 0.0001, 0.1]
        """
        is_clamp = not 0.0 < last_digit < self.amps.resolution
        if is_clamp or abs(amps) > SERIES_AMPS or self.series_amps is None:
            return self.amps
        is_fine = last_digit < self.series_amps.resolution
        if is_fine and self.milliamps is not None:
            return self.milliamps
        return self.series_amps
