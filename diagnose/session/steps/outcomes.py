"""What each particle would give for a step: values, answers, and their joint.

Volts, amps and ohms fall among outcomes that a person tells apart; a symptom is a yes
or a no, a test lamp lit, dim or dark. Leaves what an outcome is worth to `priced`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, StoredArray
from diagnose.inference.choice.joints import (
    binned_joint,
    edges_for,
    graded_joint,
    shared_out,
)
from diagnose.inference.choice.look_ahead import binned_outcomes
from diagnose.inference.choice.particles import Particles
from diagnose.inference.choice.volts_outcomes import VoltsOutcomes
from diagnose.inference.compiled.heat import hot_chance
from diagnose.inference.compiled.shown_symptoms import symptom_there
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates
from diagnose.session.steps.moment import Moment

# Below this chance that the car gets into a state, nothing is read in it; nor above it
# that something chatters there. [1] Own choice: more likely than not.
LEAST_STATE_CHANCE = 0.5

# Values further apart than this plus the share below need different things solved. [V,
# Ω, A] Own choice.
LEAST_APART = 0.1

# The share of a value that is added to it. [1] Own choice.
SHARE_APART = 0.05

# Values less likely than this are not looked ahead at. [1] Own choice: one reading in
# two hundred.
LEAST_VALUE_CHANCE = 0.005

# Shares that sum to less are none. [1] Derived: what is divided by is a number.
TINY = 1e-12


class Outcomes:
    """Knows what particles give for the steps of one car.

    Parameters
    ----------
    model : Model
    expected : ExpectedAnswers or None
        Knows what is seen in a test with the circuit changed; made here when None.
    """

    def __init__(self, model: Model, expected: ExpectedAnswers | None = None) -> None:
        self._model = model
        self._expected = expected or ExpectedAnswers(model, Weigher(model))
        meter = model.knowledge.meter
        self._scale = 12.0 / model.car.system_volts
        self._volts_outcomes = VoltsOutcomes.of(
            meter.model_volts * self._scale, meter.model_fraction
        )
        self._singles: dict[Reading, Candidates] = {}

    def single(self, reading: Reading) -> Candidates:
        """Return one reading as candidates, laid out once.

        Parameters
        ----------
        reading : Reading

        Returns
        -------
        Candidates
        """
        if reading not in self._singles:
            self._singles[reading] = Candidates(
                reading.kind, [reading], self._model.compiled
            )
        return self._singles[reading]

    def shown(self, readings: Sequence[Reading], moment: Moment) -> StoredArray:
        """Return what readings of one kind would show.

        Parameters
        ----------
        readings : Sequence[Reading]
            At least one.
        moment : Moment

        Returns
        -------
        StoredArray
            Shape (n_readings, n_particles), as `Candidates.shown` has it. [V, Ω, A,
            grade of a lamp, 1 or 0 for a look]
        """
        candidates = Candidates(readings[0].kind, readings, self._model.compiled)
        return candidates.shown(moment.believed.sight, np.arange(len(readings)))

    def joint(
        self,
        values: StoredArray,
        kind: ReadingKind,
        particles: Particles,
        n_groups: int,
        *,
        unmoved: BoolArray | None = None,
    ) -> FloatArray:
        """Return the joint of outcome and group, spread of meter and model in it.

        Parameters
        ----------
        values : StoredArray
            What each particle shows, shape (n_readings, n_particles). [V, Ω, A, grade]
        kind : ReadingKind
        particles : Particles
        n_groups : int
        unmoved : BoolArray or None
            Where a reading is as in the sound car, shape (n_readings, n_particles):
            such particles show the same, whatever the few draws that facts left each.
            None: nothing is known of that.

        Returns
        -------
        FloatArray
            Shape (n_readings, n_outcomes, n_groups). [1]
        """
        if unmoved is not None and kind is ReadingKind.LAMP:
            # a person's three words leave nothing finer than their mean to tell
            share = unmoved * particles.share
            mean = (share * values).sum(axis=1) / np.maximum(share.sum(axis=1), TINY)
            values = np.where(unmoved, mean[:, None], values)
        elif unmoved is not None:
            apart = replace(
                particles, group=np.where(unmoved, n_groups, particles.group)
            )
            found = self.joint(values, kind, apart, n_groups + 1)
            return shared_out(found, unmoved, particles)
        if kind is ReadingKind.LAMP:
            return graded_joint(values, particles, n_groups=n_groups)
        if kind is not ReadingKind.DC_VOLTS:
            edges = edges_for(kind.value)
            size = np.abs(values)
            return binned_joint(size, particles, edges=edges, n_groups=n_groups)
        return self._volts_outcomes.joint(
            values * np.float32(self._scale), particles, n_groups=n_groups
        )

    def chances(self, step: Step, moment: Moment) -> FloatArray:
        """Return the chance of each outcome of a step.

        Parameters
        ----------
        step : Step
        moment : Moment

        Returns
        -------
        FloatArray
            Shape (n_outcomes, n_particles); each particle sums to 1. [1]
        """
        if isinstance(step, SymptomCheck):
            yes = self.yes([step.symptom], moment)[0]
            return np.stack([yes, 1.0 - yes])
        if isinstance(step, SubstitutionTest):
            seen, step = self.in_test(step, moment), step.look
            if isinstance(step, SymptomCheck):
                return np.stack([seen, 1.0 - seen])
            values = seen
        else:
            values = self.shown([step], moment)[0]
        return self.chances_of(values, step.kind)

    def chances_of(
        self, shown: FloatArray | StoredArray, kind: ReadingKind
    ) -> FloatArray:
        """Return the chance of each outcome of a reading.

        Parameters
        ----------
        shown : FloatArray or StoredArray
            What each particle shows, shape (n_particles,). [V, Ω, A, grade]
        kind : ReadingKind

        Returns
        -------
        FloatArray
            Shape (n_outcomes, n_particles); each particle sums to 1. [1]
        """
        values = shown.astype(np.float64)
        if kind is ReadingKind.LAMP:
            return np.stack([answer_chance(one, values) for one in GRADES.values()])
        if kind is ReadingKind.DC_VOLTS:
            scaled: Any = values * self._scale
            return self._volts_outcomes.chances(scaled)
        return binned_outcomes(values, edges_for(kind.value))

    def yes(self, names: Sequence[str], moment: Moment) -> FloatArray:
        """Return the chance that a yes is told.

        Parameters
        ----------
        names : Sequence[str]
            Symptoms, or tests that bring a fault on purpose.
        moment : Moment

        Returns
        -------
        FloatArray
            Shape (n_names, n_particles). [1]
        """
        index, known = self._model.compiled.symptom_index, self._model.knowledge
        particles = moment.believed.particles
        result = np.empty((len(names), len(particles.row)))
        seen = [(n, name) for n, name in enumerate(names) if name in index]
        if seen:
            of_car = [known.symptoms[name] for _, name in seen]
            there = moment.conclusion.hypotheses.symptoms[particles.row, particles.draw]
            there = there[:, [index[name] for _, name in seen]].T
            missed = np.array([one.missed_probability for one in of_car])[:, None]
            imagined = np.array([one.imagined_probability for one in of_car])[:, None]
            result[[n for n, _ in seen]] = (
                there * (1.0 - missed) + (1.0 - there) * imagined
            )
        for number, name in enumerate(names):
            if name in self._model.touches:
                result[number] = self._felt(name, moment)
            elif self._model.told_test(name) is not None:
                result[number] = self._reaction(name, moment)
            elif name not in index:
                result[number] = self._of_part(name, moment)
        return result

    def in_test(self, test: SubstitutionTest, moment: Moment) -> FloatArray:
        """Return what particles give for the look of a test with the circuit changed.

        Parameters
        ----------
        test : SubstitutionTest
        moment : Moment

        Returns
        -------
        FloatArray
            The value of a reading, or the chance that a yes is told of a symptom, shape
            (n_particles,). [V, Ω, A, 1 or 0 for a look, or 1]
        """
        particles = moment.believed.particles
        rows, place = np.unique(particles.row, return_inverse=True)
        seen = self._expected.in_test(moment.conclusion, test, rows, is_rough=True)
        values = seen[place, particles.draw]
        if isinstance(test.look, Reading):
            return values
        symptom = self._model.knowledge.symptoms[test.look.symptom]
        return np.asarray(
            values * (1.0 - symptom.missed_probability)
            + (1.0 - values) * symptom.imagined_probability
        )

    def is_test_solved(self, test: SubstitutionTest, moment: Moment) -> bool:
        """Return whether `in_test` has nothing to solve.

        Parameters
        ----------
        test : SubstitutionTest
        moment : Moment

        Returns
        -------
        bool
        """
        rows = np.unique(moment.believed.particles.row)
        return self._expected.is_test_solved(moment.conclusion, test, rows)

    def _reaction(self, name: str, moment: Moment) -> FloatArray:
        """Return the chance that a test brings or clears a fault, (n_particles,)."""
        test = self._model.told_test(name)
        assert test is not None, "what shows of the circuit is told elsewhere"
        reacts = test.reaction(self._model.compiled.presence)
        fault = moment.believed.comes_and_goes
        sets, told_of = moment.conclusion.hypotheses.sets, moment.believed.told_of
        some, place = np.unique(told_of, return_inverse=True)
        result = test.lasting_reacts([sets[row] for row in some.tolist()])[place]
        coming = fault >= 0
        draws = moment.believed.particles.draw[coming]
        result[coming] = reacts[fault[coming], draws]
        return result

    def _of_part(self, name: str, moment: Moment) -> FloatArray:
        """Return the chance of a yes to what one part does, shape (n_particles,)."""
        symptom, particles = self._model.asked(name), moment.believed.particles
        rows, place = np.unique(particles.row, return_inverse=True)
        held = moment.conclusion.hypotheses
        seen = symptom_there(self._model.compiled, held, name, rows)
        there = seen[place, particles.draw]
        missed, imagined = symptom.missed_probability, symptom.imagined_probability
        return np.asarray(there * (1.0 - missed) + (1.0 - there) * imagined)

    def _felt(self, name: str, moment: Moment) -> FloatArray:
        """Return the chance that a part is told to be hot, shape (n_particles,)."""
        touch, particles = self._model.touches[name], moment.believed.particles
        rows, place = np.unique(particles.row, return_inverse=True)
        held = moment.conclusion.hypotheses
        hot = hot_chance(held, touch, self._model.compiled, rows=rows)
        there = hot[place, particles.draw]
        missed = touch.symptom.missed_probability
        imagined = touch.symptom.imagined_probability
        return np.asarray(there * (1.0 - missed) + (1.0 - there) * imagined)

    def live_shares(self, readings: Sequence[Reading], moment: Moment) -> FloatArray:
        """Return how likely DC volts are more than half the supply.

        Parameters
        ----------
        readings : Sequence[Reading]
            Of DC volts; at least one.
        moment : Moment

        Returns
        -------
        FloatArray
            Shape (n_readings,). [1]
        """
        values = self.shown(readings, moment)
        half = 0.5 * self._model.car.system_volts
        return np.asarray((np.abs(values) > half) @ moment.believed.particles.share)

    def likely_values(self, reading: Reading, moment: Moment) -> list[float]:
        """Return values that a reading may well show, the likeliest first.

        Parameters
        ----------
        reading : Reading
        moment : Moment

        Returns
        -------
        list[float]
            One for each group of values that need the same solved. [V, Ω, A]
        """
        share = moment.believed.particles.share
        values = self.shown([reading], moment)[0].astype(np.float64)
        order = np.argsort(values)
        values, share = values[order], share[order]
        apart = np.diff(values) > LEAST_APART + SHARE_APART * np.abs(values[1:])
        number = np.concatenate([[0], np.cumsum(apart)])
        mass = np.bincount(number, share)
        middle = np.bincount(number, share * values) / np.maximum(mass, 1e-300)
        likely = np.argsort(-mass, kind="stable")
        found: list[float] = middle[likely[mass[likely] > LEAST_VALUE_CHANCE]].tolist()
        return found


def reached_chances(moment: Moment, model: Model) -> FloatArray:
    """Return how likely the car gets into each state.

    Parameters
    ----------
    moment : Moment
    model : Model

    Returns
    -------
    FloatArray
        Shape (n_states,), in the order of the car. [1]
    """
    index, particles = model.compiled.symptom_index, moment.believed.particles
    there = moment.conclusion.hypotheses.symptoms[particles.row, particles.draw]
    likely = particles.share @ there
    columns = [index.get(state.exists_when) for state in model.car.states]
    return np.array([1.0 if one is None else float(likely[one]) for one in columns])


def resting_chances(moment: Moment) -> FloatArray:
    """Return how likely nothing chatters in each state.

    Where something does, the meter jumps, and what is noted tells little.

    Parameters
    ----------
    moment : Moment

    Returns
    -------
    FloatArray
        Shape (n_states,). [1]
    """
    particles = moment.believed.particles
    settled = moment.conclusion.hypotheses.prediction.is_settled
    rests = settled[:, particles.row, particles.draw] > 0.0
    return np.asarray(rests @ particles.share)
