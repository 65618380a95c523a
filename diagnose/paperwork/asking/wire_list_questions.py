"""Asks what the ends of listed wires are: a load, a relay, a stud and so on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from diagnose.errors import did_you_mean
from diagnose.files.car.writing.wire_list import WireRow
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.answers import (
    Told,
    read_current,
    read_load,
    read_title,
    worded,
)
from diagnose.paperwork.asking.pages import read_place
from diagnose.paperwork.asking.plan import Around
from diagnose.paperwork.asking.questions import Question, Script
from diagnose.paperwork.asking.source_questions import read_system

# What an end of a wire can be, and how that is answered.
KINDS = {
    "load": "12 A motor at front",
    "relay": "relay at fender",
    "stud": "stud on body at firewall",
    "splice": "splice at under-dash",
    "panel": "panel at fender",
    "switch": "switch at dash",
    "controller": "controller at under-dash",
}

# Ends that every car has and nobody needs to say what they are.
_ALWAYS = ("battery", "alternator", "starter", "body", "engine", "frame")

# Answers that end with a place.
_AT = re.compile(r"(?P<what>.+?)\s+at\s+(?P<place>\S.*)", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """What an end of listed wires is.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    place : str
        Where it is.
    size : str
        Of a load, as a car file has it; of a stud, the metal it is on.
    """

    kind: str
    place: str
    size: str = ""


@dataclass(slots=True, kw_only=True)
class ListedCar:
    """A car as its list of wires and the answers have it."""

    rows: Sequence[WireRow]
    title: str = ""
    system: str = "12 V"
    grounded: str = "minus"
    sizes: dict[str, Told] = field(default_factory=dict)
    ends: dict[str, End] = field(default_factory=dict)

    @property
    def hot(self) -> str:
        """What the fed side of a load is called."""
        return "minus" if self.grounded == "plus" else "plus"


def ask_wire_list(layouts: Layouts, rows: Sequence[WireRow]) -> Script[ListedCar]:
    """Ask what a list of wires does not say.

    Parameters
    ----------
    layouts : Layouts
        The usual places and circuits.
    rows : Sequence[WireRow]
        The wires.

    Returns
    -------
    ListedCar
        The wires, and what is at their ends.
    """
    car = ListedCar(rows=rows)
    car.title = yield Question(
        key="title", asks="What do you call the car?", default="My car", read=read_title
    )
    car.system = yield Question(
        key="system",
        asks="Is it a 6 V, 12 V or 24 V car?",
        default="12 V",
        read=read_system,
    )
    car.grounded = yield Question(
        key="grounded",
        asks="Which post of the battery is grounded: minus or plus?",
        default="minus",
        read=worded("minus", "plus"),
    )
    terminals = terminals_of(rows)
    for name, asks, usual in (
        ("battery", "Cold cranking amps of the battery?", "600 A"),
        ("alternator", "Amps of the alternator?", "70 A"),
        ("starter", "Amps of the starter while cranking?", "180 A"),
    ):
        if name in terminals or name == "battery":
            amps = yield Question(key=name, asks=asks, default=usual, read=read_current)
            car.sizes[name] = Told(amps)
    around = Around(places=list(layouts.places))
    fuses = {f"{row.name}-fuse" for row in rows if row.fuse}
    for name, own in terminals.items():
        stem = name.removesuffix("-fuse")
        if name in (*_ALWAYS, *fuses) or (stem != name and stem in terminals):
            continue
        usual = _guess(name, own, layouts)
        car.ends[name] = yield Question(
            key=f"end-{name}",
            asks=f"{name} ({', '.join(sorted(own)) or 'no terminals'}): what is it?",
            says=(
                "For instance: " + "; ".join(KINDS.values()) + ".",
                f"Places: {', '.join(layouts.places)}.",
            ),
            default=usual,
            read=_read_end(name, own, around, hot=car.hot),
        )
    return car


def terminals_of(rows: Sequence[WireRow]) -> dict[str, set[str]]:
    """Return every end of the wires with the terminals it is named with."""
    found: dict[str, set[str]] = {}
    for row in rows:
        for end in (row.start, row.end):
            name, _, terminal = end.partition(".")
            found.setdefault(name, set()).update([terminal] if terminal else [])
    return found


def _guess(name: str, terminals: set[str], layouts: Layouts) -> str:
    """Return what an end most likely is, as an answer."""
    usual = layouts.circuit_called(name)
    if usual is not None:
        return f"{usual.load} at {usual.place}"
    if not terminals:
        is_stud = "stud" in name or "ground" in name
        return KINDS["stud" if is_stud else "splice"]
    if terminals & {"30", "85", "86", "87", "87a"}:
        return "relay at starter" if "start" in name else KINDS["relay"]
    if terminals & {"start", "accessory"}:
        return "switch at column"
    if terminals & {"supply", "ground", "memory"}:
        return KINDS["controller"]
    if "switch" in name or "button" in name:
        return KINDS["switch"]
    if terminals & {"plus", "minus"}:
        return "5 A load at fender"
    return KINDS["panel"]


def _read_end(
    name: str, terminals: set[str], around: Around, *, hot: str
) -> Callable[[str], End]:
    """Return a reader of what an end of wires is."""
    place_of = read_place(around)

    def read(text: str) -> End:
        matched = _AT.fullmatch(text.strip())
        if matched is None:
            raise ValueError(f'say what {name} is and where: "{KINDS["relay"]}"')
        place, what = place_of(matched["place"]), matched["what"].lower()
        if what in {"relay", "splice", "panel", "switch", "controller"}:
            _check_terminals(name, what, terminals, hot)
            return End(kind=what, place=place)
        stud = re.fullmatch(r"(?:ground )?stud(?: on (\w+))?", what)
        if stud:
            metal = stud[1] or "body"
            if metal not in {"body", "engine"} or terminals:
                raise ValueError("a stud is on body or engine and has no terminals")
            return End(kind="stud", place=place, size=metal)
        try:
            size = read_load(matched["what"])
        except ValueError as error:
            near = did_you_mean(what, KINDS)
            raise ValueError(f"{error}{near}; or one of {', '.join(KINDS)}") from None
        _check_terminals(name, "load", terminals, hot)
        return End(kind="load", place=place, size=size)

    return read


# The terminals that a kind of end can have; any where it isn't here.
_KNOWN = {
    "load": {"plus", "minus"},
    "relay": {"30", "85", "86", "87", "87a"},
    "splice": set(),
}


def _check_terminals(name: str, kind: str, terminals: set[str], hot: str) -> None:
    """Raise ValueError where a kind has no such terminal, or lacks what it needs.

    A load needs no wire to ground: many are grounded where they are screwed down.
    """
    known = _KNOWN.get(kind)
    if known is not None and terminals - known:
        has = ", ".join(sorted(known)) or "no terminals of its own"
        wrong = ", ".join(sorted(terminals - known))
        raise ValueError(f"a {kind} has {has}; the list joins {wrong} of {name}")
    if kind == "load" and hot not in terminals:
        raise ValueError(f"no wire of the list goes to {name}.{hot}; add it there")
