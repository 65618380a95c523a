"""What a line of the person asks for: a fact to tell, a page to show, or to leave."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from diagnose.measurement.steps import Step
from diagnose.session.facts import Fact


class View(Enum):
    """Which page is asked for, where it is not the answer to something told."""

    PAGE = "page"
    NEXT = "next"
    CAUSES = "causes"
    WHY = "why"
    WORTH = "worth"
    TERM = "term"
    EXPECT = "expect"
    PATH = "path"
    FACTS = "facts"
    CAUTIONS = "cautions"
    SYMPTOMS = "symptoms"
    COMPLAINTS = "complaints"
    HELP = "help"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tell:
    """A new fact.

    Parameters
    ----------
    fact : Fact
    is_unsure : bool
        It is asked whether it was meant so, however well it fits.
    """

    fact: Fact
    is_unsure: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Strike:
    """One earlier fact, counted from 1 as ``facts`` shows them, is struck out."""

    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Show:
    """A page, and what it is about."""

    view: View
    about: str = ""
    step: Step | None = None
    leads: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeUp:
    """Another of the proposed steps, counted from 0, is the one to answer."""

    step_index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Leave:
    """The person goes; the case stays."""


# What a line can ask for.
Request = Tell | Strike | Show | TakeUp | Leave
