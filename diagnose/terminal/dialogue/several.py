"""Several answers that came together: a list pasted, or readings with semicolons.

Each is told, or none is.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from diagnose.errors import ReadingError
from diagnose.session.facts import Fact, ReadingFact, SymptomFact
from diagnose.terminal.dialogue.typed.requests import Request, Tell
from diagnose.terminal.safe_text import clean

# What stands between one answer and the next.
_BETWEEN = re.compile(r"[\r\n;]+")


def told_together(
    line: str, understand: Callable[[str], Request]
) -> tuple[ReadingFact | SymptomFact, ...]:
    """Return what several answers in one line tell; nothing where it is one line.

    Parameters
    ----------
    line : str
        As typed or pasted.
    understand : Callable
        What each of them means.

    Raises
    ------
    ReadingError
        If one of them is no answer, or two are about the same; it says which, and that
        none was taken.
    """
    parts = [part for part in map(clean, _BETWEEN.split(line)) if part]
    if len(parts) < 2:
        return ()
    found: list[ReadingFact | SymptomFact] = []
    for number, part in enumerate(parts, start=1):
        fact = _fact(part, number, understand)
        if any(fact.step == other.step for other in found):
            raise ReadingError(
                f'answer {number}, "{part}", is about the same as one before it; '
                "none of them was taken. Say where: read NODE STATE VALUE"
            )
        found.append(fact)
    return tuple(found)


def _fact(
    part: str, number: int, understand: Callable[[str], Request]
) -> ReadingFact | SymptomFact:
    try:
        request = understand(part)
    except ReadingError as error:
        raise ReadingError(
            f"answer {number}: {error}. None of them was taken"
        ) from error
    fact: Fact | None = request.fact if isinstance(request, Tell) else None
    if not isinstance(fact, ReadingFact | SymptomFact):
        raise ReadingError(
            f'answer {number}, "{part}", is no reading and no yes or no; none of them '
            "was taken"
        )
    return fact
