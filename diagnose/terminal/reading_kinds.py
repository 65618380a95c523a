"""What a screen knows of each kind of reading: how it is answered, how it is written.

The one place for it. The unit of a kind is `ReadingKind.unit`, the words for a value
are those of `session.words.wording`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from diagnose.errors import ReadingError
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import ReadingKind
from diagnose.typed_readings import Measured, parse_measured, parse_reading
from diagnose.units import Unit, check_range

# What a kind without a unit is told in, and the value that stands for each word.
TOLD_IN_WORDS: Mapping[ReadingKind, Mapping[str, float]] = MappingProxyType(
    {
        ReadingKind.LOOK: MappingProxyType({"blown": 1.0, "sound": 0.0}),
        ReadingKind.LAMP: GRADES,
    }
)

# What else may be typed after a look at a fuse. Own choice: "is it blown?" comes to
# mind as easily as "blown or sound?".
_ALSO_BLOWN = MappingProxyType(
    {
        **{"yes": 1.0, "y": 1.0, "gone": 1.0},
        **{"good": 0.0, "ok": 0.0, "fine": 0.0, "intact": 0.0, "no": 0.0, "n": 0.0},
    }
)

# The words that may be typed for each of these kinds.
_TYPED_WORDS: Mapping[ReadingKind, Mapping[str, float]] = MappingProxyType(
    {
        **TOLD_IN_WORDS,
        ReadingKind.LOOK: {**TOLD_IN_WORDS[ReadingKind.LOOK], **_ALSO_BLOWN},
    }
)

# How these words are asked for.
_WORDS_ASKED = MappingProxyType(
    {ReadingKind.LOOK: "blown or sound", ReadingKind.LAMP: "lit, dim or dark"}
)

# What the meter shows of each kind, and an example of it. Own choice: values of a
# sound 12 V car, and an over-range resistance.
_NUMBERS_ASKED = MappingProxyType(
    {
        ReadingKind.DC_VOLTS: ("volts", "12.4"),
        ReadingKind.AC_VOLTS: ("AC volts", "0.035"),
        ReadingKind.OHMS: ("ohms", "0.3 or OL"),
        ReadingKind.AMPS: ("amps", "7.2"),
        ReadingKind.FUSE: ("millivolts", "3.2"),
    }
)

# What a value is taken for that was typed with its unit alone.
_KIND_OF_UNIT = MappingProxyType(
    {
        Unit.VOLTS: ReadingKind.DC_VOLTS,
        Unit.OHMS: ReadingKind.OHMS,
        Unit.AMPS: ReadingKind.AMPS,
    }
)

# Decimals in a table: what a hand-held meter shows on its lowest ranges; finer digits
# would be invented. Rule of the trade.
TABLE_DECIMALS = MappingProxyType(
    {ReadingKind.DC_VOLTS: 2, ReadingKind.AC_VOLTS: 3, ReadingKind.OHMS: 1}
)

# Kinds that a command names by a word of their own; a look has a command of its own.
NAMED_KINDS: Mapping[str, ReadingKind] = MappingProxyType(
    {kind.value: kind for kind in ReadingKind if kind is not ReadingKind.LOOK}
)

# Every word that may answer some reading.
ANSWER_WORDS = frozenset(word for words in _TYPED_WORDS.values() for word in words)


def typed_value(text: str, kind: ReadingKind) -> Measured:
    """Return the value of a reading from what was typed for it.

    Parameters
    ----------
    text : str
        A number, with its unit or as the meter shows it (along a fuse in millivolts),
        or a word such as ``blown`` or ``lit``.
    kind : ReadingKind
        What the meter was set to.

    Returns
    -------
    Measured
        The value in the unit of its kind. [V, Ω or A; 1 for what is told in words]

    Raises
    ------
    ReadingError
        If it does not answer such a reading, or no car could give it.

    Examples
    --------
    >>> typed_value("blown", ReadingKind.LOOK).value
    1.0
    >>> typed_value("3.2", ReadingKind.FUSE).value
    0.0032
    """
    if kind.unit is None:
        return Measured(value=_value_of_word(text, kind), unit=None)
    if kind is ReadingKind.FUSE and parse_measured(text).unit is None:
        # the meter is on millivolts, and that is what it shows
        shown = parse_measured(text)
        volts = 1e-3 * shown.value
        check_range(volts, kind.unit)
        return Measured(value=volts, unit=kind.unit, rounded_to=1e-3 * shown.rounded_to)
    return parse_reading(text, kind.unit)


def kind_and_value(
    text: str, asked: ReadingKind | None, *, bare: Unit = Unit.VOLTS
) -> tuple[ReadingKind, Measured]:
    """Return what kind of reading was told, and its value.

    Parameters
    ----------
    text : str
        As for `typed_value`.
    asked : ReadingKind or None
        What the meter was set to; None where only the value tells it, by its unit or
        its word.
    bare : Unit
        What a number without a unit is then in.

    Raises
    ------
    ReadingError
        As `typed_value`.
    """
    if asked is not None:
        return asked, typed_value(text, asked)
    if text.split(maxsplit=1)[0].lower() in GRADES:
        return ReadingKind.LAMP, typed_value(text, ReadingKind.LAMP)
    kind = _KIND_OF_UNIT[parse_measured(text).unit or bare]
    return kind, typed_value(text, kind)


def answer_words(kind: ReadingKind) -> str:
    """Return what answers a reading, for a message.

    Examples
    --------
    >>> answer_words(ReadingKind.OHMS)
    'the ohms the meter shows, such as 0.3 or OL'
    """
    if kind in _WORDS_ASKED:
        return _WORDS_ASKED[kind]
    quantity, example = _NUMBERS_ASKED[kind]
    return f"the {quantity} the meter shows, such as {example}"


def key_words(kind: ReadingKind) -> str:
    """Return what can be typed for a reading, for the last line of a page."""
    return _WORDS_ASKED.get(kind, "the number")


def prompt_word(kind: ReadingKind) -> str:
    """Return the word before the cursor where a reading is asked for."""
    return "blown" if kind is ReadingKind.LOOK else kind.value


def _value_of_word(text: str, kind: ReadingKind) -> float:
    """Return the value that a word stands for."""
    words = _TYPED_WORDS[kind]
    if text.lower() not in words:
        raise ReadingError(f'"{text}" does not answer this; type {_WORDS_ASKED[kind]}')
    return words[text.lower()]
