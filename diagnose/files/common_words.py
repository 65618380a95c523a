"""What people write for a size, in the words of a car file: `10 gauge` is `10 AWG`.

A file stays in one spelling, so a message says it; a question takes either.
"""

from __future__ import annotations

import re

# A word behind a number, as people write it, and what a car file has. Own choice, from
# common use.
_UNITS = {
    "ga": "AWG",
    "gauge": "AWG",
    "awg": "AWG",
    "sae": "SAE",
    "sqmm": "mm2",
    "mm²": "mm2",
    "qmm": "mm2",
    "foot": "ft",
    "feet": "ft",
    "'": "ft",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "a": "A",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "amperes": "A",
    "v": "V",
    "volt": "V",
    "volts": "V",
    "w": "W",
    "watt": "W",
    "watts": "W",
    "ohms": "ohm",
    "Ω": "ohm",
    "minute": "min",
    "minutes": "min",
    "mins": "min",
}

# Words for a kind of load or fuse, and what a car file has. Own choice.
_WORDS = {
    "bulb": "lamps",
    "bulbs": "lamps",
    "light": "lamps",
    "lights": "lamps",
    "led": "led-lamp",
    "leds": "led-lamps",
    "link": "fusible-link",
    "heater": "load",
    "maxi": "slow-fuse",
}

# Words for the metal that ground wires are bolted to. Own choice.
_METAL = {"chassis": "body", "bodywork": "body", "block": "engine", "earth": "body"}

# A number with the word that follows it.
_AMOUNT = re.compile(
    r"(?P<number>(?<![\w./])\d[\d./]*)\s*"
    r"(?P<word>[^\W\d_]+2?|mm²|'|\"|Ω)(?![\w-])(?:\.(?=\s|$))?"
)

# A word by itself, no part of a name with hyphens or points.
_WORD = re.compile(r"(?<![\w.-])[A-Za-z]+(?![\w.-])")


def as_meant(text: str) -> str:
    """Return what people write in the words of a car file.

    Parameters
    ----------
    text : str
        Such as ``10 gauge 5 feet``.

    Examples
    --------
    >>> as_meant("10 gauge 5 feet"), as_meant("40 amp"), as_meant("110 W bulbs")
    ('10 AWG 5 ft', '40 A', '110 W lamps')
    >>> as_meant("chassis via 14ga 2ft")
    'body via 14 AWG 2 ft'
    """

    def amount(found: re.Match[str]) -> str:
        word = found["word"]
        known = _UNITS.get(word, _UNITS.get(word.lower(), word))
        return f"{found['number']} {known}"

    def word(found: re.Match[str]) -> str:
        lower = found[0].lower()
        return _WORDS.get(lower) or _METAL.get(lower) or found[0]

    return _WORD.sub(word, _AMOUNT.sub(amount, text.strip()))


def write_instead(text: str) -> str:
    """Return ``; write `10 AWG 5 ft` `` where that is what was meant, else nothing.

    Parameters
    ----------
    text : str
        What the file holds.
    """
    meant = as_meant(text)
    return f"; write `{meant}`" if meant != text.strip() else ""
