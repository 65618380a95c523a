"""What an answer says: names, choices, sizes, and "don't know".

Each reader returns text as a car file has it, or raises ValueError with the reason.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from diagnose.errors import did_you_mean
from diagnose.files.car.grammar.load_sizes import parse_fuse, parse_load
from diagnose.files.car.grammar.sizes import parse_wire
from diagnose.files.common_words import as_meant
from diagnose.files.quantities import CURRENT, RESISTANCE, parse_positive

# Returns an answer as a car file has it; raises ValueError with the reason.
Reader = Callable[[str], str]

# What says that a person doesn't know.
_UNKNOWN = re.compile(
    r"\?|(i )?do ?n[o']?t know|dunno|unknown|not sure|no idea", re.IGNORECASE
)

# What says that there is none.
NONE = {"none", "no", "-", "nothing", "without"}

# What a resistor that slows a motor can have. [Ω] Own choice: a motor of 2 to 20 A at
# 6 to 24 V, slowed by a tenth to four fifths.
LEAST_OHMS, MOST_OHMS = 0.05, 50.0

# A name in a car file.
_KEY = re.compile(r"[a-z][a-z0-9-]*")

# The longest name that is taken. [characters] Own choice: a line holds three.
LONGEST_NAME = 30


def is_unknown(text: str) -> bool:
    """Return whether an answer says that the person doesn't know."""
    return _UNKNOWN.fullmatch(text.strip().replace("’", "'")) is not None


def read_name(text: str) -> str:
    """Read a name: small letters, digits and hyphens."""
    name = re.sub(r"[\s_]+", "-", text.strip().lower())
    if not _KEY.fullmatch(name):
        raise ValueError(
            f'"{text}" can\'t be a name: use letters, digits and hyphens, a letter '
            "first"
        )
    if len(name) > LONGEST_NAME:
        raise ValueError(f'"{text}" is too long a name; {LONGEST_NAME} letters at most')
    return name


def read_names(text: str) -> list[str]:
    """Read names with commas between them, or none."""
    if text.strip().lower() in NONE:
        return []
    names = [read_name(one) for one in text.split(",") if one.strip()]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise ValueError(f'"{twice}" is there twice; give one of them another name')
    return names


def read_chosen(known: Collection[str]) -> Callable[[str], list[str]]:
    """Return a reader of some of the names known, by name or number."""

    def read(text: str) -> list[str]:
        if text.strip().lower() in NONE:
            return []
        chosen = [one_of(word, known) for word in text.split(",") if word.strip()]
        return list(dict.fromkeys(chosen))

    return read


def one_of(text: str, known: Collection[str]) -> str:
    """Return the name meant by a name, its first words or its number from 1."""
    word = text.strip().lower()
    names = list(known)
    if word.isdigit() and 1 <= int(word) <= len(names):
        return names[int(word) - 1]
    for name in names:
        if name.lower() in {word, re.sub(r"[\s_]+", "-", word)}:
            return name
    if word in NONE and "none" in names:
        return "none"
    begun = [name for name in names if re.match(rf"{re.escape(word)}[ -]", name)]
    if word and len(begun) == 1:
        return begun[0]
    raise ValueError(
        f'"{text}" is none of them{did_you_mean(word, names)}; '
        f"they are: {', '.join(names)}"
    )


def choice(*known: str) -> Reader:
    """Return a reader of one of some words, by word or number."""
    return lambda text: one_of(text, known)


# Other words that people answer a choice with.
_OTHER_WORDS = {
    **dict.fromkeys(("y", "yep", "yeah", "with", "there is"), "yes"),
    **dict.fromkeys(("n", "nope", "without"), "no"),
    **dict.fromkeys(("negative", "neg", "-", "black"), "minus"),
    **dict.fromkeys(("positive", "pos", "+", "red"), "plus"),
}


def worded(*known: str) -> Reader:
    """Return a reader of yes or no, or of a post, by any of the words for it.

    Examples
    --------
    >>> worded("minus", "plus")("Negative ground"), worded("yes", "no")("y")
    ('minus', 'yes')
    """

    def read(text: str) -> str:
        word = text.strip().lower()
        word = word.removesuffix(" ground").removesuffix(" post").removesuffix(" earth")
        return one_of(_OTHER_WORDS.get(word, word), known)

    return read


def read_title(text: str) -> str:
    """Read a line of running text."""
    if not text.isprintable():
        raise ValueError("it has a character that is not printed; type it again")
    return text.strip()


def read_wire(text: str) -> str:
    """Read a wire's size and length."""
    meant = as_meant(text)
    parse_wire(meant)
    return meant


def read_fuse(text: str) -> str:
    """Read a fuse, or none."""
    if text.strip().lower() in NONE:
        return "none"
    meant = as_meant(text)
    meant = f"{meant} A" if re.fullmatch(r"\d+(\.\d+)?", meant) else meant
    parse_fuse(meant)
    return meant


def read_load(text: str) -> str:
    """Read a load's size and kind; amps alone are those of a plain load."""
    meant = as_meant(text)
    meant = f"{meant} load" if re.fullmatch(r"[\d.]+ m?A", meant) else meant
    parse_load(meant)
    return meant


def read_current(text: str) -> str:
    """Read a current; a bare number is in amps."""
    meant = as_meant(text)
    meant = f"{meant} A" if re.fullmatch(r"\d+(\.\d+)?", meant) else meant
    parse_positive(meant, CURRENT)
    return meant


def read_ohms(text: str) -> str:
    """Read a resistance; a bare number is in ohms."""
    meant = as_meant(text)
    meant = f"{meant} ohm" if re.fullmatch(r"\d*\.?\d+", meant) else meant
    if not LEAST_OHMS <= parse_positive(meant, RESISTANCE) <= MOST_OHMS:
        raise ValueError(
            f'"{text}" slows no motor; such resistors have {LEAST_OHMS:g} to '
            f"{MOST_OHMS:g} ohm"
        )
    return meant


def optional(read: Reader) -> Reader:
    """Return a reader that takes "none" as well."""
    return lambda text: "none" if text.strip().lower() in NONE else read(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One fact of a page.

    Parameters
    ----------
    says : str
        What it is, in plain words.
    usual : str
        Its default.
    read : Reader
        Reads it.
    follows : str
        The wire of the page whose size this one has, unless told otherwise.
    """

    says: str
    usual: str
    read: Reader
    follows: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """A fact as a car file has it; `is_assumed` where the person didn't know."""

    text: str
    is_assumed: bool = False


def read_fact(fact: Fact, text: str) -> Told:
    """Return what an answer says of a fact.

    Raises
    ------
    ValueError
        With the reason, when it can't be.
    """
    if is_unknown(text):
        return Told(fact.read(fact.usual), is_assumed=True)
    return Told(fact.read(text))


def read_changes(facts: Mapping[str, Fact], text: str) -> dict[str, Told]:
    """Read what differs from a page: ``fuse 20 A, wire 12 AWG 15 ft``.

    Parameters
    ----------
    facts : Mapping[str, Fact]
        The facts of the page.
    text : str
        Facts by name, with commas between them.

    Returns
    -------
    dict[str, Told]
        Only those named.

    Raises
    ------
    ValueError
        With the reason, when a part of it names no fact or can't be.
    """
    told: dict[str, Told] = {}
    for piece in (piece.strip() for piece in text.split(",")):
        if not piece:
            continue
        found = _fact_named(facts, piece)
        if found is None:
            word = piece.split(" ", maxsplit=1)[0].lower()
            raise ValueError(
                f'"{piece}" begins with no fact of this page{did_you_mean(word, facts)}'
                f"; they are: {', '.join(facts)}"
            )
        name, value = found
        if name in told:
            raise ValueError(f"{name} is told twice; which of them holds?")
        if not value:
            raise ValueError(
                f'say what {name} is, such as "{name} {facts[name].usual}"'
            )
        try:
            told[name] = read_fact(facts[name], value)
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from None
    return told


def _fact_named(facts: Mapping[str, Fact], piece: str) -> tuple[str, str] | None:
    """Return the fact that a piece of an answer names, and what it says of it."""
    for name in sorted(facts, key=len, reverse=True):
        for spelling in (name, name.replace("-", " ")):
            matched = re.fullmatch(
                rf"{re.escape(spelling)}\b(?!-)\s*[:=]?\s*(.*)", piece, re.IGNORECASE
            )
            if matched:
                return name, matched[1]
    return None
