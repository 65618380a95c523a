"""Readings that are hardly meant as they were typed: what was more likely read.

Swapped leads, a sign left out, the point one place off, milli taken for whole, a car
still in the state before: each makes another reading of the same number. Where no fault
gives what was typed, or only what is hardly believed, and one of these is what is
expected, that is asked before anything is concluded. Leaves the asking to `terminal`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.measurement.readings import ReadingKind
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment

# Above this belief in all that gives a reading it is taken as it is. [1] Own choice: a
# tenth of how often readings are slips.
HARDLY_BELIEVED = 0.002

# How often leads are swapped or a sign is left out, the car is still in the state
# before, and the point or milli goes astray. [1] Own choice: of one reading in fifty
# that is a slip, most are of the first kind.
SIGN_CHANCE = 0.01
STATE_CHANCE = 0.005
POINT_CHANCE = 0.001

# A state that lasts no longer is over before a slow eye is on the meter. [s] Own
# choice: longer than a fuel pump primes, shorter than anyone cranks.
LASTS_SECONDS = 5.0

# From this belief in what was meant it is asked about, where no fault gives what was
# typed. [1] Own choice.
PERHAPS_MEANT = 0.02

# A number nearer to nothing than this many times what a reading may be off says as much
# with any sign and point. [1] Own choice.
NOTHING = 2.0

# How far a reading may be off what a fault gives: a share of it and a rest. Own choice,
# wider than meter and model, so that nothing between two severities is asked about.
# [1; V on a 12 V car, Ω, A, V AC, V along a fuse]
_OFF = MappingProxyType(
    {
        ReadingKind.DC_VOLTS: (0.05, 0.4),
        ReadingKind.AC_VOLTS: (2.0, 0.05),
        ReadingKind.OHMS: (0.5, 1.0),
        ReadingKind.AMPS: (0.3, 0.5),
        ReadingKind.FUSE: (0.5, 0.002),
    }
)

# Ohms from here on are as good as no way through. [Ω] Own choice.
NO_WAY = 1e5

# What the number may have lost on its way, and how that is said.
_FACTORS = (
    (1e-3, "the meter on milli"),
    (1e3, "milli typed for whole"),
    (0.1, "the point one place off"),
    (10.0, "the point one place off"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A reading that is asked about before it counts.

    Parameters
    ----------
    told : ReadingFact
        As it was typed.
    meant : ReadingFact or None
        What was more likely read; None where nothing is.
    because : str
        What makes the one of the other; empty where nothing is likelier.
    """

    told: ReadingFact
    meant: ReadingFact | None
    because: str


class DoubtfulReadings:
    """Knows which readings of one car are asked about.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model

    def doubt(self, fact: ReadingFact, moment: Moment) -> Doubt | None:
        """Return why a reading is asked about.

        Parameters
        ----------
        fact : ReadingFact
            As typed.
        moment : Moment
            Before it.

        Returns
        -------
        Doubt or None
            None where it is believed as it is.
        """
        if fact.reading.kind not in _OFF or not moment.conclusion.observations:
            return None
        near = self._near(fact, moment)
        weights = moment.conclusion.beliefs.weights
        used = moment.conclusion.prior.sum(axis=1) > 0.0
        if float(weights[near].sum()) > HARDLY_BELIEVED:
            return None
        is_given = bool(near[used].any())
        best, most = None, float(weights[near].sum()) if is_given else 0.0
        for meant, chance, because in self._otherwise(fact, moment):
            share = float(weights[self._near(meant, moment)].sum())
            is_likely = is_given or share > PERHAPS_MEANT
            if is_likely and chance * share > most:
                most = chance * share
                best = Doubt(told=fact, meant=meant, because=because)
        if best is not None or is_given:
            return best
        return Doubt(told=fact, meant=None, because="")

    def _otherwise(
        self, fact: ReadingFact, moment: Moment
    ) -> Iterator[tuple[ReadingFact, float, str]]:
        """Yield what may have been meant, how often it is, and how it came about."""
        value, kind = fact.value, fact.reading.kind
        if math.isinf(value):
            return
        least = NOTHING * self._rest(kind)
        if kind is ReadingKind.DC_VOLTS and abs(value) > least:
            swapped = replace(fact, value=-value)
            yield swapped, SIGN_CHANCE, "leads swapped, or its sign left out"
        for factor, words in _FACTORS:
            if abs(value) * min(factor, 1.0) > least:
                changed = replace(
                    fact, value=value * factor, rounded_to=fact.rounded_to * factor
                )
                yield changed, POINT_CHANCE, words
        before = moment.here.state
        if before and before != fact.reading.state:
            reading = replace(fact.reading, state=before)
            label = self._model.car.state(before).label
            because = f"the car as before: {label}"
            yield replace(fact, reading=reading), STATE_CHANCE, because
        yield from self._too_late(fact)

    def _too_late(self, fact: ReadingFact) -> Iterator[tuple[ReadingFact, float, str]]:
        """Yield what a state that lasts seconds only gives once it is over."""
        car = self._model.car
        if car.state(fact.reading.state).lasts_seconds > LASTS_SECONDS:
            return
        for state in car.states:
            if state.after == fact.reading.state:
                reading = replace(fact.reading, state=state.name)
                because = f"looked too late: {state.label}"
                yield replace(fact, reading=reading), STATE_CHANCE, because

    def _rest(self, kind: ReadingKind) -> float:
        """Return by how much any reading of a kind may be off. [unit of the kind]."""
        _, rest = _OFF[kind]
        if kind is ReadingKind.DC_VOLTS:
            rest *= self._model.car.system_volts / 12.0
        return rest

    def _near(self, fact: ReadingFact, moment: Moment) -> BoolArray:
        """Return which sets and draws give a reading, shape (n_sets, n_draws)."""
        conclusion = moment.conclusion
        shown = self._model.compiled.readings.predicted(
            conclusion.hypotheses, fact.reading, rows=conclusion.shown_by
        )
        kind, value = fact.reading.kind, fact.value
        if kind is ReadingKind.OHMS and (value > NO_WAY or math.isinf(value)):
            return np.asarray(shown > NO_WAY)
        share, _ = _OFF[kind]
        rest = self._rest(kind) + 0.5 * fact.rounded_to
        return _within(shown, value, share=share, rest=rest)


def _within(shown: FloatArray, value: float, *, share: float, rest: float) -> BoolArray:
    """Return which values are as good as one that was read."""
    size = np.maximum(np.abs(shown), abs(value))
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(shown - value) <= share * size + rest)
