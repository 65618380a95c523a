"""How far facts have gone through the list of readings before the first start.

Leaves what is asked for next to `first_start_guide`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.measurement.readings import Reading
from diagnose.session.facts import Fact, ReadingFact, RepairFact, SkipFact
from diagnose.session.sheets.first_start import Prestart, PrestartReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far the list has been gone through.

    Parameters
    ----------
    failed, left : tuple[PrestartReading, ...]
        Outside their limits and nothing mended since; not yet taken, or to be taken
        again after a repair.
    """

    failed: tuple[PrestartReading, ...]
    left: tuple[PrestartReading, ...]


def list_progress(listed: Prestart, facts: Sequence[Fact]) -> Progress:
    """Return how far facts have gone through the list.

    A reading outside its limits counts as failed until something is mended; then it is
    to be taken again.

    Parameters
    ----------
    listed : Prestart
    facts : Sequence[Fact]
        Those that stand, oldest first.

    Returns
    -------
    Progress
    """
    skipped = {fact.step for fact in facts if isinstance(fact, SkipFact)}
    last_repair = _last_repair(facts)
    latest = {
        fact.reading: (number, fact.value)
        for number, fact in enumerate(facts)
        if isinstance(fact, ReadingFact)
    }
    failed: list[PrestartReading] = []
    left: list[PrestartReading] = []
    for one in listed.readings:
        if one.reading in latest:
            number, value = latest[one.reading]
            if not one.limits.holds(value):
                (failed if number > last_repair else left).append(one)
        elif one.reading not in skipped:
            left.append(one)
    return Progress(failed=tuple(failed), left=tuple(left))


def times_taken(reading: Reading, facts: Sequence[Fact]) -> int:
    """Return how often a reading was taken since the latest repair.

    Parameters
    ----------
    reading : Reading
    facts : Sequence[Fact]
        Those that stand, oldest first.

    Returns
    -------
    int
    """
    return sum(
        isinstance(fact, ReadingFact) and fact.reading == reading
        for fact in facts[_last_repair(facts) + 1 :]
    )


def _last_repair(facts: Sequence[Fact]) -> int:
    repairs = [n for n, fact in enumerate(facts) if isinstance(fact, RepairFact)]
    return repairs[-1] if repairs else -1
