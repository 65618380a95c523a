"""A folder for the compiled form of a car, so that a second start is quick.

Holds arrays under a key and nothing else; a torn, foreign or unwritable entry counts
as absent: everything here can be computed again. Leaves to `session` what a key is made
of.

Decisions that bind this module:

- Arrays come back mapped into memory, so a second start copies nothing; they are
  private to the process, and what a diagnosis writes over them never reaches the disk.
- Content is believed by its digest, not by its size: an array zeroed behind its header
  would change a diagnosis without a word. The list of digests has one of its own, taken
  with the key, so a list of nothing or of another car counts as absent too.
- An entry is on the disk whole before it has its name.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from diagnose.store.private_file import make_private_folder

# Arrays by name.
Arrays = Mapping[str, npt.NDArray[Any]]

# How much is kept; the oldest entries go first, the latest car always stays. [byte] Own
# choice: a car of two hundred wires, or some ten usual ones.
KEPT_BYTES = 500_000_000

# An entry stays while newer ones take no more than this share of what is kept, no unit.
# Own choice: what is weighed of a car is an entry of its own, put after its readings;
# these may be larger than all that is kept, and must not go for it.
SMALL_SHARE = 0.1

# How old something half written is before nobody can be writing it any more. [s] Own
# choice: writing takes seconds.
ABANDONED_SECONDS = 3600.0

# How the folder of an entry ends.
_ENDING = ".arrays"

# How the folder of an entry ends while it is written.
_UNFINISHED = ".part"

# The file of an entry that holds the digest of each of its arrays, and its own.
_CONTENTS = "contents.json"

# From how many bytes on an array is mapped. [byte] Own choice: a few pages; an empty
# array can't be mapped at all.
_MAPPED_BYTES = 1000


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
            digests = _digests_in((entry / _CONTENTS).read_bytes(), key)
            return {name: _array(entry, name, digests[name]) for name in digests}
        except (OSError, ValueError):
            return None

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
            self._write(self._path(key), key, arrays)
            self._prune()
        except OSError:
            return False
        return True

    def _path(self, key: str) -> Path:
        """Return the folder of a key; hashed, so any text is a safe name."""
        return self._folder / (hashlib.sha256(key.encode()).hexdigest() + _ENDING)

    def _entries(self) -> list[Path]:
        """Return the folders of all entries, the newest first."""
        found = []
        for entry in self._folder.glob("*" + _ENDING):
            with contextlib.suppress(OSError):
                found.append((entry.stat().st_mtime_ns, entry))
        return [entry for _, entry in sorted(found, reverse=True)]

    def _write(self, entry: Path, key: str, arrays: Arrays) -> None:
        """Write beside the entry and move over it: readers see all or nothing."""
        beside = Path(tempfile.mkdtemp(dir=self._folder, suffix=_UNFINISHED))
        try:
            digests = {}
            for name, array in arrays.items():
                with (beside / f"{name}.npy").open("w+b") as file:
                    np.save(file, array, allow_pickle=False)
                    _sync(file)
                    file.seek(0)
                    digests[name] = hashlib.file_digest(file, "sha256").hexdigest()
            contents = {"arrays": digests, "digest": _digest_of(digests, key)}
            with (beside / _CONTENTS).open("w", encoding="utf-8") as listing:
                json.dump(contents, listing)
                _sync(listing)
            _sync_folder(beside)
            shutil.rmtree(entry, ignore_errors=True)
            beside.replace(entry)
            _sync_folder(self._folder)
        except BaseException:
            shutil.rmtree(beside, ignore_errors=True)
            raise

    def _prune(self) -> None:
        """Remove the oldest entries above the limit, and what was never finished."""
        newer_bytes = 0
        for entry in self._entries():
            own_bytes = _bytes_in(entry)
            is_latest = newer_bytes <= SMALL_SHARE * self._kept_bytes
            if newer_bytes + own_bytes > self._kept_bytes and not is_latest:
                shutil.rmtree(entry, ignore_errors=True)
            else:
                newer_bytes += own_bytes
        for entry in self._folder.glob("*" + _UNFINISHED):
            with contextlib.suppress(OSError):
                if time.time() - entry.stat().st_mtime > ABANDONED_SECONDS:
                    shutil.rmtree(entry, ignore_errors=True)


def _digest_of(digests: Mapping[str, str], key: str) -> str:
    """Return the digest of an entry's list of digests."""
    return hashlib.sha256(json.dumps([key, dict(digests)]).encode()).hexdigest()


def _digests_in(contents: bytes, key: str) -> dict[str, str]:
    """Return an entry's list of digests.

    Raises
    ------
    ValueError
        If it is not as it was written.
    """
    try:
        found = json.loads(contents)
        digests = dict(found["arrays"])
        is_as_written = found["digest"] == _digest_of(digests, key)
    except (TypeError, KeyError, RecursionError) as error:
        raise ValueError("no list of digests") from error
    if not is_as_written:
        raise ValueError("a list of digests that is not as it was written")
    return digests


def _array(entry: Path, name: str, digest: str) -> npt.NDArray[Any]:
    """Return an array of an entry, as it was written.

    Raises
    ------
    ValueError
        If it is not as it was written.
    """
    path = entry / f"{name}.npy"
    with path.open("rb") as file:
        if hashlib.file_digest(file, "sha256").hexdigest() != digest:
            raise ValueError(f"{name} is not as it was written")
        is_mapped = file.tell() > _MAPPED_BYTES
    array: npt.NDArray[Any] = np.load(path, mmap_mode="c" if is_mapped else None)
    return array


def _sync(file: IO[Any]) -> None:
    """Have a file on the disk before going on."""
    file.flush()
    os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    """Have a folder's list of files on the disk, where the system can do that."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _bytes_in(entry: Path) -> int:
    """Return how much an entry holds; 0 once it is gone. [byte]."""
    with contextlib.suppress(OSError):
        return sum(path.stat().st_size for path in entry.iterdir())
    return 0
