"""Names that were typed: the one that is meant, or the nearest to it.

A start of a name that fits one is enough, so that nobody has to type all of it.
"""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.errors import ReadingError, nearest

# Names listed in a message about one that is not known. Own choice: what fits on a
# line or two.
SHOWN_NAMES = 6


def known_name(typed: str, names: Iterable[str], what: str) -> str:
    """Return the one name that was typed, in full or by its start.

    Parameters
    ----------
    typed : str
        What the person typed, in any case.
    names : Iterable[str]
        What it can be.
    what : str
        What kind of name, for the message: ``test point``.

    Raises
    ------
    ReadingError
        If no name fits, or several do; the message gives the nearest.

    Examples
    --------
    >>> known_name("idle-l", ["idle", "idle-loaded"], "operating state")
    'idle-loaded'
    """
    everything = tuple(names)
    lowered = typed.lower()
    exact = [name for name in everything if name.lower() == lowered]
    starting = [name for name in everything if name.lower().startswith(lowered)]
    if len(exact) == 1 or len(starting) == 1:
        return (exact or starting)[0]
    if starting:
        several = ", ".join(starting[:SHOWN_NAMES])
        raise ReadingError(f'"{typed}" fits several: {several}; type more of it')
    raise ReadingError(f'no {what} "{typed}" on this car; {_others(typed, everything)}')


def _others(typed: str, names: tuple[str, ...]) -> str:
    """Return which names there are instead of one that is not known."""
    near = nearest(typed, names)
    if near:
        return f'nearest is "{near}"'
    # a person who types pump means one of the many with pump in their names
    holding = [name for name in names if typed.lower() in name.lower()] or names
    more = len(holding) - SHOWN_NAMES
    rest = f" and {more} more" if more > 0 else ""
    return f"there are: {', '.join(holding[:SHOWN_NAMES])}{rest}"
