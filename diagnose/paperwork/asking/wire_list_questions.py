"""Asks what the ends of listed wires are: a load, a relay, a stud and so on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from diagnose.errors import did_you_mean
from diagnose.files.car.writing.wire_list import WireRow
from diagnose.files.common_words import as_meant
from diagnose.files.knowledge.layouts import Layouts
from diagnose.files.quantities import RESISTANCE, parse_positive
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
    "resistor": "1 ohm resistor at firewall",
    "diode": "diode at dash",
    "battery": "battery at trunk",
}

# The metal of a car.
METAL = ("body", "engine", "frame")

# What two batteries in series are called, live post first; the wire between them is the
# link of both together.
IN_SERIES = ("live-battery", "grounded-battery")

# Ends that every car has and nobody needs to say what they are.
_ALWAYS = ("battery", "alternator", "starter", *METAL, *IN_SERIES)

# Words in the name of a plug that say where it is. Own choice, from common use.
_PLUG_PLACES = {
    "rear": "trunk",
    "bed": "trunk",
    "trailer": "trunk",
    "dash": "under-dash",
}

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
        Of a load, as a car file has it; of a resistor, its ohms; of a stud, the metal
        it is on.
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
    plugs: dict[str, str] = field(default_factory=dict)

    @property
    def clamps(self) -> dict[str, str]:
        """Ends without terminals that sit on a post or stud, with that."""
        return {
            row.start: row.end
            for row in self.rows
            if not (row.wire or row.fuse)
            and "." not in row.start
            and row.end not in METAL
        }

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
    terminals = terminals_of(rows)
    car.title = yield Question(
        key="title", asks="What do you call the car?", default="My car", read=read_title
    )
    car.system = yield Question(
        key="system",
        asks="Is it a 6 V, 12 V or 24 V car?",
        default="24 V" if set(IN_SERIES) <= set(terminals) else "12 V",
        read=read_system,
    )
    car.grounded = yield Question(
        key="grounded",
        asks="Which post of the battery is grounded: minus or plus?",
        default="plus" if _is_on_metal(car, "battery.plus") else "minus",
        read=worded("minus", "plus"),
    )
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
        known = (*_ALWAYS, *fuses, *car.clamps)
        if name in known or (stem != name and stem in terminals):
            continue
        usual = _guess(name, own, layouts)
        metal = next((r.end for r in rows if r.start == name and not r.wire), "")
        if metal in METAL:
            usual = f"stud on {metal} at {_METAL_PLACES[metal]}"
        car.ends[name] = yield Question(
            key=f"end-{name}",
            asks=f"{name} ({', '.join(sorted(own)) or 'no terminals'}): what is it?",
            says=(
                "For instance: " + "; ".join(KINDS.values()) + ".",
                f"Places: {', '.join(layouts.places)}.",
            ),
            default=usual,
            read=_read_end(name, car, around),
        )
    for plug in plugs_of(rows):
        words = (place for word, place in _PLUG_PLACES.items() if word in plug)
        car.plugs[plug] = yield Question(
            key=f"plug-{plug}",
            asks=f"{plug}, a plug: where is it?",
            says=(f"Places: {', '.join(layouts.places)}.",),
            default=next(words, "firewall"),
            read=read_place(around),
        )
    return car


# Where the metal's studs usually are. Own choice.
_METAL_PLACES = {"body": "firewall", "engine": "engine-top", "frame": "starter"}


def _is_on_metal(car: ListedCar, post: str) -> bool:
    """Return whether a wire leads from a post of the battery to the metal."""
    ends = [{car.clamps.get(end, end) for end in (r.start, r.end)} for r in car.rows]
    return any(post in both and both & {*METAL} for both in ends)


def plugs_of(rows: Sequence[WireRow]) -> tuple[str, ...]:
    """Return the plugs that wires go through, in their order."""
    pins = (plug for row in rows for plug in row.plugs)
    return tuple(dict.fromkeys(pin.partition(".")[0] for pin in pins))


def terminals_of(rows: Sequence[WireRow]) -> dict[str, set[str]]:
    """Return every end of the wires with the terminals it is named with."""
    found: dict[str, set[str]] = {}
    for row in rows:
        for end in (row.start, row.end):
            name, _, terminal = end.partition(".")
            found.setdefault(name, set()).update([terminal] if terminal else [])
    return found


# Words in the name of an end with terminals, and what it most likely is. Own choice.
_GUESSES = (
    ("charge-lamp", "3 W lamp at dash"),
    ("resistor", KINDS["resistor"]),
    ("diode", KINDS["diode"]),
    ("battery", KINDS["battery"]),
    ("box", KINDS["panel"]),
    ("panel", KINDS["panel"]),
)

# The same of terminals.
_GUESSES_BY_TERMINAL = (
    ({"start", "accessory"}, "switch at column"),
    ({"supply", "ground", "memory"}, KINDS["controller"]),
    ({"feed"}, KINDS["switch"]),
)

_RELAY = frozenset({"30", "85", "86", "87", "87a"})


def _guess(name: str, terminals: set[str], layouts: Layouts) -> str:
    """Return what an end most likely is, as an answer."""
    usual = layouts.circuit_called(name)
    if usual is not None:
        return f"{usual.load} at {usual.place}"
    if not terminals:
        is_stud = "stud" in name or "ground" in name
        return KINDS["stud" if is_stud else "splice"]
    if terminals & _RELAY:
        return "relay at starter" if "start" in name else KINDS["relay"]
    for word, answer in _GUESSES:
        if word in name:
            return answer
    for known, answer in _GUESSES_BY_TERMINAL:
        if terminals & known:
            return answer
    if "switch" in name or "button" in name:
        return KINDS["switch"]
    if terminals & {"plus", "minus"}:
        return "5 A load at fender"
    return KINDS["panel"]


def _read_end(name: str, car: ListedCar, around: Around) -> Callable[[str], End]:
    """Return a reader of what an end of wires is."""
    place_of = read_place(around)
    terminals = terminals_of(car.rows)[name]

    def read(text: str) -> End:
        matched = _AT.fullmatch(text.strip())
        if matched is None:
            raise ValueError(f'say what {name} is and where: "{KINDS["relay"]}"')
        place, what = place_of(matched["place"]), matched["what"].lower()
        kind, size = _kind_and_size(what, matched["what"], terminals)
        _check_terminals(name, kind, terminals, car.hot)
        _check_sitting(name, kind, car.rows)
        return End(kind=kind, place=place, size=size)

    return read


def _kind_and_size(what: str, typed: str, terminals: set[str]) -> tuple[str, str]:
    """Return what an end is, and its size if it has one."""
    if what in KINDS and what not in {"load", "stud", "resistor"}:
        return what, ""
    resistor = re.fullmatch(r"(.+) resistor", typed)
    if resistor:
        ohms = as_meant(resistor[1])
        parse_positive(ohms, RESISTANCE)
        return "resistor", ohms
    stud = re.fullmatch(r"(?:ground )?stud(?: on (\w+))?", what)
    if stud:
        metal = stud[1] or "body"
        if metal not in METAL or terminals:
            raise ValueError("a stud is on body, engine or frame and has no terminals")
        return "stud", metal
    try:
        return "load", read_load(typed)
    except ValueError as error:
        near = did_you_mean(what, KINDS)
        raise ValueError(f"{error}{near}; or one of {', '.join(KINDS)}") from None


# The terminals that a kind of end can have; any where it isn't here.
_KNOWN = {
    "load": {"plus", "minus"},
    "relay": set(_RELAY),
    "splice": set(),
    "resistor": {"a", "b"},
    "diode": {"a", "b"},
    "battery": {"plus", "minus"},
}

# Kinds that need something at each of their terminals.
_COMPLETE = ("resistor", "diode", "battery")

# Kinds whose terminals can sit on another one without a wire.
_SITTING = ("load", "relay", "stud", "controller", *_COMPLETE)


def _check_terminals(name: str, kind: str, terminals: set[str], hot: str) -> None:
    """Raise ValueError where a kind has no such terminal, or lacks what it needs.

    A load needs no wire to ground: many are grounded where they are screwed down.
    """
    known = _KNOWN.get(kind)
    if known is not None and terminals - known:
        has = ", ".join(sorted(known)) or "no terminals of its own"
        wrong = ", ".join(sorted(terminals - known))
        raise ValueError(f"a {kind} has {has}; the list joins {wrong} of {name}")
    needed = _KNOWN[kind] if kind in _COMPLETE else {hot} if kind == "load" else set()
    missing = sorted(needed - terminals)
    if missing:
        raise ValueError(
            f"no wire of the list goes to {name}.{missing[0]}; add it there"
        )


def _check_sitting(name: str, kind: str, rows: Sequence[WireRow]) -> None:
    """Raise ValueError where the list has a kind sit on what it can't sit on."""
    for row in rows:
        if row.wire or row.fuse or row.start.partition(".")[0] != name:
            continue
        is_other_terminal = kind == "controller" and row.start != f"{name}.ground"
        if kind not in _SITTING or is_other_terminal:
            raise ValueError(
                f"the list has {row.start} sit on {row.end} without a wire, which a "
                f"{kind} can't; give it one, or exchange from and to"
            )
