"""How far a meter's reading may lie from what is predicted.

Knows the meter's accuracy, how far a sound car strays from its file, and the gap that
few draws leave between predictions. Leaves slips to `slips`, and what a spread says of
a reading to `evidence`.

The gap that a prediction closes to the next one is that around it, and never wider than
that of all draws of its fault. A short circuit that has blown its fuse shows 0 V in
three draws of four and 11 V in the others; with one gap for all, each reading of 0 V
spoke against every short circuit by a factor of six.

Beyond the lowest and the highest of n draws lies one car in n + 1 either way. So these
two are as wide as the gaps at their end: a flat battery read .9 V where the lowest of
64 draws had 1.3 V, and was ruled out a thousand to one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.readings import ReadingKind

# What the area under exp(-z^2 / 2) is. [1] A property of the normal distribution.
SQRT_TWO_PI = math.sqrt(2.0 * math.pi)

# How many standard deviations a meter's accuracy limit is. [1] Own choice: a maker's
# limit is meant to hold nearly always.
DEVIATIONS_IN_LIMIT = 2.0

# How far a car's ohms stray from its file, as a share of them. [1] From memory:
# parallel paths and warm windings spread an ohms reading by a tenth.
OHMS_MODEL_FRACTION = 0.1

# How far a car's ohms stray whatever they are. [Ω] Own choice: about what the contact
# of a probe adds from one try to the next.
OHMS_MODEL_OHMS = 0.05

# How far a car's amps stray from its file, as a share of them. [1] From memory: loads
# of one type differ by some percent, and so does the clamp's position.
AMPS_MODEL_FRACTION = 0.07

# How far a car's amps at rest stray whatever they are. [A] From memory: a clock, a
# radio's memory and other small things that no car file names take some 10 mA.
REST_MODEL_AMPS = 0.01

# How far a car's ripple strays whatever it is. [V AC] Own choice: a few counts of a
# meter on its AC range.
AC_MODEL_VOLTS = 0.005

# How far a car's ripple strays, as a share of it. [1] From memory: what a battery lets
# through at some hundred hertz differs from battery to battery by a third, and so does
# what a meter makes of the wave.
AC_MODEL_FRACTION = 0.35

# Over what span a slip of the red lead spreads volts, as a share of the system's. [1]
# Derived: from nothing to what a car charges with and a little more, 15 V of 12 V.
VOLTS_SPAN_SHARE = 1.25

# Over what span a slip spreads volts AC, as a share of the system's. [1] Own choice:
# 1.2 V, more than the ripple of an alternator with a broken diode.
AC_SPAN_SHARE = 0.1

# Over what span a slip spreads amps. [A] Own choice: what a car's loads take together.
SPAN_AMPS = 100.0

# Over what span a slip spreads ohms. [Ω] Own choice: most of what is read as ohms lies
# within.
SPAN_OHMS = 100.0

# Over what span a slip spreads volts along a fuse. [V] Derived: .075 V along a fuse at
# its rating, and a little more.
FUSE_SPAN_VOLTS = 0.1

# How wide the gaps between predictions are, in their standard deviation over their
# number. [1] Derived: evenly spread values lie sqrt(12) = 3.5 of these apart; a kernel
# of nearly that closes the gaps between draws.
SPACING = 3.0

# Gaps below this share of the other deviation are left as that of all draws. [1]
# Derived: a gap of a fifth widens a deviation by a fiftieth.
LEAST_GAP = 0.2

# Over how many neighbours on either side a gap is averaged. [1] Derived: of draws side
# by side the gaps scatter as much as they are wide; four of them together do by half of
# that.
NEIGHBOURS = 2


# Over how many draws the gap at either end of a row is averaged. [1] Own choice: few
# enough to be about the end.
END_DRAWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The random part of one function of the meter.

    Parameters
    ----------
    range_ : MeterRange
        The meter's accuracy.
    fixed : float
        Standard deviation of the model whatever the value. [the function's unit]
    fraction : float
        Standard deviation of the model as a share of the value. [1]
    span : float
        A slip lands anywhere in a span of this width. [the function's unit]
    """

    range_: MeterRange
    fixed: float
    fraction: float
    span: float

    def slip_density(self, value: float) -> float:
        """Return how likely a slip shows a value: even over the span, thinner beyond.

        Parameters
        ----------
        value : float
            Shown, not inf. [the function's unit]

        Returns
        -------
        float
            Density. [1 over the function's unit]

        Notes
        -----
        Beyond the span it falls with the value, as that of what is even on a
        logarithmic scale: kilohms are read all over a car, and few at any one value.
        """
        return 1.0 / max(self.span, abs(value))

    def shared_by(self, n_readings: float) -> Spread:
        """Return the spread of one of several readings that share the model's error.

        Parameters
        ----------
        n_readings : float
            How many of them. [1]

        Returns
        -------
        Spread
            With so many times the variance of the model; that of the meter stays.

        Notes
        -----
        A misfit d that n readings share then counts n d^2 / (n sigma^2), as in one.
        """
        wider = math.sqrt(n_readings)
        return replace(self, fixed=wider * self.fixed, fraction=wider * self.fraction)

    def deviation(self, predicted: FloatArray) -> FloatArray:
        """Return the standard deviation around a predicted value.

        Parameters
        ----------
        predicted : FloatArray
            Any shape. [the function's unit]

        Returns
        -------
        FloatArray
            Same shape and unit: meter, fixed part and fraction together.
        """
        meter = self.range_.half_width(predicted) / DEVIATIONS_IN_LIMIT
        model = self.fixed**2 + (self.fraction * predicted) ** 2
        return np.asarray(np.sqrt(meter**2 + model))


def spread_of(
    kind: ReadingKind,
    meter: Meter,
    *,
    system_volts: float,
    fuse_tolerance: float = 0.0,
) -> Spread:
    """Return the spread of a kind of reading.

    Parameters
    ----------
    kind : ReadingKind
        Volts, volts AC, amps, ohms or volts along a fuse.
    meter : Meter
        What is read with.
    system_volts : float
        Of the car, 12 V as a rule. [V]
    fuse_tolerance : float
        Standard deviation of the fuse's resistance, as a share of it. [1]

    Returns
    -------
    Spread
        In volts, amps or ohms, as the kind is.
    """
    if kind is ReadingKind.FUSE:
        return Spread(
            range_=meter.millivolts,
            fixed=0.0,
            fraction=math.hypot(AMPS_MODEL_FRACTION, fuse_tolerance),
            span=FUSE_SPAN_VOLTS,
        )
    if kind is ReadingKind.DC_VOLTS:
        return Spread(
            range_=meter.volts,
            fixed=meter.model_volts,
            fraction=meter.model_fraction,
            span=VOLTS_SPAN_SHARE * system_volts,
        )
    if kind is ReadingKind.AC_VOLTS:
        return Spread(
            range_=meter.ac_volts,
            fixed=AC_MODEL_VOLTS,
            fraction=AC_MODEL_FRACTION,
            span=AC_SPAN_SHARE * system_volts,
        )
    if kind is ReadingKind.AMPS:
        return Spread(
            range_=meter.amps, fixed=0.0, fraction=AMPS_MODEL_FRACTION, span=SPAN_AMPS
        )
    return Spread(
        range_=meter.ohms,
        fixed=OHMS_MODEL_OHMS,
        fraction=OHMS_MODEL_FRACTION,
        span=SPAN_OHMS,
    )


def rest_amps_spread(range_: MeterRange) -> Spread:
    """Return the spread of amps with the key off.

    Parameters
    ----------
    range_ : MeterRange
        What they were read in, see `Meter.range_of_amps`.

    Returns
    -------
    Spread
        In amps.
    """
    return Spread(
        range_=range_,
        fixed=REST_MODEL_AMPS,
        fraction=AMPS_MODEL_FRACTION,
        span=SPAN_AMPS,
    )


def closed_deviation(
    predicted: FloatArray,
    spread: Spread,
    *,
    stands_for: int = 1,
    is_ladder: bool = False,
) -> FloatArray:
    """Return the deviation of a value from each prediction, gaps between draws closed.

    Parameters
    ----------
    predicted : FloatArray
        Of each fault set and draw, shape (n_sets, n_draws). [the function's unit]
    spread : Spread
        Of the reading.
    stands_for : int
        How many draws each that was solved stands for. [1]
    is_ladder : bool
        The rows are severities of one fault: what lies beyond the draws of one is in
        the next.

    Returns
    -------
    FloatArray
        Standard deviation, same shape and unit.

    Notes
    -----
    Where predictions lie close together the gap is small, whatever others do.
    """
    own = spread.deviation(predicted)
    solved = predicted[:, ::stands_for]
    gaps = SPACING * solved.std(axis=1) / solved.shape[1]
    wide = np.flatnonzero(gaps > LEAST_GAP * own.min(axis=1))
    variance = own**2 + gaps[:, None] ** 2
    if len(wide):
        near = SPACING / math.sqrt(12.0) * _spacing(solved[wide])
        closed = np.minimum(near.repeat(stands_for, axis=1), gaps[wide, None])
        variance[wide] = own[wide] ** 2 + closed**2
        if not is_ladder:
            _open_ends(variance, own, solved, wide, stands_for=stands_for)
    return np.asarray(np.sqrt(variance))


def _open_ends(
    variance: FloatArray,
    own: FloatArray,
    solved: FloatArray,
    wide: IntArray,
    *,
    stands_for: int,
) -> None:
    """Let the lowest and the highest draw of some rows stand for what lies beyond.

    Parameters
    ----------
    variance : FloatArray
        Of every row and draw, shape (n_sets, n_draws); written over. [unit squared]
    own : FloatArray
        Deviation without any gap, same shape. [the function's unit]
    solved : FloatArray
        Predictions, shape (n_sets, n_solved). [the function's unit]
    wide : IntArray
        The rows, shape (n_wide,).
    stands_for : int
        How many draws each that was solved stands for. [1]
    """
    ranked = np.sort(solved[wide], axis=1)
    most = min(END_DRAWS, ranked.shape[1] - 1)
    for last, gap in (
        (solved[wide].argmin(axis=1), ranked[:, most] - ranked[:, 0]),
        (solved[wide].argmax(axis=1), ranked[:, -1] - ranked[:, -1 - most]),
    ):
        beyond = (SPACING * gap / most)[:, None]
        draws = last[:, None] * stands_for + np.arange(stands_for)
        each = wide[:, None], draws
        variance[each] = np.maximum(variance[each], own[each] ** 2 + beyond**2)


def _spacing(values: FloatArray) -> FloatArray:
    """Return how far each value of a row is from the next, on average of a few.

    Shape as `values`.
    """
    order = np.argsort(values, axis=1, kind="stable")
    ranked = np.take_along_axis(values, order, axis=1)
    places = np.arange(values.shape[1])
    below = np.maximum(places - NEIGHBOURS, 0)
    above = np.minimum(places + NEIGHBOURS, places[-1])
    apart = (ranked[:, above] - ranked[:, below]) / np.maximum(above - below, 1)
    result = np.empty_like(values)
    np.put_along_axis(result, order, apart, axis=1)
    return result


def normal_density(deviations: FloatArray, deviation: FloatArray | float) -> FloatArray:
    """Return the density of a normal distribution.

    Parameters
    ----------
    deviations : FloatArray
        How far off, in standard deviations. [1]
    deviation : FloatArray or float
        Standard deviation, same shape. [any unit]

    Returns
    -------
    FloatArray
        Same shape. [1 over that unit]

    Examples
    --------
    >>> round(float(normal_density(np.array(0.0), 2.0)), 4)
    0.1995
    """
    density = np.exp(-0.5 * deviations * deviations)
    return np.asarray(density / (deviation * SQRT_TWO_PI))
