"""Segments of curves by hand: which line is in force, and between which volts."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.parts.branches import Branch
from diagnose.circuit.solver.network import (
    AMPS,
    EDGES,
    FORCED,
    MAX_SEGMENTS,
    RESETS_ITSELF,
    SIEMENS,
    TRIP_AMPS,
    curve,
)
from diagnose.circuit.solver.segments import Curves, Segments, conducting


def make_branch(*siemens: float) -> Branch:
    """Return a branch with breaks at 1, 2, 3 V and so on, and amps 10, 11, 12."""
    n_segments = len(siemens)
    return Branch(
        name="bent",
        part="bent",
        output=("a", "b"),
        control=("a", "b"),
        breaks=np.arange(1.0, n_segments)[None],
        siemens=np.array([siemens]),
        amps=np.arange(10.0, 10.0 + n_segments)[None],
        forced=np.ones(1),
    )


# A steep segment may be overrun by the volts of 1e-11 A, no less than 1e-12 V; a flat
# one by no more than 1e-9 V.
def test_a_segment_holds_between_its_edges_and_a_little_beyond() -> None:
    row = curve(make_branch(1e-3, 0.1, 1e3))
    curves = Curves.of(np.repeat(row.T, 3, axis=1))

    found = Segments.of(curves, np.array([0, 1, 2]))

    assert found.siemens.tolist() == [1e-3, 0.1, 1e3]
    assert found.amps.tolist() == [10.0, 11.0, 12.0]
    assert found.low[0] == -np.inf
    assert found.high[2] == np.inf
    beyond = np.array([1e-9, 1e-10, 1e-12])
    assert (1.0 - found.low[1]) == pytest.approx(beyond[1], rel=1e-4)
    assert (2.0 - found.low[2]) == pytest.approx(beyond[2], rel=1e-3)
    assert (found.high[:2] - [1.0, 2.0]).tolist() == pytest.approx(beyond[:2], rel=1e-4)


def test_a_row_holds_all_that_a_branch_does() -> None:
    (row,) = curve(make_branch(5.0, 6.0))

    assert row[EDGES].tolist() == [-np.inf, 1.0, np.inf, np.inf, np.inf]
    # segments that it does not have are as its last
    assert row[SIEMENS].tolist() == [5.0, 6.0, 6.0, 6.0]
    assert row[AMPS].tolist() == [10.0, 11.0, 11.0, 11.0]
    assert row[FORCED] == 1.0
    assert row[TRIP_AMPS] == np.inf
    assert row[RESETS_ITSELF] == 0.0
    assert len(row) == EDGES.stop + 2 * MAX_SEGMENTS + 7


def test_no_branch_has_more_segments_than_a_row() -> None:
    assert len(curve(make_branch(1.0, 2.0, 3.0, 4.0))) == 1
    with pytest.raises(ValueError, match="bent: more than 4 segments"):
        curve(make_branch(1.0, 2.0, 3.0, 4.0, 5.0))


@pytest.mark.parametrize(
    ("is_on", "forced", "inverted", "carries"),
    [
        (True, 0.0, 0.0, True),
        (False, 0.0, 0.0, False),
        (True, 0.0, 1.0, False),
        (False, 0.0, 1.0, True),
        (False, 1.0, 0.0, True),
        (True, -1.0, 0.0, False),
        (True, 1.0, 1.0, True),
        (False, -1.0, 1.0, False),
    ],
)
def test_a_branch_carries_as_it_is_forced_or_as_its_gate_says(
    is_on: bool, forced: float, inverted: float, carries: bool
) -> None:
    found = conducting(np.array(is_on), np.array(forced), np.array(inverted))

    assert bool(found) is carries
