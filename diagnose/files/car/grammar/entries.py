"""The grammar of a car file: one model per kind of entry.

Each model checks what can be seen in one entry alone. Leaves to `expansion` what an
entry stands for, and to `checks.names` what one entry says about another.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator
from pydantic.json_schema import GenerateJsonSchema

from diagnose.circuit.temperature_and_age import USUAL_CELSIUS
from diagnose.files.car.grammar.values import (
    Amps,
    Celsius,
    Colour,
    Fuse,
    Load,
    Minutes,
    Priming,
    Rpm,
    SystemVolts,
    Terminal,
    ToTerminal,
    Values,
    Wire,
    Years,
)
from diagnose.files.grammar import Entry, Key, Text

# When a load takes its current, in the file's words; see `circuit.car.DrawsWhen`.
DrawsWhenWord = Literal["always", "engine-turns"]

# The JSON Schema that pydantic writes: draft 2020-12.
SCHEMA_DIALECT = GenerateJsonSchema.schema_dialect


def _hyphenated(name: str) -> str:
    """Return a field's key in the file: ``test_points`` is ``test-points``."""
    return name.rstrip("_").replace("_", "-")


class SectionEntry(Entry):
    """Any entry of a car file; its keys have hyphens."""

    model_config = ConfigDict(alias_generator=_hyphenated)


class PlaceEntry(SectionEntry):
    """A place on the car: ``2 min``, or with a caution."""

    model_config = ConfigDict(
        json_schema_extra=lambda schema: _or_text(schema, "2 min")
    )

    time: Minutes
    caution: str = ""

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, found: object) -> object:
        return found if isinstance(found, dict) else {"time": found}


class MetalEntry(SectionEntry):
    """The big metal parts, each with the place where a probe is put to it."""

    body: str
    engine: str
    frame: str | None = None


class BatteryEntry(SectionEntry):
    """The battery; `grounded` is the post that is joined to body and engine.

    With the plus post grounded, loads and the starter are fed at their terminal minus.
    `series-link` is the cable between two batteries in series, each of half the volts
    and of the amps given: `live-battery` has the live post, `grounded-battery` the
    other one, and `battery.plus` and `battery.minus` are the posts of both together.
    """

    place: str
    cold_cranking: Amps | None = None
    series_link: Wire | None = None
    grounded: Literal["minus", "plus"] = "minus"
    age: Years | None = None
    values: Values = Field(default={})


class AlternatorEntry(SectionEntry):
    """The alternator; its terminals are output, sense, exciter and case.

    `rated` and `low-speed` are the two currents of a label such as 28/70 A: at 6000 and
    at 1500 alternator rpm.
    """

    place: str
    bolted_to: Literal["engine", "body", "frame"] = "engine"
    rated: Amps | None = None
    low_speed: Amps | None = None
    values: Values = Field(default={})


class StarterEntry(SectionEntry):
    """The starter motor; its terminals are plus and case."""

    place: str
    bolted_to: Literal["engine", "body", "frame"] = "engine"
    cranking: Amps | None = None
    values: Values = Field(default={})


class GroundEntry(SectionEntry):
    """A stud or screw where ground wires meet, bolted to metal."""

    bolted_to: Literal["engine", "body", "frame"]
    place: str
    values: Values = Field(default={})


class SwitchEntry(SectionEntry):
    """A switch: its feed terminal and which terminals are live in each position."""

    place: str
    feed: Key = "feed"
    live: dict[Key, list[Key]] = Field(min_length=2)
    values: Values = Field(default={})


class PlugEntry(SectionEntry):
    """A plug or bulkhead connector, and the wires that it carries.

    Each wire has a pin of its own; wires in brackets share one, as grounds often do.
    """

    place: str
    carries: list[Key | Annotated[list[Key], Field(min_length=2)]] = Field(min_length=1)
    values: Values = Field(default={})


class PanelEntry(SectionEntry):
    """A fuse panel: its buses, such as a constant and a switched half."""

    place: str
    buses: list[Key] = Field(min_length=1)


class RelayTerminals(SectionEntry):
    """What every relay may say, by DIN 72552 terminal numbers."""

    terminal_86: ToTerminal | None = Field(default=None, alias="86")
    terminal_85: ToTerminal | None = Field(default=None, alias="85")
    terminal_87a: ToTerminal | None = Field(default=None, alias="87a")
    suppression: Literal["diode", "none"] = "none"
    rated: Amps | None = None
    values: Values = Field(default={})


class RelayEntry(RelayTerminals):
    """A relay or solenoid on its own."""

    place: str
    terminal_30: ToTerminal | None = Field(default=None, alias="30")
    terminal_87: ToTerminal | None = Field(default=None, alias="87")
    role: str | None = None


class CircuitRelayEntry(RelayTerminals):
    """The relay of a circuit; `wire` leads from the fuse to its terminal 30."""

    place: str | None = None
    wire: Wire | None = None


class OutputEntry(SectionEntry):
    """An output of a controller.

    One that `primes` for some seconds is on in the state `priming` and off in `key-on`.
    """

    side: Literal["low", "high"]
    limit: Amps | None = None
    on_in: list[str]
    primes: Priming | None = None
    values: Values = Field(default={})


class ControllerEntry(SectionEntry):
    """A controller; terminals are supply, ground, memory and one for each output."""

    place: str
    role: str | None = None
    draws: Amps | None = None
    memory: Amps | None = None
    ground: ToTerminal
    outputs: dict[Key, OutputEntry] = Field(default={})
    values: Values = Field(default={})


class CircuitFuseEntry(SectionEntry):
    """The fuse of a circuit: ``15 A``, or with a place and a role."""

    model_config = ConfigDict(json_schema_extra=lambda schema: _or_text(schema, "15 A"))

    size: Fuse
    place: str | None = None
    role: str | None = None
    values: Values = Field(default={})

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, found: object) -> object:
        return found if isinstance(found, dict) else {"size": found}


class CircuitNotesEntry(SectionEntry):
    """What the owner says of a circuit's wires: of `wire`, or of each by its key."""

    model_config = ConfigDict(
        json_schema_extra=lambda schema: _or_text(schema, "along the left sill")
    )

    feed: Text | None = None
    wire: Text | None = None
    ground: Text | None = None

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, found: object) -> object:
        return found if isinstance(found, dict) else {"wire": found}


class CircuitEntry(SectionEntry):
    """A usual circuit: from a supply, by fuse and relay, to a load and its ground."""

    from_: ToTerminal
    fuse: CircuitFuseEntry | None = None
    relay: CircuitRelayEntry | None = None
    wire: Wire | None = None
    load: Load | None = None
    to: Terminal | None = None
    ground: ToTerminal | None = None
    draws_when: DrawsWhenWord | None = None
    place: str | None = None
    role: str | None = None
    note: CircuitNotesEntry = Field(default=CircuitNotesEntry())
    values: Values = Field(default={})


class WireEntry(SectionEntry):
    """One wire between two terminals."""

    from_: Terminal
    to: Terminal
    wire: Wire
    colour: Colour | None = None
    note: Text | None = None
    place: str | None = None
    role: str | None = None
    values: Values = Field(default={})


class PartEntry(SectionEntry):
    """Any part, in full."""

    kind: str
    terminals: dict[str, ToTerminal] = Field(default={})
    place: str
    assembly: Key | None = None
    role: str | None = None
    gate: str | None = None
    draws_when: DrawsWhenWord | None = None
    closed_in: list[str] = Field(default=[])
    normally_closed: bool = False
    values: Values = Field(default={})


class StateEntry(SectionEntry):
    """An operating state: the car's own switch positions, or a new state."""

    switches: dict[str, str] = Field(default={})
    like: str | None = None
    after: str | None = None
    label: Text | None = None
    engine: Rpm | None = None
    change: Minutes | None = None
    needs_helper: bool | None = None
    caution: str | None = None


class CarEntry(SectionEntry):
    """A car file."""

    model_config = ConfigDict(title="Car file")

    car_file: Literal[1]
    title: Text
    system: SystemVolts
    temperature: Celsius = USUAL_CELSIUS
    wire_rule: Key | None = None
    places: dict[Key, PlaceEntry] = Field(min_length=1)
    metal: MetalEntry
    battery: BatteryEntry
    alternator: AlternatorEntry | None = None
    starter: StarterEntry | None = None
    grounds: dict[Key, GroundEntry] = Field(default={})
    splices: dict[Key, str] = Field(default={})
    switches: dict[Key, SwitchEntry] = Field(default={})
    panels: dict[Key, PanelEntry] = Field(default={})
    clamps: dict[Key, Terminal] = Field(default={})
    plugs: dict[Key, PlugEntry] = Field(default={})
    controllers: dict[Key, ControllerEntry] = Field(default={})
    relays: dict[Key, RelayEntry] = Field(default={})
    circuits: dict[Key, CircuitEntry] = Field(default={})
    wires: dict[Key, WireEntry] = Field(default={})
    parts: dict[Key, PartEntry] = Field(default={})
    states: dict[Key, StateEntry] = Field(default={})
    test_points: dict[str, str] = Field(default={})


# Sections whose entries have names of their own, so that one can be wrong alone.
SECTIONS_OF_ENTRIES = (
    "places",
    "grounds",
    "splices",
    "switches",
    "panels",
    "clamps",
    "plugs",
    "controllers",
    "relays",
    "circuits",
    "wires",
    "parts",
    "states",
    "test-points",
)


def _or_text(schema: dict[str, Any], example: str) -> None:
    """Let the JSON Schema of a mapping accept one piece of text too."""
    mapping = dict(schema)
    schema.clear()
    schema["anyOf"] = [{"type": "string", "examples": [example]}, mapping]


def car_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a car file, for editors that check while typing.

    Returns
    -------
    dict[str, Any]
        JSON Schema, draft 2020-12, made from the same models that read the file.
    """
    schema = CarEntry.model_json_schema(by_alias=True)
    return {"$schema": SCHEMA_DIALECT, **schema}
