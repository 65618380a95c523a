"""What follows from the facts, in words: ranking, fit and doubts, put together once.

The one door of this room for an answer. Leaves what to do next to `advice`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from diagnose.measurement.readings import Reading
from diagnose.session.answer import Fit, RankedCause
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.explanation.doubts import Doubts
from diagnose.session.explanation.fit import Fitter
from diagnose.session.explanation.ranking import Ranking
from diagnose.session.explanation.unexplained import Unexplained
from diagnose.session.explanation.untelling_readings import Silence
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Pricing


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """What follows from the facts.

    Parameters
    ----------
    causes : tuple[RankedCause, ...]
        Most probable first.
    fit : Fit
        How well the best of them accounts for the facts.
    doubtful : tuple[ReadingFact, ...]
        Readings since the latest repair that the best of them hardly ever gives, the
        worst first, and those that nothing explains.
    notes : tuple[str, ...]
        Doubts to show.
    """

    causes: tuple[RankedCause, ...]
    fit: Fit
    doubtful: tuple[ReadingFact, ...]
    notes: tuple[str, ...]


class Explainer:
    """Explains moments of a diagnosis on one car.

    Parameters
    ----------
    model : Model
    reasoner : Reasoner
        What an observation says of a row.
    pricing : Pricing
        What a reading would tell.
    """

    def __init__(self, model: Model, reasoner: Reasoner, pricing: Pricing) -> None:
        self._silence = Silence(model, reasoner.weigher, pricing)
        self._ranking = Ranking(model, reasoner.expected)
        self._fitter = Fitter(model, reasoner)
        self._unexplained = Unexplained(model, reasoner.mistakes)
        self._doubts = Doubts(model, reasoner.weigher, self._silence, self._unexplained)

    def explained(self, moment: Moment, *, explained: int) -> Explanation:
        """Return what follows from the facts.

        Parameters
        ----------
        moment : Moment
        explained : int
            How many lines of the ranking come with their evidence.

        Returns
        -------
        Explanation
        """
        fitted = self._fitter.fitted(moment.conclusion)
        unexplained = self._unexplained.readings(moment.conclusion, fitted.misfits)
        slipped = (one.observation for one in unexplained)
        doubtful = (*fitted.misfits, *slipped)
        return Explanation(
            causes=self._ranking.ranked(moment, explained=explained),
            fit=fitted.fit,
            doubtful=tuple(fact for fact in doubtful if isinstance(fact, ReadingFact)),
            notes=self._doubts.notes(moment, fitted.disagreeing, unexplained),
        )

    def cause(self, name: str, moment: Moment, *, settled_by: str) -> RankedCause:
        """Return the line a cause is on, with every fact for and against it.

        Parameters
        ----------
        name : str
            Of the cause.
        moment : Moment
        settled_by : str
            The step that would say most about it, in words.

        Returns
        -------
        RankedCause
        """
        return replace(self._ranking.cause(name, moment), settled_by=settled_by)

    def why_untelling(self, reading: Reading, moment: Moment) -> str:
        """Return in one sentence why a reading tells little; empty when it tells.

        Parameters
        ----------
        reading : Reading
        moment : Moment

        Returns
        -------
        str
        """
        return self._silence.why(reading, moment)
