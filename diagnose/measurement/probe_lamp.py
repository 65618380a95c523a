"""The test lamp: a reading that loads what it reads, in three answers a person gives.

A meter of 10 Mohm shows full volts behind a joint of a hundred ohms that nothing loads;
a lamp does not light there. What it shows is a grade from 0 (dark) by a half (dim) to 1
(lit), the mean of what people say: one number a draw holds the chances of all three
answers, because the two limits are twenty times apart in light.

The lamp is worked out from open-circuit volts and source resistance, not solved: both
are predicted anyway, so that its readings cost no solution. That is right as long as
its quarter amp switches nothing. Leaves both to `faults.predictions.predictor`, and to
`lamp_points` where a lamp may be held.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.measurement.quantities import LIGHT_EXPONENT

# What a person says of the lamp, and the grade it stands for. [1] Own choice: dim is
# half way.
GRADES: Mapping[str, float] = MappingProxyType({"dark": 0.0, "dim": 0.5, "lit": 1.0})

# Least share of the rated volts that is looked at. [1] Own choice: so that the dark has
# a logarithm; no eye sees a millionth of the volts.
_LEAST_SHARE = 1e-6

# Least sum that is divided by in the lamp's equation. [1] Own choice: 0 V behind 0 ohm
# then are dark, and not 0 over 0.
_LEAST_SUM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeLamp:
    """A test lamp and the eye that looks at it.

    Parameters
    ----------
    watts : float
        At its rated volts. [W]
    volts : float
        Rated, on a 12 V car; on another it is the lamp for that system. [V]
    lit_light, dark_light : float
        Share of the rated light at which half the people say lit rather than dim, and
        dim rather than dark. [1]
    lit_blur, dark_blur : float
        How unsure these limits are, as the scale of a logistic in the natural logarithm
        of the light. [1]
    caution : str
        Key of the caution that stands with it; empty when none.
    """

    watts: float
    volts: float
    lit_light: float
    dark_light: float
    lit_blur: float
    dark_blur: float
    caution: str = ""

    def hot_ohms(self, system_volts: float) -> float:
        """Return its resistance at rated volts.

        Parameters
        ----------
        system_volts : float
            Of the car: 6, 12 or 24. [V]

        Returns
        -------
        float
            Of the lamp for that system, with as many watts. [Ω]

        Examples
        --------
        >>> lamp = ProbeLamp(
        ...     watts=3.0,
        ...     volts=12.0,
        ...     lit_light=0.5,
        ...     dark_light=0.01,
        ...     lit_blur=0.25,
        ...     dark_blur=0.6,
        ... )
        >>> lamp.hot_ohms(12.0), lamp.hot_ohms(6.0)
        (48.0, 12.0)
        """
        return (self.volts * system_volts / 12.0) ** 2 / self.watts


def lamp_share(
    open_volts: npt.NDArray[Any], source_ohms: npt.NDArray[Any], lamp_ohms: float
) -> npt.NDArray[Any]:
    """Return the volts over a lamp that a source feeds, as a share of its rated volts.

    Parameters
    ----------
    open_volts : NDArray
        Those without the lamp, over its rated volts. [1]
    source_ohms : NDArray
        Resistance of the source, same shape. [Ω]
    lamp_ohms : float
        Resistance of the lamp at its rated volts. [Ω]

    Returns
    -------
    NDArray
        Same shape and precision. [1]

    Notes
    -----
    x + r sqrt(x) = u with u the open volts and r the source's resistance over the
    lamp's. A filament takes less current at fewer volts, but not in proportion: about
    volts**.55 (part `lamp`); with volts**.5 the equation has a root in closed form that
    lies within 4 % of that of .55.

    Examples
    --------
    A source as stiff as the lamp, r = u = 1, by hand: sqrt(x) = (sqrt(5) - 1)/2 = .618.

    >>> round(float(lamp_share(np.array(1.0), np.array(48.0), 48.0)), 3)
    0.382
    """
    ratio = source_ohms / lamp_ohms
    size = np.abs(open_volts)
    # 2u/(r + ...) and not (... - r)/2: a dead end's r is a hundred million
    root = (
        2.0 * size / np.maximum(ratio + np.sqrt(ratio * ratio + 4.0 * size), _LEAST_SUM)
    )
    return np.asarray(root * root)


def lamp_grade(
    open_volts: npt.NDArray[Any],
    source_ohms: npt.NDArray[Any],
    *,
    lamp: ProbeLamp,
    system_volts: float,
) -> npt.NDArray[Any]:
    """Return the grade that people give a test lamp on average.

    Parameters
    ----------
    open_volts : NDArray
        Between the two points, without the lamp. [V]
    source_ohms : NDArray
        Between them, same shape. [Ω]
    lamp : ProbeLamp
        The lamp and the eye.
    system_volts : float
        Of the car: 6, 12 or 24. [V]

    Returns
    -------
    NDArray
        From 0 (dark) by .5 (dim) to 1 (lit), same shape and precision. Between two
        answers it tells how many give the upper one; see `answer_chance`.

    References
    ----------
    Light goes with volts**3.4: D. G. Fink, H. W. Beaty, Standard Handbook for
    Electrical Engineers, 11th ed., p. 22-8 (secondary copy); here
    `quantities.LIGHT_EXPONENT`.
    """
    rated_volts = lamp.volts * system_volts / 12.0
    share = lamp_share(
        open_volts / rated_volts, source_ohms, lamp.hot_ohms(system_volts)
    )
    light = LIGHT_EXPONENT * np.log(np.maximum(share, _LEAST_SHARE))
    steps = (
        np.tanh(0.5 * (light - float(np.log(limit))) / blur)
        for limit, blur in (
            (lamp.dark_light, lamp.dark_blur),
            (lamp.lit_light, lamp.lit_blur),
        )
    )
    return np.asarray(0.5 + 0.25 * sum(steps))


def answer_chance(value: float, grade: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the chance of an answer, given the grade on average.

    Nobody hesitates between lit and dark: only the two answers nearest to the grade are
    given, and their mean is the grade.

    Parameters
    ----------
    value : float
        One of `GRADES`.
    grade : NDArray
        As from `lamp_grade`, of any shape. [1]

    Returns
    -------
    NDArray
        Same shape. [1]

    Examples
    --------
    >>> [float(answer_chance(value, np.array(0.6))) for value in GRADES.values()]
    [0.0, 0.8, 0.2]
    """
    return np.asarray(np.maximum(1.0 - 2.0 * np.abs(grade - value), 0.0))


def grade_words(value: float) -> str:
    """Return the answer nearest to a grade.

    Parameters
    ----------
    value : float
        From 0 to 1. [1]

    Returns
    -------
    str
        One of `GRADES`.

    Examples
    --------
    >>> grade_words(0.97), grade_words(0.6)
    ('lit', 'dim')
    """
    return min(GRADES, key=lambda words: abs(GRADES[words] - value))
