"""When a reading was taken of a trouble that comes and goes, as people type it.

Behind the reading: ``12.3 while it stalled``, ``6.1 when it was bad``, ``12.4 while
fine``. What follows and says neither, such as an operating state, is left where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diagnose.errors import ReadingError
from diagnose.session.facts import ReadingFact, SubstitutionFact
from diagnose.terminal.dialogue.typed.requests import Request, Tell

# Words between a reading and when it was taken.
JOINING = frozenset(("while", "when", "whilst", "as"))

# Words that say that the trouble was there, that it was not, and what turns them round.
_SHOWING = (
    "bad stalled stalls stalling stall died dies dead dying failed fails failing fail "
    "show shows showed showing there trouble fault faulty broken stopped stops dim "
    "dark flickered flickering misfired misfiring cut cuts happened happens acting "
    "wrong weak slow"
)
_FINE = (
    "fine ok okay good well working worked works normal normally healthy right alright "
    "away"
)
_NOT = "not isn't wasn't doesn't didn't isnt wasnt doesnt didnt no"


def split_off_while(words: Sequence[str]) -> tuple[tuple[str, ...], bool | None]:
    """Return a line without when it was read, and whether the trouble showed then.

    None, and the line as it is, where nothing says that.

    Examples
    --------
    >>> split_off_while("12.3 while it stalled".split())
    (('12.3',), True)
    >>> split_off_while("12.4 when it was not bad".split())
    (('12.4',), False)
    >>> split_off_while("9.8 while cranking".split())
    (('9.8', 'while', 'cranking'), None)
    """
    lowered = [word.lower().strip(".,!") for word in words]
    for place in range(len(lowered) - 1, 0, -1):
        if lowered[place] not in JOINING:
            continue
        said = set(lowered[place + 1 :])
        is_showing, is_fine, is_turned = (
            not said.isdisjoint(known.split()) for known in (_SHOWING, _FINE, _NOT)
        )
        if is_showing is not is_fine:
            return tuple(words[:place]), is_showing is not is_turned
    return tuple(words), None


def told_while(request: Request, *, shows: bool) -> Request:
    """Return a reading as told while the trouble showed, or while all was well.

    Raises
    ------
    ReadingError
        If what was told is no reading.
    """
    if isinstance(request, Tell):
        fact = request.fact
        if isinstance(fact, ReadingFact):
            return replace(request, fact=replace(fact, while_it_shows=shows))
        if isinstance(fact, SubstitutionFact) and isinstance(fact.seen, ReadingFact):
            seen = replace(fact.seen, while_it_shows=shows)
            return replace(request, fact=replace(fact, seen=seen))
    raise ReadingError(
        "when the trouble showed is told with a reading: 6.1 while bad, 12.4 while fine"
    )
