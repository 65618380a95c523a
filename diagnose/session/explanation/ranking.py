"""The ranking: lines of causes, each with what speaks for and against it.

Causes that one repair mends are one line, said in the words of the likeliest of them.
What each fact weighs is worked out when it is asked for, and for lines of JSON: it was
a tenth of an answer. Leaves how well all of it fits to `fit`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.session.answer import RankedCause, Weight
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.implied.predicted_range import middle_range
from diagnose.session.evidence.seen import Noted, seen_of
from diagnose.session.explanation.origins import Origins
from diagnose.session.explanation.weight_of_evidence import (
    rows_without_each,
    weights_for,
    without_fact,
)
from diagnose.session.facts import SubstitutionFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.words.wording import observation_words, range_words

# How many lines a ranking has at most. Own choice: nobody reads on.
MOST_LINES = 40

# Lines less likely than this are left out. [1] Own choice: one in five hundred.
LEAST_LINE = 0.002

# How many facts a line of the ranking comes with, those that weigh most. Own choice.
SHOWN_WEIGHTS = 4

# How many lines come with what may have brought them about. Own choice: what a page
# shows.
MOST_WITH_ORIGINS = 8

# Facts that weigh less are not shown in the ranking. [dB] Own choice: a tenth of the
# odds.
LEAST_DECIBANS = 0.5


class Ranking:
    """Ranks the lines of causes of one car.

    Parameters
    ----------
    model : Model
    expected : ExpectedAnswers
        How likely a symptom is there.
    """

    def __init__(self, model: Model, expected: ExpectedAnswers) -> None:
        self._model = model
        self._expected_answers = expected
        self._origins = Origins(model)

    def ranked(self, moment: Moment, *, explained: int) -> tuple[RankedCause, ...]:
        """Return the lines of causes, the most probable first.

        Parameters
        ----------
        moment : Moment
        explained : int
            How many of them come with their evidence.

        Returns
        -------
        tuple[RankedCause, ...]
        """
        probabilities = moment.lines.probabilities
        order = np.argsort(-probabilities, kind="stable")[:MOST_LINES].tolist()
        without = rows_without_each(moment.conclusion) if explained else []
        return tuple(
            self._line(
                line,
                moment,
                without if place < explained else [],
                most_weights=SHOWN_WEIGHTS,
                has_origins=place < MOST_WITH_ORIGINS,
            )
            for place, line in enumerate(order)
            if probabilities[line] >= LEAST_LINE
        )

    def cause(self, name: str, moment: Moment) -> RankedCause:
        """Return the line a cause is on, with every fact for and against it.

        Parameters
        ----------
        name : str
            Of the cause.
        moment : Moment

        Returns
        -------
        RankedCause
        """
        causes = self._model.compiled.causes
        number = next(n for n, one in enumerate(causes) if one.name == name)
        line = int(moment.lines.line_of[number])
        return self._line(line, moment, rows_without_each(moment.conclusion))

    def _line(
        self,
        line: int,
        moment: Moment,
        without: Sequence[FloatArray],
        *,
        most_weights: int | None = None,
        has_origins: bool = True,
    ) -> RankedCause:
        """Return one line, with all facts where `most_weights` is None."""
        causes, conclusion = self._model.compiled.causes, moment.conclusion
        rows = moment.lines.rows(line)
        weights = weights_for(conclusion, rows, without)
        order = sorted(range(len(without)), key=lambda number: -abs(weights[number]))
        if most_weights is not None:
            order = [n for n in order if abs(weights[n]) > LEAST_DECIBANS]
            order = order[:most_weights]
        cause = causes[moment.lines.likeliest(line)]
        return RankedCause(
            name=cause.name,
            members=tuple(causes[member].name for member in self._model.lines[line]),
            says=cause.says,
            # a sum of shares of one may end a rounding above it
            probability=min(1.0, float(moment.lines.probabilities[line])),
            repair=cause.repair,
            repair_minutes=moment.line_minutes.repair[line],
            evidence=tuple(
                Weight(
                    fact=self._noted_words(conclusion.observations[number]),
                    decibans=weights[number],
                    expected=self._expected_words(rows, moment, number),
                )
                for number in order
            ),
            origins=self._origins.of(line, moment) if has_origins else (),
        )

    def _noted_words(self, noted: Noted) -> str:
        """Return an observation in words, with how often it was taken."""
        observation = noted.observation
        if isinstance(observation, SubstitutionFact):
            return observation_words(observation, self._model.car)
        if isinstance(observation, SymptomFact):
            question = self._model.asked(observation.symptom).question
            often = f"{_often(noted.times)}: " if noted.times > 1 else ""
            return f"{often}{question} {'yes' if observation.is_present else 'no'}"
        words = observation_words(observation, self._model.car)
        return words if noted.times == 1 else f"{words} ({_often(noted.times)})"

    def _expected_words(self, rows: IntArray, moment: Moment, number: int) -> str:
        """Return what rows would show of an observation that is left out."""
        conclusion = moment.conclusion
        epoch, observation, is_complaint, *_ = conclusion.observations[number]
        if epoch < len(conclusion.repairs):
            return "before the repair"
        share = without_fact(
            conclusion.beliefs.weights[rows], conclusion.likelihoods[number][rows]
        )
        seen = seen_of(observation)
        if isinstance(seen, SymptomFact):
            chance = (
                self._expected_answers.in_test(conclusion, observation.step, rows)
                if isinstance(observation, SubstitutionFact)
                else self._expected_answers.yes_chance(
                    conclusion, seen.symptom, rows, is_complaint=is_complaint
                )
            )
            mean = float((chance * share).sum() / max(share.sum(), 1e-300))
            return f"yes in {round(100 * mean)} of 100"
        predicted = (
            self._expected_answers.in_test(conclusion, observation.step, rows)
            if isinstance(observation, SubstitutionFact)
            else self._model.compiled.readings.predicted(
                conclusion.hypotheses, seen.reading, rows=conclusion.shown_by[rows]
            )
        )
        low, high = middle_range(predicted, share)
        words = range_words(low, high, seen.reading.kind)
        is_fleeting = bool((rows >= conclusion.first_fleeting).all())
        return f"{words} while it is there" if is_fleeting else words


def _often(times: int) -> str:
    return "twice" if times == 2 else f"{times} times"
