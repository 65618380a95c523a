"""Pages that explain: why a cause is suspected, what was told, where a path goes."""

from __future__ import annotations

import math
import re

from diagnose.session.answer import Answer, RankedCause, Weight
from diagnose.terminal.pages.page import (
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    numbered,
    say,
)
from diagnose.units import format_minutes, format_probability

# A weight below this says nothing either way. Own choice. [dB]
LEAST_WEIGHT = 1.0

# The words for a weight up to each bound: odds of 10**0.5, 10 and 100. Jeffreys, H.,
# Theory of Probability, 3rd ed., Oxford University Press 1961, appendix B. [dB]
_STRENGTHS = (
    (5.0, "slightly {side}"),
    (10.0, "{side}"),
    (20.0, "strongly {side}"),
    (math.inf, "decisively {side}"),
)

# Facts on the page that explains a cause, those that weigh most. Own choice.
SHOWN_WEIGHTS = 8

# How `session` words the chance of a yes.
_YES_CHANCE = re.compile(r"yes in (\d+) of 100")


def why_page(cause: RankedCause) -> Page:
    """Return what speaks for and against one cause, and what would settle it."""
    head = (
        Words(text=cause.says, tone=Tone.STRONG),
        Words(text=f"now {format_probability(cause.probability)}"),
    )
    told = tuple(
        Pair(name=_weight_words(weight.decibans), text=_evidence_words(weight))
        for weight in cause.evidence[:SHOWN_WEIGHTS]
    ) or (Words(text="nothing told so far speaks for or against it"),)
    settled = (say("to settle", cause.settled_by),) if cause.settled_by else ()
    repair = f"{cause.repair} ({format_minutes(cause.repair_minutes)})"
    page = [
        Paragraph(margin="why", lines=head),
        *_origins(cause),
        Paragraph(margin="evidence", lines=told),
        *settled,
        say("repair", repair),
    ]
    others = [member for member in cause.members if member != cause.name]
    if others:
        alike = "the same repair mends: " + ", ".join(others)
        page.append(say("same", alike, Tone.ASIDE))
    return tuple(page)


def facts_page(answer: Answer) -> Page:
    """Return what has been told, numbered."""
    if not answer.facts:
        return (say("facts", "nothing told yet"),)
    return (
        Paragraph(margin="facts", lines=numbered(answer.facts)),
        say("", "undo takes back the latest; strike 2 takes back fact 2", Tone.ASIDE),
    )


def clash_page(says: str, answer: Answer) -> Page:
    """Say that facts clash, and which can be struck out; nothing is lost."""
    return (
        say("clash", says, Tone.PROBLEM),
        *facts_page(answer),
        say(
            "",
            "What was just typed was left out. If it holds, strike out the fact that "
            "does not, and type it again.",
        ),
    )


def _origins(cause: RankedCause) -> Page:
    """Return what may have brought a cause about, with the odds."""
    if not cause.origins:
        return ()
    lines = tuple(
        Pair(name=format_probability(origin.probability), text=origin.says)
        for origin in cause.origins
    )
    head = Words(text="if it is found like this, it was brought about by:")
    return (Paragraph(margin="root", lines=(head, *lines)),)


def _weight_words(decibans: float) -> str:
    """Return how strongly a fact speaks, in words a person can weigh."""
    size = abs(decibans)
    if size < LEAST_WEIGHT:
        return "neither way"
    words = next(words for bound, words in _STRENGTHS if size < bound)
    return words.format(side="for" if decibans > 0 else "against")


def _evidence_words(weight: Weight) -> str:
    """Return a fact, and what the cause would have given in its place.

    A yes or no is seldom certain under any cause; what counts is whether the other
    causes give it less often, so this is said.
    """
    if not weight.expected:
        return weight.fact
    seen = weight.fact.rpartition(" ")[2]
    chance = _YES_CHANCE.fullmatch(weight.expected)
    if chance is None or seen not in {"yes", "no"}:
        return f"{weight.fact}; it would give {weight.expected}"
    count = int(chance.group(1))
    count = count if seen == "yes" else 100 - count
    others = "about as often"
    if abs(weight.decibans) >= LEAST_WEIGHT:
        others = "less often" if weight.decibans > 0 else "more often"
    often = f"in {count} of 100 cars" if count else "in hardly any car"
    return f"{weight.fact}; it would give {seen} {often}, the other causes {others}"
