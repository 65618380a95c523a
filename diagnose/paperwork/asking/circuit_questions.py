"""Asks for one circuit: how it is fed, fused, wired and grounded."""

from __future__ import annotations

import re
from collections.abc import Mapping

from diagnose.files.knowledge.layouts import UsualCircuit
from diagnose.paperwork.asking.answers import (
    Fact,
    Reader,
    Told,
    optional,
    read_fuse,
    read_load,
    read_ohms,
    read_title,
    read_wire,
    worded,
)
from diagnose.paperwork.asking.pages import (
    page,
    read_feed,
    read_ground,
    read_place,
)
from diagnose.paperwork.asking.plan import Around, CircuitPlan, lead
from diagnose.paperwork.asking.questions import Script

# A circuit that no layout knows: a small load by a straight wire. Own choice.
_UNKNOWN = {
    "feed": "constant",
    "fuse": "10 A",
    "load": "5 A load",
    "wire": "14 AWG 8 ft",
    "ground": "body",
    "place": "fender",
}

# The wires to a relay's coil, where nobody says another: 18 AWG from under the dash to
# the engine bay. Own choice.
_COIL_WIRE = "18 AWG 6 ft"

# Sizes that fuses are bought in: blade fuses up to 40 A, bolted ones beyond. [A]
# ISO 8820-3 and -5, from memory.
_BLADE_AMPS = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
_BOLTED_AMPS = (50.0, 60.0, 70.0, 80.0, 100.0, 125.0, 150.0, 200.0)

# Amps of a load, and what stands behind them.
_AMPS = re.compile(r"(?P<amps>\d+(?:\.\d+)?) A\b(?P<rest>.*)")

# What an outlying feed falls back to where the car has no such thing: first that there
# is counts. Own choice.
_INSTEAD = {
    "constant": ("battery", "old-constant"),
    "switched": ("ignition", "old-ignition"),
    "old-constant": ("constant", "battery"),
    "old-ignition": ("run", "ignition", "switched"),
    "old-accessory": ("accessory", "run", "switched"),
    "lights": ("old-constant", "constant", "battery"),
    "side-lights": ("lights", "old-constant", "constant", "battery"),
    "ignition": ("switched", "run"),
}


def ask_circuit(
    name: str,
    usual: UsualCircuit | None,
    around: Around,
    defaults: Mapping[str, str],
    *,
    system: str,
    near: str,
    is_factory: bool,
) -> Script[CircuitPlan | None]:
    """Ask for one circuit.

    Parameters
    ----------
    name : str
        As the owner calls it.
    usual : UsualCircuit or None
        What such circuits are like.
    around : Around
        What it can be joined to.
    defaults : Mapping[str, str]
        Question to the default that a layout gives it.
    system : str
        Its volts, as a car file has them.
    near : str
        Which usual circuit may be meant, in words, or nothing.
    is_factory : bool
        Whether the factory put it in.

    Returns
    -------
    CircuitPlan or None
        None where the car has none after all.
    """
    facts = circuit_facts(name, usual, around, defaults, system)
    says = usual.says if usual else name
    asks = f"{name}: {says}"
    if usual is None:
        asks = f"{name}: a load of your own{near and f'{near}; then type undo'}"
    told = yield from page(name, asks, facts, can_be_none=True)
    if told is None:
        return None
    around.known.update((name, f"{name}-fuse", f"{name}-relay", f"{name}-switch"))
    if told.get("inertia-switch", Told("none")).text != "none":
        around.known.add("inertia-switch")
    return CircuitPlan(
        name=name, says=says, usual=usual, facts=told, is_factory=is_factory
    )


def circuit_facts(
    name: str,
    usual: UsualCircuit | None,
    around: Around,
    defaults: Mapping[str, str],
    system: str,
) -> dict[str, Fact]:
    """Return the facts of a circuit's page, each with its usual value."""

    def default(fact: str) -> str:
        known = getattr(usual, fact) if usual else _UNKNOWN.get(fact, "")
        return defaults.get(f"{name}-{fact}", known) or "none"

    feed, relay = _there(default("feed"), around), default("relay")
    if "coil" in around.feeds and name == "ignition" and feed != "switched":
        feed = "coil"  # what the factory's coil feed is for
    relay = _there(relay, around) if relay not in {"none", "switch"} else relay
    ground, place = default("ground"), default("place")
    end = ground.partition(" ")[0]
    if end not in around.studs:
        ground = ground.replace(end, "body", 1)
    wire = default("wire")
    load, fuse = load_at(default("load"), system), fuse_at(default("fuse"), system)
    return {
        "feed": Fact(
            says="what feeds it: " + ", ".join(around.feeds),
            usual=feed,
            read=read_feed(around),
        ),
        "relay": Fact(
            says="none, or what makes its relay pull in: a feed, switch, or "
            "a controller's output, high or low side",
            usual=relay,
            read=optional(_read_trigger(around)),
        ),
        "fuse": Fact(says="its fuse, or none", usual=fuse, read=read_fuse),
        "load": Fact(says="what it draws", usual=load, read=read_load),
        "wire": Fact(
            says="size and length of the wire to it, and its colour",
            usual=wire,
            read=read_wire,
        ),
        "ground": Fact(
            says="where its ground goes, by which wire: " + ", ".join(around.studs),
            usual=ground,
            read=read_ground(around),
        ),
        "place": Fact(
            says="where it sits",
            usual=place if place in around.places else around.places[0],
            read=read_place(around),
        ),
        "switch": Fact(
            says="none, or where a switch of its own is",
            usual=default("switch"),
            read=optional(read_place(around)),
        ),
        **_of_such(usual, around),
        **_details(wire),
    }


def _of_such(usual: UsualCircuit | None, around: Around) -> dict[str, Fact]:
    """Return the facts that only some circuits have; a car has one inertia switch."""
    facts = {
        "inertia-switch": Fact(
            says="none, or where a switch is that stops it in a crash",
            usual="none",
            read=optional(read_place(around)),
        ),
        "resistor": Fact(
            says="none, or the ohms of the resistor that its switch slows it by",
            usual="none",
            read=optional(read_ohms),
        ),
    }
    asked = set(usual.asks) if usual else set()
    return {k: v for k, v in facts.items() if k in asked - around.known}


def load_at(load: str, system: str) -> str:
    """Return a load for 12 V as it is at other volts: of the same power.

    Examples
    --------
    >>> load_at("3 A motor", "24 V"), load_at("3 A motor", "6 V")
    ('1.5 A motor', '6 A motor')
    >>> load_at("55 W lamp", "24 V")
    '55 W lamp'
    """
    matched = _AMPS.fullmatch(load)
    if matched is None:
        return load
    return f"{float(matched['amps']) * _factor(system):.3g} A{matched['rest']}"


def fuse_at(fuse: str, system: str) -> str:
    """Return a fuse for 12 V as it is at other volts, in a size that is sold.

    Examples
    --------
    >>> fuse_at("15 A", "24 V"), fuse_at("30 A", "6 V"), fuse_at("5 A", "24 V")
    ('7.5 A', '60 A slow-fuse', '3 A')
    """
    matched = _AMPS.fullmatch(fuse)
    factor = _factor(system)
    if matched is None or matched["rest"] or factor == 1.0:
        return fuse
    wanted = float(matched["amps"]) * factor
    for sizes, kind in ((_BLADE_AMPS, ""), (_BOLTED_AMPS, " slow-fuse")):
        for amps in sizes:
            if amps >= wanted:
                return f"{amps:g} A{kind}"
    return fuse


def _factor(system: str) -> float:
    """Return the current of a load over that of its like at 12 V. [1]."""
    return 12.0 / float(system.removesuffix(" V"))


def _details(wire: str) -> dict[str, Fact]:
    """Return the facts that few people differ in."""
    return {
        "feed-wire": Fact(
            says="wire from the feed to the fuse, where the fuse isn't right on it",
            usual=lead(wire, "1 ft"),
            read=read_wire,
            follows="wire",
        ),
        "coil-feed": Fact(
            says="wire to the relay's 86, if there is a relay",
            usual=_COIL_WIRE,
            read=read_wire,
        ),
        "coil-ground": Fact(
            says="wire from the relay's 85, if there is a relay",
            usual=_COIL_WIRE,
            read=read_wire,
        ),
        "diode": Fact(
            says="a diode across the relay's coil: yes or no",
            usual="no",
            read=worded("yes", "no"),
        ),
        "note": Fact(says="a note of your own", usual="none", read=read_title),
    }


def _read_trigger(around: Around) -> Reader:
    """Return a reader of what makes a relay pull in."""
    feed = read_feed(around)

    def read(text: str) -> str:
        word = text.strip().lower()
        if word in {"yes", "y"}:
            raise ValueError(
                "say what makes it pull in: switch for one of its own, or a feed such "
                f"as {next(iter(around.feeds))}"
            )
        return "switch" if word in {"switch", "own switch"} else feed(text)

    return read


def _there(feed: str, around: Around) -> str:
    """Return a feed, or what stands for it on a car that has no such thing."""
    if feed in around.feeds:
        return feed
    if feed in {"low", "high"}:
        if around.controllers:
            return f"{next(iter(around.controllers))} {feed}"
        feed = "switched"
    instead = [one for one in _INSTEAD.get(feed, ()) if one in around.feeds]
    return [*instead, *around.feeds][0]
