"""Reads what an owner lacks and what takes him longer, told once for all his cases.

Leaves to `session` what follows from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

from pydantic import Field, ValidationError

from diagnose.errors import InvalidFileError, ReadingError, did_you_mean
from diagnose.files.grammar import Entry, grammar_problems, keys_of
from diagnose.files.yaml_positions import read_document
from diagnose.units import check_minutes

# The name of an owner's file in his configuration folder.
OWNER_FILE = "owner.yaml"

# What a step takes. [min]
Minutes = Annotated[float, Field(ge=0, allow_inf_nan=False)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Owner:
    """One owner.

    Parameters
    ----------
    without : tuple[str, ...]
        Limits by name.
    takes : Mapping[str, float]
        Place, state or cause to what it takes him. [min]
    """

    without: tuple[str, ...] = ()
    takes: Mapping[str, float]


class _OwnerEntry(Entry):
    """The grammar of the file."""

    without: list[str] = Field(default_factory=list)
    takes: dict[str, Minutes] = Field(default_factory=dict)


def _refusal(minutes: float) -> str:
    """Return why nobody spends that time on a step; empty for one that is spent."""
    try:
        check_minutes(minutes)
    except ReadingError as error:
        return str(error)
    return ""


def load_owner(path: Path, *, limits: Mapping[str, str]) -> Owner:
    """Read an owner's file.

    Parameters
    ----------
    path : Path
        The file, YAML 1.2.
    limits : Mapping[str, str]
        What an owner may lack, name to the words for it.

    Returns
    -------
    Owner
        What it says.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with it. A place or a cause may be one of another
        car of his, so those are not looked up here.
    """
    document = read_document(path, wanted="owner file")
    problems = list(document.problems)
    try:
        found = _OwnerEntry.model_validate(document.data)
    except ValidationError as error:
        known = keys_of(_OwnerEntry)
        problems.extend(grammar_problems(error, document, known=known))
        raise InvalidFileError(tuple(problems)) from error
    problems.extend(
        document.problem(
            ("without", place),
            f'"{name}" is no limit{did_you_mean(name, limits)}; there are: '
            f"{', '.join(limits)}",
        )
        for place, name in enumerate(found.without)
        if name not in limits
    )
    problems.extend(
        document.problem(("takes", name), f"{name}: {reason}")
        for name, minutes in found.takes.items()
        if (reason := _refusal(minutes))
    )
    if problems:
        raise InvalidFileError(tuple(problems))
    return Owner(without=tuple(found.without), takes=MappingProxyType(found.takes))
