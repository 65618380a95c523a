"""What the keys of a car file can hold: currents, times, wires, terminals and more.

Each is text that a person writes with its unit, read into the SI unit, and described
for the JSON Schema. Leaves the entries to `entries`.
"""

from __future__ import annotations

import math
import re
from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema

from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.files.car.grammar.load_sizes import (
    FuseSize,
    LoadSize,
    parse_fuse,
    parse_load,
)
from diagnose.files.car.grammar.sizes import (
    Connection,
    WireSize,
    parse_colour,
    parse_connection,
    parse_wire,
)
from diagnose.files.grammar import shown
from diagnose.files.quantities import (
    CURRENT,
    DURATION,
    SPEED,
    TIME,
    VOLTAGE,
    parse_amount,
    parse_positive,
)

# The lowest air temperature a person works in, with room. [°C] Own choice.
LEAST_CELSIUS = -40.0

# The highest air temperature a person works in, with room. [°C] Own choice.
MOST_CELSIUS = 60.0

# A temperature in degrees Celsius or Fahrenheit.
_DEGREES = re.compile(r"(?P<number>-?\d+(\.\d+)?) ?°?(?P<unit>[CF])")

# An age in years.
_YEARS = re.compile(r"(?P<number>\d+(\.\d+)?) ?(years?|a)")


def _as_text(description: str, *examples: str) -> WithJsonSchema:
    """Return the JSON Schema of something written as one piece of text."""
    return WithJsonSchema(
        {"type": "string", "description": description, "examples": list(examples)}
    )


def _read_current(found: object) -> float:
    return parse_positive(found, CURRENT)


def _read_minutes(found: object) -> float:
    minutes = parse_amount(found, TIME)
    if not TIME.least <= minutes <= TIME.most:
        raise ValueError(f'time "{found}" must be from 0 min to {TIME.most:g} min')
    return minutes


def _read_priming(found: object) -> float:
    text = str(found).strip()
    if text in PRIMING_WORDS:
        return PRIMING_WORDS[text]
    if not re.match(r"\d", text):
        raise ValueError(
            f"found {shown(found)}, expected how long it primes: {DURATION.examples}, "
            f"{' or '.join(PRIMING_WORDS)}"
        )
    return parse_positive(text, DURATION)


def _read_speed(found: object) -> float:
    return parse_positive(found, SPEED)


def _read_system_volts(found: object) -> float:
    volts = parse_positive(found, VOLTAGE)
    if volts not in {6.0, 12.0, 24.0}:
        raise ValueError(f'system voltage is "{found}"; must be 6 V, 12 V or 24 V')
    return volts


def _read_celsius(found: object) -> float:
    matched = _DEGREES.fullmatch(str(found).strip())
    if matched is None:
        raise ValueError(f"found {shown(found)}, expected a temperature such as 5 °C")
    degrees = float(matched["number"])
    celsius = degrees if matched["unit"] == "C" else (degrees - 32.0) / 1.8
    if not LEAST_CELSIUS <= celsius <= MOST_CELSIUS:
        raise ValueError(
            f'temperature "{found}" must be from {LEAST_CELSIUS:g} °C to '
            f"{MOST_CELSIUS:g} °C"
        )
    return celsius


def _read_years(found: object) -> float:
    matched = _YEARS.fullmatch(str(found).strip())
    if matched is None:
        raise ValueError(f"found {shown(found)}, expected an age such as 4 years")
    return float(matched["number"])


def _read_terminal(found: object) -> str:
    connection = parse_connection(found)
    if connection.wire is not None:
        raise ValueError(f'found "{found}", expected a terminal alone; give `wire`')
    return connection.to


def _read_given(found: object) -> str | int | float:
    """Pass on a value that only its parameter's name can explain."""
    if isinstance(found, bool) or not isinstance(found, str | int | float):
        text = f"found {shown(found)}, expected an amount such as 85 ohm"
        raise ValueError(text)  # noqa: TRY004  pydantic gathers ValueError only
    return found


# A current with its unit. [A]
Amps = Annotated[
    float, BeforeValidator(_read_current), _as_text(CURRENT.name, "7 A", "20 mA")
]

# How long an output is on when the key is turned, as a word, to the seconds. [s]
PRIMING_WORDS = {"always": math.inf, "never": 0.0}

# How long an output is on when the key is turned. [s]
Priming = Annotated[
    float,
    BeforeValidator(_read_priming),
    _as_text(
        "how long it is on as the key is turned, the engine not yet turning",
        "2 s",
        *PRIMING_WORDS,
    ),
]

# A person's time with its unit. [min]
Minutes = Annotated[float, BeforeValidator(_read_minutes), _as_text(TIME.name, "2 min")]

# A speed of rotation with its unit. [1/min]
Rpm = Annotated[float, BeforeValidator(_read_speed), _as_text(SPEED.name, "850 rpm")]

# The nominal voltage of the whole car. [V]
SystemVolts = Annotated[
    float,
    BeforeValidator(_read_system_volts),
    WithJsonSchema({"enum": ["6 V", "12 V", "24 V"]}),
]

# An air temperature. [°C]
Celsius = Annotated[
    float,
    BeforeValidator(_read_celsius),
    _as_text("air temperature when it is measured, 20 °C if not given", "5 °C", "40 F"),
]

# An age. [a]
Years = Annotated[
    float, BeforeValidator(_read_years), _as_text("age", "4 years", "1 year")
]

# A terminal alone.
Terminal = Annotated[
    str, BeforeValidator(_read_terminal), _as_text("a terminal", "battery.plus", "body")
]

# A terminal, and perhaps the wire to it.
ToTerminal = Annotated[
    Connection,
    BeforeValidator(parse_connection),
    _as_text(
        "a terminal this sits on, or a terminal and the wire to it",
        "fuse-panel.constant",
        "body-stud via 14 AWG 2 ft",
    ),
]

# A wire's size and length.
Wire = Annotated[
    WireSize,
    BeforeValidator(parse_wire),
    _as_text(
        "size and length of a wire, and its colour if you like",
        "14 AWG 6 ft",
        "2.5 mm2 2 m red/white",
    ),
]

# The colour of a wire's insulation.
Colour = Annotated[
    str,
    BeforeValidator(parse_colour),
    _as_text("colour of a wire, the stripe behind a slash", "red", "red/white"),
]

# A load's size and kind.
Load = Annotated[
    LoadSize,
    BeforeValidator(parse_load),
    _as_text("size and kind of a load", "7 A motor", "110 W lamps", "5 A load"),
]

# A fuse's rating and kind.
Fuse = Annotated[
    FuseSize,
    BeforeValidator(parse_fuse),
    _as_text(
        f"rating and, unless a fuse, one of {PROTECTIVE_KINDS}", "15 A", "30 A breaker"
    ),
]

# A value that only its parameter's name can explain.
Given = Annotated[
    str | int | float,
    BeforeValidator(_read_given),
    WithJsonSchema({"type": ["string", "number"], "examples": ["85 ohm", 2.2]}),
]

# Parameter of a part to what the file gives for it.
Values = dict[str, Given]
