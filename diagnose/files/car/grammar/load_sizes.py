"""Loads and fuses as written in a car file: `7 A motor`, `60 A slow-fuse`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.files.common_words import as_meant, write_instead
from diagnose.files.grammar import shown
from diagnose.files.quantities import (
    CURRENT,
    POWER,
    Measure,
    parse_positive,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadSize:
    """A load as written: its kind, and the parameter and amount that give its size."""

    kind: str
    parameter: str
    amount: float


# The word for a load to its kind of part, the parameter that gives its size, and the
# measure of that.
_LOAD_WORDS: Mapping[str, tuple[str, str, Measure]] = MappingProxyType(
    {
        "motor": ("motor", "motor_amps", CURRENT),
        "load": ("load", "load_amps", CURRENT),
        "electronics": ("electronics", "load_amps", CURRENT),
        "lamp": ("lamp", "lamp_watts", POWER),
        "lamps": ("lamp", "lamp_watts", POWER),
        "led-lamp": ("led-lamp", "led_watts", POWER),
        "led-lamps": ("led-lamp", "led_watts", POWER),
    }
)


# What a message about a load shows.
LOAD_EXAMPLES = "7 A motor, 110 W lamps, 3 W led-lamp, 1 A electronics or 5 A load"


def parse_load(found: object) -> LoadSize:
    """Read a load's size and kind.

    Parameters
    ----------
    found : object
        What the file holds, such as ``"7 A motor"``.

    Returns
    -------
    LoadSize
        The load.

    Raises
    ------
    ValueError
        If the text is not an amount followed by a kind of load.

    Examples
    --------
    >>> parse_load("110 W lamps")
    LoadSize(kind='lamp', parameter='lamp_watts', amount=110.0)
    """
    text = found.strip() if isinstance(found, str) else ""
    amount, _, word = text.rpartition(" ")
    if word not in _LOAD_WORDS or not amount:
        raise ValueError(
            f"found {shown(found)}, expected a load: size and kind, "
            f"such as {LOAD_EXAMPLES}{_load_instead(text)}"
        )
    kind, parameter, measure = _LOAD_WORDS[word]
    return LoadSize(
        kind=kind, parameter=parameter, amount=parse_positive(amount, measure)
    )


def _load_instead(text: str) -> str:
    """Return what to write for a load where that is known, or where it is counted."""
    amount, _, word = as_meant(text).rpartition(" ")
    if word in _LOAD_WORDS and amount.replace(".", "").isdigit():
        usual = "42 W" if _LOAD_WORDS[word][2] is POWER else "5 A"
        return f"; write what it takes in all, such as `{usual} {word}`"
    return write_instead(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseSize:
    """A fuse as written: its kind and its rating in amps."""

    kind: str
    rating_amps: float


def parse_fuse(found: object) -> FuseSize:
    """Read ``15 A``, ``60 A slow-fuse``, ``30 A breaker`` or ``60 A fusible-link``.

    Parameters
    ----------
    found : object
        What the file holds.

    Returns
    -------
    FuseSize
        A plain fuse when no kind is given.

    Raises
    ------
    ValueError
        If there is no current, or the kind is unknown.

    Examples
    --------
    >>> parse_fuse("30 A breaker")
    FuseSize(kind='breaker', rating_amps=30.0)
    """
    text = found.strip() if isinstance(found, str) else found
    kind = "fuse"
    if isinstance(text, str):
        words = text.rsplit(" ", 1)
        if words[-1] in PROTECTIVE_KINDS:
            kind = words[-1]
            text = words[0] if len(words) > 1 else ""
    return FuseSize(kind=kind, rating_amps=parse_positive(text, CURRENT))
