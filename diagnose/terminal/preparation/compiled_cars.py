"""Where compiled cars lie, and how much room they take.

Leaves what they hold to `store.model_cache`. Imports nothing heavy: the list of cases
says how much room they take.

Decision that binds this module: what can be made anew lies in the user's cache folder,
not beside the cases, which people back up.
"""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_cache_path

# Where compiled cars are kept, in the user's cache folder for this program.
CACHE_FOLDER = "compiled"


def compiled_folder() -> Path:
    """Return the folder that holds compiled cars; it may not be there yet."""
    return user_cache_path("diagnose", appauthor=False) / CACHE_FOLDER


def held_bytes() -> int:
    """Return how much room compiled cars take. [byte]."""
    try:
        files = [path for path in compiled_folder().rglob("*") if path.is_file()]
        return sum(path.stat().st_size for path in files)
    except OSError:  # not to be read, or gone meanwhile
        return 0
