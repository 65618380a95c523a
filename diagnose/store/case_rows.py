"""A case and its facts as they lie in the database."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

# The fields of a fact.
FactContent = Mapping[str, str | float | bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """One fact as it is stored.

    Parameters
    ----------
    kind : str
        Which record it is (``reading``, ``undo`` ...).
    content : FactContent
        The record's fields; JSON on disk.
    """

    kind: str
    content: FactContent


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredCase:
    """One case without its facts.

    Parameters
    ----------
    name : str
        What ``resume`` takes.
    car_path, car_digest : str
        The car file, and the SHA-256 of its text when the case began.
    created_at, latest_at : str
        ISO 8601 with offset.
    standing : str
        Where the case stood after its latest fact, in words.
    fact_count : int
        Rows stored, undone ones and undos included.
    at_step : str
        Name of the step on the page that was shown last; empty for none.
    """

    number: int
    name: str
    car_path: str
    car_digest: str
    created_at: str
    latest_at: str
    standing: str
    fact_count: int
    at_step: str = ""


def to_json(row: FactRow) -> str:
    """Return the fields of a fact as text."""
    return json.dumps(dict(row.content), ensure_ascii=False, allow_nan=False)


def from_json(content: str) -> FactContent:
    """Return the fields of a fact; none where the row was spoilt by hand."""
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def stored_case(
    row: tuple[int, str, str, str, str, str, str, int, str],
) -> StoredCase:
    """Return the case that a row of the table of cases holds."""
    number, name, path, digest, created_at, latest_at, standing, count, step = row
    return StoredCase(
        number=number,
        name=name,
        car_path=path,
        car_digest=digest,
        created_at=created_at,
        latest_at=latest_at,
        standing=standing,
        fact_count=count,
        at_step=step,
    )
