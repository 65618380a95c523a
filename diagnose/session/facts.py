"""The facts of a diagnosis: everything a person can say, one record each.

All three faces send these, the store keeps them, and `diagnosis` draws the conclusions.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.measurement.readings import ReadingKind


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFact:
    """One reading.

    Parameters
    ----------
    kind : ReadingKind
    state : str
        Operating state the car was in.
    red, black : str
        Nodes of the leads. For AMPS, `red` is the part (a wire, a fuse) the clamp is
        round and `black` is empty; for LOOK, `red` is the fuse and `black` is empty.
    value : float
        In volts, ohms or amps; ``math.inf`` for an over-range ohms reading (OL).
    """

    kind: ReadingKind
    state: str
    red: str
    black: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairFact:
    """A repair was done on a cause (`Cause.name`)."""

    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SkipFact:
    """A proposed step can't or won't be taken (`ProposedStep.name`)."""

    step: str


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
