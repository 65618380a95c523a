"""Weighing: how well each row of hypotheses explains one observation, draw by draw.

Knows what makes a reading stray from what is predicted: meter, car, leakage, what
chatters, slips, reports. Leaves which rows there are to `reasoning`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.evidence import (
    STATE_FLOOR,
    lamp_likelihood,
    look_likelihood,
    reading_likelihood,
    symptom_likelihood,
    tail_of,
)
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.belief.reading_spread import Spread, spread_of
from diagnose.inference.belief.severity_steps import on_steps, step_spread
from diagnose.inference.belief.slips import Slips, slip_density
from diagnose.measurement.lamp_points import battery_posts
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.readings import Reading, ReadingKind, fuse_tolerance
from diagnose.measurement.symptoms import Symptom
from diagnose.session.evidence.observations import (
    Noted,
    Observation,
    repeat_density,
    shown,
)
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.provocation_tests import Provocation
from diagnose.session.ready_car import Model

OTHER_SLIPS = 0.2
# From memory: one slip in five is of another kind, a wrong state or digit, and shows
# anything.
LEVEL_VOLTS = 0.2
# Derived: what is wired to a post differs from it by the drops of a loaded car.
CHATTER_SHARE = 0.29
# Derived: evenly spread between nothing and the full supply, 1/sqrt(12) of it.
CHATTER_AMPS_SHARE = 0.58
# Derived: evenly spread between nothing and twice the mean, 1/sqrt(3) of the mean.
LEAST_VAGUE_OHMS = 300.0
# Own choice: above the coils of relays, below what electronics show.
VAGUE_SHARE = 0.5
# Own choice: half of what semiconductors show a meter, by its test volts.
COMPLAINT_ERROR_FACTOR = 0.02
# From memory: what brings a person to a diagnosis has been seen more than once.
Rows = IntArray | slice
EVERY_ROW = slice(None)


class Weigher:
    """Weighs observations of one car.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled
        self._slip_shares: dict[str, tuple[float, float]] = {}
        posts = battery_posts(model.car) - {model.car.reference}
        self._fed = next(iter(sorted(posts)), None)

    def provocation(self, observation: Observation) -> Provocation | None:
        """Return the test that an observation is the outcome of, if it is one."""
        if not isinstance(observation, SymptomFact):
            return None
        return self._model.provocations.get(observation.symptom)

    def state_of(self, observation: Observation) -> str:
        """Return the operating state that something was seen in."""
        if isinstance(observation, SymptomFact):
            return self._model.asked(observation.symptom).state
        return observation.reading.state

    def likelihood(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        *,
        rows: Rows = EVERY_ROW,
        is_ladder: bool = False,
        stands_for: int = 1,
    ) -> FloatArray:
        """Return the likelihood of one observation, shape (n_rows, n_draws).

        Parameters
        ----------
        is_ladder : bool
            The rows are the solved severities of a ladder; return its steps, each of
            which stands for those half way to its neighbours.
        stands_for : int
            How many draws each that was solved stands for.
        """
        on = on_steps if is_ladder else np.asarray
        observation = noted.observation
        test = self.provocation(observation)
        if test is not None:
            yes = test.symptom.imagined_probability
            shape = on(hypotheses.symptoms[rows, :, 0].astype(np.float64)).shape
            return np.full(shape, yes if is_yes(observation) else 1.0 - yes)
        if isinstance(observation, SymptomFact):
            column = self._compiled.symptom_index[observation.symptom]
            chance = on(hypotheses.symptoms[rows, :, column].astype(np.float64))
            symptom = self.symptom_of(observation, is_complaint=noted.is_complaint)
            return symptom_likelihood(
                symptom, observation.is_present, chance, times=noted.times
            )
        slips = self._slips(noted)
        reading = observation.reading
        predicted = on(self._compiled.predicted(hypotheses, reading, rows=rows))
        if reading.kind is ReadingKind.LOOK:
            result = look_likelihood(observation.value > 0.5, predicted, slips=slips)
        elif reading.kind is ReadingKind.LAMP:
            result = lamp_likelihood(observation.value, predicted, slips=slips)
        else:
            spread_steps = step_spread(predicted) if is_ladder else 0.0
            slipped = self._slip_density(shown(observation), reading, hypotheses, rows)

            def fits(stray: FloatArray) -> FloatArray:
                return reading_likelihood(
                    shown(observation),
                    predicted,
                    spread=self._spread(reading),
                    slips=slips,
                    stray=np.hypot(stray, spread_steps),
                    slip_density=None if slipped is None else on(slipped),
                    stands_for=stands_for,
                )

            result = fits(on(self._leakage(hypotheses, reading, rows=rows)))
            jumps = on(self._unsettled(hypotheses, reading, rows=rows))
            if jumps.any():
                wide = fits(on(self.stray(hypotheses, reading, rows=rows)))
                result += jumps * (wide - result)
        return result * on(self.state_chance(hypotheses, reading.state, rows=rows))

    def wrong_share(
        self, fact: SymptomFact, there: FloatArray, likelihood: FloatArray
    ) -> FloatArray:
        """Return how much of the likelihood of an answer is that of a wrong one.

        Parameters
        ----------
        there : FloatArray
            Chance that the symptom is there, shape (n_rows, n_draws).
        likelihood : FloatArray
            Of the rows, same shape.
        """
        symptom = self.symptom_of(fact, is_complaint=False)
        wrong = (
            (1.0 - there) * symptom.imagined_probability
            if fact.is_present
            else there * symptom.missed_probability
        )
        # what rules a row out leaves nothing that could be wrong
        none = np.zeros_like(likelihood)
        share = np.divide(wrong, likelihood, out=none, where=likelihood > 0.0)
        return np.minimum(share, 1.0)

    def slip_share(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        likelihood: FloatArray,
        *,
        rows: IntArray,
    ) -> FloatArray:
        """Return how much of the likelihood of a reading is that of a slip.

        Parameters
        ----------
        noted : Noted
            A reading taken once.
        likelihood : FloatArray
            Of the rows, shape (n_rows, n_draws).
        """
        fact = noted.observation
        assert isinstance(fact, ReadingFact)
        reading = fact.reading
        density: FloatArray | float | None = self._slip_density(
            shown(fact), reading, hypotheses, rows
        )
        if density is None:
            density = self._other_slip_density(fact)
        wrong = self._slips(noted).probability * density
        wrong = wrong * self.state_chance(hypotheses, reading.state, rows=rows)
        return np.asarray(np.minimum(wrong / likelihood, 1.0))

    def _other_slip_density(self, fact: ReadingFact) -> float:
        """Return the density of a reading that is no volts, after a slip."""
        if np.isinf(shown(fact)):
            return 0.5
        if fact.reading.kind is ReadingKind.LAMP:
            return 1.0 / len(GRADES)
        return self._spread(fact.reading).slip_density(shown(fact))

    def _slips(self, noted: Noted) -> Slips:
        """Return how often the readings behind an observation may be slips."""
        probability = self._model.knowledge.meter.slip_probability
        if noted.times == 1 or isinstance(noted.observation, SymptomFact):
            return Slips(probability=probability)
        again = repeat_density(noted.observation, self._model)
        return Slips(probability=probability, times=noted.times, again=again)

    def _slip_density(
        self, value: float, reading: Reading, hypotheses: Hypotheses, rows: Rows
    ) -> FloatArray | None:
        """Return the density of volts after a slip of the red lead, (n_rows, n_draws).

        Another test point is mostly grounded, or fed as the battery's post is; how many
        are is counted on the sound car. None for other readings than volts.
        """
        car, compiled = self._model.car, self._compiled
        if reading.kind is not ReadingKind.DC_VOLTS or self._fed is None:
            return None
        if reading.state not in self._slip_shares:
            self._slip_shares[reading.state] = self._shares_of(reading.state)
        levels = [
            compiled.predicted(hypotheses, replace(reading, red=post), rows=rows)
            for post in (car.reference, self._fed)
        ]
        scale = car.system_volts / 12.0
        return slip_density(
            value,
            levels,
            self._slip_shares[reading.state],
            deviation=LEVEL_VOLTS * scale,
            span=self._spread(reading).span,
        )

    def _shares_of(self, state: str) -> tuple[float, float]:
        """Return how many test points of the sound car are grounded, and how many fed.

        Near enough to count are three deviations.
        """
        car, compiled = self._model.car, self._compiled
        place, index = compiled.predictor.state_index[state], compiled.predictor
        volts = compiled.singles.prediction.volts[place, 0].mean(axis=0)
        volts = volts - volts[index.node_index[car.reference]]
        near = 3.0 * LEVEL_VOLTS * car.system_volts / 12.0
        points = volts[[index.node_index[node] for node in car.test_points]]
        fed = volts[index.node_index[self._fed]] if self._fed else 0.0
        is_grounded = np.abs(points) < near
        is_fed = ~is_grounded & (np.abs(points - fed) < near)
        red = 1.0 - OTHER_SLIPS
        return red * float(is_grounded.mean()), red * float(is_fed.mean())

    def stray(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: Rows = EVERY_ROW
    ) -> FloatArray:
        """Return a further standard deviation of a reading, (n_rows, n_draws).

        Stray leakage moves what nothing holds; where something chatters or a breaker
        cycles, the meter jumps and any value near the mean may be the one noted.
        """
        leakage = self._leakage(hypotheses, reading, rows=rows)
        jumps = self._unsettled(hypotheses, reading, rows=rows)
        if not jumps.any():
            return leakage
        if reading.kind is ReadingKind.DC_VOLTS:
            wide = CHATTER_SHARE * self._model.car.system_volts
            return np.asarray(np.hypot(leakage, wide * (jumps > 0.0)))
        mean = self._compiled.predicted(hypotheses, reading, rows=rows)
        return np.asarray(CHATTER_AMPS_SHARE * mean * (jumps > 0.0))

    def _leakage(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: Rows
    ) -> FloatArray:
        """Return what is known of volts and ohms to a factor only, (n_rows, n_draws).

        Stray leakage moves volts; high ohms are those of semiconductors and dirt.
        """
        if reading.kind is ReadingKind.DC_VOLTS:
            return self._compiled.ghost_volts(hypotheses, reading, rows=rows)
        if reading.kind is ReadingKind.OHMS:
            ohms = self._compiled.predicted(hypotheses, reading, rows=rows)
            is_high = np.isfinite(ohms) & (ohms > LEAST_VAGUE_OHMS)
            return np.where(is_high, VAGUE_SHARE * ohms, 0.0)
        return np.zeros(hypotheses.symptoms[rows, :, 0].shape)

    def _unsettled(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: Rows
    ) -> FloatArray:
        """Return how much of the time volts or amps jump, (n_rows, n_draws)."""
        jumping = (ReadingKind.DC_VOLTS, ReadingKind.AMPS, ReadingKind.FUSE)
        if reading.kind not in jumping:
            return np.zeros(hypotheses.symptoms[rows, :, 0].shape)
        state = self._compiled.predictor.state_index[reading.state]
        settled = hypotheses.prediction.is_settled[state, rows].astype(np.float64)
        return np.asarray(1.0 - settled)

    def state_chance(
        self, hypotheses: Hypotheses, state: str, *, rows: Rows = EVERY_ROW
    ) -> FloatArray:
        """Return the chance that the car can be in a state, (n_rows, n_draws)."""
        chance = self.reach_chance(hypotheses, state, rows=rows)
        return np.asarray(STATE_FLOOR + (1.0 - STATE_FLOOR) * chance)

    def reach_chance(
        self, hypotheses: Hypotheses, state: str, *, rows: Rows = EVERY_ROW
    ) -> FloatArray:
        """Return the chance of the symptom that a state needs, (n_rows, n_draws)."""
        wanted = self._model.car.state(state).exists_when
        column = self._compiled.symptom_index.get(wanted)
        if column is None:
            return np.ones(hypotheses.symptoms[rows, :, 0].shape)
        chance: FloatArray = hypotheses.symptoms[rows, :, column].astype(np.float64)
        return chance

    def tail_probability(
        self,
        fact: ReadingFact,
        predicted: FloatArray,
        share: FloatArray,
        *,
        stray: FloatArray | float = 0.0,
    ) -> float:
        """Return the chance of a reading at least as far off, without a slip.

        Parameters
        ----------
        predicted, share : FloatArray
            Predicted value and weight of each draw of one fault set, shape (n_draws,).
        stray : FloatArray or float
            How far stray leakage may move it, same shape. [V]
        """
        if fact.reading.kind is ReadingKind.LOOK:
            chance = predicted if fact.value > 0.5 else 1.0 - predicted
            return float((chance * share).sum())
        if fact.reading.kind is ReadingKind.LAMP:
            return float((answer_chance(fact.value, predicted) * share).sum())
        spread = self._spread(fact.reading)
        return tail_of(shown(fact), predicted, share, spread=spread, stray=stray)

    def _spread(self, reading: Reading) -> Spread:
        """Return how far a meter's reading may be from what is predicted."""
        car, tolerance = self._model.car, 0.0
        if reading.kind is ReadingKind.FUSE:
            tolerance = fuse_tolerance(car.part(reading.red))
        return spread_of(
            reading.kind,
            self._model.knowledge.meter,
            system_volts=car.system_volts,
            fuse_tolerance=tolerance,
        )

    def symptom_of(self, fact: SymptomFact, *, is_complaint: bool) -> Symptom:
        """Return the symptom a fact is about, surer when it is the complaint itself."""
        symptom = self._model.asked(fact.symptom)
        if not is_complaint:
            return symptom
        return replace(
            symptom,
            missed_probability=symptom.missed_probability * COMPLAINT_ERROR_FACTOR,
            imagined_probability=symptom.imagined_probability * COMPLAINT_ERROR_FACTOR,
        )


def is_yes(observation: Observation) -> bool:
    """Return whether an observation is a yes to a question."""
    return isinstance(observation, SymptomFact) and observation.is_present
