"""A folder for the compiled form of a car, so that a second start is quick.

Holds bytes under a key and nothing else; a torn, foreign or unwritable file counts as
absent, since everything here can be computed again.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from pathlib import Path

KEPT_BYTES = 1_000_000_000
"""How much is kept; the oldest files go first, the newest always stays. [bytes]

Own choice: a few cars of the largest size seen, some hundred megabytes each.
"""

_ENDING = ".compiled"


class ModelCache:
    """Bytes by key, in a folder.

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

    def get(self, key: str) -> bytes | None:
        """Return what was put under the key; None when absent or damaged."""
        try:
            content = self._path(key).read_bytes()
        except OSError:
            return None
        digest, blob = content[:32], content[32:]
        return blob if digest == hashlib.sha256(blob).digest() else None

    def put(self, key: str, blob: bytes) -> bool:
        """Keep bytes under a key; return False when the folder can't be written."""
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._write(self._path(key), hashlib.sha256(blob).digest() + blob)
            self._prune()
        except OSError:
            return False
        return True

    def _path(self, key: str) -> Path:
        """Return the file of a key; hashed, so any text is a safe file name."""
        return self._folder / (hashlib.sha256(key.encode()).hexdigest() + _ENDING)

    def _write(self, path: Path, content: bytes) -> None:
        """Write beside the file and move over it: readers see all or nothing."""
        handle, beside = tempfile.mkstemp(dir=self._folder, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            Path(beside).replace(path)
        except OSError:
            Path(beside).unlink(missing_ok=True)
            raise

    def _prune(self) -> None:
        """Remove the oldest files above the limit."""
        newest_first = sorted(
            self._folder.glob("*" + _ENDING),
            key=lambda path: path.stat().st_mtime_ns,
            reverse=True,
        )
        kept_bytes = 0
        for place, path in enumerate(newest_first):
            kept_bytes += path.stat().st_size
            if place and kept_bytes > self._kept_bytes:
                with contextlib.suppress(FileNotFoundError):
                    path.unlink()
