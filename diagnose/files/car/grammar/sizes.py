"""Wires, connections, loads and fuses as a car file writes them: `14 AWG 6 ft`.

Leaves single amounts with their unit to `quantities`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from diagnose.circuit.wires import awg_area_mm2, sae_area_mm2
from diagnose.errors import did_you_mean
from diagnose.files.common_words import as_meant, write_instead
from diagnose.files.grammar import shown
from diagnose.files.quantities import (
    LENGTH,
    LINEAR_RESISTANCE,
    as_written,
    parse_positive,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WireSize:
    """A wire as written: its size and length.

    Parameters
    ----------
    length_m : float
        [m]
    area_mm2 : float or None
        Copper cross-section; None for resistance wire. [mm²]
    ohms_per_m : float or None
        For resistance wire, else None. [Ω/m]
    colour : str
        Of its insulation, such as ``red/white``; empty when the file gives none.
    is_guessed : bool
        Whether the file says that size and length are about so.
    """

    length_m: float
    area_mm2: float | None = None
    ohms_per_m: float | None = None
    colour: str = ""
    is_guessed: bool = False


# What a message about a wire shows.
WIRE_EXAMPLES = "14 AWG 6 ft, 14 SAE 1.8 m, 2.5 mm2 2 m or 0.35 ohm/ft 4 ft"

# The thinnest wire that is believed. [mm²] Own choice, below any wire on a car; IEC
# 60228 begins at 0.5.
SMALLEST_MM2 = 0.05

# The thickest wire that is believed. [mm²] Own choice, beyond any wire on a car; IEC
# 60228 goes up to 2500.
LARGEST_MM2 = 240.0

# Whether it is a guess, size, its series, and the length behind it.
_WIRE = re.compile(
    r"(?P<about>about\s+)?(?P<size>[+-]?[\d./]+)\s*(?P<series>AWG|SAE|mm2|mm²|ohm/ft|ohm/m)\s*,?\s*"
    r"(?P<length>\S.*)?",
    re.IGNORECASE,
)


# Colours of insulation: the words of IEC 60757 with the shades cars have, both
# spellings (from memory).
COLOURS = (
    *("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "purple"),
    *("grey", "gray", "white", "pink", "turquoise", "tan"),
    *("light-blue", "dark-blue", "light-green", "dark-green"),
)


def parse_colour(found: object) -> str:
    """Read the colour of a wire: ``red``, or ``red/white`` with its stripe behind.

    Parameters
    ----------
    found : object
        What the file holds.

    Returns
    -------
    str
        In small letters.

    Raises
    ------
    ValueError
        If one of the colours is none that wires have.

    Examples
    --------
    >>> parse_colour("Red/White")
    'red/white'
    """
    text = as_written(found).lower()
    for colour in text.split("/"):
        if colour not in COLOURS:
            raise ValueError(
                f'"{colour}" is no colour of a wire{did_you_mean(colour, COLOURS)}; '
                f"known: {', '.join(COLOURS)}; a stripe stands behind a slash: "
                "red/white"
            )
    return text


def _length_and_colour(text: str) -> tuple[str, str]:
    """Return what stands behind a wire's size: its length, and its colour if any."""
    length, _, last = text.strip().rpartition(" ")
    is_colour = last.lower() in COLOURS or ("/" in last and last[0].isalpha())
    if length and is_colour:
        return length, parse_colour(last)
    return text, ""


def parse_wire(found: object) -> WireSize:
    """Read a wire's size and length.

    Parameters
    ----------
    found : object
        What the file holds, such as ``"14 AWG 6 ft"``.

    Returns
    -------
    WireSize
        Its length with its cross-section or its resistance per metre.

    Raises
    ------
    ValueError
        If the text is no wire, the gauge doesn't exist, or the length isn't positive.

    Examples
    --------
    >>> parse_wire("2.5 mm2 2 m")
    WireSize(length_m=2.0, area_mm2=2.5, ohms_per_m=None, colour='', is_guessed=False)
    >>> parse_wire("about 2.5 mm2 2 m").is_guessed
    True
    """
    text = as_written(found)
    matched = _WIRE.fullmatch(text)
    if matched is None:
        raise ValueError(
            f"found {shown(found)}, expected a wire: size and length, "
            f"such as {WIRE_EXAMPLES}{_wire_instead(text)}"
        )
    if not matched["length"]:
        raise ValueError(f'wire "{text}" has no length; add it, such as `{text} 6 ft`')
    length, colour = _length_and_colour(matched["length"])
    is_guessed = matched["about"] is not None
    length_m = parse_positive(length, LENGTH)
    series = matched["series"].lower()
    if series.startswith("ohm"):
        per_length = parse_positive(f"{matched['size']} {series}", LINEAR_RESISTANCE)
        return WireSize(
            length_m=length_m,
            ohms_per_m=per_length,
            colour=colour,
            is_guessed=is_guessed,
        )
    return WireSize(
        length_m=length_m,
        area_mm2=_area_mm2(matched["size"], series),
        colour=colour,
        is_guessed=is_guessed,
    )


def _wire_instead(text: str) -> str:
    """Return what to write for a wire, with a length where that is missing."""
    meant = _WIRE.fullmatch(as_meant(text))
    instead = write_instead(text)
    if instead and meant is not None and not meant["length"]:
        return f"{instead} with its length behind it"
    return instead


def _area_mm2(size: str, series: str) -> float:
    """Return the cross-section of a size in its series."""
    if series in {"awg", "sae"}:
        gauge = _gauge(size, series.upper())
        return awg_area_mm2(gauge) if series == "awg" else sae_area_mm2(gauge)
    try:
        area_mm2 = float(size)
    except ValueError:
        raise ValueError(f'"{size} mm2" is not a number of mm2') from None
    if not SMALLEST_MM2 <= area_mm2 <= LARGEST_MM2:
        raise ValueError(
            f'"{size} mm2" can\'t be a wire; sizes go from '
            f"{SMALLEST_MM2:g} to {LARGEST_MM2:g} mm2"
        )
    return area_mm2


def _gauge(size: str, series: str) -> int:
    """Return a gauge as a number, 0 for 1/0 (or 0), -1 for 2/0 and so on."""
    noughts = re.fullmatch(r"([1-4])/0", size)
    if noughts:
        return 1 - int(noughts[1])
    if re.fullmatch(r"\d{1,2}", size):
        return int(size)
    raise ValueError(
        f'there is no {series} gauge "{size}"; gauges are whole numbers, or 1/0 to 4/0'
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """Where a terminal goes: straight onto another terminal, or by a wire to it."""

    to: str
    wire: WireSize | None


# A terminal, and the wire that leads to it, if any.
_VIA = re.compile(r"(?P<to>\S+)(?:\s+via\s+(?P<wire>.+))?")


def parse_connection(found: object) -> Connection:
    """Read ``terminal`` or ``terminal via size length``.

    Parameters
    ----------
    found : object
        What the file holds, such as ``"body-stud via 14 AWG 2 ft"``.

    Returns
    -------
    Connection
        The terminal and the wire, if any.

    Raises
    ------
    ValueError
        If the text has another form, or the wire is no wire.

    Examples
    --------
    >>> parse_connection("body-stud").to
    'body-stud'
    """
    wanted = "a terminal, or `terminal via size length` such as body via 14 AWG 2 ft"
    matched = _VIA.fullmatch(as_written(found))
    if matched is None:
        raise ValueError(f"found {shown(found)}, expected {wanted}")
    wire = parse_wire(matched["wire"]) if matched["wire"] else None
    return Connection(to=matched["to"], wire=wire)
