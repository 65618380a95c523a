"""Where a brace or bracket is missing in YAML text that its reader gave up on.

The reader notices only at the next entry, often a line or many later. An entry begins
on a line of its own and no deeper than the one before it, so the brace is missed before
that line.
"""

from __future__ import annotations

from dataclasses import dataclass

# What opens, and what closes it.
_PAIRS = {"{": "}", "[": "]"}


@dataclass(frozen=True, slots=True)
class OpenBrace:
    """A brace that nothing closes.

    Parameters
    ----------
    line, column : int
        Where the closing one is missing, counted from 0.
    opened_line, opened_column : int
        Where it opens, counted from 0.
    sign : str
        What opens.
    """

    line: int
    column: int
    opened_line: int
    opened_column: int
    sign: str

    @property
    def words(self) -> str:
        """What is missing, in words."""
        where = f"line {self.opened_line + 1}, column {self.opened_column + 1}"
        return f"`{_PAIRS[self.sign]}` is missing here; `{self.sign}` opens in {where}"


def open_brace(text: str) -> OpenBrace | None:
    r"""Return the first brace that is not closed where it should be.

    Parameters
    ----------
    text : str
        YAML.

    Returns
    -------
    OpenBrace or None
        None when every brace has its other half.

    Examples
    --------
    >>> open_brace("fan: {load: 3 A motor\\npump: 1").words
    '`}` is missing here; `{` opens in line 1, column 6'
    """
    opened: list[tuple[int, int, str]] = []
    end = (0, 0)
    depth = 0
    for number, line in enumerate(text.split("\n")):
        content = line.strip()
        if not content or content.startswith("#"):
            continue
        indent = len(line) - len(line.lstrip())
        if opened and indent <= depth and not content.startswith(("}", "]")):
            return _missing(opened, end)
        if not opened:
            depth = indent
        column = _scan(line, number, opened)
        if column is not None:
            return _missing(opened, (number, column))
        end = (number, _content_end(line))
    return _missing(opened, end) if opened else None


def _missing(opened: list[tuple[int, int, str]], end: tuple[int, int]) -> OpenBrace:
    line, column, sign = opened[-1]
    return OpenBrace(*end, line, column, sign)


def _scan(line: str, number: int, opened: list[tuple[int, int, str]]) -> int | None:
    """Take in one line; return where another brace closes than the one open."""
    quote = ""
    for column, sign in enumerate(line):
        before = line[:column].rstrip()[-1:]
        if quote:
            quote = "" if sign == quote else quote
        elif sign == "#" and line[:column].endswith((" ", "\t")):
            return None
        elif sign in "'\"" and before in {"", ":", ",", "{", "[", "-"}:
            quote = sign
        elif sign in _PAIRS and (opened or before in {"", ":", "-"}):
            opened.append((number, column, sign))
        elif sign in _PAIRS.values() and opened:
            if _PAIRS[opened[-1][2]] != sign:
                return column
            opened.pop()
    return None


def _content_end(line: str) -> int:
    """Return the column behind what a line holds, without its comment."""
    return len(line.partition(" #")[0].rstrip())
