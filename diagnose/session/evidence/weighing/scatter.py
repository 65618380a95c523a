"""How far a reading may stray from what is predicted, without any mistake.

Knows the meter, stray leakage at points that nothing holds, and states in which the
meter jumps. Leaves mistakes to `reading_slips` and the fit itself to `likelihoods`.

Decisions that bind it:

- The volts of a point that nothing holds are judged with its stray leakage. Else those
  of a wire with two open ends fit nothing, and a fault that is found is doubted.
- A reading counts as broad for the share of the time in which something chatters or a
  breaker is open, and as steady for the rest. The solver gives the mean of what
  chatters, and the meter shows some other value; broad readings alone would rule out
  every short circuit behind a breaker.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.belief.reading_spread import (
    Spread,
    rest_amps_spread,
    spread_of,
)
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.readings import Reading, ReadingKind, fuse_tolerance
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# Standard deviation of volts that jump, as a share of the system voltage. [1] Derived:
# evenly spread between nothing and the full supply, 1/sqrt(12) of it.
CHATTER_SHARE = 0.29

# Standard deviation of amps that jump, as a share of their mean. [1] Derived: evenly
# spread between nothing and twice the mean, 1/sqrt(3) of the mean.
CHATTER_AMPS_SHARE = 0.58

# Above this ohms are those of semiconductors and dirt. [Ω] Own choice: above the coils
# of relays, below what electronics show.
LEAST_VAGUE_OHMS = 300.0

# Standard deviation of such ohms, as a share of them. [1] Own choice: half of what
# semiconductors show a meter, by its test volts.
VAGUE_SHARE = 0.5

# The kinds of reading that jump where something chatters: those of a current that flows
# while the meter is read.
JUMPING_KINDS = frozenset(
    {ReadingKind.DC_VOLTS, ReadingKind.AMPS, ReadingKind.FUSE},
)

# Rows of hypotheses, by number or as a slice.
RowIndex = IntArray | slice

# All rows of hypotheses.
EVERY_ROW = slice(None)


class Scatter:
    """How far the readings of one car scatter about what is predicted.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled

    def of_meter(self, reading: Reading) -> Spread:
        """Return how far the meter may be off, and the range it can show.

        Parameters
        ----------
        reading : Reading
            Along a fuse, the tolerance of its resistance counts as well.
        """
        car, tolerance = self._model.car, 0.0
        if reading.kind is ReadingKind.FUSE:
            tolerance = fuse_tolerance(car.part(reading.red))
        return spread_of(
            reading.kind,
            self._model.knowledge.meter,
            system_volts=car.system_volts,
            fuse_tolerance=tolerance,
        )

    def of_fact(self, fact: ReadingFact) -> Spread:
        """Return how far the meter may be off, by what was read in which range.

        Parameters
        ----------
        fact : ReadingFact
            Amps with the key off count as read in series where they were told to
            hundredths: no clamp shows those.
        """
        reading = fact.reading
        if reading.kind is not ReadingKind.AMPS or not is_at_rest(
            self._model.car.state(reading.state)
        ):
            return self.of_meter(reading)
        meter = self._model.knowledge.meter
        return rest_amps_spread(meter.range_of_amps(fact.value, fact.rounded_to))

    def stray(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: RowIndex = EVERY_ROW
    ) -> FloatArray:
        """Return a standard deviation beyond the meter's: leakage, and jumping.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show.
        reading : Reading
            What is measured, and in which state.
        rows : IntArray or slice
            Which fault sets.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws); where the meter jumps, any value near the mean may
            be the one noted. [unit of the reading]
        """
        leakage = self.leakage(hypotheses, reading, rows=rows)
        jumps = self.jumping_share(hypotheses, reading, rows=rows)
        if not jumps.any():
            return leakage
        if reading.kind is ReadingKind.DC_VOLTS:
            wide = CHATTER_SHARE * self._model.car.system_volts
            return np.asarray(np.hypot(leakage, wide * (jumps > 0.0)))
        mean = self._compiled.readings.predicted(hypotheses, reading, rows=rows)
        return np.asarray(CHATTER_AMPS_SHARE * mean * (jumps > 0.0))

    def leakage(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: RowIndex
    ) -> FloatArray:
        """Return how far volts and ohms stray that are known to a factor only.

        Stray leakage moves volts; high ohms are those of semiconductors and dirt.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show.
        reading : Reading
            What is measured.
        rows : IntArray or slice
            Which fault sets.

        Returns
        -------
        FloatArray
            Standard deviation, shape (n_rows, n_draws). [unit of the reading]
        """
        if reading.kind is ReadingKind.OHMS:
            ohms = self._compiled.readings.predicted(hypotheses, reading, rows=rows)
            is_high = np.isfinite(ohms) & (ohms > LEAST_VAGUE_OHMS)
            return np.where(is_high, VAGUE_SHARE * ohms, 0.0)
        if reading.kind is ReadingKind.DC_VOLTS:
            return self._compiled.readings.ghost_volts(hypotheses, reading, rows=rows)
        return np.zeros(hypotheses.symptoms[rows, :, 0].shape)

    def jumping_share(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: RowIndex
    ) -> FloatArray:
        """Return in which share of the time a reading jumps.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show.
        reading : Reading
            What is measured, and in which state.
        rows : IntArray or slice
            Which fault sets.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws). [1]
        """
        if reading.kind not in JUMPING_KINDS:
            return np.zeros(hypotheses.symptoms[rows, :, 0].shape)
        state = self._compiled.predictor.state_index[reading.state]
        settled = hypotheses.prediction.is_settled[state, rows].astype(np.float64)
        return np.asarray(1.0 - settled)
