"""What the grammars of all files share: strict entries, and words for what is wrong.

A grammar is a pydantic model for each kind of entry. What pydantic finds becomes one
problem each, with line and column, in the words of "found this, expected that". Leaves
the entries to each kind of file. A car file words most of its problems itself
(`car.grammar.entry_problems`), as it can name the entry.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError

from diagnose.errors import FileProblem, did_you_mean
from diagnose.files.yaml_positions import Document, Location

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails


# Text with something in it, without spaces around it.
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]

# Names that are plain identifiers: those of the Bayesian network, so that other
# programs can read it.
IDENTIFIER_PATTERN = "^[a-z][a-z0-9_]*$"

# Classes of fault modes, ``KIND.MODE`` with ``*`` for any letters.
MODES_PATTERN = r"^[a-z*][a-z*-]*\.[a-z*][a-z0-9_*]*$"

# All other names, such as those of parts and states.
KEY_PATTERN = "^[a-z][a-z0-9-]*$"

# A name by `KEY_PATTERN`.
Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN)]

# What pydantic calls an error, and what was expected instead. Own words.
_EXPECTED = {
    "string_type": "text; put it in quotes",
    "string_too_short": "some text",
    "float_type": "a number",
    "int_type": "a whole number",
    "finite_number": "a finite number",
    "bool_type": "true or false",
    "dict_type": "keys with values",
    "model_type": "keys with values",
    "list_type": "a list",
    "greater_than": "a number greater than {gt:g}",
    "greater_than_equal": "a number of at least {ge:g}",
    "less_than": "a number less than {lt:g}",
    "less_than_equal": "a number of at most {le:g}",
    "too_short": "at least {min_length} of them",
    "too_long": "at most {max_length} of them",
}

# How much of a text a message shows. [characters] Own choice: most of a line.
LONGEST_SHOWN = 60

# Pattern of a name, and how it is said. Own words.
_NAME_WORDS = {
    IDENTIFIER_PATTERN: "a plain identifier: a-z, 0-9 and _, a letter first",
    MODES_PATTERN: "KIND.MODE, with * for any letters",
    KEY_PATTERN: "a name of a-z, 0-9 and -, a letter first",
}


class Entry(BaseModel):
    """Any entry of any file: no unknown key, no type guessed from another, frozen."""

    # checks are built when a file is first read, those of its entries with its own;
    # at import each entry's would be built once more, which no file needs
    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, defer_build=True
    )


def keys_of(base: type[BaseModel]) -> frozenset[str]:
    """Return every key that a file made of a model and its subclasses can have.

    Parameters
    ----------
    base : type[BaseModel]
        The common parent of a file's entries; its own keys count too.

    Returns
    -------
    frozenset[str]
        As they are written in the file.
    """
    keys = {field.alias or name for name, field in base.model_fields.items()}
    return frozenset(keys.union(*(keys_of(model) for model in base.__subclasses__())))


def grammar_problems(
    error: ValidationError, document: Document, *, known: Collection[str]
) -> Iterator[FileProblem]:
    """Yield what is wrong with a file's entries, where it stands.

    Parameters
    ----------
    error : ValidationError
        All that pydantic found.
    document : Document
        The file.
    known : Collection[str]
        Every key of its grammar, for the nearest to an unknown one.
    """
    for detail in error.errors(include_url=False):
        location: Location = detail["loc"]
        is_key = detail["type"] in {"extra_forbidden", "missing"}
        if location and location[-1] == "[key]":
            location, is_key = location[:-1], True
        if detail["type"] == "missing":
            location = location[:-1]
        yield document.problem(location, grammar_message(detail, known), of_key=is_key)


def grammar_message(detail: ErrorDetails, known: Collection[str]) -> str:
    """Return what was found and what was expected, in plain words.

    Parameters
    ----------
    detail : ErrorDetails
        One error of pydantic.
    known : Collection[str]
        Every key of the grammar, for the nearest to an unknown one.
    """
    name = next((str(key) for key in reversed(detail["loc"]) if key != "[key]"), "")
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "missing":
        return f'"{name}" is missing'
    if kind == "extra_forbidden":
        return f'"{name}" is not known here{did_you_mean(name, known)}'
    if kind == "value_error":
        return str(context["error"])
    found = f"{name}: found {shown(detail['input'])}, expected "
    if kind == "literal_error":
        return found + str(context["expected"]).replace("'", "")
    if kind == "string_pattern_mismatch":
        return found + _NAME_WORDS.get(str(context["pattern"]), "a plain name")
    wanted = _EXPECTED.get(kind)
    if wanted is None:
        return f"{name}: {detail['msg']}"
    return found + wanted.format(**context)


def shown(found: object) -> str:
    """Return how a message names what a file holds.

    Parameters
    ----------
    found : object
        A value as it was read.

    Examples
    --------
    >>> shown("12"), shown(12), shown([])
    ('"12"', '12', 'a list')
    """
    if found is None:
        return "nothing"
    if isinstance(found, str):
        cut = found if len(found) <= LONGEST_SHOWN else f"{found[:LONGEST_SHOWN]}..."
        return f'"{cut}"'
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, list):
        return "a list"
    if isinstance(found, dict):
        return "a mapping (keys with values)"
    return str(found)
