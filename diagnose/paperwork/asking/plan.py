"""A car as it was answered, before it is written as a car file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from diagnose.files.knowledge.layouts import UsualCircuit
from diagnose.paperwork.asking.answers import Told

# The switches that the whole car has.
CAR_SWITCHES = ("ignition-switch", "light-switch", "neutral-switch")

# The facts of one page, by name.
Facts = Mapping[str, Told]


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitPlan:
    """A circuit as it was answered.

    Parameters
    ----------
    name : str
        As the owner calls it.
    says : str
        What it is, in plain words.
    usual : UsualCircuit or None
        The usual circuit of that name.
    facts : Facts
        What was told.
    is_factory : bool
        Whether the factory put it in.
    """

    name: str
    says: str
    usual: UsualCircuit | None
    facts: Facts
    is_factory: bool = False

    def text(self, fact: str) -> str:
        """Return a fact as told, ``none`` where it was not asked for."""
        return self.facts[fact].text if fact in self.facts else "none"

    def wire(self, fact: str) -> str:
        """Return a wire, or a terminal with one, marked where it was not known."""
        told = self.facts[fact]
        return about(told.text) if told.is_assumed else told.text

    @property
    def has_switch(self) -> bool:
        """Whether it has a switch of its own, in its feed or in its relay's."""
        relay = self.text("relay")
        return relay == "switch" or (self.text("switch") != "none" and relay == "none")

    @property
    def switch_name(self) -> str:
        """What its own switch is called."""
        name = f"{self.name}-switch"
        return f"{self.name}-own-switch" if name in CAR_SWITCHES else name

    @property
    def assumed(self) -> tuple[str, ...]:
        """The facts that the owner did not know."""
        return tuple(name for name, told in self.facts.items() if told.is_assumed)


@dataclass(slots=True, kw_only=True)
class Around:
    """What a circuit can be joined to.

    Parameters
    ----------
    feeds : dict[str, str]
        What a feed is called, and the terminal it is.
    controllers : dict[str, str]
        Controller, and where the coils that it grounds are fed from.
    studs : list[str]
        Where ground wires can go.
    places : list[str]
        Places on the car.
    known : set[str]
        Every other assembly that a terminal can be on.
    taken : set[str]
        Names that are used up.
    panels : set[str]
        Fuse panels, which have a fuse right on them.
    feed_place : str
        Where a fuse sits that hangs on the battery's post.
    can_run_on : bool
        Whether the engine might run on after the key is turned off.
    """

    feeds: dict[str, str] = field(default_factory=dict)
    controllers: dict[str, str] = field(default_factory=dict)
    studs: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    known: set[str] = field(default_factory=set)
    taken: set[str] = field(default_factory=set)
    panels: set[str] = field(default_factory=set)
    feed_place: str = ""
    can_run_on: bool = False


@dataclass(slots=True, kw_only=True)
class CarPlan:
    """A whole car as it was answered.

    Parameters
    ----------
    pages : dict[str, Facts]
        Page to its facts: battery, alternator, starter, cables and so on.
    circuits : list[CircuitPlan]
        In the order they were told.
    """

    title: str = ""
    system: str = "12 V"
    grounded: str = "minus"
    panel: str = "none"
    coil_feed: str = "none"
    pages: dict[str, Facts] = field(default_factory=dict)
    controllers: dict[str, Facts] = field(default_factory=dict)
    circuits: list[CircuitPlan] = field(default_factory=list)
    around: Around = field(default_factory=Around)

    @property
    def hot(self) -> str:
        """What the fed side of a load is called."""
        return "minus" if self.grounded == "plus" else "plus"

    def text(self, page: str, fact: str) -> str:
        """Return a fact of a page as it was told."""
        return self.pages[page][fact].text

    def wire(self, page: str, fact: str) -> str:
        """Return a wire of a page, marked where it was not known."""
        told = self.pages[page][fact]
        return about(told.text) if told.is_assumed else told.text

    def assumed(self, page: str) -> tuple[str, ...]:
        """Return the facts of a page that the owner did not know."""
        return tuple(n for n, told in self.pages[page].items() if told.is_assumed)


# A wire's size, and what stands behind it.
_SIZE = re.compile(r"(?P<size>(?:about\s+)?\S+\s+\S+)\s+\S+")


def about(text: str) -> str:
    """Return a wire, or a terminal with its wire, as one that is about so.

    Examples
    --------
    >>> about("12 AWG 3 ft"), about("body via 12 AWG 3 ft"), about("body")
    ('about 12 AWG 3 ft', 'body via about 12 AWG 3 ft', 'body')
    """
    terminal, via, wire = text.rpartition(" via ")
    if not via and not _SIZE.match(text):
        return text
    wire = wire if wire.startswith("about ") else f"about {wire}"
    return f"{terminal}{via}{wire}"


def lead(wire: str, length: str) -> str:
    """Return a wire of the same size and another length, without its colour.

    Examples
    --------
    >>> lead("about 12 AWG 15 ft red", "1 ft")
    'about 12 AWG 1 ft'
    """
    matched = _SIZE.match(wire)
    assert matched is not None
    return f"{' '.join(matched['size'].split())} {length}"
