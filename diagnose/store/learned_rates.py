"""What was learned, as numbered files in the data folder; the latest one holds.

Plain JSON that a person can read; taking the latest away undoes it. Leaves what the
numbers mean to `inference.learning`, and whether they fit the published rates in
use to `terminal`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from diagnose.errors import StoreError
from diagnose.inference.learning.factors import Learned, LearnedShare
from diagnose.store.private_file import replace_private_file

# The folder in the data folder that holds what was learned.
LEARNED_FOLDER = "learned"

# What reading something else than what was written may raise.
_UNREADABLE = (
    OSError,
    ValueError,
    KeyError,
    TypeError,
    AttributeError,
    RecursionError,
    OverflowError,
)

# The version of the files that this program writes and reads. [1]
FORMAT = 1


def latest_learned(folder: Path) -> Learned | None:
    """Return what was learned last.

    Parameters
    ----------
    folder : Path
        The data folder.

    Returns
    -------
    Learned or None
        None when nothing was learned.

    Raises
    ------
    StoreError
        If its file can't be read.
    """
    files = _files(folder)
    if not files:
        return None
    path = files[-1]
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return _learned(data)
    except _UNREADABLE as error:
        raise StoreError(
            f"{path}: can't be read ({error}); take it back by: diagnose learn --undo"
        ) from error


def keep_learned(folder: Path, learned: Learned) -> Path:
    """Keep what was learned; what was kept before stays for the undo.

    Parameters
    ----------
    folder : Path
        The data folder.
    learned : Learned
        What was learned.

    Returns
    -------
    Path
        Its file.

    Raises
    ------
    StoreError
        If the folder can't be written.
    """
    files = _files(folder)
    number = int(files[-1].stem) + 1 if files else 1
    path = folder / LEARNED_FOLDER / f"{number:04d}.json"
    content = json.dumps({"learned-shares": FORMAT, **_plain(learned)}, indent=1)
    replace_private_file(path, content + "\n")
    return path


def undo_learned(folder: Path) -> bool:
    """Take what was learned last away.

    Parameters
    ----------
    folder : Path
        The data folder.

    Returns
    -------
    bool
        False when nothing was learned.

    Raises
    ------
    StoreError
        If it can't be removed.
    """
    files = _files(folder)
    if not files:
        return False
    try:
        files[-1].unlink()
    except OSError as error:
        raise StoreError(f"{files[-1]}: {error.strerror or error}") from error
    return True


def _files(folder: Path) -> list[Path]:
    """Return the files in the order they were written."""
    learned = folder / LEARNED_FOLDER
    try:
        found = [path for path in learned.glob("*.json") if path.stem.isdecimal()]
    except OSError as error:
        raise StoreError(f"{learned}: {error.strerror or error}") from error
    return sorted(found, key=lambda path: int(path.stem))


def _plain(learned: Learned) -> dict[str, Any]:
    return {
        "cases": learned.n_cases,
        "published-cases": learned.published_cases,
        "rates-digest": learned.rates_digest,
        "shares": [asdict(share) for share in learned.shares],
    }


def _learned(data: Mapping[str, Any]) -> Learned:
    if data["learned-shares"] != FORMAT:
        raise ValueError(f"format {data['learned-shares']}, this one reads {FORMAT}")
    return Learned(
        n_cases=int(data["cases"]),
        published_cases=float(data["published-cases"]),
        rates_digest=str(data["rates-digest"]),
        shares=tuple(
            LearnedShare(
                kind=str(share["kind"]),
                modes=tuple(str(mode) for mode in share["modes"]),
                seen=float(share["seen"]),
                expected=float(share["expected"]),
                factor=_positive(share["factor"]),
            )
            for share in data["shares"]
        ),
    )


def _positive(number: float) -> float:
    if not 0.0 < float(number) < float("inf"):
        raise ValueError(f"factor {number} is not a positive number")
    return float(number)
