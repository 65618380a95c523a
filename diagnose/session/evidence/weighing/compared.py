"""How likely volts or ohms are beside those of another point that moves with them.

What makes one point of a path stray from the file makes the next one stray as well: of
the second only the difference tells anything more. An electrician reads a panel against
the battery, and not against a table. Leaves which reading another is compared with to
`shared_errors`, and a reading by itself to `weighed_readings`.

Decisions that bind it:

- It is decided fault set by fault set, by whether its draws move both points alike: an
  open stud lets two points float together that the sound car holds at 0 V. Weighed each
  by itself, 2.6 V at one of them in two states ruled out the stud that gave them,
  because a value at the end of the draws was paid for twice.
- Ohms as well: what hangs on a panel stands behind all its points, and a third more of
  it, read at eight of them, fitted nothing.
- The other reading may have been a slip, and then says nothing of this one. The two
  together are as likely as a pair with one error in common, each of which may be a
  slip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.inference.belief.evidence import reading_likelihood, tail_of
from diagnose.inference.belief.reading_spread import DEVIATIONS_IN_LIMIT, Spread
from diagnose.inference.belief.severity_steps import on_steps, step_spread
from diagnose.inference.belief.slips import Slips
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.seen import Noted, rounding_deviation, shown
from diagnose.session.evidence.weighing.reading_slips import ReadingSlips
from diagnose.session.evidence.weighing.scatter import RowIndex, Scatter
from diagnose.session.facts import ReadingFact

# From which share of their variance on two points move together. [1] Own choice: half
# of what moves one moves the other.
LEAST_TOGETHER = 0.5

# How much one moves with the other at least and at most, for their difference to be
# freer of what they share than either. [1] Derived: between a half and one and a half
# the rest is less than the whole.
SLOPES = (0.5, 1.5)

# Points that spread less than this over the draws move with nothing. [V, Ω] Own choice:
# a last digit or two.
LEAST_MOVING = 0.02

# Of a reading that was right. [1]
NO_SLIPS = Slips(probability=0.0)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two readings of volts, or of ohms, that are compared.

    Parameters
    ----------
    fact, other : ReadingFact
        The one weighed, and the one it is compared with.
    shows, other_shows : FloatArray
        What they are predicted to show, shape (n_rows, n_draws). [V or Ω]
    """

    fact: ReadingFact
    other: ReadingFact
    shows: FloatArray
    other_shows: FloatArray

    @property
    def is_same_place(self) -> bool:
        """Whether both are of the same two points."""
        own, other = self.fact.reading, self.other.reading
        return (own.red, own.black) == (other.red, other.black)

    @property
    def strays_alike(self) -> bool:
        """Whether what moves one beyond its draws moves the other as far."""
        return self.is_same_place or self.fact.reading.kind is ReadingKind.OHMS


class ComparedReadings:
    """Weighs readings of volts and ohms beside others, on one car.

    Parameters
    ----------
    scatter : Scatter
        How far readings stray without a mistake.
    slips : ReadingSlips
        What they show after one.
    """

    def __init__(self, scatter: Scatter, slips: ReadingSlips) -> None:
        self._scatter, self._slips = scatter, slips

    def likelihood(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        pair: Pair,
        alone: FloatArray,
        *,
        rows: RowIndex,
        is_ladder: bool,
        stands_for: int,
    ) -> FloatArray:
        """Return the likelihood of a reading, given that of another point.

        Parameters
        ----------
        pair : Pair
            The readings, on steps where the rows are a ladder.
        alone : FloatArray
            Likelihood of the reading by itself, shape (n_rows, n_draws). [1/V]
        hypotheses, noted, rows, is_ladder, stands_for
            As for `Weigher.likelihood`.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws). [1/V]

        Notes
        -----
        With f the density of the other reading, s of a slip d, and g that of the
        difference: w = (1 - s) f / ((1 - s) f + s d), and w g + (1 - w) alone.
        """
        on = on_steps if is_ladder else np.asarray
        both = pair.fact, pair.other
        jumps = [
            self._scatter.jumping_share(hypotheses, one.reading, rows=rows)
            for one in both
        ]
        is_steady = ~(on(jumps[0] + jumps[1]) > 0.0).any(axis=1)
        some = np.flatnonzero(is_steady & moving_together(pair.shows, pair.other_shows))
        if not len(some):
            return alone
        stray, other_stray = (
            on(self._scatter.leakage(hypotheses, one.reading, rows=rows))[some]
            for one in both
        )
        slipped, other_slipped = (
            self._slips.density(one, hypotheses, rows) for one in both
        )
        shows, other_shows = pair.shows[some], pair.other_shows[some]
        spread = self._scatter.of_fact(pair.fact)
        right = reading_likelihood(
            shown(pair.other),
            other_shows,
            spread=spread,
            slips=NO_SLIPS,
            stray=np.hypot(other_stray, rounding_deviation(pair.other)),
            stands_for=stands_for,
            is_ladder=is_ladder,
        )
        errors = _reading_errors(spread, pair, shows, other_shows)
        if not pair.strays_alike:
            errors += [stray, other_stray]
        if is_ladder:
            with np.errstate(invalid="ignore"):  # OL less OL, in rows not looked at
                apart = pair.shows - pair.other_shows
                errors.append(step_spread(apart, _switches(hypotheses, both))[some])
        fit = reading_likelihood(
            shown(pair.fact) - shown(pair.other),
            shows - other_shows,
            spread=spread.shared_by(len(both)),
            slips=NO_SLIPS,
            stray=_together(errors),
            stands_for=stands_for,
            is_ladder=is_ladder,
        )
        slip = self._slips.probability
        wrong = slip * (
            other_slipped
            if isinstance(other_slipped, float)
            else on(other_slipped)[some]
        )
        right *= 1.0 - slip
        share = right / (right + wrong)
        if not isinstance(slipped, float):
            slipped = on(slipped)[some]
        result = alone.copy()
        result[some] *= 1.0 - share
        result[some] += share * self._slips.behind(noted).mixed(fit, slipped)
        return result

    def tail_probability(self, pair: Pair, share: FloatArray) -> float:
        """Return the chance of a difference at least as far off, without a slip.

        Parameters
        ----------
        pair : Pair
            Of one fault set, shape (1, n_draws).
        share : FloatArray
            Weight of each draw, summing to 1; shape (n_draws,). [1]

        Returns
        -------
        float
            0 where the two do not move together. [1]
        """
        if not moving_together(pair.shows, pair.other_shows).all():
            return 0.0
        spread = self._scatter.of_fact(pair.fact)
        errors = _reading_errors(spread, pair, pair.shows, pair.other_shows)
        return tail_of(
            shown(pair.fact) - shown(pair.other),
            (pair.shows - pair.other_shows)[0],
            share,
            spread=spread.shared_by(2),
            stray=_together(errors)[0],
        )


def _switches(hypotheses: Hypotheses, both: Sequence[ReadingFact]) -> BoolArray | None:
    """Return where something switches on a ladder, in the state of either reading."""
    found = [
        hypotheses.switches[one.reading.state]
        for one in both
        if one.reading.state in hypotheses.switches
    ]
    return np.any(found, axis=0) if found else None


def _reading_errors(
    spread: Spread, pair: Pair, shows: FloatArray, other_shows: FloatArray
) -> list[FloatArray]:
    """Return how far the meter and the last digits may move a difference, each. [V, Ω].

    Parameters
    ----------
    shows, other_shows : FloatArray
        Those of the pair, or of some of its rows.
    """
    meter = [meter_error(spread, one) for one in (shows, other_shows)]
    digits = [rounding_deviation(one) for one in (pair.fact, pair.other)]
    return [*meter, *map(np.asarray, digits)]


def _together(errors: Sequence[FloatArray]) -> FloatArray:
    """Return independent deviations as one."""
    total = np.zeros_like(errors[0])
    for error in errors:
        total = total + error**2
    return np.asarray(np.sqrt(total))


def meter_error(spread: Spread, volts: FloatArray) -> FloatArray:
    """Return how far a meter may be off at some volts.

    Parameters
    ----------
    spread : Spread
        With the accuracy of its range.
    volts : FloatArray
        Any shape. [V]

    Returns
    -------
    FloatArray
        Standard deviation, same shape. [V]
    """
    return np.asarray(spread.range_.half_width(volts) / DEVIATIONS_IN_LIMIT)


def moving_together(first: FloatArray, second: FloatArray) -> BoolArray:
    """Return which fault sets move two points alike from draw to draw.

    Parameters
    ----------
    first, second : FloatArray
        What they show, shape (n_rows, n_draws) each; inf for OL. [V or Ω]

    Returns
    -------
    BoolArray
        Shape (n_rows,).

    Examples
    --------
    Two that go up together, two that go against each other, and one that stands still:

    >>> up, down = np.array([1.0, 1.5, 2.0, 2.5]), np.array([2.5, 2.0, 1.5, 1.0])
    >>> moving_together(np.array([up, up, up]), np.array([up + 3, down, 0 * up]))
    array([ True, False, False])
    """
    is_number = np.isfinite(first + second).all(axis=1, keepdims=True)
    first, second = (np.where(is_number, one, 0.0) for one in (first, second))
    own = first - first.mean(axis=1, keepdims=True)
    other = second - second.mean(axis=1, keepdims=True)
    own_square, other_square = (own * own).sum(axis=1), (other * other).sum(axis=1)
    both = (own * other).sum(axis=1)
    least = first.shape[1] * LEAST_MOVING**2
    moves = (own_square > least) & (other_square > least)
    tiny = math.ulp(0.0)
    shared = both * both / np.maximum(own_square * other_square, tiny)
    slope = both / np.maximum(other_square, tiny)
    is_alike = (slope > SLOPES[0]) & (slope < SLOPES[1])
    return np.asarray(moves & is_alike & (shared > LEAST_TOGETHER))
