"""How likely one observation is under each fault set and draw.

An answer may be a wrong report, a test is made on the changed car, and nothing is seen
in a state that the car does not get into. Leaves readings to `weighed_readings`, and
which fault sets there are to `concluding`.

Decision that binds it: what brought the owner here is far surer than an answer to a
question. Otherwise the sound car, which is common, explains every complaint by a wrong
report.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.evidence import (
    STATE_FLOOR,
    symptom_likelihood,
)
from diagnose.inference.belief.severity_steps import on_steps, steps_of
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.steps import SubstitutionTest, SymptomCheck
from diagnose.measurement.symptoms import Symptom
from diagnose.session.evidence.seen import (
    Noted,
    Observation,
    seen_of,
    while_it_shows,
)
from diagnose.session.evidence.weighing.reading_slips import ReadingSlips
from diagnose.session.evidence.weighing.scatter import EVERY_ROW, RowIndex, Scatter
from diagnose.session.evidence.weighing.substituted import (
    ChangedCars,
    shown_values,
)
from diagnose.session.evidence.weighing.there import given_before, new_there, there
from diagnose.session.evidence.weighing.weighed_readings import (
    SEEN_KINDS,
    WeighedReadings,
)
from diagnose.session.facts import SubstitutionFact, SymptomFact
from diagnose.session.fleeting.provocation_tests import Provocation, Renewal
from diagnose.session.fleeting.signs import SeenSign
from diagnose.session.ready_car import Model

# By how much the chances of a missed and of an imagined symptom are multiplied when it
# is the complaint itself. [1] From memory: what brings a person to a diagnosis has been
# seen more than once.
COMPLAINT_ERROR_FACTOR = 0.02

# How likely a fault that is there for good came between the complaint, of an engine
# that ran, and the answer that it does not start any more. [1] Own choice: one in ten;
# of four published faults with that course two were such, and ten times as many last as
# come and go.
CAME_BETWEEN = 0.1

# The chance that a fault that comes and goes was there when a reading was taken while
# the trouble showed, and that it was away while all was well. [1] From memory: one look
# in twenty falls a moment late, or the trouble was another one.
SEEN_WHILE = 0.95

# How often an answer is wrong that was not the answer before. [1] Own choice: one in
# four; who looks again looks more closely.
CONTRADICTED_ERROR = 0.25

# The same of a symptom in a test with the circuit changed. [1] From memory: it is
# looked for on purpose, right before and after, and what starts with the lead stops
# without it.
TEST_ERROR_FACTOR = 0.1


class Weigher:
    """Weighs what was seen on one car: how likely it is under each fault set.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.

    Attributes
    ----------
    scatter : Scatter
        How far readings stray without a mistake.
    changed_cars : ChangedCars
        The car with its circuit changed for a test.
    slips : ReadingSlips
        What they show after one.
    readings : WeighedReadings
        How likely a reading is.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled
        self.scatter = Scatter(model)
        self.changed_cars = ChangedCars(model)
        self._weighers: dict[int, Weigher] = {}
        self.slips = ReadingSlips(model, self.scatter)
        self.readings = WeighedReadings(model, self.scatter, self.slips)

    def provocation(
        self, observation: Observation
    ) -> Provocation | Renewal | SeenSign | None:
        """Return the test that an observation is the outcome of, or the renewal."""
        if not isinstance(observation, SymptomFact):
            return None
        return self._model.told_test(observation.symptom)

    def state_of(self, observation: Observation) -> str:
        """Return the operating state that something was seen in."""
        seen = seen_of(observation)
        if isinstance(seen, SymptomFact):
            return self._model.asked(seen.symptom).state
        return seen.reading.state

    def presence_chance(
        self, observation: Observation, *, is_complaint: bool = False
    ) -> FloatArray:
        """Return the chance that faults that come and go were there at a look.

        Parameters
        ----------
        observation : Observation
            What was seen then.
        is_complaint : bool
            It is what the owner came with.

        Returns
        -------
        FloatArray
            Shape (n_fleeting, n_draws). [1]
        """
        presence = self._model.compiled.presence
        chance = presence.chance(self.state_of(observation), is_complaint=is_complaint)
        while_bad = while_it_shows(observation)
        if while_bad is None:
            return chance
        return np.full_like(chance, SEEN_WHILE if while_bad else 1.0 - SEEN_WHILE)

    def likelihood(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        *,
        rows: RowIndex = EVERY_ROW,
        is_ladder: bool = False,
        stands_for: int = 1,
        is_repeated: bool = True,
    ) -> FloatArray:
        """Return the likelihood of one observation under each fault set and draw.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show.
        noted : Noted
            What was seen.
        rows : IntArray or slice
            Which fault sets.
        is_ladder : bool
            The rows are the solved severities of a ladder; return its steps, each of
            which stands for those half way to its neighbours.
        stands_for : int
            How many draws each that was solved stands for. [1]
        is_repeated : bool
            A solved draw stands in the place of each of these.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws), or (n_steps, n_draws) of a ladder.
            [1 over the unit of the reading, or 1]
        """
        observation = noted.observation
        if isinstance(observation, SubstitutionFact):
            return self._of_test(
                hypotheses,
                noted,
                observation,
                rows=rows,
                is_ladder=is_ladder,
                stands_for=stands_for,
            )
        if isinstance(observation, SymptomFact):
            return self._of_answer(
                hypotheses, observation, noted, rows=rows, is_ladder=is_ladder
            )
        state = observation.reading.state
        weigh = partial(
            self.readings.likelihood,
            noted=noted,
            observation=observation,
            rows=rows,
            is_ladder=is_ladder,
            stands_for=stands_for,
            is_repeated=is_repeated,
        )
        result = weigh(hypotheses)
        if is_ladder and hypotheses.switches:
            # what feeds a coil that lets go has volts between, what it feeds has none
            result += weigh(replace(hypotheses, switches=hypotheses.opens))
            result *= 0.5
        on = steps_of(hypotheses, state) if is_ladder else np.asarray
        return result * on(self.state_chance(hypotheses, state, rows=rows))

    def most(self, noted: Noted) -> float:
        """Return how likely an observation is where it is just what was predicted.

        Parameters
        ----------
        noted : Noted
            What was seen.

        Returns
        -------
        float
            Likelihoods of fault sets are about as high at best.
            [1 over the unit of the reading, or 1]
        """
        seen = seen_of(noted.observation)
        if isinstance(seen, SymptomFact) or seen.reading.kind in SEEN_KINDS:
            return 1.0
        return self.readings.most(noted, seen)

    def _of_test(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        fact: SubstitutionFact,
        *,
        rows: RowIndex,
        is_ladder: bool,
        stands_for: int,
    ) -> FloatArray:
        """Return the likelihood of what was seen while the circuit was changed."""
        changed = self.changed_cars.rows(hypotheses, fact.step, rows=rows)
        if isinstance(fact.seen, SymptomFact):
            on = on_steps if is_ladder else np.asarray
            before = there(self._model, hypotheses, fact.seen.symptom, rows=rows)
            chance = given_before(
                on(shown_values(changed, fact.step)),
                on(changed.of_same_draws(before)),
                noted.before,
            )
            symptom = self._in_a_test(fact.seen)
            is_there = fact.seen.is_present
            times = max(noted.times - noted.against, 1)
            return symptom_likelihood(symptom, is_there, chance, times=times)
        found = self._on(changed.model).likelihood(
            changed.hypotheses,
            noted._replace(observation=fact.seen),
            rows=changed.rows,
            is_ladder=is_ladder,
            stands_for=max(stands_for, changed.stands_for),
            is_repeated=not changed.is_changed,
        )
        return changed.on_every_draw(found)

    def _in_a_test(self, fact: SymptomFact) -> Symptom:
        """Return a symptom that is looked for with and without a change."""
        symptom = self._model.asked(fact.symptom)
        return replace(
            symptom,
            missed_probability=symptom.missed_probability * TEST_ERROR_FACTOR,
            imagined_probability=symptom.imagined_probability * TEST_ERROR_FACTOR,
        )

    def _on(self, model: Model) -> Weigher:
        """Return the weigher of a changed car, or this one of the car as it stands."""
        if model is self._model:
            return self
        if id(model) not in self._weighers:
            self._weighers = {id(model): Weigher(model)}
        return self._weighers[id(model)]

    def shown_in_test(
        self,
        hypotheses: Hypotheses,
        test: SubstitutionTest,
        *,
        rows: RowIndex,
        before: bool | None = None,
        is_rough: bool = False,
    ) -> tuple[FloatArray, FloatArray]:
        """Return what fault sets show in a test, and how far that strays.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show of the car as it stands.
        test : SubstitutionTest
            What is changed, and what is looked at.
        rows : IntArray or slice
            Which fault sets.
        before : bool or None
            What was told of a symptom without the change, see `given_before`.
        is_rough : bool
            With a handful of draws, to see what the test is worth.

        Returns
        -------
        tuple[FloatArray, FloatArray]
            The values of a reading and their standard deviation beyond the meter's;
            of a symptom the chance that it is there, and nothing. Shape
            (n_rows, n_draws) each. [unit of the reading, or 1]
        """
        changed = self.changed_cars.rows(hypotheses, test, rows=rows, is_rough=is_rough)
        values = shown_values(changed, test)
        if isinstance(test.look, SymptomCheck):
            told = there(self._model, hypotheses, test.look.symptom, rows=rows)
            chance = given_before(values, changed.of_same_draws(told), before)
            return chance, np.zeros_like(values)
        scatter = self._on(changed.model).scatter
        return values, shown_values(changed, test, scatter.stray)

    def _of_answer(
        self,
        hypotheses: Hypotheses,
        fact: SymptomFact,
        noted: Noted,
        *,
        rows: RowIndex,
        is_ladder: bool,
    ) -> FloatArray:
        """Return the likelihood of an answer to a question, or of a test's outcome."""
        on = on_steps if is_ladder else np.asarray
        test = self.provocation(fact)
        if test is not None:
            shape = on(hypotheses.symptoms[rows, :, 0].astype(np.float64)).shape
            some = np.arange(len(hypotheses.sets))[rows].tolist()
            yes = test.lasting_reacts([hypotheses.sets[row] for row in some])
            told = yes if fact.is_present else 1.0 - yes
            # every step of a ladder is the same fault
            told = np.full(shape[0], told[0]) if is_ladder else told
            return np.repeat(told[:, None], shape[1], axis=1)
        chance = on(there(self._model, hypotheses, fact.symptom, rows=rows))
        symptom = self.symptom_of(fact, is_complaint=noted.is_complaint)
        if noted.is_complaint:
            chance = new_there(self._model, fact, chance)
        times = noted.times - noted.against
        if noted.is_past:
            symptom = replace(
                symptom,
                missed_probability=CAME_BETWEEN,
                imagined_probability=CAME_BETWEEN,
            )
        if times < 1:
            symptom = replace(
                symptom,
                missed_probability=CONTRADICTED_ERROR,
                imagined_probability=CONTRADICTED_ERROR,
            )
        return symptom_likelihood(symptom, fact.is_present, chance, times=max(times, 1))

    def state_chance(
        self, hypotheses: Hypotheses, state: str, *, rows: RowIndex = EVERY_ROW
    ) -> FloatArray:
        """Return the chance that something could be read in a state.

        That of `reach_chance`, with a floor for a person who measured in another state
        than he says.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws). [1]
        """
        chance = self.reach_chance(hypotheses, state, rows=rows)
        return np.asarray(STATE_FLOOR + (1.0 - STATE_FLOOR) * chance)

    def reach_chance(
        self, hypotheses: Hypotheses, state: str, *, rows: RowIndex = EVERY_ROW
    ) -> FloatArray:
        """Return the chance that the car gets into a state: to idle it has to start.

        Returns
        -------
        FloatArray
            Of the symptom that the state needs, shape (n_rows, n_draws); 1 where it
            needs none. [1]
        """
        wanted = self._model.car.state(state).exists_when
        column = self._compiled.symptom_index.get(wanted)
        if column is None:
            return np.ones(hypotheses.symptoms[rows, :, 0].shape)
        chance: FloatArray = hypotheses.symptoms[rows, :, column].astype(np.float64)
        return chance

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
