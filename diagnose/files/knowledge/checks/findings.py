"""What a check of knowledge/ yields, and the words all checks share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fnmatch import translate

from diagnose.errors import did_you_mean
from diagnose.files.knowledge.contents import Contents
from diagnose.files.yaml_positions import Location


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something wrong at one entry of one file (named without its ending)."""

    file: str
    location: Location
    message: str
    is_key: bool = False


def unknown_name(what: str, name: str, known: Iterable[str]) -> str:
    """Return the message for a name that does not exist.

    Parameters
    ----------
    what : str
        What kind of name it is: ``fault mode``.
    name : str
        The name.
    known : Iterable[str]
        The names there are; told when none of them is near.
    """
    names = sorted(known)
    hint = did_you_mean(name, names)
    listed = "" if hint else f"; known: {', '.join(names)}"
    return f'there is no {what} "{name}"{hint}{listed}'


def mode_names(contents: Contents) -> list[str]:
    """Return every fault mode as ``KIND.MODE``, in the order of its file."""
    return [f"{mode.kind}.{mode.name}" for mode in contents.fault_modes.modes]


def modes_named(modes: Sequence[str], patterns: Sequence[str]) -> list[str]:
    """Return those of the modes that one of the patterns names.

    Parameters
    ----------
    modes, patterns : Sequence[str]
        Each ``KIND.MODE``, in a pattern with ``*`` for any letters.
    """
    matches = [re.compile(translate(pattern)).match for pattern in patterns]
    return [mode for mode in modes if any(match(mode) for match in matches)]


def unknown_modes(
    patterns: Sequence[str],
    place: Location,
    modes: Sequence[str],
    file: str = "links",
) -> Iterator[Finding]:
    """Yield a finding for each pattern that names no mode.

    Parameters
    ----------
    patterns : Sequence[str]
        ``KIND.MODE``, with ``*`` for any letters.
    place : Location
        The list of patterns in its file.
    modes : Sequence[str]
        Every mode there is.
    file : str
        The file, without its ending.
    """
    for number, pattern in enumerate(patterns):
        if not modes_named(modes, [pattern]):
            yield Finding(
                file=file,
                location=(*place, number),
                message=unknown_name("fault mode", pattern, modes),
            )
