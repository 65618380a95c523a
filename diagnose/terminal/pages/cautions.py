"""Cautions on a page, before what they are about.

A caution read in full for some work comes again by its first sentence for the same
work. Work in another operating state has all of it again, and so has every symptom that
is tried out: what a running engine asks for was otherwise read with the key off, and
cut when it mattered.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from diagnose.measurement.readings import Reading
from diagnose.session.answer import ProposedStep
from diagnose.terminal.pages.page import Tone, Words

# The work for which the cautions of a repair are read.
MENDING = "mending"

# Up to the first full stop, exclamation or question mark before a space.
_FIRST_SENTENCE = re.compile(r".*?[.!?](?=\s|$)", re.DOTALL)


def caution_lines(
    cautions: tuple[str, ...], seen_cautions: frozenset[str], *, work: str
) -> tuple[Words, ...]:
    """Return cautions in full, or their first sentence when read for such work.

    Parameters
    ----------
    cautions : tuple[str, ...]
        In the words of knowledge/.
    seen_cautions : frozenset[str]
        What `caution_keys` gave for cautions that were shown before.
    work : str
        `MENDING`, or what `work_of` gives of a step.
    """
    keys = caution_keys(cautions, work)
    return tuple(
        Words(
            text=_shortened(caution) if key in seen_cautions else caution,
            tone=Tone.CAUTION,
        )
        for caution, key in zip(cautions, keys, strict=True)
    )


def caution_keys(cautions: Iterable[str], work: str) -> Iterator[str]:
    """Yield for each caution how it is noted that it was read for some work."""
    return (f"{work}|{caution}" for caution in cautions)


def work_of(step: ProposedStep) -> str:
    """Return what kind of work a step is: its cautions are read in full once for each.

    Trying something out is like nothing else, and hardly ever done twice.
    """
    return step.state if isinstance(step.step, Reading) else step.step.name


def _shortened(caution: str) -> str:
    """Return the first sentence of a caution, and how to see all of it."""
    first = _FIRST_SENTENCE.match(caution)
    if first is None or first.end() == len(caution):
        return caution
    return first.group() + " (all of it: cautions)"
