"""Files that only their owner can read, and that are replaced whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.store.private_file import private_file, replace_private_file


def test_a_file_and_its_folder_are_their_owners_alone(tmp_path: Path) -> None:
    made = private_file(tmp_path / "data", "made")
    replaced = tmp_path / "data" / "learned" / "0001.json"
    replace_private_file(replaced, "text")

    # no right for group and others
    for path in (made, made.parent, replaced, replaced.parent):
        assert path.stat().st_mode & 0o077 == 0, path


def test_a_file_is_replaced_by_the_new_text_and_nothing_is_left(tmp_path: Path) -> None:
    path = tmp_path / "file"
    replace_private_file(path, "a longer text")
    replace_private_file(path, "Ω")

    assert path.read_text(encoding="utf-8") == "Ω"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_a_file_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "file").touch()

    for make in (
        lambda: private_file(tmp_path / "file", "x"),
        lambda: replace_private_file(tmp_path / "file" / "x", ""),
    ):
        with pytest.raises(StoreError, match=r"file: .*; choose another folder"):
            make()
