"""When nothing fits: take the doubtful reading again, once, or stop.

A second explanation is weighed beside the causes of the model, in which each fact may
be anything and no repair cures: one wire on a wrong terminal would else be mended
around for a whole evening. After five different useless repairs nothing unlikely is
mended any more: where many causes are about as likely, each failure says little, and a
person would stop as well. Leaves how well facts fit to `explanation`.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.session.answer import LIKELIER_THAN_NOT, Advice, Advised, Fit, Verdict
from diagnose.session.explanation.explainer import Explanation
from diagnose.session.facts import ReadingFact, RepairFact
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.proposing.proposals import Proposals
from diagnose.session.words.wording import observation_words

# A best explanation less likely than this to give facts so odd fits poorly. [1] Own
# choice: one in a hundred.
POOR_FIT = 0.01

# From this chance of one cause on, it is mended first where one cause explains all that
# was read: a repair that fails then tells more than another reading. [1] Own choice.
SURE_DESPITE_MISFIT = 0.9

# From this chance on the fault is said to be outside the model. [1] Measured on games
# with faults not used to choose it: 143 of 160 faults outside the model were
# recognised, after two wrong repairs in the mean; 15 of 1,000 games with a known cause
# came to it.
OUTSIDE = 0.8

# The same where one cause is all but sure. [1] Own choice: that cause is mended first,
# unless there is hardly a doubt.
SURELY_OUTSIDE = 0.98

# After so many different useless repairs nothing unlikely is mended any more. Own
# choice; it stopped at least 1 of 140 games with a known cause.
USELESS_REPAIRS = 5


class Misfit:
    """Knows what to do where the facts don't fit, or mending on a guess has no end.

    Parameters
    ----------
    proposals : Proposals
        Steps in words.
    car : Car
        Whose points are named.
    """

    def __init__(self, proposals: Proposals, car: Car) -> None:
        self._proposals = proposals
        self._car = car

    def advised(self, moment: Moment, explanation: Explanation) -> Advised | None:
        """Return what to do where nothing fits.

        Parameters
        ----------
        moment : Moment
        explanation : Explanation

        Returns
        -------
        Advised or None
            None where something fits.
        """
        causes, fit = explanation.causes, explanation.fit
        best = causes[0].probability if causes else 0.0
        limit = OUTSIDE if best < SURE_DESPITE_MISFIT else SURELY_OUTSIDE
        is_outside = fit.outside_probability >= limit
        if fit.tail_probability < POOR_FIT or is_outside:
            again = self._again(moment, explanation)
            if again is not None:
                return again
        says = _stop_words(fit, best, _n_mended(moment), is_outside=is_outside)
        if not says:
            return None
        advice = Advice(verdict=Verdict.STOP, says=says, cautions=())
        return Advised(steps=(), advice=advice)

    def _again(self, moment: Moment, explanation: Explanation) -> Advised | None:
        """Return the reading to take again, each once: first what disagrees most."""
        taken = [one.reading for one in moment.facts if isinstance(one, ReadingFact)]
        doubtful = (one for one in explanation.doubtful if taken.count(one.reading) < 2)
        fact = next(doubtful, None)
        if fact is None:
            return None
        step = self._proposals.asked(
            fact.reading,
            moment,
            reason="disagrees with everything else: repeat it",
        )
        words = observation_words(fact, self._car)
        says = f"Nothing fits well. Repeat this first: {words}."
        advice = Advice(verdict=Verdict.NOTHING_FITS, says=says, cautions=step.cautions)
        return Advised(steps=(step,), advice=advice)


def _stop_words(fit: Fit, best: float, n_mended: int, *, is_outside: bool) -> str:
    """Return why to stop, in words; empty where there is no reason to."""
    if is_outside:
        says = (
            "No cause known here explains all that was told and mended "
            f"({fit.outside_probability:.0%} that it is something else): the car "
            "may be wired otherwise than its file says. Compare the two where "
            f"you measured, or let a workshop look. {fit.check}"
        )
        return says.rstrip()
    if fit.tail_probability < POOR_FIT and best < SURE_DESPITE_MISFIT:
        return f"Nothing fits, not even on a second look. {fit.check}".rstrip()
    if n_mended >= USELESS_REPAIRS and best < LIKELIER_THAN_NOT:
        return (
            f"{n_mended} repairs have not cured it, and no cause is "
            "likely: stop mending on a guess. Compare the wiring with the car "
            "file, or let a workshop look."
        )
    return ""


def _n_mended(moment: Moment) -> int:
    """Return how many causes were mended; one mended again is no new guess."""
    return len({fact.cause for fact in moment.facts if isinstance(fact, RepairFact)})
