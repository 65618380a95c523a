"""A file in the data folder that only its owner can read."""

from __future__ import annotations

from pathlib import Path

from diagnose.errors import StoreError


def private_file(folder: Path, name: str) -> Path:
    """Return a file of a folder, both made when they are not there.

    Raises
    ------
    StoreError
        If they can't be made.
    """
    path = folder / name
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not path.exists():
            path.touch(mode=0o600)
    except OSError as error:
        raise StoreError(
            f"{folder}: {error.strerror or error}; choose another folder "
            "with --data-folder"
        ) from error
    return path
