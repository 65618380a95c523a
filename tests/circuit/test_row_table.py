"""Tables of which only the rows asked for are there."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.tables import row_table
from diagnose.circuit.changes.tables.row_table import RowTable

N_ROWS = 10
WIDTH = 3


class Filling:
    """Rows of a table that say which they are, and which of them were asked for."""

    def __init__(self) -> None:
        self.asked: list[int] = []

    def fill(self, rows: IntArray) -> tuple[FloatArray, ...]:
        self.asked += rows.tolist()
        numbers: FloatArray = rows.astype(np.float64)
        return np.repeat(numbers[:, None], WIDTH, axis=1) + 0.5, -numbers


def table(*, n_kept: int) -> RowTable:
    row_bytes = 8 * (WIDTH + 1)
    return RowTable(N_ROWS, [(WIDTH,), ()], most_bytes=n_kept * row_bytes)


def assert_holds(table: RowTable, filling: Filling, rows: IntArray) -> None:
    with table.held(rows, filling.fill) as (slot, (first, second)):
        expected = np.repeat(rows[..., None], WIDTH, axis=-1) + 0.5
        assert np.array_equal(first[slot], expected)
        assert np.array_equal(second[slot], -rows)


def test_a_row_is_filled_once_while_there_is_room() -> None:
    filling = Filling()
    held = table(n_kept=N_ROWS)

    assert held.is_roomy
    for rows in ([3, 1, 3], [1, 7], [3]):
        assert_holds(held, filling, np.array(rows))

    assert sorted(filling.asked) == [1, 3, 7]


def test_the_row_asked_for_longest_ago_goes_first() -> None:
    filling = Filling()
    held = table(n_kept=3)
    for row in (0, 1, 2, 0, 3):  # 1 goes for 3
        assert_holds(held, filling, np.array([row]))
    filling.asked.clear()

    assert_holds(held, filling, np.array([0, 2, 3]))
    assert filling.asked == []
    assert_holds(held, filling, np.array([1]))
    assert filling.asked == [1]


def test_more_than_there_is_room_for_is_held_all_the_same() -> None:
    filling = Filling()
    held = table(n_kept=2)
    assert_holds(held, filling, np.array([8, 9]))

    assert_holds(held, filling, np.array([[0, 1, 2], [3, 8, 5]]))


@pytest.mark.parametrize("at_once", [1, 2, 5])
def test_rows_are_filled_a_few_at_a_time(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(row_table, "FILLED_BYTES", at_once * 8 * (WIDTH + 1))
    filling = Filling()
    held = table(n_kept=N_ROWS)

    assert len(next(held.batches(np.arange(5)))) == at_once
    assert_holds(held, filling, np.arange(N_ROWS))


def test_what_is_given_up_is_filled_again_when_it_is_asked_for() -> None:
    filling = Filling()
    held = table(n_kept=N_ROWS)
    assert_holds(held, filling, np.array([3, 1]))
    held.forget()
    filling.asked.clear()

    assert_holds(held, filling, np.array([1, 7]))
    assert sorted(filling.asked) == [1, 7]
