"""The model cache gives back what was put in it, or nothing."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from diagnose.store.model_cache import ModelCache

VOLTS = np.arange(1000.0)


def test_arrays_come_back_under_their_key(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path / "compiled")
    cache.put("roadster/1", {"volts": VOLTS, "names": np.array(["a", "b"])})

    arrays = cache.get("roadster/1")
    assert arrays is not None
    assert arrays["volts"].tolist() == VOLTS.tolist()
    assert arrays["names"].tolist() == ["a", "b"]


def test_writing_over_an_array_leaves_the_kept_one(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path)
    cache.put("roadster/1", {"volts": VOLTS})
    first = cache.get("roadster/1")
    assert first is not None
    first["volts"][0] = 99.0

    second = cache.get("roadster/1")
    assert second is not None
    assert second["volts"][0] == 0.0


def test_unknown_key_gives_none(tmp_path: Path) -> None:
    assert ModelCache(tmp_path).get("roadster/1") is None


def test_torn_file_counts_as_absent(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path)
    cache.put("roadster/1", {"volts": VOLTS})
    (path,) = tmp_path.rglob("volts.npy")
    path.write_bytes(path.read_bytes()[:-3])

    assert cache.get("roadster/1") is None


def test_foreign_file_counts_as_absent(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path)
    cache.put("roadster/1", {"volts": VOLTS})
    (path,) = tmp_path.rglob("sizes.json")
    path.write_text("not a list of sizes")

    assert cache.get("roadster/1") is None


def test_folder_that_can_not_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "compiled").write_text("a file where the folder should be")

    assert ModelCache(tmp_path / "compiled").put("roadster/1", {}) is False


def test_the_oldest_entries_go_first(tmp_path: Path) -> None:
    # By hand: an entry is 8,128 bytes of array and some tens of sizes; two fit.
    cache = ModelCache(tmp_path, kept_bytes=20_000)
    cache.put("oldest", {"volts": VOLTS})
    (oldest,) = tmp_path.iterdir()
    os.utime(oldest, (0, 0))
    cache.put("older", {"volts": VOLTS})
    cache.put("newest", {"volts": VOLTS})

    kept = [cache.get(key) is not None for key in ("oldest", "older", "newest")]
    assert kept == [False, True, True]


def test_the_newest_entry_stays_however_large(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path, kept_bytes=10)
    cache.put("older", {"volts": VOLTS})
    cache.put("newest", {"volts": VOLTS})

    assert cache.get("newest") is not None
