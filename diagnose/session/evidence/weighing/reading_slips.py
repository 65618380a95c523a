"""What a meter shows after a slip: leads on the wrong point, a wrong state or digit.

Counts on the sound car how many points a slipped lead would find grounded or fed.
Leaves how slips and right readings mix to `inference.belief.slips`.

Decision that binds it: after a slip volts are most likely those of a grounded or a fed
point. Spread evenly over the meter's range, a slip to 0 V would count as proof of an
open circuit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.slips import Slips, slip_density
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.repeated_readings import repeat_density
from diagnose.session.evidence.seen import Noted, shown
from diagnose.session.evidence.weighing.scatter import RowIndex, Scatter
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# Share of slips that put no lead on another point, but take a wrong state or write a
# wrong digit, and so show any value. [1] From memory: one slip in five.
OTHER_SLIPS = 0.2

# Standard deviation of the volts of points wired to one post, in a 12 V car. [V]
# Derived: they differ from it by the drops of a loaded car.
LEVEL_VOLTS = 0.2

# How near to the volts of a post a point of the sound car counts as wired to it, in
# standard deviations of `LEVEL_VOLTS`. [1] Rule of the trade: three hold nearly all.
NEAR_DEVIATIONS = 3.0

# The density of a fact that can only be one of two, if it may be anything. [1] Derived:
# either is as likely.
EITHER_OF_TWO = 0.5


class ReadingSlips:
    """What slips show on one car.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    scatter : Scatter
        Knows the range that the meter can show.

    Attributes
    ----------
    fed : str or None
        The battery's post that is not the reference.
    """

    def __init__(self, model: Model, scatter: Scatter) -> None:
        self._model, self._scatter = model, scatter
        self._compiled: Compiled = model.compiled
        self._shares: dict[str, tuple[float, float]] = {}
        posts = battery_posts(model.car) - {model.car.reference}
        self.fed = next(iter(sorted(posts)), None)

    @property
    def probability(self) -> float:
        """How often a reading is a slip. [1]."""
        return self._model.knowledge.meter.slip_probability

    def behind(self, noted: Noted) -> Slips:
        """Return how often the readings behind an observation may have been slips.

        Parameters
        ----------
        noted : Noted
            Of a reading taken several times, all of them may have been.
        """
        probability = self.probability
        if noted.times == 1 or not isinstance(noted.observation, ReadingFact):
            return Slips(probability=probability)
        again = repeat_density(noted.observation, self._model)
        return Slips(probability=probability, times=noted.times, again=again)

    def density(
        self, fact: ReadingFact, hypotheses: Hypotheses, rows: RowIndex
    ) -> FloatArray | float:
        """Return the density of a reading's value after a slip.

        Parameters
        ----------
        fact : ReadingFact
            The reading and its value.
        hypotheses : Hypotheses
            Fault sets with what they show.
        rows : IntArray or slice
            Which fault sets.

        Returns
        -------
        FloatArray or float
            Shape (n_rows, n_draws) for volts, else one number for all.
            [1 over the unit of the reading, or 1]
        """
        volts = self.volts_density(shown(fact), fact.reading, hypotheses, rows)
        if volts is not None:
            return volts
        if np.isinf(shown(fact)):
            return EITHER_OF_TWO
        if fact.reading.kind is ReadingKind.LAMP:
            return 1.0 / len(GRADES)
        return self._scatter.of_meter(fact.reading).slip_density(shown(fact))

    def volts_density(
        self, value: float, reading: Reading, hypotheses: Hypotheses, rows: RowIndex
    ) -> FloatArray | None:
        """Return the density of volts after a slip of the red lead.

        Parameters
        ----------
        value : float
            What the meter showed. [V]
        reading : Reading
            What was meant to be measured.
        hypotheses : Hypotheses
            Fault sets with what they show.
        rows : IntArray or slice
            Which fault sets.

        Returns
        -------
        FloatArray or None
            Shape (n_rows, n_draws); None for other readings than volts. [1/V]

        Notes
        -----
        Another test point is mostly grounded, or fed as the battery's post is; how many
        are is counted on the sound car.
        """
        car, compiled = self._model.car, self._compiled
        posts = self._posts(reading)
        if not posts:
            return None
        if reading.state not in self._shares:
            self._shares[reading.state] = self._shares_in(reading.state)
        levels = [
            compiled.readings.predicted(hypotheses, post, rows=rows) for post in posts
        ]
        scale = car.system_volts / 12.0
        return slip_density(
            value,
            levels,
            self._shares[reading.state],
            deviation=LEVEL_VOLTS * scale,
            span=self._scatter.of_meter(reading).span,
        )

    def looked_at(self, *readings: Reading) -> list[Reading]:
        """Return readings, and what may have been read instead after a slip.

        Parameters
        ----------
        readings : Reading
            What was meant to be measured.
        """
        return [*readings, *(post for one in readings for post in self._posts(one))]

    def _posts(self, reading: Reading) -> list[Reading]:
        """Return what a slip of the red lead reads; nothing known but of volts."""
        if reading.kind is not ReadingKind.DC_VOLTS or self.fed is None:
            return []
        return [
            replace(reading, red=post) for post in (self._model.car.reference, self.fed)
        ]

    def _shares_in(self, state: str) -> tuple[float, float]:
        """Return the shares of slips that land on grounded and on fed points."""
        car, compiled = self._model.car, self._compiled
        place, index = compiled.predictor.state_index[state], compiled.predictor
        sound = np.zeros(compiled.n_draws, dtype=np.int64)
        held, draws = compiled.singles.prediction, np.arange(compiled.n_draws)
        volts = held.seen_volts(place, sound, draws).mean(axis=1)
        volts = volts - volts[index.node_index[car.reference]]
        near = NEAR_DEVIATIONS * LEVEL_VOLTS * car.system_volts / 12.0
        points = volts[[index.node_index[node] for node in car.test_points]]
        fed = volts[index.node_index[self.fed]] if self.fed else 0.0
        is_grounded = np.abs(points) < near
        is_fed = ~is_grounded & (np.abs(points - fed) < near)
        red = 1.0 - OTHER_SLIPS
        return red * float(is_grounded.mean()), red * float(is_fed.mean())
