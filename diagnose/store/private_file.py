"""Files and folders of the data folder that only their owner can read."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from diagnose.errors import StoreError

# Rights of a folder: its owner alone may list, read and write it.
FOLDER_MODE = 0o700

# Rights of a file: its owner alone may read and write it.
FILE_MODE = 0o600


def make_private_folder(folder: Path) -> None:
    """Make a folder, and those above it, when they are not there.

    Parameters
    ----------
    folder : Path
        The folder.

    Raises
    ------
    OSError
        If they can't be made.
    """
    folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)


def private_file(folder: Path, name: str) -> Path:
    """Return a file of a folder, both made when they are not there.

    Parameters
    ----------
    folder : Path
        The folder.
    name : str
        The file in it.

    Raises
    ------
    StoreError
        If they can't be made.
    """
    path = folder / name
    with _explained(folder):
        make_private_folder(folder)
        if not path.exists():
            path.touch(mode=FILE_MODE)
    return path


def replace_private_file(path: Path, text: str) -> None:
    """Write a file whole, in place of the one before: readers see all or nothing.

    Parameters
    ----------
    path : Path
        The file; its folder is made when it is not there.
    text : str
        What it holds from now on.

    Raises
    ------
    StoreError
        If the folder can't be written.
    """
    with _explained(path.parent):
        make_private_folder(path.parent)
        # a temporary file is made with `FILE_MODE`
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, suffix=".part", delete=False
        ) as written:
            written.write(text)
        Path(written.name).replace(path)


@contextmanager
def _explained(folder: Path) -> Iterator[None]:
    """Turn an error of the disk into one message about the folder."""
    try:
        yield
    except OSError as error:
        raise StoreError(
            f"{folder}: {error.strerror or error}; choose another folder "
            "with --data-folder"
        ) from error
