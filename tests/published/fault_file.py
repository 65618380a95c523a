"""The published faults as records, read from ``faults.yaml`` beside this module."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import yaml

FAULTS = Path(__file__).with_name("faults.yaml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """One observation of a page.

    Parameters
    ----------
    typed : str
        The line as typed.
    saw : str
        The same in words.
    decides : tuple[str, ...]
        Patterns of the steps that would have told as much; empty unless it decided.
    """

    typed: str
    saw: str
    decides: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedFault:
    """What a page tells of one fault; the fields are those of the file."""

    name: str
    subject: str
    car: str
    says: str
    complaint: str
    lacks: str
    history: Mapping[str, str]
    told: tuple[Observed, ...]
    cured_by: str
    cures: tuple[str, ...]
    is_unseen: bool = False

    @property
    def deciding(self) -> Observed | None:
        """The observation that decided; None where a look into the wiring did."""
        return next((seen for seen in self.told if seen.decides), None)

    def is_cure(self, cause: str) -> bool:
        """Return whether mending a cause counts as what cured the car."""
        return any(fnmatchcase(cause, pattern) for pattern in self.cures)


def published_faults() -> tuple[PublishedFault, ...]:
    """Return every published fault, in the order of the file."""
    found = yaml.safe_load(FAULTS.read_text(encoding="utf-8"))
    return tuple(_fault(entry) for entry in found)


def _fault(entry: dict[str, Any]) -> PublishedFault:
    known = {"page", *_KEYS}
    unknown = set(entry) - known
    assert not unknown, f"{entry['name']}: unknown keys {sorted(unknown)}"
    return PublishedFault(
        name=entry["name"],
        subject=entry["subject"],
        car=entry["car"],
        says=entry["says"],
        complaint=entry.get("complaint", ""),
        lacks=entry.get("lacks", ""),
        history=entry.get("history", {}),
        told=tuple(_observed(seen) for seen in entry["told"]),
        cured_by=entry["cured-by"],
        cures=tuple(entry["cures"]),
        is_unseen=entry.get("unseen", False),
    )


_KEYS = (
    "name",
    "subject",
    "car",
    "says",
    "complaint",
    "lacks",
    "history",
    "told",
    "cured-by",
    "cures",
    "unseen",
)


def _observed(entry: dict[str, Any]) -> Observed:
    return Observed(
        typed=entry["type"],
        saw=entry["saw"],
        decides=tuple(entry.get("decides", ())),
    )
