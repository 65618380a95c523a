"""Readings that nothing explains, said at once and in words.

A reading that no likely cause gives counts as a slip of the meter, and the ranking goes
on as if it had not been taken. That is never done in silence: it may be the one reading
that is right. Leaves which reading to take again to `advice`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import LIKELIER_THAN_NOT
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.mistakes import Mistakes
from diagnose.session.evidence.seen import Noted
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import observation_words
from diagnose.units import Unit, format_quantity


class Unexplained:
    """Finds the readings of one car that nothing explains.

    Parameters
    ----------
    model : Model
    mistakes : Mistakes
        How likely a reading was a slip.
    """

    def __init__(self, model: Model, mistakes: Mistakes) -> None:
        self._model, self._mistakes = model, mistakes

    def readings(
        self, conclusion: Conclusion, misfits: Sequence[ReadingFact]
    ) -> tuple[Noted, ...]:
        """Return the readings that nothing explains.

        Parameters
        ----------
        conclusion : Conclusion
        misfits : Sequence[ReadingFact]
            What the likeliest explanation hardly ever gives.

        Returns
        -------
        tuple[Noted, ...]
            Those since the latest repair, in the order they were told. One that was
            taken again and gave another value, which is explained, is settled and left
            out.
        """
        found, explained = [], set()
        for number, noted in enumerate(conclusion.observations):
            fact = noted.observation
            if not isinstance(fact, ReadingFact):
                continue
            if noted.epoch < len(conclusion.repairs):
                continue
            is_slip = self._mistakes.chance(conclusion, number) > LIKELIER_THAN_NOT
            if is_slip or (noted.times > 1 and fact in misfits):
                found.append((fact.reading, noted))
            else:
                explained.add(fact.reading)
        return tuple(noted for reading, noted in found if reading not in explained)

    def words(self, noted: Noted) -> str:
        """Return that a reading stands unexplained, in a sentence or two.

        Parameters
        ----------
        noted : Noted
            Of a reading.

        Returns
        -------
        str
        """
        assert isinstance(noted.observation, ReadingFact)
        words = observation_words(noted.observation, self._model.car)
        if noted.times > 1:
            return (
                f"{words} stands unexplained, told {noted.times} times: no cause that "
                "is likely gives it."
            )
        return (
            f"{words} stands unexplained: no cause that is likely gives it, so it "
            "counts as a slip and the ranking goes on without it. Take it again "
            "before you trust the ranking."
        )

    def too_small(self, fact: ReadingFact) -> str:
        """Return that amps are too small for the clamp; empty where they are not.

        Parameters
        ----------
        fact : ReadingFact

        Returns
        -------
        str
        """
        if fact.reading.kind is not ReadingKind.AMPS:
            return ""
        meter = self._model.knowledge.meter
        range_ = meter.amps
        if is_at_rest(self._model.car.state(fact.reading.state)):
            range_ = meter.range_of_amps(fact.value, fact.rounded_to)
        error = float(range_.half_width(np.zeros(1))[0])
        if not 0.0 < abs(fact.value) <= error:
            return ""
        way = "by a clamp" if range_ is meter.amps else "by a meter in series"
        return (
            f"{observation_words(fact, self._model.car)}: {way}, which may be "
            f"off by {format_quantity(error, Unit.AMPS)}, that can't be told from "
            "nothing."
        )
