"""Cautions on a page, before what they are about.

All of a caution is shown once, to be read before the step; after that its one line
stands before every step it belongs to. What has no such line is always told in full.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diagnose.terminal.pages.page import Field, Paragraph, Tone, Words

# What is done: a caution is read in full once for each.
MEASURING, MENDING = "measuring", "mending"


def whole_cautions(
    cautions: Iterable[str],
    seen_cautions: frozenset[str],
    *,
    work: str,
    briefs: Mapping[str, str],
) -> tuple[Paragraph, ...]:
    """Return in full the cautions that were not read yet and come in one line later.

    Parameters
    ----------
    cautions : Iterable[str]
        In the words of knowledge/.
    seen_cautions : frozenset[str]
        What `caution_keys` gave for cautions that were shown before.
    work : str
        `MEASURING` or `MENDING`.
    briefs : Mapping[str, str]
        Words of a caution to the same in one line.
    """
    unread = [
        Words(text=caution, tone=Tone.CAUTION)
        for caution in cautions
        if caution in briefs and _key(caution, work) not in seen_cautions
    ]
    if not unread:
        return ()
    return (Paragraph(margin="first", lines=tuple(unread), is_first=True),)


def caution_lines(
    cautions: Iterable[str], briefs: Mapping[str, str]
) -> tuple[Field, ...]:
    """Return cautions in one line each; in full those that have none."""
    return tuple(
        Field(name="caution", text=briefs.get(caution, caution), tone=Tone.CAUTION)
        for caution in cautions
    )


def caution_keys(cautions: Iterable[str], work: str) -> Iterator[str]:
    """Yield for each caution how it is noted that it was read for some work."""
    return (_key(caution, work) for caution in cautions)


def _key(caution: str, work: str) -> str:
    return f"{work}|{caution}"
