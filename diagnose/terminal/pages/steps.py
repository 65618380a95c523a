"""A step on a page, as a job card: the caution, how it is done, what is good, and why.

Short lines with their names in the margin, the value of a sound car first. Leaves which
step it is to `answers`, and how a card looks to the faces.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.answer import (
    Answer,
    ExpectedValue,
    ProposedStep,
    RankedCause,
    Verdict,
)
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.session.words.wording import substitution_words
from diagnose.terminal.pages.cautions import caution_lines
from diagnose.terminal.pages.page import (
    Field,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    spoken,
)
from diagnose.terminal.pages.suspects import SHOWN_CAUSES
from diagnose.units import format_minutes

# The proposed step and two others: ``a`` is the one that answers are about first.
STEP_LETTERS = ("a", "b", "c")

# Said of a suspect that shows what a sound car shows.
SAME = "the same as good"

# By what steps are ordered, said with their figures.
ORDER = (
    "steps stand in the order of what each minute they take saves, the best of them "
    "with the reading after it looked at too; of about equal ones the easiest is first"
)

# How far a suspect's range may stick out of the good band and still be the same, on
# either side. [1, of the band] Own choice: a reading there is called good.
STICKS_OUT = 0.5

# Ranges whose ends are no further apart than this share of them, and the rest below,
# are alike to who reads a meter. [1; V, V AC, Ω, A, V along a fuse] Own choice.
ALIKE_SHARE = 0.02
_ALIKE = MappingProxyType(
    {
        ReadingKind.DC_VOLTS: 0.05,
        ReadingKind.AC_VOLTS: 0.005,
        ReadingKind.OHMS: 0.2,
        ReadingKind.AMPS: 0.1,
        ReadingKind.FUSE: 0.0002,
    }
)

# Chances of a yes no further apart say the same. [1] Own choice.
ALIKE_CHANCE = 0.15

# From so many numbers in a row on only the first and the last are said. Own choice.
LEAST_RUN = 3

# Lines of a card whose names say which lead it is.
_LEAD_TONES = MappingProxyType({"red": Tone.RED, "black": Tone.BLACK})

# Kinds of reading whose word says too little by itself.
_KIND_WORDS = MappingProxyType(
    {ReadingKind.LAMP: "test lamp", ReadingKind.AC_VOLTS: "AC volts"}
)

# Numbers in words, for how many suspects there are.
_COUNTS = ("no", "the", "the two", "the three", "the four")


def step_page(
    step: ProposedStep,
    *,
    ranking: Sequence[RankedCause],
    briefs: Mapping[str, str] = MappingProxyType({}),
) -> Page:
    """Return one step: cautions, how to do it, what is good, what suspects show, why.

    Parameters
    ----------
    step : ProposedStep
        What to do.
    ranking : Sequence[RankedCause]
        The causes on the page, whose numbers stand before what they would give.
    briefs : Mapping[str, str]
        Words of a caution to the same in one line.
    """
    name = "measure" if step.reading else "look for"
    if step.reading is not None and step.reading.kind is ReadingKind.LOOK:
        name = "look"
    if isinstance(step.step, SubstitutionTest):
        name = "try"
    lines: list[Line] = [
        *caution_lines(step.cautions, briefs),
        Field(name=name, text=step.card.act, tone=Tone.STRONG),
        *(
            Field(
                name=line.name,
                text=line.text,
                tone=_LEAD_TONES.get(line.name, Tone.PLAIN),
            )
            for line in step.card.lines
        ),
        *_values(step, ranking),
    ]
    why = Field(name="why", text=why_words(step, ranking), tone=Tone.ASIDE)
    # what is asked for its worth goes without saying; another reason has to be read
    brief = tuple(lines) if step.is_for_worth else None
    return (Paragraph(margin="", lines=(*lines, why), brief=brief),)


def worth_page(step: ProposedStep, ranking: Sequence[RankedCause]) -> Page:
    """Return why a step is proposed, in figures, and what every cause would show."""
    told = f"tells {step.bits:.1f} bit about what is wrong"
    saved = f"saves {step.saves_minutes:.0f} min of the way to a repair on average"
    if step.saves_minutes <= 0.0:
        saved = "saves no time: it costs more minutes than it spares"
    values = tuple(Pair(name=value.words, text=value.says) for value in step.expected)
    return (
        Paragraph(
            margin="why",
            lines=(
                Words(text=step.instruction, tone=Tone.STRONG),
                Words(text=why_words(step, ranking)),
                Words(text=f"{saved}; {told}"),
                Words(text=ORDER, tone=Tone.ASIDE),
            ),
        ),
        Paragraph(margin="shows", lines=values),
    )


def other_steps(
    answer: Answer, shown: ProposedStep | None, vocabulary: Vocabulary
) -> tuple[Paragraph, ...]:
    """Return the other steps, by letter."""
    if answer.advice.verdict is Verdict.FIXED:
        return ()
    others = tuple(
        Pair(name=letter, text=step_words(step, vocabulary))
        for letter, step in zip(STEP_LETTERS, answer.next_steps, strict=False)
        if step is not shown
    )
    if not others:
        return ()
    letters = " and ".join(pair.name for pair in others)
    brief = (Words(text=f"other steps: {letters} (type the letter)", tone=Tone.ASIDE),)
    return (Paragraph(margin="or", lines=others, brief=brief, is_close=True),)


def step_words(step: ProposedStep, vocabulary: Vocabulary) -> str:
    """Return a step in one line, for a choice."""
    reading = step.reading
    if isinstance(step.step, SubstitutionTest):
        changed = substitution_words(step.step.substitution)
        seen = spoken(step.step.look.name.split("|")[-1])
        if reading is not None:
            seen = f"{_reading_words(reading, vocabulary)}, {spoken(step.state)}"
        return f"{changed}: {seen} ({format_minutes(step.minutes)})"
    if reading is None:
        return f"{step.card.act} ({spoken(step.state)}; {format_minutes(step.minutes)})"
    words = _reading_words(reading, vocabulary)
    return f"{words}, {spoken(step.state)} ({format_minutes(step.minutes)})"


def _reading_words(reading: Reading, vocabulary: Vocabulary) -> str:
    """Return what is read where, in a few words."""
    if reading.kind is ReadingKind.LOOK:
        return f"look at {reading.red}"
    if reading.kind is ReadingKind.FUSE:
        return f"millivolts along {reading.red}"
    named = _KIND_WORDS.get(reading.kind, reading.kind.value)
    if reading.black in ("", vocabulary.reference):
        return f"{named} at {reading.red}"
    return f"{named} from {reading.red} to {reading.black}"


def why_words(step: ProposedStep, ranking: Sequence[RankedCause]) -> str:
    """Return in words why this step, and what it takes.

    Parameters
    ----------
    step : ProposedStep
    ranking : Sequence[RankedCause]
        The causes on the page.
    """
    takes = f"takes {format_minutes(step.minutes)}"
    if not step.is_for_worth:
        return f"{step.reason}; {takes}" if step.reason else takes
    parts = _split_words(step, ranking)
    return f"{parts}; {takes}"


def _split_words(step: ProposedStep, ranking: Sequence[RankedCause]) -> str:
    """Return how what a step shows divides the suspects on the page."""
    groups = _groups(step, ranking)
    count = sum(len(numbers) for numbers in groups.values())
    every = _COUNTS[count] if count < len(_COUNTS) else f"the {count}"
    suspects = "suspect" if count == 1 else "suspects"
    if not groups:
        return "tells causes apart that are not listed"
    if set(groups) == {SAME}:
        shows = "shows" if count == 1 else "show"
        return (
            f"{every} {suspects} {shows} what is good; anything else points elsewhere"
        )
    if len(groups) == 1:
        return f"what is good clears {every} {suspects}"
    if len(groups) == count and not _overlap(step, ranking):
        return f"tells {every} {suspects} apart"
    return f"splits {every} {suspects} in {len(groups)}"


def _overlap(step: ProposedStep, ranking: Sequence[RankedCause]) -> bool:
    """Return whether ranges of suspects lie over each other, so that none is told."""
    numbered = _numbered(ranking)
    ranges = sorted(
        (value.low, value.high) for value in step.expected if value.cause in numbered
    )
    return any(high > low for (_, high), (low, _) in pairwise(ranges))


def _values(step: ProposedStep, ranking: Sequence[RankedCause]) -> tuple[Field, ...]:
    """Return what is good, then what each suspect would show, alike on one line."""
    good = _good(step)
    if good is None:
        return ()
    lines = [Field(name="good", text=good.words, tone=Tone.GOOD)]
    groups = _groups(step, ranking)
    for words, numbers in groups.items():
        listed = _listed(numbers)
        one_or_more = "suspect" if len(numbers) == 1 else "suspects"
        spoken_name = f"{one_or_more} {listed}"
        lines.append(Field(name=listed, text=words, spoken=spoken_name))
    if set(groups) <= {SAME}:
        elsewhere = _elsewhere(step, good, _numbered(ranking))
        lines.extend(
            Field(name="else", text=f"{words}: {'; '.join(causes)}")
            for words, causes in elsewhere.items()
        )
    return tuple(lines)


def _listed(numbers: Sequence[int]) -> str:
    """Return rising numbers so that they fit into the margin, three in a row and more.

    Examples
    --------
    >>> _listed([1, 3]), _listed([1, 2, 3, 4])
    ('1, 3', '1 to 4')
    """
    first, last = numbers[0], numbers[-1]
    if len(numbers) >= LEAST_RUN and last - first == len(numbers) - 1:
        return f"{first} to {last}"
    return ", ".join(map(str, numbers))


def _elsewhere(
    step: ProposedStep, good: ExpectedValue, numbered: Mapping[str, int]
) -> Mapping[str, Sequence[str]]:
    """Return what other causes than those listed would show, each with its causes."""
    found: dict[str, list[str]] = {}
    for value in step.expected:
        is_other = value.cause and value.cause not in numbered
        if is_other and not _is_same(value, good, step):
            found.setdefault(value.words, []).append(value.says)
    return found


def _groups(
    step: ProposedStep, ranking: Sequence[RankedCause]
) -> Mapping[str, Sequence[int]]:
    """Return what suspects would show, each with the numbers of those that show it."""
    good, numbered = _good(step), _numbered(ranking)
    groups: dict[str, list[int]] = {}
    firsts: list[ExpectedValue] = []
    for value in step.expected:
        if good is None or value.cause not in numbered:
            continue
        words = SAME
        if not _is_same(value, good, step):
            alike = next((one for one in firsts if _is_alike(one, value, step)), value)
            firsts.append(alike)
            words = alike.words
        groups.setdefault(words, []).append(numbered[value.cause])
    return {
        words: sorted(numbers)
        for words, numbers in sorted(groups.items(), key=lambda item: min(item[1]))
    }


def _numbered(ranking: Sequence[RankedCause]) -> Mapping[str, int]:
    """Return the numbers under which causes stand on the page."""
    return {
        member: number
        for number, cause in enumerate(ranking[:SHOWN_CAUSES], start=1)
        for member in cause.members
    }


def _good(step: ProposedStep) -> ExpectedValue | None:
    """Return what a sound car shows."""
    return next((value for value in step.expected if not value.cause), None)


def _is_same(value: ExpectedValue, good: ExpectedValue, step: ProposedStep) -> bool:
    """Return whether a value would be called good."""
    if value.words == good.words or _is_alike(value, good, step):
        return True
    if step.reading is None:
        return False
    middle, room = 0.5 * (value.low + value.high), STICKS_OUT * (good.high - good.low)
    below = room
    if step.reading.kind is ReadingKind.OHMS:
        # ohms go over powers of ten, and a tenth of them is another value
        below = min(room, STICKS_OUT * good.low)
    return (
        good.low <= middle <= good.high
        and value.low >= good.low - below
        and value.high <= good.high + room
    )


def _is_alike(one: ExpectedValue, other: ExpectedValue, step: ProposedStep) -> bool:
    """Return whether a person would not tell two ranges apart."""
    reading = step.reading
    if reading is None:
        return one.words == other.words or abs(one.low - other.low) <= ALIKE_CHANCE
    if reading.kind not in _ALIKE:
        return one.words == other.words
    rest = _ALIKE[reading.kind]
    ends = ((one.low, other.low), (one.high, other.high))
    # OL is like nothing but OL
    return all(
        a == b
        or (
            math.isfinite(a - b)
            and abs(a - b) <= rest + ALIKE_SHARE * max(abs(a), abs(b))
        )
        for a, b in ends
    )
