"""A folder for the compiled form of a car, so that a second start is quick.

Holds arrays under a key and nothing else; a torn, foreign or unwritable entry counts
as absent: everything here can be computed again. Leaves to `session` what a key is made
of.

Decision that binds this module: arrays come back mapped into memory, so a second start
copies nothing; they are private to the process, and what a diagnosis writes over them
never reaches the disk.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.store.private_file import make_private_folder

# Arrays by name.
Arrays = Mapping[str, npt.NDArray[Any]]

# How much is kept; the oldest entries go first, the newest always stays. [byte] Own
# choice: a few cars of the largest size seen, some hundred megabytes each.
KEPT_BYTES = 1_000_000_000

# How the folder of an entry ends.
_ENDING = ".arrays"

# The file of an entry that says how long each of its arrays' files is. [byte]
_SIZES = "sizes.json"


class ModelCache:
    """Arrays by key, in a folder.

    Parameters
    ----------
    folder : Path
        Made at the first `put`, readable by its owner alone.
    kept_bytes : int
        How much is kept. [bytes]
    """

    def __init__(self, folder: Path, *, kept_bytes: int = KEPT_BYTES) -> None:
        self._folder = folder
        self._kept_bytes = kept_bytes

    def get(self, key: str) -> Arrays | None:
        """Return what was put under a key.

        Parameters
        ----------
        key : str
            As it was given to `put`.

        Returns
        -------
        Arrays or None
            Mapped into memory; None when absent or damaged.
        """
        entry = self._path(key)
        try:
            sizes = json.loads((entry / _SIZES).read_bytes())
            arrays = {}
            for name, size in sizes.items():
                path = entry / f"{name}.npy"
                if path.stat().st_size != size:
                    return None
                # an empty array can't be mapped
                arrays[name] = np.load(path, mmap_mode="c" if size > 1000 else None)
        except (OSError, ValueError, AttributeError):
            return None
        return arrays

    def put(self, key: str, arrays: Arrays) -> bool:
        """Keep arrays under a key.

        Parameters
        ----------
        key : str
            Any text.
        arrays : Arrays
            By names that can be names of files.

        Returns
        -------
        bool
            False when the folder can't be written.
        """
        try:
            make_private_folder(self._folder)
            self._write(self._path(key), arrays)
            self._prune()
        except OSError:
            return False
        return True

    def _path(self, key: str) -> Path:
        """Return the folder of a key; hashed, so any text is a safe name."""
        return self._folder / (hashlib.sha256(key.encode()).hexdigest() + _ENDING)

    def _write(self, entry: Path, arrays: Arrays) -> None:
        """Write beside the entry and move over it: readers see all or nothing."""
        beside = Path(tempfile.mkdtemp(dir=self._folder, suffix=".part"))
        try:
            sizes = {}
            for name, array in arrays.items():
                path = beside / f"{name}.npy"
                np.save(path, array, allow_pickle=False)
                sizes[name] = path.stat().st_size
            (beside / _SIZES).write_text(json.dumps(sizes))
            shutil.rmtree(entry, ignore_errors=True)
            beside.replace(entry)
        except OSError:
            shutil.rmtree(beside, ignore_errors=True)
            raise

    def _prune(self) -> None:
        """Remove the oldest entries above the limit."""
        newest_first = sorted(
            self._folder.glob("*" + _ENDING),
            key=lambda path: path.stat().st_mtime_ns,
            reverse=True,
        )
        kept_bytes = 0
        for place, entry in enumerate(newest_first):
            with contextlib.suppress(FileNotFoundError):
                kept_bytes += sum(path.stat().st_size for path in entry.iterdir())
            if place and kept_bytes > self._kept_bytes:
                shutil.rmtree(entry, ignore_errors=True)
