"""Goes through the readings before the first start, inside a diagnosis.

Proposes them in order while all are right; leaves the search to the diagnosis as soon
as one is not, and comes back after the repair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diagnose.measurement.steps import SymptomCheck
from diagnose.session.answer import Advice, ExpectedValue, ProposedStep, Verdict
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    SymptomFact,
    TakesFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.sheets.first_start import (
    Prestart,
    PrestartReading,
    known_history,
    prestart,
    prestart_standing,
    times_taken,
)
from diagnose.session.steps.prices import Whereabouts
from diagnose.session.steps.ranked_steps import Adviser
from diagnose.session.wording import range_words, step_words

SHOWN_STEPS = 3
LIKELIER_THAN_NOT = 0.5
START_SYMPTOM = "engine-starts"
"""What is tried when every reading of the list was right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guided:
    """What the list asks for now."""

    steps: tuple[ProposedStep, ...]
    advice: Advice


class PrestartGuide:
    """Knows the list of one car, and how far a diagnosis has gone through it.

    Parameters
    ----------
    model : Model
    adviser : Adviser
    """

    def __init__(self, model: Model, adviser: Adviser) -> None:
        self._model = model
        self._adviser = adviser
        self._lists: dict[tuple[Fact, ...], Prestart] = {}

    def guided(
        self, standing: Sequence[Fact], conclusion: Conclusion, here: Whereabouts
    ) -> Guided | None:
        """Return what the list asks for; None when it is not the list's turn.

        It is not when nobody asked for the list, when a complaint was told since, and
        while a reading outside its limits waits for its repair.
        """
        listed = self._listed(standing)
        if listed is None:
            return None
        now = prestart_standing(listed, standing)
        if now.failed:
            return self._again(listed, now.failed[-1], standing, conclusion, here)
        if not now.left:
            return self._at_the_end(standing, conclusion, here)
        steps = [
            self._step(listed, one, conclusion, here) for one in now.left[:SHOWN_STEPS]
        ]
        n_done = len(listed.readings) - len(now.left)
        says = (
            f"Before the first start: {n_done} of {len(listed.readings)} readings are "
            "done, none is outside its limits."
        )
        advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
        return Guided(steps=tuple(steps), advice=advice)

    def notes(self, standing: Sequence[Fact]) -> tuple[str, ...]:
        """Return what is outside its limits, in words."""
        listed = self._listed(standing)
        if listed is None:
            return ()
        return tuple(
            f"{step_words(one.reading, self._model.car)}: outside what a sound "
            f"car shows ({_limit_words(one)}). Find the cause before you go on; the "
            "list comes back after the repair."
            for one in prestart_standing(listed, standing).failed
        )

    def _again(
        self,
        listed: Prestart,
        one: PrestartReading,
        standing: Sequence[Fact],
        conclusion: Conclusion,
        here: Whereabouts,
    ) -> Guided | None:
        """Ask once more for what is off while a slip is likelier than a fault."""
        sound = float(conclusion.beliefs.set_probabilities()[0])
        if sound < LIKELIER_THAN_NOT or times_taken(one.reading, standing) > 1:
            return None
        step = self._step(listed, one, conclusion, here)
        says = (
            f"Outside what a sound car shows ({_limit_words(one)}). Look that the "
            "leads are on the right points, and take it again."
        )
        advice = Advice(verdict=Verdict.NOTHING_FITS, says=says, cautions=step.cautions)
        return Guided(steps=(step,), advice=advice)

    def _listed(self, standing: Sequence[Fact]) -> Prestart | None:
        asked = [n for n, fact in enumerate(standing) if isinstance(fact, PrestartFact)]
        if not asked or any(
            isinstance(fact, ComplaintFact) for fact in standing[asked[-1] :]
        ):
            return None
        before = [f for f in standing[: asked[-1]] if isinstance(f, ContextFact)]
        owner = [f for f in standing if isinstance(f, LimitFact | TakesFact)]
        key: tuple[Fact, ...] = (*before, *owner)
        if key not in self._lists:
            told = {fact.context: fact.answer for fact in before}
            self._lists[key] = prestart(
                self._model,
                history={**known_history(self._model.knowledge), **told},
                prices=self._adviser.prices,
            )
        return self._lists[key]

    def _step(
        self,
        listed: Prestart,
        one: PrestartReading,
        conclusion: Conclusion,
        here: Whereabouts,
    ) -> ProposedStep:
        number = listed.readings.index(one) + 1
        step = self._adviser.asked(
            one.reading,
            conclusion,
            here,
            reason=f"reading {number} of {len(listed.readings)} before the first start",
        )
        sound = ExpectedValue(
            cause="",
            says="a sound car",
            low=one.limits.low,
            high=one.limits.high,
            words=_limit_words(one),
        )
        return replace(step, expected=(sound,))

    def _at_the_end(
        self, standing: Sequence[Fact], conclusion: Conclusion, here: Whereabouts
    ) -> Guided | None:
        starts = [
            fact.is_present
            for fact in standing
            if isinstance(fact, SymptomFact) and fact.symptom == START_SYMPTOM
        ]
        if starts:
            return None if not starts[-1] else _started()
        says = (
            "Every reading of the list is inside its limits. Start the engine; if "
            "something is not as it should be, type complaint and its name."
        )
        if START_SYMPTOM not in self._model.compiled.symptom_index:
            return Guided(
                steps=(), advice=Advice(verdict=Verdict.OPEN, says=says, cautions=())
            )
        step = self._adviser.asked(
            SymptomCheck(symptom=START_SYMPTOM),
            conclusion,
            here,
            reason="the first start itself",
        )
        advice = Advice(verdict=Verdict.OPEN, says=says, cautions=step.cautions)
        return Guided(steps=(step,), advice=advice)


def _started() -> Guided:
    says = "It starts, and every reading before it was inside its limits."
    return Guided(
        steps=(), advice=Advice(verdict=Verdict.FIXED, says=says, cautions=())
    )


def _limit_words(one: PrestartReading) -> str:
    return range_words(one.limits.low, one.limits.high, one.reading.kind)
