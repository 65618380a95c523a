"""The names that a person means, though a letter is wrong or the rest is missing."""

from __future__ import annotations

import pytest

from diagnose.errors import ReadingError, nearest
from diagnose.terminal.names import known_name


def test_nearest_name_is_found_and_a_far_one_is_not() -> None:
    known = ["fuel-pump.plus", "battery.plus"]

    assert nearest("fuel-pmup.plus", known) == "fuel-pump.plus"
    assert nearest("zzz", known) == ""


def test_an_unknown_name_is_answered_with_those_that_hold_it() -> None:
    names = [*(f"relay-{number}.coil" for number in range(9)), "fuel-pump.plus"]

    with pytest.raises(ReadingError, match=r'"pump" .*; there are: fuel-pump\.plus$'):
        known_name("pump", names, "test point")
    with pytest.raises(ReadingError, match=r"relay-5\.coil and 4 more$"):
        known_name("x", names, "test point")
