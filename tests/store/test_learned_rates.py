"""What was learned is kept whole, and the latest can be taken back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.inference.learning.factors import Learned, LearnedShare
from diagnose.store.learned_rates import (
    LEARNED_FOLDER,
    keep_learned,
    latest_learned,
    undo_learned,
)

FIRST = Learned(
    n_cases=3,
    published_cases=200.0,
    rates_digest="abc",
    shares=(
        LearnedShare(
            kind="wire", modes=("open_a", "open_b"), seen=2.0, expected=0.7, factor=1.3
        ),
    ),
)
SECOND = replace(FIRST, n_cases=5)


def test_what_was_learned_comes_back_whole(tmp_path: Path) -> None:
    keep_learned(tmp_path, FIRST)

    assert latest_learned(tmp_path) == FIRST


def test_latest_holds(tmp_path: Path) -> None:
    keep_learned(tmp_path, FIRST)
    keep_learned(tmp_path, SECOND)

    assert latest_learned(tmp_path) == SECOND


def test_undo_brings_back_what_held_before(tmp_path: Path) -> None:
    keep_learned(tmp_path, FIRST)
    keep_learned(tmp_path, SECOND)

    assert undo_learned(tmp_path)
    assert latest_learned(tmp_path) == FIRST


def test_undo_of_the_first_leaves_the_published(tmp_path: Path) -> None:
    keep_learned(tmp_path, FIRST)
    undo_learned(tmp_path)

    assert latest_learned(tmp_path) is None
    assert not undo_learned(tmp_path)


@pytest.mark.parametrize(
    "content",
    ["", "[1]", "{}", '{"learned-shares": 2}', '{"learned-shares": 1, "cases": "x"}'],
)
def test_damaged_file_is_one_message_with_the_way_out(
    content: str, tmp_path: Path
) -> None:
    path = keep_learned(tmp_path, FIRST)
    path.write_text(content)

    with pytest.raises(StoreError, match="diagnose learn --undo"):
        latest_learned(tmp_path)


@pytest.mark.parametrize("factor", ["-1.0", "0.0", "NaN", "Infinity", "null"])
def test_factor_that_can_not_be_is_refused(factor: str, tmp_path: Path) -> None:
    path = keep_learned(tmp_path, FIRST)
    path.write_text(path.read_text().replace('"factor": 1.3', f'"factor": {factor}'))

    with pytest.raises(StoreError, match="can't be read"):
        latest_learned(tmp_path)


def test_folder_that_can_not_be_written_is_one_message(tmp_path: Path) -> None:
    (tmp_path / LEARNED_FOLDER).write_text("a file where a folder should be")

    with pytest.raises(StoreError, match="--data-folder"):
        keep_learned(tmp_path, FIRST)


def test_a_folder_that_may_not_be_read_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> Iterator[Path]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "glob", refused)

    with pytest.raises(StoreError, match="learned: Permission denied"):
        latest_learned(tmp_path)
