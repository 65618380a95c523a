"""Asks for battery, alternator, starter and the heavy cables."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.files.common_words import as_meant
from diagnose.files.quantities import CURRENT, parse_positive
from diagnose.paperwork.asking.answers import (
    NONE,
    Fact,
    Reader,
    choice,
    one_of,
    optional,
    read_current,
    read_fuse,
    read_wire,
    worded,
)
from diagnose.paperwork.asking.pages import page, read_place
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Question, Script

# The oldest battery that is taken. [a] Own choice: they last four to ten years, from
# memory.
OLDEST_YEARS = 25.0

# The least share of an alternator's current that its label says of low speed. [1] Own
# choice: what a curve through the speed at which it begins to charge can have.
LEAST_LOW_SHARE = 1.0 / 7.0

# What hangs on the battery post and is heavy.
_CABLES = {
    "battery-cable": ("battery to starter", "2 AWG 4 ft"),
    "ground-cable": ("battery to engine", "2 AWG 3 ft"),
    "engine-strap": ("engine to body", "4 AWG 1 ft"),
    "body-lead": ("battery to body, or none", "10 AWG 2 ft"),
    "frame-strap": ("body to frame, or none", "none"),
}


@dataclass(frozen=True, slots=True)
class Asker:
    """Asks, with the defaults of the layouts that were chosen."""

    defaults: Mapping[str, str]

    def one(
        self,
        key: str,
        asks: str,
        default: str,
        read: Reader,
        says: tuple[str, ...] = (),
    ) -> Script[str]:
        """Ask one question by itself."""
        answer = yield Question(
            key=key,
            asks=asks,
            says=says,
            default=self.defaults.get(key, default),
            read=read,
        )
        return str(answer)

    def fact(self, key: str, says: str, usual: str, read: Reader) -> Fact:
        """Return a fact of a page, with the layout's default."""
        return Fact(says=says, usual=self.defaults.get(key, usual), read=read)


def ask_sources(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for battery, alternator, starter and the heavy cables."""
    plan.system = yield from ask.one(
        "system", "Is it a 6 V, 12 V or 24 V car?", "12 V", read_system
    )
    plan.grounded = yield from ask.one(
        "grounded",
        "Which post of the battery is grounded: minus or plus?",
        "minus",
        worded("minus", "plus"),
    )
    place = read_place(plan.around)
    series = {}
    if plan.system != "6 V":
        series["series-link"] = ask.fact(
            "series-link",
            "of two batteries in series the cable between them, or none",
            "none",
            optional(read_wire),
        )
    told = yield from page(
        "battery",
        "The battery",
        {
            "place": ask.fact("battery-place", "where it is", "battery-tray", place),
            "cca": ask.fact(
                "battery-cca",
                "cold cranking amps on its label",
                "600 A",
                read_current,
            ),
            "age": ask.fact("battery-age", "its age in years", "4 years", _read_years),
            **series,
        },
    )
    assert told is not None
    plan.pages["battery"] = told
    charging = yield from page(
        "alternator",
        "The alternator (a generator can't be described)",
        {
            "rated": ask.fact(
                "alternator", "amps on its label: 70 A or 28/70 A", "70 A", _read_label
            ),
            "sense": ask.fact(
                "sense",
                "what its sense wire is on: battery, panel, own output",
                "own output",
                choice("own output", "battery", "panel"),
            ),
            "exciter": ask.fact(
                "exciter",
                "what its exciter is on: charge lamp, ignition, none",
                "charge lamp",
                choice("charge lamp", "ignition", "none"),
            ),
            "wire": ask.fact("charge-wire", "charging wire", "8 AWG 5 ft", read_wire),
            "fuse": ask.fact("charge-fuse", "its fuse, or none", "none", read_fuse),
            "exciter-wire": ask.fact("", "exciter wire", "18 AWG 9 ft", read_wire),
            "exciter-diode": ask.fact(
                "exciter-diode",
                "a diode in the exciter wire, so that it can't feed back: yes or no",
                "no",
                worded("yes", "no"),
            ),
            "sense-wire": ask.fact("", "sense wire", "18 AWG 6 ft", read_wire),
        },
        can_be_none=True,
    )
    if charging is not None:
        plan.pages["alternator"] = charging
    told = yield from page(
        "starter",
        "The starter, its solenoid on it",
        {
            "cranking": ask.fact(
                "cranking", "amps while cranking", "180 A", read_current
            ),
            "neutral-switch": ask.fact(
                "neutral-switch",
                "a switch of the gearbox in its wire: yes or no",
                "no",
                worded("yes", "no"),
            ),
            "relay": ask.fact(
                "starter-relay",
                "a relay of its own before the solenoid: yes or no",
                "no",
                worded("yes", "no"),
            ),
            "wire": ask.fact(
                "start-wire", "wire from the ignition switch", "12 AWG 8 ft", read_wire
            ),
        },
        can_be_none=True,
    )
    if told is not None:
        plan.pages["starter"] = told
    told = yield from page(
        "cables",
        "The heavy cables and ground straps",
        {
            name: ask.fact(name, says, usual, _read_cable(name))
            for name, (says, usual) in _CABLES.items()
        },
    )
    assert told is not None
    plan.pages["cables"] = told


def read_system(text: str) -> str:
    """Read the system's volts."""
    meant = as_meant(text)
    return one_of(
        meant if meant.endswith("V") else f"{meant} V", ("6 V", "12 V", "24 V")
    )


def _read_years(text: str) -> str:
    """Read an age; a bare number is in years."""
    matched = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(?:years?|a|y)?", text.strip())
    if matched is None:
        raise ValueError(f'"{text}" is no age in years')
    if float(matched[1]) > OLDEST_YEARS:
        raise ValueError(f"no battery lasts {matched[1]} years; say its own age")
    return f"{matched[1]} years"


def _read_label(text: str) -> str:
    """Read an alternator's label: ``70 A``, or ``28/70 A`` with that at low speed."""
    low, slash, rated = text.strip().partition("/")
    if not slash:
        return read_current(text)
    own, slow = read_current(rated), read_current(low)
    share = parse_positive(slow, CURRENT) / parse_positive(own, CURRENT)
    if not LEAST_LOW_SHARE <= share < 1.0:
        raise ValueError(
            f'"{text}" can\'t be a label: the current at low speed stands first, less '
            f"than the other, though at least a {1 / LEAST_LOW_SHARE:.0f}th of it"
        )
    return f"{own}, low-speed {slow}"


def _read_cable(name: str) -> Reader:
    """Return a reader of a cable; two of them no car goes without."""
    is_needed = name in {"battery-cable", "ground-cable", "engine-strap"}
    return _read_needed if is_needed else optional(read_wire)


def _read_needed(text: str) -> str:
    """Read a cable that every car has."""
    if text.strip().lower() in NONE:
        raise ValueError("no car goes without it; say its size and length, or ?")
    return read_wire(text)
