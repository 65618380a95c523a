"""Which causes may be mended now: none a second time on a guess.

A repair that was made and did not cure seldom failed: more often it was the wrong one.
So the same is advised again only where what was seen since says that it did not take,
and only once: a part renewed twice is a good one, and what still speaks against it
speaks against the car file. Where no reading can tell, the complaint itself does.
Leaves what the readings say to `failed_repairs`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.session.answer import LIKELIER_THAN_NOT, RankedCause
from diagnose.session.evidence.implied.failed_repairs import PROVING_ODDS, failure_odds
from diagnose.session.facts import ComplaintFact, RepairFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment

# How often one repair is advised at most. [1] Rule of the trade: checked and done again
# it is right; a third time it was something else.
MOST_TIMES = 2


class RepeatedRepairs:
    """Knows which repairs of one car were made, and what speaks for making them again.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model

    def mendable(
        self, causes: Sequence[RankedCause], moment: Moment
    ) -> tuple[RankedCause, ...]:
        """Return the causes that may be mended now, in their order.

        Parameters
        ----------
        causes : Sequence[RankedCause]
            The ranking.
        moment : Moment

        Returns
        -------
        tuple[RankedCause, ...]
            Those not mended yet, and those mended once of which a reading since says by
            ten to one that the repair did not take.
        """
        mended = _mended(moment)
        return tuple(
            line
            for line in causes
            if (times := sum(mended.count(one) for one in line.members)) == 0
            or (
                times < MOST_TIMES
                and self.failure_odds(line.name, moment) >= PROVING_ODDS
            )
        )

    def by_its_complaint(
        self, causes: Sequence[RankedCause], moment: Moment
    ) -> RankedCause | None:
        """Return what may be mended again because its complaint is still there.

        For what no reading proves, such as a fault of the engine itself.

        Parameters
        ----------
        causes : Sequence[RankedCause]
            The ranking; at least one.
        moment : Moment

        Returns
        -------
        RankedCause or None
            The likeliest, if it is likelier than not, was mended once, and what was
            seen since says by ten to one that the repair did not take.
        """
        line = causes[0]
        times = sum(_mended(moment).count(one) for one in line.members)
        if not 0 < times < MOST_TIMES or line.probability <= LIKELIER_THAN_NOT:
            return None
        odds = self.failure_odds(line.name, moment, has_retests=True)
        return line if odds >= PROVING_ODDS else None

    def failure_odds(
        self, cause: str, moment: Moment, *, has_retests: bool = False
    ) -> float:
        """Return how much likelier what was seen is if the latest such repair failed.

        Parameters
        ----------
        cause : str
            The name of a cause on the line that was mended.
        moment : Moment
        has_retests : bool
            What was complained of counts as well, told since.

        Returns
        -------
        float
            Factor on the odds of still bad; 1 where it was not mended, or nothing was
            seen since. [1]
        """
        names = [one.name for one in self._model.compiled.causes]
        line = int(moment.lines.line_of[names.index(cause)])
        members = {names[member] for member in moment.lines.members[line]}
        mended = [fact.cause for fact in moment.facts if isinstance(fact, RepairFact)]
        of_line = [number for number, one in enumerate(mended) if one in members]
        if not of_line:
            return 1.0
        return failure_odds(
            moment.conclusion,
            moment.lines.rows(line),
            repair=of_line[-1],
            retests=frozenset() if has_retests else self._retests(moment),
        )

    def sound_odds(self, moment: Moment) -> float:
        """Return how much likelier what was seen since a repair is if all is well.

        Parameters
        ----------
        moment : Moment
            The latest repair is meant.

        Returns
        -------
        float
            Factor on the odds of the sound car against any fault, the one just mended
            or another; 1 where nothing was mended, or nothing seen since. [1]
        """
        n_repairs = len(_mended(moment))
        if not n_repairs:
            return 1.0
        return failure_odds(
            moment.conclusion,
            SOUND_ROW,
            repair=n_repairs - 1,
            retests=self._retests(moment),
        )

    def _retests(self, moment: Moment) -> frozenset[str]:
        """Return the symptoms that the complaints told are tested by."""
        known = self._model.knowledge.complaints
        return frozenset(
            known[fact.complaint].retest
            for fact in moment.facts
            if isinstance(fact, ComplaintFact)
        )


def _mended(moment: Moment) -> list[str]:
    """Return the names of the causes that were mended, once for each time."""
    return [fact.cause for fact in moment.facts if isinstance(fact, RepairFact)]
