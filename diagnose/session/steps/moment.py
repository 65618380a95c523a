"""One moment of a diagnosis, as steps, explanations and advice are all given it.

Holds what stands, what it amounts to, what things take this owner and where the person
is, put together once after each fact. Leaves every choice to others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, IntArray
from diagnose.inference.compiled.shown_symptoms import can_show
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.repair_lines import RepairLines, repair_lines
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    ReadingFact,
    SubstitutionFact,
    SymptomFact,
    TakesFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates, Costs, all_candidates
from diagnose.session.steps.line_minutes import LineMinutes, line_minutes
from diagnose.session.steps.particles import Believed, believed
from diagnose.session.steps.prices import Prices, is_fuse_complained_of
from diagnose.session.steps.whereabouts import Whereabouts, whereabouts_after

# The answer about how it began that says so. A state of contexts.yaml.
COMING_AND_GOING = "comes_and_goes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What a diagnosis stands at after its latest fact.

    Parameters
    ----------
    facts : tuple[Fact, ...]
        Those that stand, oldest first.
    conclusion : Conclusion
        What they amount to.
    lines : RepairLines
        What is believed of each line of causes.
    prices : Prices
        What steps take this owner.
    candidates : tuple[tuple[Candidates, Costs], ...]
        Every reading of the car, kind by kind, with what it costs him.
    line_minutes : LineMinutes
        What mending each line of causes takes him.
    here : Whereabouts
        Where he is, and what the car is doing.
    believed : Believed
        The particles that stand for the beliefs.
    """

    facts: tuple[Fact, ...]
    conclusion: Conclusion
    lines: RepairLines
    prices: Prices
    candidates: tuple[tuple[Candidates, Costs], ...]
    line_minutes: LineMinutes
    here: Whereabouts
    believed: Believed

    @property
    def is_told_to_come_and_go(self) -> bool:
        """Whether the owner told that the fault comes and goes."""
        return any(
            isinstance(fact, ContextFact) and fact.answer == COMING_AND_GOING
            for fact in self.facts
        )

    def in_state(self, state: str) -> Moment:
        """Return this moment as the next look in a state finds the car."""
        if state not in self.believed.there_now:
            return self
        return replace(self, believed=self.believed.in_state(state))

    def by_state(
        self, states: IntArray, state_index: Mapping[str, int]
    ) -> list[tuple[Moment, BoolArray]]:
        """Return this moment as looks in their states find the car.

        Parameters
        ----------
        states : IntArray
            The state of each look, shape (n_looks,).
        state_index : Mapping[str, int]
            Name of a state to its number.

        Returns
        -------
        list[tuple[Moment, BoolArray]]
            Each with the looks it is for, shape (n_looks,); together all of them.
        """
        found, is_left = [], np.ones(len(states), dtype=np.bool_)
        for state in self.believed.there_now:
            is_its = states == state_index[state]
            if is_its.any():
                found.append((self.in_state(state), is_its))
                is_left &= ~is_its
        return [*found, (self, is_left)]


class Moments:
    """Puts the moments of a diagnosis together; what an owner's facts price is kept.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._line_of = model.line_numbers()
        self._candidates = all_candidates(model.compiled)
        self._owner: tuple[LimitFact | TakesFact, ...] = ()
        self._complaints: tuple[ComplaintFact, ...] = ()
        self._price()

    def at(self, facts: Sequence[Fact], conclusion: Conclusion) -> Moment:
        """Return the moment that standing facts and their conclusion make.

        Parameters
        ----------
        facts : Sequence[Fact]
            Oldest first.
        conclusion : Conclusion

        Returns
        -------
        Moment
        """
        self._price_for(facts)
        lines = repair_lines(conclusion, self._model.lines, self._line_of)
        latest = latest_observation(facts)
        return Moment(
            facts=tuple(facts),
            conclusion=conclusion,
            lines=lines,
            prices=self._prices,
            candidates=self._costed,
            line_minutes=self._line_minutes,
            here=Whereabouts()
            if latest is None
            else whereabouts_after(latest.step, self._model),
            believed=believed(
                conclusion, lines, self._line_minutes.counted, self._model
            ),
        )

    def _price_for(self, facts: Sequence[Fact]) -> None:
        """Price every step anew where facts tell of another owner or complaint."""
        owner = tuple(fact for fact in facts if isinstance(fact, LimitFact | TakesFact))
        complaints = tuple(fact for fact in facts if isinstance(fact, ComplaintFact))
        if owner != self._owner:
            self._owner, self._complaints = owner, complaints
            self._price()
        elif complaints != self._complaints:
            self._complaints = complaints
            knows_fuse = is_fuse_complained_of(complaints, self._model)
            if knows_fuse is not self._prices.knows_fuse:
                self._price()
                return
            self._line_minutes = line_minutes(self._prices, complaints, self._model)

    def _price(self) -> None:
        """Price every step for the owner and the complaints held."""
        self._prices = Prices(self._model, (*self._owner, *self._complaints))
        self._costed = tuple(
            (one, Costs(one.readings, self._prices)) for one in self._candidates
        )
        self._line_minutes = line_minutes(self._prices, self._complaints, self._model)


def latest_observation(
    facts: Sequence[Fact],
) -> ReadingFact | SymptomFact | SubstitutionFact | None:
    """Return the reading, symptom or test told last; None where none was."""
    for fact in reversed(facts):
        if isinstance(fact, ReadingFact | SymptomFact | SubstitutionFact):
            return fact
    return None


def unchanged_symptom(facts: Sequence[Fact], model: Model) -> SymptomFact | None:
    """Return what the car does as long as nothing has changed.

    Parameters
    ----------
    facts : Sequence[Fact]
        Those that stand.
    model : Model

    Returns
    -------
    SymptomFact or None
        That by which the complaint told last is tested, as it is not cured; without a
        complaint the symptom told last. None where neither was told.
    """
    for fact in reversed(facts):
        if isinstance(fact, ComplaintFact):
            told = model.knowledge.complaints[fact.complaint]
            return SymptomFact(symptom=told.retest, is_present=not told.cured_answer)
    return next(
        (
            fact
            for fact in reversed(facts)
            if isinstance(fact, SymptomFact) and can_show(model.compiled, fact.symptom)
        ),
        None,
    )
