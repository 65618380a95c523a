"""The readings before the first start to print, as plain text and as Markdown.

Leaves choosing them to `session.sheets.first_start`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from diagnose.measurement.readings import ReadingKind
from diagnose.session.sheets.first_start import (
    Prestart,
    PrestartReading,
    Unshown,
)
from diagnose.session.words.instructions import CLAMP_NOT_POST
from diagnose.session.words.wording import range_words
from diagnose.terminal.pages.page import spoken
from diagnose.terminal.safe_text import clean
from diagnose.units import format_minutes, format_probability

# The likeliest causes that no reading shows; `--all` lists every one. Own choice.
SHOWN_UNSHOWN = 20

# A cause shown by a smaller part of its severities counts as not shown. Derived: it
# would be written as 0 %. [1]
LEAST_SHOWN_SHARE = 0.005

# Before what goes on from the line above.
HANGING = "    "

# Where the owner writes down what the meter showed.
BLANK = "______"


def prestart_text(
    listed: Prestart, *, car_name: str, width: int, most_unshown: int = SHOWN_UNSHOWN
) -> str:
    """Return the list as plain text, a blank behind each reading."""

    def wrapped(text: str, first: str = "", hanging: str = "  ") -> list[str]:
        return textwrap.wrap(
            clean(text),
            width=width,
            initial_indent=first,
            subsequent_indent=hanging,
            break_on_hyphens=False,
        )

    def cautions(words: Sequence[str]) -> list[str]:
        return [line for one in words for line in wrapped(f"Caution: {one}")]

    lines = [*wrapped(_title(listed)), "", *cautions([listed.safety_note]), ""]
    for words in _words_before(listed, car_name):
        lines += wrapped(words)
    for block in _blocks(listed):
        lines += ["", *wrapped(block.title), *cautions(block.cautions)]
        lines += wrapped(block.note) if block.note else []
        for number, one in block.readings:
            lines += cautions(block.new_cautions[number])
            lines += wrapped(
                f"{number}. {_reading_words(one)}",
                hanging=HANGING,
            )
            shows = f"{BLANK} {_limit_words(one)} ({format_minutes(one.minutes)})"
            lines += wrapped(shows, HANGING, HANGING)
    lines += ["", *wrapped(_unshown_title(listed))]
    lines += [
        line for words in _unshown(listed, most_unshown) for line in wrapped(words)
    ]
    return "\n".join(lines) + "\n"


def prestart_markdown(
    listed: Prestart, *, car_name: str, most_unshown: int = SHOWN_UNSHOWN
) -> str:
    """Return the list as Markdown, one table for each operating state."""
    lines = [f"# {clean(_title(listed))}", "", f"> Caution: {listed.safety_note}", ""]
    lines += [f"- {clean(words)}" for words in _words_before(listed, car_name)]
    for block in _blocks(listed):
        lines += ["", f"## {clean(block.title)}", ""]
        cautions = dict.fromkeys(
            (*block.cautions, *(c for new in block.new_cautions.values() for c in new))
        )
        lines += [f"> Caution: {clean(caution)}\n>" for caution in cautions]
        lines += ["", clean(block.note)] if block.note else []
        lines += ["", "| | reading | a sound car shows | time | shows |"]
        lines.append("| --- | --- | --- | --- | --- |")
        for number, one in block.readings:
            cells = (
                f"{number}.",
                _reading_words(one),
                _limit_words(one),
                format_minutes(one.minutes),
                BLANK,
            )
            lines.append(f"| {' | '.join(clean(cell) for cell in cells)} |")
    lines += ["", f"## {clean(_unshown_title(listed))}", ""]
    lines += [clean(words) for words in _unshown(listed, most_unshown)]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """The readings of one operating state.

    Parameters
    ----------
    cautions : tuple[str, ...]
        Those of every reading in it.
    readings : tuple[tuple[int, PrestartReading], ...]
        With their numbers in the list.
    new_cautions : Mapping[int, tuple[str, ...]]
        By number: what stands before that reading for the first time in this state.
    """

    title: str
    note: str
    cautions: tuple[str, ...]
    readings: tuple[tuple[int, PrestartReading], ...]
    new_cautions: Mapping[int, tuple[str, ...]]


def _blocks(listed: Prestart) -> Iterator[_Block]:
    """Yield the list state by state."""
    labels = {state.name: state.label for state in listed.states}
    numbered = enumerate(listed.readings, start=1)
    for state, group in groupby(numbered, key=lambda pair: pair[1].reading.state):
        readings = tuple(group)
        first = readings[0][1].cautions
        shared = tuple(
            c for c in first if all(c in one.cautions for _, one in readings)
        )
        seen = set(shared)
        new: dict[int, tuple[str, ...]] = {}
        for number, one in readings:
            new[number] = tuple(c for c in one.cautions if c not in seen)
            seen.update(one.cautions)
        minutes = format_minutes(sum(one.minutes for _, one in readings))
        takes_ohms = any(one.reading.kind is ReadingKind.OHMS for _, one in readings)
        post = listed.car.reference
        yield _Block(
            note=f"{post} here: {CLAMP_NOT_POST}." if takes_ohms else "",
            title=f"{labels[state]}: {_count(len(readings))}, {minutes}",
            cautions=shared,
            readings=readings,
            new_cautions=new,
        )


def _count(n_readings: int) -> str:
    return "1 reading" if n_readings == 1 else f"{n_readings} readings"


def _title(listed: Prestart) -> str:
    return f"{listed.car.title}: before the first start"


def _words_before(listed: Prestart, car_name: str) -> Iterator[str]:
    """Yield what the list is and how it is used."""
    yield (
        f"{len(listed.readings)} readings, about {format_minutes(listed.minutes)}. "
        f"They show {format_probability(listed.shown_share)} of the faults that any "
        "reading before the engine runs can show; those are "
        f"{format_probability(listed.showable_share)} of all that this program knows "
        "of, each counted by how likely it is."
    )
    if listed.history:
        told = ", ".join(
            f"{name}: {spoken(answer)}" for name, answer in listed.history.items()
        )
        yield f"Taken as known: {told}."
    yield (
        "Take them in this order. Where a reading is outside its limits, stop: it "
        "shows a fault, or the car is not wired as its file says. Find that first, "
        "mend it, and take the reading again."
    )
    yield (
        f"The program asks for them one by one, and for what to do when one is off, "
        f"by: diagnose start {car_name} --prestart"
    )


def _reading_words(one: PrestartReading) -> str:
    """Return how a reading is taken, and where."""
    reading = one.reading
    where = ", ".join(one.places)
    if reading.kind is ReadingKind.LOOK:
        return f"look at the link of {reading.red} ({where})"
    black = f", black on {reading.black}" if reading.black else ""
    return f"{reading.kind.value}: red on {reading.red}{black} ({where})"


def _limit_words(one: PrestartReading) -> str:
    """Return what a sound car shows."""
    limits, kind = one.limits, one.reading.kind
    band = range_words(limits.low, limits.high, kind)
    if kind is ReadingKind.LOOK or limits.low == limits.high:
        return band
    return f"{band}, about {range_words(limits.middle, limits.middle, kind)}"


def _unshown_title(listed: Prestart) -> str:
    return (
        f"What no such reading shows for sure: {len(listed.unshown)} repairs, of which "
        "the likeliest"
    )


def _unshown(listed: Prestart, most: int) -> Iterator[str]:
    """Yield the likeliest repairs that no reading shows for sure."""
    for one in listed.unshown[:most]:
        yield f"- {one.says} ({_chance_words(one)})"
    if len(listed.unshown) > most:
        yield f"- and {len(listed.unshown) - most} less likely ones; all of them: --all"


def _chance_words(one: Unshown) -> str:
    """Return how often a cause is shown after all."""
    if one.shown_share < LEAST_SHOWN_SHARE:
        return "not shown"
    share = format_probability(one.shown_share)
    return f"shown where it is severe, {share} of the time"
