"""Goes through the readings before the first start, inside a diagnosis.

Proposes them in order while all are right; leaves the search to the diagnosis as soon
as one is not, and comes back after the repair. A reading likelier slipped than faulty
is taken again first: before a first start the sound car is the likeliest of all. Leaves
which readings these are to `first_start`.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.measurement.steps import SymptomCheck
from diagnose.session.answer import (
    LIKELIER_THAN_NOT,
    Advice,
    Advised,
    ExpectedValue,
    ProposedStep,
    Verdict,
)
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
)
from diagnose.session.sheets.first_start_progress import list_progress, times_taken
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.proposing.proposals import Proposals
from diagnose.session.words.wording import range_words, step_words

# How many readings of the list are proposed at once. Own choice: what a page holds.
SHOWN_STEPS = 3

# What is tried when every reading of the list was right.
START_SYMPTOM = "engine-starts"


class PrestartGuide:
    """Knows the list of one car, and how far a diagnosis has gone through it.

    Parameters
    ----------
    model : Model
    proposals : Proposals
        Steps in words.
    """

    def __init__(self, model: Model, proposals: Proposals) -> None:
        self._model = model
        self._proposals = proposals
        self._lists: dict[tuple[Fact, ...], Prestart] = {}

    def advised(self, moment: Moment) -> Advised | None:
        """Return what the list asks for.

        Parameters
        ----------
        moment : Moment

        Returns
        -------
        Advised or None
            None when it is not the list's turn: nobody asked for it, a complaint was
            told since, or a reading outside its limits waits for its repair.
        """
        listed = self._listed(moment)
        if listed is None:
            return None
        now = list_progress(listed, moment.facts)
        if now.failed:
            return self._again(listed, now.failed[-1], moment)
        if not now.left:
            return self._at_the_end(moment)
        steps = [self._step(listed, one, moment) for one in now.left[:SHOWN_STEPS]]
        n_done = len(listed.readings) - len(now.left)
        says = (
            f"Before the first start: {n_done} of {len(listed.readings)} readings are "
            "done, none is outside its limits."
        )
        advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
        return Advised(steps=tuple(steps), advice=advice)

    def notes(self, moment: Moment) -> tuple[str, ...]:
        """Return what is outside its limits, in words.

        Parameters
        ----------
        moment : Moment

        Returns
        -------
        tuple[str, ...]
            A sentence or two each.
        """
        listed = self._listed(moment)
        if listed is None:
            return ()
        return tuple(
            f"{step_words(one.reading, self._model.car)}: outside what a sound "
            f"car shows ({_limit_words(one)}). Find the cause before you go on; the "
            "list comes back after the repair."
            for one in list_progress(listed, moment.facts).failed
        )

    def _again(
        self, listed: Prestart, one: PrestartReading, moment: Moment
    ) -> Advised | None:
        """Ask once more for what is off while a slip is likelier than a fault."""
        sound = float(moment.lines.set_probabilities[0])
        if sound < LIKELIER_THAN_NOT or times_taken(one.reading, moment.facts) > 1:
            return None
        step = self._step(listed, one, moment)
        says = (
            f"Outside what a sound car shows ({_limit_words(one)}). Look that the "
            "leads are on the right points, and take it again."
        )
        advice = Advice(verdict=Verdict.NOTHING_FITS, says=says, cautions=step.cautions)
        return Advised(steps=(step,), advice=advice)

    def _listed(self, moment: Moment) -> Prestart | None:
        """Return the list for this history and this owner, None when not asked for."""
        standing = moment.facts
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
                prices=moment.prices,
            )
        return self._lists[key]

    def _step(
        self, listed: Prestart, one: PrestartReading, moment: Moment
    ) -> ProposedStep:
        """Return a reading of the list with what a sound car shows there."""
        number = listed.readings.index(one) + 1
        step = self._proposals.asked(
            one.reading,
            moment,
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

    def _at_the_end(self, moment: Moment) -> Advised | None:
        """Return the first start itself, or that it is done; None when it failed."""
        starts = [
            fact.is_present
            for fact in moment.facts
            if isinstance(fact, SymptomFact) and fact.symptom == START_SYMPTOM
        ]
        if starts:
            return None if not starts[-1] else _started()
        says = (
            "Every reading of the list is inside its limits. Start the engine; if "
            "something is not as it should be, type complaint and its name."
        )
        if START_SYMPTOM not in self._model.compiled.symptom_index:
            return Advised(
                steps=(), advice=Advice(verdict=Verdict.OPEN, says=says, cautions=())
            )
        step = self._proposals.asked(
            SymptomCheck(symptom=START_SYMPTOM),
            moment,
            reason="the first start itself",
        )
        advice = Advice(verdict=Verdict.OPEN, says=says, cautions=step.cautions)
        return Advised(steps=(step,), advice=advice)


def _started() -> Advised:
    says = "It starts, and every reading before it was inside its limits."
    return Advised(
        steps=(), advice=Advice(verdict=Verdict.FIXED, says=says, cautions=())
    )


def _limit_words(one: PrestartReading) -> str:
    return range_words(one.limits.low, one.limits.high, one.reading.kind)
