"""A numbered question answered: by number, as people write one, or by its words."""

from __future__ import annotations

import re
from collections.abc import Sequence

from diagnose.errors import ReadingError
from diagnose.terminal.dialogue.typed.desk import typed_number
from diagnose.terminal.pages.page import spoken

# A number as an answer: ``8``, ``8)``, ``8.``, ``#8``, ``nr 8``.
_NUMBER = re.compile(r"(?:#|no\.?\s|nr\.?\s)?\s*\(?(\d+)\s*[).:]?", re.IGNORECASE)

# What people leave out before what is wrong, or add to it.
_FILLER = re.compile(r"^(?:it|the|my) ")


def chosen(line: str, choices: Sequence[str]) -> int | None:
    """Return which choice a line names, counted from 0; None where it names none.

    Parameters
    ----------
    line : str
        A number, or a choice in words or by their start.
    choices : Sequence[str]
        In the order they were shown.

    Raises
    ------
    ReadingError
        If it is a number that none of them has.

    Examples
    --------
    >>> chosen("2)", ("fresh", "in_service"))
    1
    >>> chosen("in service", ("fresh", "in_service"))
    1
    """
    found = _NUMBER.fullmatch(line.strip())
    if found is not None:
        number = typed_number(found[1])
        if not 1 <= number <= len(choices):
            raise ReadingError(f"type a number from 1 to {len(choices)}")
        return number - 1
    wanted = _bare(line.strip())
    said = [_bare(choice) for choice in choices]
    if wanted in said:
        return said.index(wanted)
    starting = [place for place, words in enumerate(said) if words.startswith(wanted)]
    return starting[0] if wanted and len(starting) == 1 else None


def _bare(words: str) -> str:
    """Return words in small letters, without what people leave out in front."""
    return _FILLER.sub("", spoken(words.lower()))
