"""What the grammar finds wrong, in words and with positions, all in one pass.

An entry that is wrong is left out of a second reading, so that the rest of the file is
still checked. Leaves the grammar itself to `entries`.
"""

from __future__ import annotations

import copy
import typing
from collections.abc import Mapping
from types import UnionType
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from diagnose.errors import FileProblem, did_you_mean
from diagnose.files.car.grammar.entries import SECTIONS_OF_ENTRIES, CarEntry
from diagnose.files.grammar import shown
from diagnose.files.yaml_positions import Document, Location, Plain

# From how many problems on the nearest known name is no longer looked for, which takes
# long. [1] Own choice: more than are told.
MOST_HINTED = 200

# Stands for every name, when a whole section could not be read.
ANY_NAME = "*"


def read_entries(
    document: Document,
) -> tuple[CarEntry, frozenset[str], tuple[FileProblem, ...]]:
    """Return the entries of a car file that follow the grammar.

    Parameters
    ----------
    document : Document
        The file.

    Returns
    -------
    CarEntry
        The car without the wrong entries; a stand-in for a wrong required section.
    frozenset[str]
        Names of the entries left out.
    tuple[FileProblem, ...]
        All that is wrong.
    """
    problems: list[FileProblem] = []
    wrong: list[Location] = list(_empty_values(document.data, ()))
    problems.extend(
        document.problem(
            place, f'"{place[-1]}" has no value; give one or delete it', of_key=True
        )
        for place in wrong
    )
    try:
        return CarEntry.model_validate(document.data), frozenset(), tuple(problems)
    except ValidationError as error:
        known_wrong = set(wrong)
        for details in error.errors(include_url=False, include_context=True):
            place, of_key = _place(document, details)
            if place in known_wrong:
                continue
            is_hinted = len(problems) < MOST_HINTED
            message = _message(details, is_hinted=is_hinted)
            problems.append(document.problem(place, message, of_key=of_key))
            wrong.append(place or details["loc"])
            known_wrong.add(wrong[-1])
    rest, broken = _without(document.data, wrong)
    return CarEntry.model_validate(rest), broken, tuple(problems)


def _empty_values(data: Plain, location: Location) -> list[Location]:
    """Return the places of keys that have no value."""
    if data is None:
        return [location]
    if isinstance(data, dict):
        return [
            place
            for key, value in data.items()
            for place in _empty_values(value, (*location, key))
        ]
    if isinstance(data, list):
        return [
            place
            for index, value in enumerate(data)
            for place in _empty_values(value, (*location, index))
        ]
    return []


def _without(
    data: dict[str, Plain], wrong: list[Location]
) -> tuple[dict[str, Plain], frozenset[str]]:
    """Return the file without its wrong entries, and the names of those."""
    rest = copy.deepcopy(data)
    broken: set[str] = set()
    for place in wrong:
        section = str(place[0])
        entries = rest.get(section)
        if section in SECTIONS_OF_ENTRIES and len(place) > 1:
            broken.add(str(place[1]))
            if isinstance(entries, dict):
                entries.pop(str(place[1]), None)
        elif section in _STAND_INS:
            broken.add(section)
            rest[section] = copy.deepcopy(_STAND_INS[section])
        else:
            broken.add(ANY_NAME if section in SECTIONS_OF_ENTRIES else section)
            rest.pop(section, None)
    if not rest.get("places"):
        broken.add("places")
        rest["places"] = copy.deepcopy(_STAND_INS["places"])
    return rest, frozenset(broken)


# What stands in for a required section that is wrong, so that checking can go on.
_STAND_INS: Mapping[str, Plain] = {
    "car-file": 1,
    "title": "unknown",
    "system": "12 V",
    "places": {"places": "0 min"},
    "metal": {"body": "places", "engine": "places"},
    "battery": {"place": "places"},
}


def _place(document: Document, details: ErrorDetails) -> tuple[Location, bool]:
    """Return where an error stands in the file, and whether its key is meant."""
    location: Location = details["loc"]
    if location and location[-1] == "[key]":
        return location[:-1], True
    of_key = details["type"] in {"extra_forbidden", "missing"}
    while location and location not in document.values:
        location = location[:-1]
        of_key = details["type"] == "missing"
    return location, of_key


def _message(details: ErrorDetails, *, is_hinted: bool) -> str:
    """Return what was found and what was expected, in words."""
    location = details["loc"]
    kind = details["type"]
    name = _entry_words(location)
    if kind == "extra_forbidden":
        if not is_hinted:
            return f"unknown key {shown(str(location[-1]))}"
        known = _known_keys(location[:-1])
        return (
            f'unknown key "{location[-1]}"{did_you_mean(str(location[-1]), known)}; '
            f"known: {', '.join(known)}"
        )
    if kind == "missing":
        return f'{name}key "{location[-1]}" is missing'
    if kind == "value_error":
        return f"{name}{details['ctx']['error']}"
    if location[-1] == "[key]":
        return (
            f'"{location[-2]}" can\'t be a name; use small letters, digits and '
            "hyphens, starting with a letter"
        )
    found = shown(details["input"])
    if kind == "literal_error" and location == ("car-file",):
        return f"car-file is {found}; this program reads car-file 1"
    expected = _EXPECTED.get(kind)
    if kind == "literal_error":
        expected = str(details["ctx"]["expected"]).replace("'", "")
    if expected is None:
        expected = details["msg"][:1].lower() + details["msg"][1:]
    return f"{name}found {found}, expected {expected}"


# What pydantic calls an error, and what was expected instead. Own words.
_EXPECTED = {
    "string_type": "text",
    "string_too_short": "some text",
    "string_pattern_mismatch": "a name: small letters, digits and hyphens",
    "dict_type": "a mapping (keys with values)",
    "model_type": "a mapping (keys with values)",
    "list_type": "a list, such as [run, crank]",
    "bool_type": "true or false",
    "too_short": "at least one entry",
}


def _entry_words(location: Location) -> str:
    """Return ``circuit "fan": `` for a place inside the entry of that name."""
    if len(location) < 2 or location[0] not in SECTIONS_OF_ENTRIES:
        return f"{location[0]}: " if len(location) > 1 else ""
    if location[1] == "[key]":
        return ""
    singular = str(location[0]).removesuffix("s").replace("switche", "switch")
    return f'{singular} "{location[1]}": '


def _known_keys(location: Location) -> tuple[str, ...]:
    """Return the keys that an entry may have."""
    model: Any = CarEntry
    for step in location:
        if isinstance(model, type) and issubclass(model, BaseModel):
            fields = {
                field.alias: field.annotation for field in model.model_fields.values()
            }
            model = _unwrapped(fields.get(str(step)))
        else:
            model = _unwrapped(typing.get_args(model)[-1])
    if not (isinstance(model, type) and issubclass(model, BaseModel)):
        return ()
    return tuple(str(field.alias) for field in model.model_fields.values())


def _unwrapped(annotation: Any) -> Any:
    """Return an annotation without ``| None``."""
    if isinstance(annotation, UnionType):
        return next(one for one in typing.get_args(annotation) if one is not type(None))
    return annotation
