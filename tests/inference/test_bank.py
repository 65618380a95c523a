"""The bank: rows are filled, found and used again."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.faults.causes import FaultSet
from diagnose.inference.compiled.bank import PAIR_ROWS, Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from tests.lamp_car import compiled_car

PAIR: FaultSet = (0, 3)
OTHER: FaultSet = (1, 4)


@pytest.fixture(scope="module")
def compiled() -> Compiled:
    return compiled_car(4)[1]


@pytest.fixture(scope="module")
def solved(compiled: Compiled) -> Hypotheses:
    return compiled.hypotheses([PAIR, OTHER])


@pytest.fixture
def bank(compiled: Compiled) -> Bank:
    return Bank.holding(compiled.singles)


def is_same_row(bank: Bank, row: int, hypotheses: Hypotheses, other_row: int) -> bool:
    held = bank.all.prediction.kept(np.array([row]))
    given = hypotheses.prediction.kept(np.array([other_row]))
    return all(
        np.array_equal(one, other)
        for one, other in (
            (held.volts, given.volts),
            (held.source_units, given.source_units),
            (held.probes, given.probes),
            (held.is_settled, given.is_settled),
            (bank.all.symptoms[row], hypotheses.symptoms[other_row]),
        )
    )


def test_singles_lie_in_front(bank: Bank, compiled: Compiled) -> None:
    rows = range(len(compiled.singles.sets))

    assert all(is_same_row(bank, row, compiled.singles, row) for row in rows)


def test_pair_is_kept_in_its_row(bank: Bank, solved: Hypotheses) -> None:
    bank.keep_pairs(solved, [PAIR, OTHER])

    assert is_same_row(bank, bank.pair_rows[OTHER], solved, 1)


def test_kept_pair_is_not_missing(bank: Bank, solved: Hypotheses) -> None:
    bank.keep_pairs(solved, [PAIR, OTHER])

    assert bank.missing([PAIR, (2, 3), OTHER]) == [(2, 3)]


def fill(bank: Bank, solved: Hypotheses, sets: list[FaultSet]) -> None:
    copies = solved.kept(np.zeros(len(sets), dtype=np.int64))
    bank.keep_pairs(
        Hypotheses(
            sets=tuple(sets), prediction=copies.prediction, symptoms=copies.symptoms
        ),
        sets,
    )


def test_rows_of_pairs_no_longer_wanted_are_used_again(
    bank: Bank, solved: Hypotheses
) -> None:
    fill(bank, solved, [(1000, number) for number in range(PAIR_ROWS)])

    bank.keep_pairs(solved, [PAIR, OTHER])

    assert is_same_row(bank, bank.pair_rows[PAIR], solved, 0)
    assert len(bank.pair_rows) == PAIR_ROWS


def test_pair_still_wanted_keeps_its_row(bank: Bank, solved: Hypotheses) -> None:
    wanted: list[FaultSet] = [(1000, number) for number in range(PAIR_ROWS)]
    fill(bank, solved, wanted)
    kept = bank.pair_rows[wanted[0]]

    bank.keep_pairs(solved.kept(np.array([0])), [wanted[0], PAIR])

    assert bank.pair_rows[wanted[0]] == kept


def test_more_pairs_than_rows_is_our_own_mistake(
    bank: Bank, solved: Hypotheses
) -> None:
    wanted: list[FaultSet] = [(1000, number) for number in range(PAIR_ROWS + 1)]

    with pytest.raises(ValueError, match="more pairs wanted"):
        fill(bank, solved, wanted)


def test_pairs_do_not_spill_into_redrawn_rows(bank: Bank, solved: Hypotheses) -> None:
    fill(bank, solved, [(1000, number) for number in range(PAIR_ROWS)])

    assert max(bank.pair_rows.values()) < bank.first_redrawn


def test_written_row_gets_another_version(bank: Bank, compiled: Compiled) -> None:
    before = bank.versions.tolist()

    bank.put(bank.first_redrawn, compiled.singles, 1)

    after = bank.versions.tolist()
    changed = [row for row, old in enumerate(before) if after[row] != old]
    assert changed == [bank.first_redrawn]
