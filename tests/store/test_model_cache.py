"""The model cache gives back what was put in it, or nothing."""

from __future__ import annotations

import os
from pathlib import Path

from diagnose.store.model_cache import ModelCache


def test_bytes_come_back_under_their_key(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path / "compiled")
    cache.put("roadster/1", b"compiled")

    assert cache.get("roadster/1") == b"compiled"


def test_unknown_key_gives_none(tmp_path: Path) -> None:
    assert ModelCache(tmp_path).get("roadster/1") is None


def test_torn_file_counts_as_absent(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path)
    cache.put("roadster/1", b"compiled form")
    (path,) = tmp_path.iterdir()
    path.write_bytes(path.read_bytes()[:-3])

    assert cache.get("roadster/1") is None


def test_folder_that_can_not_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "compiled").write_text("a file where the folder should be")

    assert ModelCache(tmp_path / "compiled").put("roadster/1", b"") is False


def test_the_oldest_files_go_first(tmp_path: Path) -> None:
    # By hand: a file is 32 bytes of digest and its content, here 132; two fit in 300.
    cache = ModelCache(tmp_path, kept_bytes=300)
    cache.put("oldest", bytes(100))
    (oldest,) = tmp_path.iterdir()
    os.utime(oldest, (0, 0))
    cache.put("older", bytes(100))
    cache.put("newest", bytes(100))

    kept = [cache.get(key) is not None for key in ("oldest", "older", "newest")]
    assert kept == [False, True, True]


def test_the_newest_file_stays_however_large(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path, kept_bytes=10)
    cache.put("older", bytes(100))
    cache.put("newest", bytes(100))

    assert cache.get("newest") == bytes(100)
