"""The facts of a diagnosis: everything a person can say, one record each.

All three faces send these, the store keeps them, and `diagnosis` draws the conclusions.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.measurement.substitutions import Substitution


@dataclass(frozen=True, slots=True, kw_only=True)
class ContextFact:
    """An answer about the car's history (``wiring`` is ``fresh``)."""

    context: str
    answer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintFact:
    """What the owner came with."""

    complaint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SymptomFact:
    """One symptom, seen or not."""

    symptom: str
    is_present: bool

    @property
    def step(self) -> SymptomCheck:
        """The step it answers."""
        return SymptomCheck(symptom=self.symptom)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFact:
    """What a meter, a test lamp or a look showed.

    Parameters
    ----------
    reading : Reading
        Where it was taken, and in which operating state.
    value : float
        In the unit of its kind (`ReadingKind.unit`); ``math.inf`` for an over-range
        ohms reading (OL), 1 for a blown fuse and 0 for a sound one, 0, 0.5 or 1 for a
        test lamp that is dark, dim or lit.
    rounded_to : float
        What one of the last digit told is worth; 0 where the meter's own last digit
        counts. A person who says 12 saw anything from 11.5 to 12.5, and one who says 0
        may have seen the tenth of a volt that a ground rises by. [unit of the reading]
    told_as : str
        How it was typed, where it was taken for something else after asking.
    while_it_shows : bool or None
        Whether it was taken while the trouble was there, of one that comes and goes;
        None where that was not told.
    """

    reading: Reading
    value: float
    rounded_to: float = 0.0
    told_as: str = ""
    while_it_shows: bool | None = None

    @property
    def step(self) -> Reading:
        """The step it answers."""
        return self.reading


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstitutionFact:
    """What was seen while a lead was added, a part exchanged or taken off.

    Parameters
    ----------
    substitution : Substitution
        What was changed; it is undone by the next fact.
    seen : ReadingFact or SymptomFact
        What was seen meanwhile. A fuse that is looked at is a new one, put in for the
        test.
    """

    substitution: Substitution
    seen: ReadingFact | SymptomFact

    @property
    def step(self) -> SubstitutionTest:
        """The step it answers."""
        return SubstitutionTest(substitution=self.substitution, look=self.seen.step)


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairFact:
    """A repair was done on a cause (`Cause.name`)."""

    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SkipFact:
    """A proposed step can't or won't be taken."""

    step: Step


@dataclass(frozen=True, slots=True, kw_only=True)
class PrestartFact:
    """The readings before the first start are to be gone through."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitFact:
    """The owner lacks something that steps may need, or has it after all.

    Parameters
    ----------
    limit : str
        A key of the limits in knowledge/ (``clamp``).
    """

    limit: str
    is_lacking: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TakesFact:
    """What something takes this owner.

    Parameters
    ----------
    subject : str
        A place (getting there), an operating state (bringing the car into it) or a
        cause by name (mending it, getting there included).
    minutes : float
        [min]
    """

    subject: str
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoFact:
    """The latest fact that is not yet undone is taken back."""


Fact = (
    ContextFact
    | ComplaintFact
    | SymptomFact
    | ReadingFact
    | SubstitutionFact
    | RepairFact
    | SkipFact
    | PrestartFact
    | LimitFact
    | TakesFact
    | UndoFact
)


def standing_facts(facts: Iterable[Fact]) -> tuple[Fact, ...]:
    """Return the facts that are not taken back, oldest first."""
    standing: list[Fact] = []
    for fact in facts:
        if not isinstance(fact, UndoFact):
            standing.append(fact)
        elif standing:
            standing.pop()
    return tuple(standing)
