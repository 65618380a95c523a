"""Likelihoods: how well each hypothesis explains a fact, draw by draw.

Readings stay continuous: predicted value, meter accuracy, how far a sound car strays
from its file, and a small chance of a slip. Symptoms carry a report error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.symptoms import Symptom

SQRT_TWO_PI = float(np.sqrt(2.0 * np.pi))
OHMS_MODEL_FRACTION = 0.1
# From memory: parallel paths and warm windings spread an ohms reading by a tenth.
AMPS_MODEL_FRACTION = 0.07
# From memory: loads of one type differ by some percent, and so does the clamp's
# position.
AC_MODEL_VOLTS = 0.005
AC_MODEL_FRACTION = 0.35
# From memory: what a battery lets through at some hundred hertz differs from battery to
# battery by a third, and so does what a meter makes of the wave.
FUSE_SPAN_VOLTS = 0.1
# Derived: .075 V along a fuse at its rating.
SPACING = 3.0
# Derived: predicted values lie about (range/n_draws) apart; a kernel of about half
# their standard deviation over n_draws times this closes the gaps between draws.
LEAST_GAP = 0.2
# Derived: a gap of a fifth of the other deviation widens it by a fiftieth.
NEIGHBOURS = 2
# Derived: of draws side by side the gaps scatter as much as they are wide; four of them
# together do by half of that.
MISREAD_OL_PROBABILITY = 0.01
STATE_FLOOR = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The random part of one function of the meter.

    Parameters
    ----------
    fixed, fraction : float
        Standard deviation of the model: a fixed part and a part of the value.
    span : float
        A slip lands anywhere in a span of this width.
    """

    range_: MeterRange
    fixed: float
    fraction: float
    span: float

    def deviation(self, predicted: FloatArray) -> FloatArray:
        """Return the standard deviation around a predicted value.

        The meter's accuracy limit is taken as two standard deviations.
        """
        meter = 0.5 * self.range_.half_width(predicted)
        model = self.fixed**2 + (self.fraction * predicted) ** 2
        return np.asarray(np.sqrt(meter**2 + model))


def spread_of(
    kind: ReadingKind,
    meter: Meter,
    *,
    system_volts: float,
    fuse_tolerance: float = 0.0,
) -> Spread:
    """Return the spread of volts, AC volts, amps, ohms or volts along a fuse.

    Parameters
    ----------
    fuse_tolerance : float
        Standard deviation of the fuse's resistance, as a share of it. [1]
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
            span=1.25 * system_volts,
        )
    if kind is ReadingKind.AC_VOLTS:
        return Spread(
            range_=meter.ac_volts,
            fixed=AC_MODEL_VOLTS,
            fraction=AC_MODEL_FRACTION,
            span=0.1 * system_volts,
        )
    if kind is ReadingKind.AMPS:
        return Spread(
            range_=meter.amps, fixed=0.0, fraction=AMPS_MODEL_FRACTION, span=100.0
        )
    return Spread(
        range_=meter.ohms, fixed=0.05, fraction=OHMS_MODEL_FRACTION, span=100.0
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Slips:
    """How often a reading is taken at the wrong point or in the wrong state.

    Parameters
    ----------
    probability : float
        Of a slip, each time the reading is taken.
    times : int
        How often it was taken, each time with about the same value.
    again : float
        Density of a value at which a right reading is when it is taken again.
    """

    probability: float
    times: int = 1
    again: float = 1.0

    def mixed(self, fit: FloatArray, slipped: FloatArray | float) -> FloatArray:
        """Return the likelihood of a reading, slips included.

        Parameters
        ----------
        fit : FloatArray
            Likelihood of the value where none of the readings was a slip.
        slipped : FloatArray or float
            Density of the value after a slip, same shape.

        Notes
        -----
        Every reading may be a slip by itself, but what makes a car stray from its file
        makes all its right readings stray alike: with m of n readings right, the fit
        counts once and each further right one only as a repetition a,

            L = (s d)^n + f / a (((1 - s) a + s d)^n - (s d)^n).

        Examples
        --------
        By hand, .98 x .01 + .02 x .1; and of two readings that agree both are slips,
        (.02 x .1)^2, one is, 2 x .98 x .02 x .1 x .01, or none, .98^2 x 5 x .01:

        >>> round(float(Slips(probability=0.02).mixed(np.array(0.01), 0.1)), 6)
        0.0118
        >>> twice = Slips(probability=0.02, times=2, again=5.0)
        >>> round(float(twice.mixed(np.array(0.01), 0.1)), 7)
        0.0480632
        """
        right, wrong = 1.0 - self.probability, self.probability * slipped
        if self.times == 1:
            return np.asarray(right * fit + wrong)
        all_wrong = wrong**self.times
        any_right = (right * self.again + wrong) ** self.times - all_wrong
        return np.asarray(all_wrong + fit / self.again * any_right)


def reading_likelihood(
    value: float,
    predicted: FloatArray,
    *,
    spread: Spread,
    slips: Slips,
    stray: FloatArray | float = 0.0,
    slip_density: FloatArray | float | None = None,
    stands_for: int = 1,
) -> FloatArray:
    """Return the likelihood of a shown value.

    Parameters
    ----------
    value : float
        Shown; inf for OL.
    predicted : FloatArray
        Shape (n_sets, n_draws); inf where the meter would show OL.
    stray : FloatArray or float
        A further standard deviation, same shape and unit.
    slip_density : FloatArray or float or None
        Density of the value after a slip, same shape; even over the span when None.
    stands_for : int
        How many draws each that was solved stands for.

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws); density in one over the unit (a probability for OL).

    Notes
    -----
    (1 - s) N(value; predicted, sigma) + s d, sigma from the meter, the model and the
    spacing of the draws, d the density after a slip.
    """
    slipped = 1.0 / spread.span if slip_density is None else slip_density
    is_over = np.isinf(predicted)
    if np.isinf(value):
        hit = np.where(is_over, 1.0 - MISREAD_OL_PROBABILITY, MISREAD_OL_PROBABILITY)
        return slips.mixed(hit, 0.5)
    finite = np.where(is_over, 0.0, predicted)
    sigma = np.hypot(_sigma(finite, spread, stands_for=stands_for), stray)
    z = (value - finite) / sigma
    density = np.exp(-0.5 * z * z) / (sigma * SQRT_TWO_PI)
    density = np.where(is_over, MISREAD_OL_PROBABILITY / spread.span, density)
    return slips.mixed(density, slipped)


def slip_density(
    value: float,
    levels: Sequence[FloatArray],
    shares: Sequence[float],
    *,
    deviation: float,
    span: float,
) -> FloatArray:
    """Return the density of volts read at some other test point.

    Most points of a car are near one of a few levels, so that a slip mostly shows one.

    Parameters
    ----------
    levels : Sequence[FloatArray]
        Volts of each level, shape (n_sets, n_draws) each. [V]
    shares : Sequence[float]
        How many of the points are near each level; what is left lies anywhere.
    deviation : float
        Standard deviation of the points around their level. [V]

    Examples
    --------
    Half of the points at 0 V, none elsewhere: 0.5 x 0.399 / 0.1 V + 0.5 / 15 V.

    >>> found = slip_density(0.0, [np.zeros((1, 1))], [0.5], deviation=0.1, span=15.0)
    >>> round(float(found[0, 0]), 3)
    2.028
    """
    result = np.full(levels[0].shape, (1.0 - sum(shares)) / span)
    for level, share in zip(levels, shares, strict=True):
        z = (value - level) / deviation
        result += share * np.exp(-0.5 * z * z) / (deviation * SQRT_TWO_PI)
    return result


def lamp_likelihood(value: float, grade: FloatArray, *, slips: Slips) -> FloatArray:
    """Return the likelihood of what a person says of a test lamp.

    Parameters
    ----------
    value : float
        One of `GRADES`.
    grade : FloatArray
        Predicted on average, see `lamp_grade`; shape (n_sets, n_draws).

    Notes
    -----
    (1 - s) P(answer; grade) + s / 3: a slip gives any answer.
    """
    return slips.mixed(answer_chance(value, grade), 1.0 / len(GRADES))


_two_sided_tail = np.vectorize(
    lambda z: math.erfc(z / math.sqrt(2.0)), otypes=[np.float64]
)


def tail_of(
    value: float,
    predicted: FloatArray,
    share: FloatArray,
    *,
    spread: Spread,
    stray: FloatArray | float = 0.0,
) -> float:
    """Return the two-sided chance of a value at least as far from the predictions.

    Parameters
    ----------
    predicted, share : FloatArray
        Of one fault set, shape (n_draws,); the shares sum to 1.
    stray : FloatArray or float
        A further standard deviation, same shape and unit.
    """
    is_over = np.isinf(predicted)
    if np.isinf(value):
        return float(share[is_over].sum())
    finite = np.where(is_over, 0.0, predicted)[None, :]
    z = np.abs(value - finite[0]) / np.hypot(_sigma(finite, spread)[0], stray)
    tails = np.where(is_over, 0.0, _two_sided_tail(z))
    return float((tails * share).sum())


def _sigma(predicted: FloatArray, spread: Spread, *, stands_for: int = 1) -> FloatArray:
    """Return the deviation of a value from each prediction, gaps between draws closed.

    Where predictions lie close together the gap is small, whatever others do: a short
    circuit that has blown its fuse shows no volts in three draws of four, and some
    eleven in the fourth.
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
    return np.asarray(np.sqrt(variance))


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


def look_likelihood(
    is_blown: bool, predicted: FloatArray, *, slips: Slips
) -> FloatArray:
    """Return the likelihood of what a look at a fuse showed, (n_sets, n_draws)."""
    return slips.mixed(predicted if is_blown else 1.0 - predicted, 0.5)


def symptom_likelihood(
    symptom: Symptom, is_present: bool, chance: FloatArray, *, times: int = 1
) -> FloatArray:
    """Return the likelihood of a yes or no, report errors included.

    Parameters
    ----------
    chance : FloatArray
        Chance that the symptom is really there, shape (n_sets, n_draws).
    times : int
        How often the same was answered: each time may be a mistake by itself.

    Examples
    --------
    By hand, .5 x .98^2 + .5 x .01^2:

    >>> from diagnose.measurement.symptoms import Group, Join
    >>> seen = Symptom(
    ...     name="lamp-shines",
    ...     question="Does the lamp shine?",
    ...     state="lit",
    ...     when=Group(join=Join.ALL, members=()),
    ...     minutes=0.5,
    ...     missed_probability=0.02,
    ...     imagined_probability=0.01,
    ... )
    >>> round(float(symptom_likelihood(seen, True, np.array(0.5), times=2)), 5)
    0.48025
    """
    missed, imagined = symptom.missed_probability, symptom.imagined_probability
    there, away = (1.0 - missed, imagined) if is_present else (missed, 1.0 - imagined)
    return np.asarray(chance * there**times + (1.0 - chance) * away**times)
