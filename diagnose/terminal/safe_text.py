"""Text that is safe on a screen: no control codes, no direction tricks, no surprises.

Everything that comes from a file or a person passes through here before it is shown.
"""

from __future__ import annotations

import re
import unicodedata

# Control sequences (ESC [ ... final byte) and strings (ESC ] ... BEL or ST), as in
# Standard ECMA-48, 5th ed., Ecma International 1991.
_CONTROL_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"
    r"|(?:\x1b[\]PX^_]|[\x90\x98\x9d-\x9f]).*?(?:\x07|\x1b\\|\x9c|$)"
    r"|\x1b[ -/]*[0-~]",
    re.DOTALL,
)
# White space, line ends of every system included: all of it becomes one space.
_SPACES = re.compile(r"[ \t\r\n\v\f\u0085\u2028\u2029]+")
# What stands for a letter that a screen may not know. Own choice, as typed by hand.
_ASCII = str.maketrans(
    {
        "Ω": "ohm",
        "µ": "u",
        "μ": "u",
        "°": " deg ",
        "²": "2",
        "±": "+/-",
        "×": "x",
        "≤": "<=",
        "≥": ">=",
        "–": "-",
        "—": "-",
        "−": "-",
        "‘": "'",
        "’": "'",
        "“": '"',
        "”": '"',
        "…": "...",
        "·": "-",
        "→": "->",
        "\u00a0": " ",
    }
)


def clean(text: str) -> str:
    r"""Return the text on one line, without control codes and invisible characters.

    Examples
    --------
    >>> clean("pump\x1b[31m.plus\x07")
    'pump.plus'
    """
    if text.isprintable() and "  " not in text:
        return text.strip()  # most text by far; letter by letter takes long
    spaced = _SPACES.sub(" ", _CONTROL_SEQUENCE.sub("", text))
    # Cc: control; Cf: format, with the direction overrides; Cs: lone surrogates.
    return "".join(
        letter
        for letter in spaced
        if unicodedata.category(letter) not in ("Cc", "Cf", "Cs")
    ).strip()


def to_ascii(text: str) -> str:
    """Return the text in ASCII, for a screen that knows no other letters.

    Examples
    --------
    >>> to_ascii("0.4 Ω – joint")
    '0.4 ohm - joint'
    """
    folded = unicodedata.normalize("NFKD", text.translate(_ASCII))
    kept = "".join(letter for letter in folded if not unicodedata.combining(letter))
    return kept.encode("ascii", "replace").decode("ascii")
