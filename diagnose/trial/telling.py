"""What would have told the cause named first from the one that was there.

For games that failed: over all readings and symptoms of the car, the one that tells the
two causes apart in most of their severities and tolerances, or that none does. Leaves
which games failed to `scoring`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, IntArray
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind, fuse_tolerance
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.ready_car import Model
from diagnose.session.steps.prices import Prices
from diagnose.session.steps.whereabouts import Whereabouts
from diagnose.session.words.wording import step_words
from diagnose.trial.playing import Game
from diagnose.trial.scoring import is_failed

# How many standard deviations apart two values hardly ever swap. [1] Rule of the trade:
# three.
APART = 3.0

# The kinds of reading that are seen, not read off a scale.
SEEN_KINDS = frozenset({ReadingKind.LOOK, ReadingKind.LAMP})

# From what difference on such readings differ. [1] Derived: half of the way from dark
# to lit, from sound to blown.
SEEN_APART = 0.5

# The least chance that a car gets into a state to be measured in it. [1] Own choice:
# likelier than not.
LEAST_REACH = 0.5

# The share of severities and tolerances below which a step tells nothing. [1] Own
# choice: one in twenty.
HARDLY = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """Two causes, and the step that tells them apart best.

    Parameters
    ----------
    seed : int
        Of the game in which one was named for the other.
    was_there, was_named : str
        `Cause.name` of both.
    step : str
        In words; empty when no step tells them apart.
    share : float
        In how many of their severities and tolerances it does. [1]
    minutes : float
        What the step takes from elsewhere. [min]
    """

    seed: int
    was_there: str
    was_named: str
    step: str
    share: float
    minutes: float


def tellings(games: Sequence[Game], model: Model) -> tuple[Telling, ...]:
    """Return what would have told the causes apart, for failed games with one cause.

    Parameters
    ----------
    games : Sequence[Game]
        All that were played.
    model : Model
        The car, made ready for diagnosis.
    """
    teller = _Teller(model)
    return tuple(
        teller.telling(game)
        for game in games
        if is_failed(game) and len(game.faults) == 1 and game.named_first
        if teller.rows[game.named_first] != teller.rows[game.faults[0]]
    )


class _Teller:
    """Looks for the step that tells two causes of one car apart."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._prices = Prices(model)
        self._readings = proposable_readings(model.car)
        compiled = model.compiled
        # what comes and goes is told while it is there
        self.rows = {
            cause.name: compiled.shown_by(number)
            for number, cause in enumerate(compiled.causes)
        }

    def telling(self, game: Game) -> Telling:
        """Return the best step for one game, the cheapest of those equally good."""
        names = game.faults[0], game.named_first
        rows = np.array([self.rows[name] for name in names])
        nowhere = Whereabouts()
        found: list[tuple[float, float, Step]] = [
            (
                self._share(reading, rows),
                self._prices.minutes(reading, nowhere),
                reading,
            )
            for reading in self._readings
            if self._is_reached(reading.state, rows)
        ]
        found += [
            (
                self._symptom_share(name, rows),
                self._prices.symptom_minutes(name, nowhere),
                SymptomCheck(symptom=name),
            )
            for name in self._model.compiled.symptom_names
        ]
        share, minutes, step = max(found, key=lambda one: (round(one[0], 2), -one[1]))
        is_none = share < HARDLY
        return Telling(
            seed=game.seed,
            was_there=names[0],
            was_named=names[1],
            step="" if is_none else step_words(step, self._model.car),
            share=0.0 if is_none else share,
            minutes=0.0 if is_none else minutes,
        )

    def _is_reached(self, state: str, rows: IntArray) -> bool:
        """Return whether a car with either cause gets into a state."""
        compiled = self._model.compiled
        column = compiled.symptom_index.get(self._model.car.state(state).exists_when)
        if column is None:
            return True
        reached = compiled.singles.symptoms[rows, :, column].mean(axis=1)
        return bool((reached >= LEAST_REACH).all())

    def _share(self, reading: Reading, rows: IntArray) -> float:
        """Return how many draws of either show what no draw of the other does."""
        compiled, model = self._model.compiled, self._model
        values = compiled.readings.predicted(compiled.singles, reading, rows=rows)
        first, second = values[0][:, None], values[1][None, :]
        if reading.kind in SEEN_KINDS:
            return _unlike(np.abs(first - second) >= SEEN_APART)
        is_over = np.isinf(first) != np.isinf(second)
        finite = np.where(np.isinf(values), 0.0, values)
        tolerance = 0.0
        if reading.kind is ReadingKind.FUSE:
            tolerance = fuse_tolerance(model.car.part(reading.red))
        spread = spread_of(
            reading.kind,
            model.knowledge.meter,
            system_volts=model.car.system_volts,
            fuse_tolerance=tolerance,
        ).deviation(finite)
        apart = np.abs(finite[0][:, None] - finite[1][None, :])
        limit = APART * np.maximum(spread[0][:, None], spread[1][None, :])
        return _unlike(is_over | (apart > limit))

    def _symptom_share(self, name: str, rows: IntArray) -> float:
        """Return how much likelier a yes is told with one cause than with the other."""
        symptom = self._model.knowledge.symptoms[name]
        column = self._model.compiled.symptom_index[name]
        seen = self._model.compiled.singles.symptoms[rows, :, column].mean(axis=1)
        right = 1.0 - symptom.missed_probability - symptom.imagined_probability
        return float(abs(seen[0] - seen[1]) * right)


def _unlike(differs: BoolArray) -> float:
    """Return the share of draws of two causes that are like none of the other's.

    Parameters
    ----------
    differs : BoolArray
        Shape (n_draws of one, n_draws of the other).
    """
    alone = differs.all(axis=1).mean() + differs.all(axis=0).mean()
    return float(0.5 * alone)
