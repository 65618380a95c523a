"""A step with everything a person needs to take it.

Instruction, the cautions before it, what it costs and saves, and what the sound car and
the leading causes would show. Leaves the choice of steps to `ranked_steps`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.session.answer import ExpectedValue, ProposedStep, StepCard
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.implied.predicted_range import (
    middle_range,
    sound_range,
)
from diagnose.session.evidence.seen import Observation, while_it_shows
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Priced, Pricing
from diagnose.session.steps.series_amps import bears_series
from diagnose.session.substitution.like_parts import like_part
from diagnose.session.words.cautions import (
    cautions_for,
    symptom_cautions,
    test_cautions,
)
from diagnose.session.words.instructions import instruction, test_instruction
from diagnose.session.words.step_cards import reading_card, symptom_card, test_card
from diagnose.session.words.wording import chance_words, range_words

# How many leading causes a step names with what they would show, alike or not. Own
# choice: those that a page lists.
SHOWN_CAUSES = 4

# Why a step is proposed that was taken just before.
AGAIN = "the same again: the first may have been a slip"

# The same where it was taken only while nothing was wrong.
NOW_WHILE_IT_SHOWS = "the same again, now while the trouble shows: it was fine before"

# How many causes below those are named that would show something else. Own choice.
MOST_OTHERS = 2

# Among how many leading causes those are looked for that would show something else.
# Own choice.
SEARCHED_CAUSES = 16

# What a sound car drops at most where current flows; more stands across what is open.
# [1, of the system's volts] Own choice: above the worst of cables and lamps, far below
# open contacts.
LARGEST_DROP = 0.2

# Causes less likely than this are not named. [1] Own choice: one in two hundred.
LEAST_EXPECTED = 0.005


class Proposals:
    """Puts steps of one car into words and expected values.

    Parameters
    ----------
    model : Model
    expected : ExpectedAnswers
        How likely a symptom is there.
    pricing : Pricing
        What a step costs and saves.
    """

    def __init__(
        self, model: Model, expected: ExpectedAnswers, pricing: Pricing
    ) -> None:
        self._model = model
        self._expected_answers = expected
        self._pricing = pricing

    def asked(
        self, step: Step, moment: Moment, *, reason: str = "asked for"
    ) -> ProposedStep:
        """Return any step, with what it would show and tell.

        Parameters
        ----------
        step : Step
        moment : Moment
        reason : str
            Why it is proposed, in one line.

        Returns
        -------
        ProposedStep
        """
        return self.proposed(self._pricing.step(step, moment), moment, reason=reason)

    def worthwhile(self, priced: Priced, moment: Moment) -> ProposedStep:
        """Return a step that is proposed for what it is worth.

        Parameters
        ----------
        priced : Priced
        moment : Moment

        Returns
        -------
        ProposedStep
        """
        before = _readings_of(priced.step, moment)
        if before:
            while_bad = any(while_it_shows(one) is not False for one in before)
            reason = AGAIN if while_bad else NOW_WHILE_IT_SHOWS
            return self.proposed(priced, moment, reason=reason)
        proposed = self.proposed(priced, moment, reason=_worth_words(priced))
        return replace(proposed, is_for_worth=True)

    def proposed(self, priced: Priced, moment: Moment, *, reason: str) -> ProposedStep:
        """Return a priced step, with what it would show.

        Parameters
        ----------
        priced : Priced
        moment : Moment
        reason : str
            Why it is proposed, in one line.

        Returns
        -------
        ProposedStep
        """
        step, car, knowledge = priced.step, self._model.car, self._model.knowledge
        procedures = knowledge.procedures
        expected = self._expected(step, moment)
        look = step.look if isinstance(step, SubstitutionTest) else step
        borne = isinstance(step, Reading) and bears_series(
            moment.conclusion, step, self._model.compiled
        )
        if isinstance(look, Reading) and look.kind is ReadingKind.AMPS and not borne:
            clamp = knowledge.meter.amps
            expected = tuple(_by_clamp(one, clamp) for one in expected)
        if isinstance(step, SymptomCheck):
            symptom = self._model.asked(step.symptom)
            state = symptom.state
            words = f"{symptom.question} Car: {car.state(state).label}."
            test = self._model.provocations.get(
                step.symptom
            ) or self._model.touches.get(step.symptom)
            place = car.places.get(test.place) if test is not None else None
            cautions = symptom_cautions(symptom, place, car, knowledge)
            card = symptom_card(symptom, place.name if place else "", car)
        elif isinstance(step, SubstitutionTest):
            state, words, cautions, card = self._test(step)
        else:
            state = step.state
            is_drop = _is_drop(step, expected[0], car.system_volts)
            words = instruction(step, car, procedures, in_series=borne, is_drop=is_drop)
            cautions = cautions_for(step, car, knowledge, in_series=borne)
            card = reading_card(step, car, procedures, in_series=borne, is_drop=is_drop)
        return ProposedStep(
            step=step,
            state=state,
            instruction=words,
            cautions=cautions,
            minutes=priced.minutes + moment.prices.idle_minutes(step, moment.here),
            saves_minutes=priced.net_minutes,
            bits=priced.bits,
            expected=expected,
            reason=reason,
            card=card,
        )

    def _test(
        self, test: SubstitutionTest
    ) -> tuple[str, str, tuple[str, ...], StepCard]:
        """Return state, words, cautions and card of a test with the circuit changed."""
        car, look, changed = self._model.car, test.look, test.substitution
        procedures = self._model.knowledge.procedures
        is_cable = self._model.substituted.is_cable(changed)
        if isinstance(look, Reading):
            state, asks = look.state, instruction(look, car, procedures)
            seen = reading_card(look, car, procedures)
            if look.kind is ReadingKind.LOOK:
                asks = (
                    f"Put a new {look.red} of the same rating in and turn the key on, "
                    "with what it feeds switched on: does it hold (type sound), or "
                    "blow (type blown)?"
                )
        else:
            symptom = self._model.asked(look.symptom)
            state = symptom.state
            asks = f"{symptom.question} Car: {car.state(state).label}."
            seen = symptom_card(symptom, "", car)
        like = like_part(changed.at, car)
        is_wire = any(
            part.kind == "wire" and part.assembly == changed.at for part in car.parts
        )
        words, done = (
            test_instruction(
                test,
                procedures,
                asks=says,
                is_cable=is_cable,
                like=like,
                is_wire=is_wire,
            )
            for says in (asks, "")
        )
        if isinstance(look, Reading) and look.kind is ReadingKind.LOOK:
            seen = StepCard(act=asks)
        card = test_card(done, seen)
        cautions = test_cautions(
            test,
            self._model.substituted.effects(changed),
            self._model,
            is_cable=is_cable,
        )
        return state, words, cautions, card

    def _expected(self, step: Step, moment: Moment) -> tuple[ExpectedValue, ...]:
        """Return what the sound car shows, then what leading causes would."""
        lines, causes = moment.lines, self._model.compiled.causes
        leading = np.argsort(-lines.probabilities)[:SEARCHED_CAUSES]
        named = leading[lines.probabilities[leading] >= LEAST_EXPECTED].tolist()
        rows_of = [np.array([0]), *(self._as_named(line, moment) for line in named)]
        ends = np.cumsum([len(rows) for rows in rows_of])[:-1]
        rows = np.concatenate(rows_of)
        sound, *of_lines = np.split(self._predicted(step, rows, moment), ends)
        weights = np.split(moment.conclusion.beliefs.weights[rows], ends)[1:]
        healthy = _expected_value("", "healthy car", sound_range(sound[0]), step)
        shown = []
        for line, values, shares in zip(named, of_lines, weights, strict=True):
            cause = causes[lines.likeliest(line)]
            ends_of_range = middle_range(values, shares)
            shown.append(_expected_value(cause.name, cause.says, ends_of_range, step))
        return (healthy, *_telling_causes(healthy, shown))

    def _as_named(self, line: int, moment: Moment) -> IntArray:
        """Return the rows of a line in which its fault lasts, or not, as it is named.

        A line is one repair, of what lasts and of the same where it comes and goes; a
        fault that is named as lasting is not away in one look of three.
        """
        lines = moment.lines
        rows = lines.rows(line)
        lasts = self._model.compiled.causes[lines.likeliest(line)].mode.lasts
        alike = rows[(moment.conclusion.comes_and_goes[rows] < 0) == lasts]
        return alike if len(alike) else rows

    def _predicted(self, step: Step, rows: IntArray, moment: Moment) -> FloatArray:
        """Return what rows show of a step, (n_rows, n_draws).

        Of a symptom the mean chance of a yes, the same for all draws.
        """
        conclusion = moment.conclusion
        if isinstance(step, SubstitutionTest):
            seen = self._expected_answers.in_test(conclusion, step, rows, is_rough=True)
            if isinstance(step.look, Reading):
                return seen
            mean = seen.mean(axis=1, keepdims=True)
            return np.asarray(np.broadcast_to(mean, seen.shape))
        if isinstance(step, Reading):
            return self._model.compiled.readings.predicted(
                conclusion.hypotheses, step, rows=conclusion.shown_by[rows]
            )
        chance = self._expected_answers.yes_chance(conclusion, step.symptom, rows)
        mean = chance.mean(axis=1, keepdims=True)
        return np.asarray(np.broadcast_to(mean, chance.shape))


def _is_drop(reading: Reading, healthy: ExpectedValue, system_volts: float) -> bool:
    """Return whether a sound car drops no more than wires and joints along a reading.

    True of what is no volts: it has no drop to be told from open contacts.
    """
    if reading.kind is not ReadingKind.DC_VOLTS:
        return True
    return max(abs(healthy.low), abs(healthy.high)) < LARGEST_DROP * system_volts


def _readings_of(step: Step, moment: Moment) -> list[Observation]:
    """Return what was seen in a step since the latest repair already."""
    conclusion = moment.conclusion
    return [
        noted.observation
        for noted in conclusion.observations
        if noted.observation.step == step and noted.epoch >= len(conclusion.repairs)
    ]


def _worth_words(priced: Priced) -> str:
    """Return what a step is worth, in one line."""
    if priced.net_minutes <= 0.0:
        return f"tells {priced.bits:.1f} bit, but costs more minutes than it saves"
    return f"saves {priced.net_minutes:.0f} min on average; tells {priced.bits:.1f} bit"


def _expected_value(
    cause: str, says: str, ends: tuple[float, float], step: Step
) -> ExpectedValue:
    low, high = ends
    look = step.look if isinstance(step, SubstitutionTest) else step
    words = (
        range_words(low, high, look.kind)
        if isinstance(look, Reading)
        else chance_words(0.5 * (low + high))
    )
    return ExpectedValue(cause=cause, says=says, low=low, high=high, words=words)


def _by_clamp(shown: ExpectedValue, clamp: MeterRange) -> ExpectedValue:
    """Return the same in words that a clamp can show: no milliamps.

    What is less than it strays by at rest may be anything up to that.
    """
    least, digit = float(clamp.half_width(np.array(0.0))), clamp.resolution
    low = 0.0 if abs(shown.low) < least else math.floor(shown.low / digit) * digit
    high = least if abs(shown.high) < least else math.ceil(shown.high / digit) * digit
    return replace(shown, words=range_words(low, high, ReadingKind.AMPS))


def _telling_causes(
    healthy: ExpectedValue, causes: Sequence[ExpectedValue]
) -> tuple[ExpectedValue, ...]:
    """Return the likeliest causes, and of the rest some that would show something else.

    In their order.
    """
    others = [
        cause
        for cause in causes[SHOWN_CAUSES:]
        if cause.high < healthy.low or cause.low > healthy.high
    ]
    return (*causes[:SHOWN_CAUSES], *others[:MOST_OTHERS])
