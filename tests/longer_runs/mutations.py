"""Random changes to a text, such as slips, bad copies and bad disks make."""

from __future__ import annotations

import random
import re

# Put in anywhere: what readers of YAML and JSON stumble over.
ODDITIES = list("{}[]:-,#'\"|>%@`\\?~ \n\t\r\0äΩ😀\ufeff\u2028\ud800")
ODDITIES += [
    "&a ",
    "*a",
    "!!",
    "<<: ",
    "---\n",
    "...\n",
    ": ",
    "- ",
    "null",
    "true",
    "no",
]
ODDITIES += ["NaN", ".inf", "-.inf", "1e999", "1e-999", "-1", "0", "0x10", "1_000", ""]
ODDITIES += ["2001-01-01", "!!python/object/apply:os.system", "\x1b[2J", "9" * 400]
_TOKEN = re.compile(r"[\w.-]+|\s+|[^\w\s]")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def mutated(text: str, chance: random.Random, *, most: int = 4) -> str:
    """Return a text changed at one to some places.

    Parameters
    ----------
    text : str
        Sound.
    chance : random.Random
        Where and how.
    most : int
        The largest number of changes.
    """
    for _ in range(chance.randint(1, most)):
        text = chance.choice(_CHANGES)(text, chance)
    return text


def _odd(text: str, chance: random.Random) -> str:
    at = chance.randint(0, len(text))
    return text[:at] + chance.choice(ODDITIES) + text[at:]


def _cut(text: str, chance: random.Random) -> str:
    at = chance.randint(0, len(text))
    return text[:at] + text[at + chance.choice((1, 1, 2, 5, 20, 200)) :]


def _other_token(text: str, chance: random.Random) -> str:
    found = list(_TOKEN.finditer(text))
    if not found:
        return text
    old, new = chance.choice(found), chance.choice(found)
    return text[: old.start()] + new.group() + text[old.end() :]


def _other_number(text: str, chance: random.Random) -> str:
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    old = chance.choice(found)
    number = float(old.group()) * chance.choice((0, -1, 1e-9, 0.1, 0.5, 2, 10, 1e9))
    new = chance.choice((f"{number:g}", f"{number:g}", chance.choice(ODDITIES)))
    return text[: old.start()] + new + text[old.end() :]


def _lines_moved(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    if len(lines) < 2:
        return text
    line = lines[chance.randrange(len(lines))]
    way = chance.random()
    if way < 0.4:
        lines.remove(line)
    elif way < 0.7:
        lines.insert(chance.randrange(len(lines)), line)
    else:
        at = chance.randrange(len(lines))
        lines[at] = " " * chance.randint(0, 6) + lines[at].lstrip(" ")
    return "".join(lines)


_CHANGES = (_odd, _cut, _other_token, _other_number, _lines_moved)
