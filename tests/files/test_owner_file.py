"""The owner's file: what he lacks and what takes him longer."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import InvalidFileError
from diagnose.files.owner_file import Owner, load_owner

LIMITS = {"clamp": "no clamp meter", "helper": "works alone"}


def loaded(tmp_path: Path, text: str) -> Owner:
    path = tmp_path / "owner.yaml"
    path.write_text(text, encoding="utf-8")
    return load_owner(path, limits=LIMITS)


def problem(tmp_path: Path, text: str) -> str:
    with pytest.raises(InvalidFileError) as caught:
        loaded(tmp_path, text)
    return str(caught.value).removeprefix(f"{tmp_path / 'owner.yaml'}:")


def test_what_is_lacking_and_what_takes_longer_is_read(tmp_path: Path) -> None:
    owner = loaded(tmp_path, "without: [clamp]\ntakes:\n  tank: 15\n  cranking: 2.5\n")

    assert owner.without == ("clamp",)
    assert owner.takes == {"tank": 15.0, "cranking": 2.5}


def test_unknown_limit_is_told_with_line_and_nearest(tmp_path: Path) -> None:
    assert problem(tmp_path, "without:\n  - clamp\n  - helpr\n") == (
        '3:5: "helpr" is no limit (did you mean "helper"?); there are: clamp, helper'
    )


def test_unknown_key_is_told(tmp_path: Path) -> None:
    found = problem(tmp_path, "witout: [clamp]\n")

    assert found == '1:1: "witout" is not known here (did you mean "without"?)'


def test_minutes_below_nothing_are_refused(tmp_path: Path) -> None:
    found = problem(tmp_path, "takes: {tank: -1}\n")

    assert found == "1:15: tank: found -1, expected a number of at least 0"


@pytest.mark.parametrize("minutes", ["1e9", "9" * 400, "100000"])
def test_minutes_that_nobody_spends_are_told_with_their_line(
    tmp_path: Path, minutes: str
) -> None:
    found = problem(tmp_path, f"without: [clamp]\ntakes:\n  tank: {minutes}\n")

    assert found.startswith("3:9: tank: ")
