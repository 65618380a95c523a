"""The model cache gives back what was put in it, or nothing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

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


def zeroed(path: Path) -> None:
    """Zero an array behind its header, size unchanged."""
    content = path.read_bytes()
    path.write_bytes(content[:200] + bytes(len(content) - 200))


def swapped(path: Path) -> None:
    """Put another array of the same shape in an array's place."""
    path.write_bytes((path.parent / "amps.npy").read_bytes())


def foldered(path: Path) -> None:
    """Put a folder in an array's place."""
    path.unlink()
    path.mkdir()


DAMAGE: dict[str, tuple[str, Callable[[Path], object]]] = {
    "torn array": ("volts.npy", lambda path: os.truncate(path, 8100)),
    "zeroed array": ("volts.npy", zeroed),
    "swapped array": ("volts.npy", swapped),
    "noise in an array": (
        "volts.npy",
        lambda path: path.write_bytes(b"\x93noise" * 99),
    ),
    "no array": ("volts.npy", lambda path: path.unlink()),
    "a folder for an array": ("volts.npy", foldered),
    "empty list": ("contents.json", lambda path: path.write_text("{}")),
    "no object": ("contents.json", lambda path: path.write_text("[1]")),
    "noise in the list": ("contents.json", lambda path: path.write_bytes(b"\xff\x00")),
    "nested list": ("contents.json", lambda path: path.write_text("[" * 100_000)),
    "a shorter list": (
        "contents.json",
        lambda path: path.write_text('{"arrays": {}, "digest": ""}'),
    ),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_damaged_entry_counts_as_absent_and_can_be_made_anew(
    name: str, tmp_path: Path
) -> None:
    file, spoil = DAMAGE[name]
    cache = ModelCache(tmp_path)
    arrays = {"volts": VOLTS, "amps": VOLTS + 1.0}
    cache.put("roadster/1", arrays)
    (path,) = tmp_path.rglob(file)
    spoil(path)

    assert cache.get("roadster/1") is None
    assert cache.put("roadster/1", arrays)
    again = cache.get("roadster/1")
    assert again is not None
    assert again["volts"].tolist() == VOLTS.tolist()


def test_entry_of_another_car_counts_as_absent(tmp_path: Path) -> None:
    cache = ModelCache(tmp_path)
    cache.put("roadster/1", {"volts": VOLTS})
    (first,) = tmp_path.iterdir()
    cache.put("roadster/2", {"volts": VOLTS})
    (second,) = set(tmp_path.iterdir()) - {first}
    shutil.rmtree(second)
    first.rename(second)

    assert cache.get("roadster/2") is None


def test_what_was_never_finished_is_removed_in_time(tmp_path: Path) -> None:
    abandoned, fresh = tmp_path / "old.part", tmp_path / "new.part"
    abandoned.mkdir()
    fresh.mkdir()
    os.utime(abandoned, (0, 0))
    ModelCache(tmp_path).put("roadster/1", {"volts": VOLTS})

    assert (abandoned.exists(), fresh.exists()) == (False, True)


def test_folder_that_can_not_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "compiled").write_text("a file where the folder should be")

    assert ModelCache(tmp_path / "compiled").put("roadster/1", {}) is False


def test_the_oldest_entries_go_first(tmp_path: Path) -> None:
    # By hand: an entry is 8,128 bytes of array and some 200 of digests; two fit.
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


def test_what_is_weighed_of_a_large_car_does_not_push_its_readings_out(
    tmp_path: Path,
) -> None:
    # By hand: an entry of these is some 8,300 bytes, which is more than all that is
    # kept; one of a few numbers some 400.
    cache = ModelCache(tmp_path, kept_bytes=8_000)
    for age, (key, volts) in enumerate(
        (("oldest", VOLTS), ("readings", VOLTS), ("weights", VOLTS[:1]))
    ):
        cache.put(key, {"volts": volts})
        newest = max(tmp_path.iterdir(), key=lambda path: path.stat().st_mtime_ns)
        os.utime(newest, (1000 + age, 1000 + age))
    cache.put("more weights", {"volts": VOLTS[:1]})

    kept = [cache.get(key) is not None for key in ("oldest", "readings", "weights")]
    assert kept == [False, True, True]
