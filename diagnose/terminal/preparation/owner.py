"""What is known of the owner when a case begins: from his file and the command line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from platformdirs import user_config_path

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.files.owner_file import OWNER_FILE, Owner, load_owner
from diagnose.session.facts import Fact, LimitFact, TakesFact
from diagnose.terminal.names import known_name


def default_owner_file() -> Path:
    """Return where an owner says once for all what he lacks."""
    return user_config_path("diagnose", appauthor=False) / OWNER_FILE


def told_of_owner(
    car: Car, knowledge: Knowledge, *, without: Sequence[str], path: Path | None
) -> tuple[tuple[Fact, ...], tuple[str, ...]]:
    """Return what a new case begins with, and what of the file this car has not.

    Parameters
    ----------
    without : Sequence[str]
        From the command line.
    path : Path or None
        The owner's file; None for that of his config folder, which may be missing.

    Raises
    ------
    DiagnoseError
        If the file is wrong, or something lacks that nobody asks for.
    """
    limits = {limit.name: limit.says for limit in knowledge.effort.limits.values()}
    owner = _owner(path, limits)
    typed = [known_name(name, limits, "limit") for name in without]
    lacking = dict.fromkeys((*owner.without, *typed))
    known = {*car.places, *(state.name for state in car.states)}
    if owner.takes.keys() - known:
        known |= {cause.name for cause in catalogue(car, knowledge.modes)}
    facts: list[Fact] = [LimitFact(limit=name, is_lacking=True) for name in lacking]
    facts.extend(_takes(owner, known))
    foreign = [name for name in owner.takes if name not in known]
    remarks = [
        f"This car has no {name}; what it takes is left out." for name in foreign
    ]
    return tuple(facts), tuple(remarks)


def _takes(owner: Owner, known: set[str]) -> Iterator[TakesFact]:
    for subject, minutes in owner.takes.items():
        if subject in known:
            yield TakesFact(subject=subject, minutes=minutes)


def _owner(path: Path | None, limits: Mapping[str, str]) -> Owner:
    chosen = default_owner_file() if path is None else path
    if not chosen.is_file():
        if path is not None:
            raise DiagnoseError(f"{path}: no such file")
        return Owner(takes={})
    return load_owner(chosen, limits=limits)
