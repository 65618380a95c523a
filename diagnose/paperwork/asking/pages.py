"""One page of facts, each with its usual value: right as it stands, or what differs.

A page takes one answer where a person is in a hurry, and one for each fact where he
asks for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import partial

from diagnose.errors import did_you_mean
from diagnose.paperwork.asking.answers import (
    Fact,
    Reader,
    Told,
    is_unknown,
    read_changes,
    read_fact,
    read_wire,
)
from diagnose.paperwork.asking.plan import Around, about, lead
from diagnose.paperwork.asking.questions import Question, Script

# The answer that asks for every fact by itself.
ASK = "ask"

# Below a page of facts.
HOW = (
    "Enter if that is right; else what differs, with commas between: `{example}`. "
    "A ? behind a fact says that you don't know it. `ask` asks one by one."
)


# What is shown as an example of an answer, the first two that a page asks for.
_OFTEN_TOLD = ("cca", "age", "rated", "fuse", "wire", "cranking", "ground-cable")


def page(
    key: str,
    asks: str,
    facts: Mapping[str, Fact],
    *,
    can_be_none: bool = False,
) -> Script[dict[str, Told] | None]:
    """Ask for a page of facts.

    Parameters
    ----------
    key : str
        Its name.
    asks : str
        What it is about.
    facts : Mapping[str, Fact]
        Each with its usual value.
    can_be_none : bool
        Whether ``none`` says that the car has no such thing.

    Returns
    -------
    dict[str, Told] or None
        Every fact; None where there is no such thing.
    """
    # two that most people know where they are there, to show the comma too
    shown = [name for name in _OFTEN_TOLD if name in facts] or list(facts)
    example = ", ".join(f"{name} {facts[name].usual}" for name in shown[:2])
    how = HOW.format(example=example)
    how += " `none` if the car has none." if can_be_none else ""
    rows = [f"{name}: {fact.usual}  ({fact.says})" for name, fact in facts.items()]
    told = yield Question(
        key=key,
        asks=asks,
        says=(*rows, how),
        default="yes",
        read=partial(_read_page, facts, can_be_none=can_be_none),
    )
    if told is None or isinstance(told, dict):
        return told
    answers: dict[str, Told] = {}
    for name, fact in facts.items():
        usual = fact.usual
        if fact.follows:
            usual = _followed(fact, answers[fact.follows])
        answers[name] = yield Question(
            key=f"{key}-{name}",
            asks=f"{key}: {fact.says}?",
            says=("A ? says that you don't know.",),
            default=usual,
            read=partial(read_fact, fact),
        )
    return answers


def _followed(fact: Fact, wire: Told) -> str:
    """Return a wire of the size of another one, and as sure."""
    length = " ".join(fact.usual.split()[2:])
    followed = lead(wire.text, length)
    return about(followed) if wire.is_assumed else followed


def _read_page(
    facts: Mapping[str, Fact], text: str, *, can_be_none: bool
) -> dict[str, Told] | str | None:
    """Read the answer to a page."""
    word = text.strip().lower()
    if word == ASK:
        return ASK
    if can_be_none and word in {"none", "no"}:
        return None
    usual = {name: Told(fact.read(fact.usual)) for name, fact in facts.items()}
    if word in {"yes", "y", "right", "ok"}:
        return usual
    if is_unknown(text):
        return {name: Told(told.text, is_assumed=True) for name, told in usual.items()}
    told = {**usual, **(changes := read_changes(facts, text))}
    for name, fact in facts.items():
        if fact.follows in changes and name not in changes:
            told[name] = Told(_followed(fact, changes[fact.follows]))
    return told


def read_place(around: Around) -> Reader:
    """Return a reader of a place on the car."""

    def read(text: str) -> str:
        name = re.sub(r"[\s_]+", "-", text.strip().lower())
        if name in {"yes", "y"}:
            raise ValueError(f"say where it is, such as {around.places[-1]}")
        if name not in around.places:
            raise ValueError(
                f'there is no place "{text}"{did_you_mean(name, around.places)}; '
                f"known: {', '.join(around.places)}"
            )
        return name

    return read


def read_feed(around: Around, *, has_outputs: bool = True) -> Reader:
    """Return a reader of where current comes from: a feed by name, or a terminal."""

    def read(text: str) -> str:
        word = re.sub(r"\s+", " ", text.strip().lower())
        name = word.replace(" ", "-")
        if name in around.feeds:
            return name
        output = output_of(word, around)
        if output and has_outputs:
            return output
        assembly, point, terminal = word.partition(".")
        if point and terminal and assembly in around.known:
            return word
        feeds = ", ".join(around.feeds)
        outputs = ""
        if around.controllers and has_outputs:
            outputs = f", {next(iter(around.controllers))} high or low"
        raise ValueError(
            f'there is no feed "{text}"{did_you_mean(name, around.feeds)}; known: '
            f"{feeds}{outputs}, or a terminal such as old-fuse-box.battery"
        )

    return read


def output_of(word: str, around: Around) -> str:
    """Return ``CONTROLLER low`` or ``CONTROLLER high``; empty where none is meant."""
    name, _, side = word.rpartition(" ")
    if side not in {"low", "high"} or not around.controllers:
        return ""
    name = name.replace(" ", "-") or next(iter(around.controllers))
    if name not in around.controllers:
        raise ValueError(
            f'there is no controller "{name}"{did_you_mean(name, around.controllers)}'
            f"; this car has {', '.join(around.controllers)}"
        )
    return f"{name} {side}"


def read_ground(around: Around, *, has_outputs: bool = True) -> Callable[[str], str]:
    """Return a reader of where a ground goes: ``rear-stud via 12 AWG 3 ft``."""

    def read(text: str) -> str:
        words = re.sub(r"\s+", " ", text.strip())
        where, via, wire = words.partition(" via ")
        where = {"chassis": "body", "ground": "body", "block": "engine"}.get(
            where.lower(), where.lower()
        )
        output = output_of(where, around) if has_outputs else ""
        end = output or where.replace(" ", "-")
        known = [*around.studs, "battery.minus"]
        if end not in known and " " not in end:
            raise ValueError(
                f'there is no ground "{where}"{did_you_mean(end, known)}; known: '
                f"{', '.join(known)}"
            )
        return f"{end} via {read_wire(wire)}" if via else end

    return read
