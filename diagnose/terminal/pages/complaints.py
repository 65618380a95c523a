"""What an owner may complain of: asked in groups and parts, found by words."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from diagnose.terminal.pages.page import (
    Field,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    say,
    spoken,
)

if TYPE_CHECKING:
    from diagnose.session.words.vocabulary import Vocabulary

# The letters under which groups of complaints are listed.
GROUP_LETTERS = "abcdefghij"


# Symptoms listed after words of the person's own. Own choice: a third of a screen.
SHOWN_MATCHES = 6


# Complaints listed after words of the person's own. Own choice: half a screen.
SHOWN_COMPLAINTS = 9


# Said below a list of symptoms.
TELL_SYMPTOM = "tell one by: symptom NAME yes, or symptom NAME no"

# Said below the symptoms of the whole car.
OF_PARTS = "for those of one lamp, motor, relay or other part: symptom and its name"


# What does not share half as much as the nearest is not listed. [1] Own choice.
LEAST_NEARNESS = 0.5


# Words of three letters and more that stand in any description, as `_telling_words`
# gives them. Own choice.
_COMMON_WORDS = frozenset(
    (
        *("doe", "when", "with", "then", "that", "what", "hav", "only", "turn"),
        *("the", "and", "not", "but", "for", "its", "it", "al", "work", "out", "keep"),
        *("after", "again", "are", "any", "has", "was", "ever", "never", "even"),
        *("wont", "won", "dont", "don", "cant", "can", "doesnt", "doesn", "isnt"),
    )
)


# What people call what the pages call otherwise, both as `_telling_words` gives them.
_OTHER_WORDS = MappingProxyType(
    {"headlight": "headlamp", "light": "lamp", "dying": "flat", "drain": "flat"}
)


# What is said of a thing that does not do what it should, and what people say for it.
_DEAD = "dead"

# Words that deny, without their apostrophes.
_DENIALS = frozenset(
    {"not", "never", "wont", "dont", "doesnt", "isnt", "cant", "didnt", "arent"}
)


# Endings that the same word has elsewhere.
_ENDINGS = ("ing", "ed", "ly", "e")


# How many telling words name a complaint without being asked. Own choice: a part, and
# what is wrong with it.
LEAST_TELLING = 2


# Letters of a word that an ending has to leave. Own choice.
LEAST_LETTERS = 3


def complaint_page(vocabulary: Vocabulary, group: str = "") -> Page:
    """Return the question what is wrong, with numbered answers in their groups.

    Parameters
    ----------
    vocabulary : Vocabulary
        The names of this car.
    group : str
        The letter of the group that is asked for; empty for all of them.
    """
    hint = (
        "type its number, or words for it; Enter alone: none of these, describe by "
        "symptoms"
    )
    page = [say("trouble", "What is wrong with the car?", Tone.STRONG)]
    number = 0
    groups = vocabulary.complaint_groups.items()
    for letter, (words, names) in zip(GROUP_LETTERS, groups, strict=False):
        first, number = number + 1, number + len(names)
        if group not in ("", letter):
            continue
        says = tuple(vocabulary.complaints[name] for name in names)
        heading = Field(name=letter, text=words, tone=Tone.ASIDE, spoken="Group")
        listed = tuple(
            Pair(name=f"{first + place}.", text=text) for place, text in enumerate(says)
        )
        brief = replace(
            heading,
            text=f"{words}: {first} to {number} (type {letter})",
            tone=Tone.PLAIN,
            spoken=f"Group {letter}",
        )
        page.append(
            Paragraph(
                margin="", lines=(heading, *listed), brief=(brief,), is_close=True
            )
        )
    letter = part_letter(vocabulary)
    if letter and group in ("", letter):
        page += _parts_paragraphs(vocabulary, letter, is_whole=group == letter)
    hint_line = (Words(text=hint, tone=Tone.ASIDE),)
    return (*page, Paragraph(margin="", lines=hint_line, is_close=True))


def part_letter(vocabulary: Vocabulary) -> str:
    """Return the letter under which single parts are listed; empty without any."""
    n_groups = len(vocabulary.complaint_groups)
    has_letter = vocabulary.part_complaints and n_groups < len(GROUP_LETTERS)
    return GROUP_LETTERS[n_groups] if has_letter else ""


def _parts_paragraphs(
    vocabulary: Vocabulary, letter: str, *, is_whole: bool
) -> list[Paragraph]:
    """Return how to complain of a single part, and every part that there is."""
    words = "one lamp, motor, relay, controller or other part"
    names = tuple(vocabulary.part_complaints)
    says = f"{words}: type its name" if is_whole else f"{words}: {letter}, or its name"
    heading = Field(name=letter, text=says, tone=Tone.PLAIN, spoken=f"Group {letter}")
    found = [Paragraph(margin="", lines=(heading,), is_close=True)]
    if is_whole:
        listed = Words(text=", ".join(names))
        found.append(Paragraph(margin="parts", lines=(listed,), is_close=True))
    return found


def narrowed_page(line: str, vocabulary: Vocabulary) -> Page:
    """Return the complaints of the group or part that a line names, if it does.

    Parameters
    ----------
    line : str
        What was typed: a group's letter, or a part's name.
    vocabulary : Vocabulary
        The names of this car.
    """
    letter = line.lower().rstrip(".)")
    n_groups = len(vocabulary.complaint_groups)
    if letter in (*GROUP_LETTERS[:n_groups], *part_letter(vocabulary)):
        return complaint_page(vocabulary, letter)
    part = named_part(line, vocabulary)
    return part_page(vocabulary, part) if part else ()


def part_page(vocabulary: Vocabulary, part: str) -> Page:
    """Return what can be complained of one part, with the numbers to type.

    Parameters
    ----------
    vocabulary : Vocabulary
        The names of this car.
    part : str
        A key of its `part_complaints`.
    """
    places = {name: place for place, name in enumerate(vocabulary.complaints, 1)}
    listed = tuple(
        Pair(name=f"{places[name]}.", text=vocabulary.complaints[name])
        for name in vocabulary.part_complaints[part]
    )
    hint = Words(text="type its number; Enter alone: none of these", tone=Tone.ASIDE)
    return (
        say("trouble", f"What is wrong with {part}?", Tone.STRONG),
        Paragraph(margin="", lines=listed, is_close=True),
        Paragraph(margin="", lines=(hint,), is_close=True),
    )


def named_part(line: str, vocabulary: Vocabulary) -> str:
    """Return the part that a line names, whole or by its start; empty where none.

    Parameters
    ----------
    line : str
        What was typed.
    vocabulary : Vocabulary
        The names of this car.
    """
    wanted = spoken(line.strip().lower()).replace("-", " ")
    names = tuple(vocabulary.part_complaints)
    if wanted in names:
        return wanted
    begun = [name for name in names if wanted and name.startswith(wanted)]
    return begun[0] if len(begun) == 1 else ""


def complaints_page(vocabulary: Vocabulary) -> Page:
    """Return every complaint by name."""
    listed = [name for group in vocabulary.complaint_groups.values() for name in group]
    pairs = tuple(Pair(name=name, text=vocabulary.complaints[name]) for name in listed)
    of_parts = tuple(
        Pair(name=part, text=", ".join(names))
        for part, names in vocabulary.part_complaints.items()
    )
    return (
        Paragraph(margin="trouble", lines=pairs),
        *([Paragraph(margin="parts", lines=of_parts)] if of_parts else []),
        say("", "tell one by: complaint NAME", Tone.ASIDE),
    )


def matches_page(line: str, vocabulary: Vocabulary) -> Page:
    """Return the complaints and symptoms that what was typed may mean, nearest first.

    Complaints keep the numbers they have in the question; without any match the page
    is empty.
    """
    wanted = _wanted(line)
    said = tuple(vocabulary.complaints.values())
    complaints = tuple(
        Pair(name=f"{place + 1}.", text=said[place])
        for place in _nearest(wanted, _ways_to_say(vocabulary))[:SHOWN_COMPLAINTS]
    )
    asked = tuple(vocabulary.seen.items())
    symptoms = tuple(
        Pair(name=asked[place][0], text=asked[place][1])
        for place in _nearest(wanted, [(" ".join(one),) for one in asked])
    )
    page = []
    if complaints:
        page.append(Paragraph(margin="trouble", lines=complaints))
    if symptoms:
        tell = Words(text=TELL_SYMPTOM, tone=Tone.ASIDE)
        listed: tuple[Line, ...] = (*symptoms[:SHOWN_MATCHES], tell)
        page.append(Paragraph(margin="symptoms", lines=listed))
    if complaints:
        hint = "type the number of what is meant, or other words for it"
        hint_line = (Words(text=hint, tone=Tone.ASIDE),)
        page.append(Paragraph(margin="", lines=hint_line, is_close=True))
    return tuple(page)


def meant(line: str, vocabulary: Vocabulary) -> int | None:
    """Return the complaint that alone has every telling word of a line, if one has.

    Parameters
    ----------
    line : str
        What was typed: two telling words or more.
    vocabulary : Vocabulary
        The names of this car.

    Returns
    -------
    int or None
        Its place among the complaints; None where none has, or several.
    """
    wanted = _wanted(line)
    if len(wanted) < LEAST_TELLING:
        return None
    found = [
        place
        for place, every in enumerate(_ways_to_say(vocabulary))
        if any(wanted <= _said(text) for text in every)
    ]
    return found[0] if len(found) == 1 else None


def _ways_to_say(vocabulary: Vocabulary) -> list[tuple[str, ...]]:
    """Return each complaint as it is listed, and as people say it besides."""
    return [
        (text, *vocabulary.also_said.get(name, ()))
        for name, text in vocabulary.complaints.items()
    ]


def _wanted(line: str) -> frozenset[str]:
    """Return the words of a line by which a complaint is looked for."""
    words = frozenset(_telling_words(line) - _COMMON_WORDS)
    return words | {_DEAD} if words and _denies(line) else words


def _said(text: str) -> frozenset[str]:
    """Return the words of a text by which it is found."""
    return _telling_words(text) | ({_DEAD} if _denies(text) else set())


def _nearest(wanted: AbstractSet[str], ways: Sequence[Sequence[str]]) -> list[int]:
    """Return what shares the words that few others have, nearest first.

    A word counts by how few it stands in, so that in "blower dead" the blower decides;
    of those as near the one that says least else comes first. Of what is said in
    several ways the nearest counts.
    """
    shared = [[wanted & _said(text) for text in every] for every in ways]
    n_having = Counter(word for every in shared for word in set().union(*every))
    best = [
        max(
            (
                sum(1.0 / n_having[word] for word in words),
                len(words) / max(len(_telling_words(text) - _COMMON_WORDS), 1),
            )
            for words, text in zip(found, every, strict=True)
        )
        for found, every in zip(shared, ways, strict=True)
    ]
    least = LEAST_NEARNESS * max((nearness for nearness, _ in best), default=0.0)
    near = [place for place, (found, _) in enumerate(best) if found and found >= least]
    return sorted(near, key=lambda place: (-best[place][0], -best[place][1]))


def _denies(text: str) -> bool:
    """Return whether a text says that something does not do what it should.

    Examples
    --------
    >>> _denies("The horn does not sound"), _denies("The horn sounds by itself")
    (True, False)
    """
    return not _DENIALS.isdisjoint(text.lower().replace("'", "").split())


def _telling_words(text: str) -> frozenset[str]:
    """Return the words of three letters and more, without the usual endings.

    Examples
    --------
    >>> sorted(_telling_words("It stalls when idling, headlights dim"))
    ['dim', 'headlamp', 'idl', 'stal', 'when']
    """
    found = re.findall(r"[a-z]{3,}", text.lower().replace("'", ""))
    return frozenset(map(_bare_word, found))


def _bare_word(word: str) -> str:
    """Return a word without the ending of a plural or a verb, by its usual name.

    Examples
    --------
    >>> _bare_word("running") == _bare_word("runs")
    True
    """
    bare = word.removesuffix("s")
    for ending in _ENDINGS:
        if bare.endswith(ending) and len(bare) - len(ending) >= LEAST_LETTERS:
            bare = bare.removesuffix(ending)
            break
    # run, running: a letter doubled before the ending is one
    bare = bare[:-1] if bare[-1] == bare[-2] else bare
    return _OTHER_WORDS.get(bare, bare)
