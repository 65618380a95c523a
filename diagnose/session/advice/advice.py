"""The one thing to do now, and the steps that stand beside it.

Proving a repair comes first, then doubt about the facts, then the reading that saves
most, then the repair. A repair that was made is not advised again unless a reading
since says that it did not take: the next cause is, or the reading that would tell. That
nothing fits, or that it is hopeless, is final: it is only to be said when all that the
facts call for was solved. Leaves which steps save most to `ranked_steps`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.advice.cheaper_repair import cheaper_repair, looked_for_there
from diagnose.session.advice.misfit import Misfit
from diagnose.session.advice.repair_proof import RepairProof
from diagnose.session.advice.repeated_repairs import RepeatedRepairs
from diagnose.session.advice.sure_claims import SureClaims, Untested
from diagnose.session.answer import (
    LIKELIER_THAN_NOT,
    Advice,
    Advised,
    ProposedStep,
    RankedCause,
    Verdict,
)
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.explanation.explainer import Explanation
from diagnose.session.facts import (
    ComplaintFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Priced, Pricing
from diagnose.session.steps.proposing.proof_steps import ProofSteps
from diagnose.session.steps.proposing.proposals import Proposals
from diagnose.session.steps.proposing.ranked_steps import RankedSteps
from diagnose.session.steps.proposing.trade_order import (
    begins_with,
    in_trade_order,
    posts_where_it_shows,
    various,
)
from diagnose.session.words.cautions import repair_cautions
from diagnose.session.words.instructions import part_words
from diagnose.session.words.step_cards import while_it_shows
from diagnose.session.words.wording import step_words
from diagnose.units import format_minutes

# How many steps are proposed. Own choice: what a page holds, the first in full.
SHOWN_STEPS = 4

# From this chance on that the fault comes and goes, a test that brings it is among the
# steps proposed. [1] Own choice: one in ten, for it stands last of them.
COMES_AND_GOES = 0.1

# How many steps a person is taken to weigh at once. Own choice: the best and two beside
# it.
EARLY_STEPS = 3

# How many of these are tests that bring the fault where the owner told that it comes
# and goes, or that is likelier than not. [1] Rule of the trade: whoever hunts such a
# fault tugs at the wiring before he has measured three times.
TOLD_TESTS = 2

# Where no step pays, those that tell less than this are not proposed. [bit] Derived:
# what is shown as .0 bit tells nothing.
LEAST_BITS = 0.005

# From this chance of one cause on nothing is measured any more. [1] Own choice: beyond
# it a person would reach for the spanner.
SURE = 0.995

# Below this chance even the likeliest cause is not mended. [1] Own choice: one in
# fifty.
LEAST_MENDED = 0.02

# Why the battery's posts are read before a step that saves more.
POSTS_FIRST = "the battery first: all other readings go by it"

# Said where only a repair that was made is likely, and a reading would tell.
LOOK_AGAIN = (
    "That was mended already. Before it is mended again: take this reading, which "
    "tells whether the repair took."
)

# The same in few words, beside the reading.
MENDED_ALREADY = "it was mended already: tells whether the repair took"

# Said where what was mended once is likely still bad, and no reading would tell.
ONLY_THE_COMPLAINT_TELLS = (
    "That was mended, the complaint is still there, and no reading tells whether the "
    "work took: check it and do it again."
)

# Said where readings were told that a sound car shows, and nothing else.
NOTHING_WRONG = (
    "Nothing read so far speaks of a fault. Say what is wrong with the car: choose a "
    "complaint, or name a symptom."
)

# What is only said when all that the facts call for was solved.
# A repair is among it: causes whose severities are not worked out yet are ranked as
# they were drawn, and the wrong one of two at one lug has led with 98 %.
FINAL_VERDICTS = frozenset({Verdict.NOTHING_FITS, Verdict.STOP, Verdict.REPAIR})


class Adviser:
    """Says what to do next on one car.

    Parameters
    ----------
    model : Model
    expected : ExpectedAnswers
        How likely a complaint is gone.
    proposals : Proposals
        Steps in words.
    proof_steps : ProofSteps
        The reading that tells whether a repair took.
    ranked_steps : RankedSteps
        Which steps tell the same.
    pricing : Pricing
        What a step takes and saves.
    """

    def __init__(
        self,
        model: Model,
        expected: ExpectedAnswers,
        proposals: Proposals,
        proof_steps: ProofSteps,
        ranked_steps: RankedSteps,
        pricing: Pricing,
    ) -> None:
        self._model = model
        self._pricing = pricing
        self._ranked_steps = ranked_steps
        self._proposals = proposals
        self._repeats = RepeatedRepairs(model)
        self._proof_steps = proof_steps
        self._proof = RepairProof(
            model, expected, proposals, proof_steps, self._repeats
        )
        self._sure = SureClaims(model, proof_steps)
        self._misfit = Misfit(proposals, model.car)

    def advised(
        self,
        moment: Moment,
        priced: Sequence[Priced],
        explanation: Explanation,
        *,
        taken: frozenset[Step],
    ) -> Advised:
        """Return what to do now.

        Parameters
        ----------
        moment : Moment
        priced : Sequence[Priced]
            The best steps, best first.
        explanation : Explanation
            What follows from the facts.
        taken : frozenset[Step]
            Steps taken since the latest repair, or skipped.

        Returns
        -------
        Advised
        """
        proof = self._proof.advised(moment)
        if proof is not None:
            return proof
        steps = self._worthwhile(moment, priced, taken)
        misfit = self._misfit.advised(moment, explanation)
        if misfit is not None:
            return Advised(steps=(*misfit.steps, *steps), advice=misfit.advice)
        causes = explanation.causes
        mendable = self._repeats.mendable(causes, moment)
        is_barred = bool(causes) and causes[0] not in mendable
        best = next((one for one in priced if one.pays), None)
        if is_barred and best is None and causes[0].probability > LEAST_MENDED:
            # once it was taken, the next best one would only go round in circles
            tells = self._proof_steps.proving(causes[0].name, moment)
            if tells is not None and tells.step not in taken:
                advice = Advice(verdict=Verdict.OPEN, says=LOOK_AGAIN, cautions=())
                tells = replace(tells, reason=MENDED_ALREADY)
                return Advised(steps=(tells, *steps), advice=advice)
            again = None if tells else self._repeats.by_its_complaint(causes, moment)
            if again is not None:
                repair = self._repair(again, None, (again, *mendable))
                says = f"{ONLY_THE_COMPLAINT_TELLS} {repair.says}"
                return Advised(steps=steps, advice=replace(repair, says=says))
        is_sure = bool(mendable) and mendable[0].probability >= SURE
        if best is not None and not is_sure:
            says = f"Take this reading: it saves about {best.net_minutes:.0f} min."
            advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
            return Advised(steps=steps, advice=advice)
        is_likely = bool(mendable) and mendable[0].probability > LEAST_MENDED
        if not is_likely and not is_barred and not _is_complained(moment):
            advice = Advice(verdict=Verdict.OPEN, says=NOTHING_WRONG, cautions=())
            return Advised(steps=(), advice=advice)
        advice = self._repair_or_stop(mendable, causes[0] if is_barred else None)
        if advice.verdict is Verdict.REPAIR:
            untested = self._sure.untested(mendable[0], moment, taken=taken)
            if untested is not None:
                return self._untested(untested, advice, steps)
        return Advised(steps=steps, advice=advice)

    def _worthwhile(
        self, moment: Moment, priced: Sequence[Priced], taken: frozenset[Step]
    ) -> tuple[ProposedStep, ...]:
        """Return the steps that pay, or where none does those that tell something."""
        useful = [one for one in priced if one.pays]
        telling = useful or [one for one in priced if one.bits > LEAST_BITS]
        ordered = self._ranked_steps.told_apart(
            in_trade_order(telling, moment, self._model), moment, most=SHOWN_STEPS
        )
        shown = various(ordered[:SHOWN_STEPS], moment)
        shown = self._with_posts(shown, moment, taken)
        proposed = [
            self._proposals.worthwhile(one, moment)
            for one in self._with_tests(shown, priced, moment)[:SHOWN_STEPS]
        ]
        posts = begins_with(telling, moment, self._model)
        if posts is not None and proposed[0].step == posts.step != telling[0].step:
            proposed[0] = replace(proposed[0], reason=POSTS_FIRST, is_for_worth=False)
        if not self._likely_comes_and_goes(moment):
            return tuple(proposed)
        return tuple(map(while_it_shows, proposed))

    def _likely_comes_and_goes(self, moment: Moment) -> bool:
        """Return whether the owner told that it comes and goes, or that is likely."""
        is_likely = _fleeting_share(moment) > LIKELIER_THAN_NOT
        return moment.is_told_to_come_and_go or is_likely

    def _with_posts(
        self, shown: list[Priced], moment: Moment, taken: frozenset[Step]
    ) -> list[Priced]:
        """Return steps with the battery's posts among the first, where it shows."""
        posts = posts_where_it_shows(moment, self._model)
        first = shown[:EARLY_STEPS]
        if posts is None or posts in taken or any(one.step == posts for one in first):
            return shown
        if not moment.prices.can_take(posts):
            return shown
        priced = self._pricing.step(posts, moment)
        if not priced.pays or len(first) < EARLY_STEPS:
            return shown
        others = [one for one in shown if one.step != posts]
        early = EARLY_STEPS - 1
        return [*others[:early], priced, *others[early:]]

    def _with_tests(
        self, shown: list[Priced], priced: Sequence[Priced], moment: Moment
    ) -> list[Priced]:
        """Return steps with tests early on, where the fault likely comes and goes.

        A reading is worth its bits only while the fault is there, which nobody can
        choose; wiggling brings it. The best of all tests that are priced are taken,
        whatever else tells more a minute: two at two places behind the first step where
        the owner told it or it is likelier than not, else one behind the others.
        """
        likely = self._likely_comes_and_goes(moment)
        if not likely and _fleeting_share(moment) < COMES_AND_GOES:
            return shown
        most = TOLD_TESTS if likely else 1
        tests = [one for one in priced if self._is_provocation(one)]
        tests = in_trade_order(tests, moment, self._model)
        tests = self._ranked_steps.told_apart(tests, moment, most=most)
        tests = self._at_different_places(tests)[:most]
        others = [one for one in shown if not self._is_provocation(one)]
        if shown and self._is_provocation(shown[0]):
            # it is the best of all steps as well
            tests = [shown[0], *(one for one in tests if one is not shown[0])][:most]
            return [tests[0], *others[: EARLY_STEPS - len(tests)], *tests[1:]]
        early = EARLY_STEPS - len(tests) if likely else SHOWN_STEPS - 1
        return [*others[:early], *tests, *others[early:]]

    def _at_different_places(self, tests: Sequence[Priced]) -> list[Priced]:
        """Return tests that bring a fault, the first at each place of the car."""
        found: dict[str, Priced] = {}
        for one in tests:
            if isinstance(one.step, SymptomCheck):
                place = self._model.provocations[one.step.symptom].place
                found.setdefault(place, one)
        return list(found.values())

    def _is_provocation(self, one: Priced) -> bool:
        """Return whether a step brings a fault that comes and goes."""
        step = one.step
        return (
            isinstance(step, SymptomCheck) and step.symptom in self._model.provocations
        )

    def _untested(
        self, untested: Untested, repair: Advice, steps: tuple[ProposedStep, ...]
    ) -> Advised:
        """Return what to do where a sure repair rests on no reading."""
        step, other = untested.step, untested.neighbour
        if untested.is_refused:
            words = step_words(step.step, self._model.car)
            says = (
                f"{repair.says} Not taken, for its price: {words} "
                f"({format_minutes(step.minutes)}), which would tell it from: {other}."
            )
            return Advised(steps=steps, advice=replace(repair, says=says))
        says = f"Before it is mended, take this reading: it tells it from: {other}."
        advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
        step = replace(step, reason=f"before it is mended: tells it from: {other}")
        others = tuple(one for one in steps if one.step != step.step)
        return Advised(steps=(step, *others[: SHOWN_STEPS - 1]), advice=advice)

    def _repair_or_stop(
        self, mendable: Sequence[RankedCause], barred: RankedCause | None
    ) -> Advice:
        """Return whether to mend the likeliest that was not mended yet, or to stop."""
        if mendable and mendable[0].probability > LEAST_MENDED:
            best, dearer = cheaper_repair(mendable, is_sure=SURE)
            return self._repair(best, dearer, mendable)
        says = (
            "Nothing here is likely, and no reading is worth its time: stop and let a "
            "workshop look at it."
        )
        if barred is not None and barred.probability > LEAST_MENDED:
            says = (
                f"{barred.says}: that was mended, and no other cause is likely. Stop: "
                "have that work and the wiring looked at before anything is renewed "
                "once more."
            )
        return Advice(verdict=Verdict.STOP, says=says, cautions=())

    def _repair(
        self,
        best: RankedCause,
        dearer: RankedCause | None,
        mendable: Sequence[RankedCause],
    ) -> Advice:
        """Return the advice to mend a cause, and why not a dearer one as likely."""
        cause = next(c for c in self._model.compiled.causes if c.name == best.name)
        repair = best.repair.rstrip(".")
        says = f"Mend it now: {repair}. Another reading costs more than it saves."
        if best.probability < LIKELIER_THAN_NOT:
            says = (
                "No reading left is worth its time. The likeliest of several causes "
                f"({best.probability:.0%}): {repair}."
            )
        if dearer is not None:
            says += (
                f" {dearer.says} is about as likely ({dearer.probability:.0%}), but "
                f"takes {format_minutes(dearer.repair_minutes)} to mend, this "
                f"{format_minutes(best.repair_minutes)}."
            )
        says += looked_for_there(best, mendable)
        return Advice(
            verdict=Verdict.REPAIR,
            says=says,
            cautions=repair_cautions(cause, self._model.car, self._model.knowledge),
            cause=best.name,
            where=part_words(cause.part, self._model.car),
        )


def _fleeting_share(moment: Moment) -> float:
    """Return how likely it is that the fault comes and goes. [1]."""
    believed = moment.believed
    return float(believed.particles.share[believed.comes_and_goes >= 0].sum())


def _is_complained(moment: Moment) -> bool:
    """Return whether anything but readings says that something is wrong."""
    told = (ComplaintFact, SymptomFact, SubstitutionFact)
    return any(isinstance(fact, told) for fact in moment.facts)
