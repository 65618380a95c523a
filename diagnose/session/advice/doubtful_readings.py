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

# Below this belief in all that gives a reading it may have been meant otherwise. [1]
# Own choice: a tenth of how often readings are slips.
HARDLY_BELIEVED = 0.002

# From this belief in what another reading of the number gives, it is asked about. [1]
# Own choice: where what was typed is given by some fault, and where by none.
LIKELY_MEANT = 0.3
PERHAPS_MEANT = 0.02

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
        best, best_share, because = None, 0.0, ""
        for meant, words in self._otherwise(fact, moment):
            share = float(weights[self._near(meant, moment)].sum())
            if share > best_share:
                best, best_share, because = meant, share, words
        if best is not None and best_share > (
            LIKELY_MEANT if is_given else PERHAPS_MEANT
        ):
            return Doubt(told=fact, meant=best, because=because)
        return None if is_given else Doubt(told=fact, meant=None, because="")

    def _otherwise(
        self, fact: ReadingFact, moment: Moment
    ) -> Iterator[tuple[ReadingFact, str]]:
        """Yield what may have been meant, each with how it came about."""
        value, kind = fact.value, fact.reading.kind
        if math.isinf(value) or value == 0.0:
            return
        if kind is ReadingKind.DC_VOLTS:
            yield replace(fact, value=-value), "leads swapped, or its sign left out"
        for factor, words in _FACTORS:
            changed = replace(
                fact, value=value * factor, rounded_to=fact.rounded_to * factor
            )
            yield changed, words
        before = moment.here.state
        if before and before != fact.reading.state:
            reading = replace(fact.reading, state=before)
            label = self._model.car.state(before).label
            yield replace(fact, reading=reading), f"the car as before: {label}"

    def _near(self, fact: ReadingFact, moment: Moment) -> BoolArray:
        """Return which sets and draws give a reading, shape (n_sets, n_draws)."""
        conclusion = moment.conclusion
        shown = self._model.compiled.predicted(
            conclusion.hypotheses, fact.reading, rows=conclusion.shown_by
        )
        kind, value = fact.reading.kind, fact.value
        if kind is ReadingKind.OHMS and (value > NO_WAY or math.isinf(value)):
            return np.asarray(shown > NO_WAY)
        share, rest = _OFF[kind]
        if kind is ReadingKind.DC_VOLTS:
            rest *= self._model.car.system_volts / 12.0
        return _within(shown, value, share=share, rest=rest + 0.5 * fact.rounded_to)


def _within(shown: FloatArray, value: float, *, share: float, rest: float) -> BoolArray:
    """Return which values are as good as one that was read."""
    size = np.maximum(np.abs(shown), abs(value))
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(shown - value) <= share * size + rest)
