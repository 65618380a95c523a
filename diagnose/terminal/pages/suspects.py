"""The ranking on a page: the suspects with their chances, and what they leave over."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.session.answer import LIKELIER_THAN_NOT, Answer, RankedCause
from diagnose.terminal.pages.page import Chance, Line, Page, Paragraph, Tone, Words
from diagnose.units import format_probability

# Suspects on the page of an answer. Own choice: with one step and two others they fit
# on a screen of thirty lines.
SHOWN_CAUSES = 4

# A probability below this is not worth a line of the page. Own choice.
LEAST_SHOWN = 0.01

# Chances that add up to more are explained. Derived: beyond this a sum of rounded per
# cents is seen to be over a hundred.
MORE_THAN_ONE = 1.02

# A consequence that nothing found brings about with at least this chance is told
# without what may bring it about, which `why` still tells. Own choice.
RARELY_BROUGHT_ABOUT = 0.98


def listed(answer: Answer) -> Sequence[RankedCause]:
    """Return the causes that a page numbers."""
    likely = [c for c in answer.causes[1:SHOWN_CAUSES] if c.probability >= LEAST_SHOWN]
    return (*answer.causes[:1], *likely)


def suspects(answer: Answer) -> Paragraph:
    """Return the top of the ranking, and how much is below it."""
    shown, mended = listed(answer), _mended(answer)
    rest = _rest(answer, len(shown))
    lines, brief = (
        tuple(
            Chance(number=number, probability=cause.probability, text=says(cause))
            for number, cause in enumerate(shown, start=1)
        )
        for says in (_brought_about, _says)
    )
    return Paragraph(
        margin="suspects",
        lines=(*mended, *lines, *rest),
        brief=(*mended, *brief, *rest),
        is_beside=True,
    )


def causes_page(answer: Answer, more_than_two_probability: float) -> Page:
    """Return every cause of the ranking, and what it leaves over.

    Parameters
    ----------
    more_than_two_probability : float
        Bound on it before anything but the history was told.
    """
    lines: list[Line] = [*_mended(answer)]
    for number, cause in enumerate(answer.causes, start=1):
        lines.append(
            Chance(
                number=number, probability=cause.probability, text=_suspect_words(cause)
            )
        )
    lines.extend(_rest(answer, len(answer.causes)))
    count = len(answer.causes)
    left_out = format_probability(answer.left_out_probability)
    bound = format_probability(more_than_two_probability)
    all_of_them = (
        f"these are all {count} in the ranking; why {count} tells about the last; "
    )
    note = (
        f"{all_of_them if count else ''}"
        f"combinations of faults not looked at: an estimated {left_out}; three "
        f"faults or more at once: at most {bound} before anything was told, and looked "
        "at where what was told asks for them"
    )
    if sum(cause.probability for cause in answer.causes) > MORE_THAN_ONE:
        note += "; two faults may be there together, so the chances add up to more"
    lines.append(Words(text=note, tone=Tone.ASIDE))
    return (Paragraph(margin="suspects", lines=tuple(lines)),)


def _says(cause: RankedCause) -> str:
    """Return a suspect in words."""
    return cause.says


def _brought_about(cause: RankedCause) -> str:
    """Return a suspect in words, and what likely brought it about where that is known.

    How likely, and what is less likely, is told by `why` and in the whole ranking.
    """
    root = cause.origins[0] if cause.origins else None
    if root is None or not root.cause or root.probability < LIKELIER_THAN_NOT:
        return cause.says
    return f"{cause.says}, brought about by: {root.says}"


def _suspect_words(cause: RankedCause) -> str:
    """Return a suspect in words; of a consequence, whether something brought it about.

    What is hardly ever brought about is left as it is.
    """
    if not cause.origins:
        return cause.says
    by_nothing = cause.origins[-1].probability
    if by_nothing > RARELY_BROUGHT_ABOUT:
        return cause.says
    nothing, something = (
        format_probability(by_nothing),
        format_probability(1 - by_nothing),
    )
    root = cause.origins[0]
    named = f", most likely {root.says}" if root.cause else ""
    return (
        f"{cause.says} (if so: {something} brought about by something{named}; "
        f"{nothing} by nothing found)"
    )


def _mended(answer: Answer) -> tuple[Words, ...]:
    """Return, after a repair, how likely it is that nothing is wrong any more."""
    if not _is_repaired(answer):
        return ()
    complaints = {one for one in answer.facts if one.startswith("complaint: ")}
    named = "mended" if len(complaints) < 2 else "all of it mended"
    words = f"{named}: {format_probability(answer.sound_probability)}"
    return (Words(text=words, tone=Tone.STRONG),)


def _rest(answer: Answer, shown: int) -> tuple[Words, ...]:
    """Return how much of the probability the lines shown leave over."""
    over = 1.0 - sum(cause.probability for cause in answer.causes[:shown])
    if _is_repaired(answer):
        over -= answer.sound_probability
    if over < LEAST_SHOWN:
        return ()
    said = format_probability(over)
    about = "about " if said[:1].isdigit() else ""
    words = f"anything else: {about}{said}"
    if len(answer.causes) > shown:
        words += " (causes)"
    return (Words(text=words, tone=Tone.ASIDE),)


def _is_repaired(answer: Answer) -> bool:
    """Return whether a repair was told."""
    return any(fact.startswith("repaired: ") for fact in answer.facts)
