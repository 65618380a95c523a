"""Many small systems at once, against LAPACK, and what they say of their digits."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.changes.small_systems import solve_many

N_SYSTEMS = 20


@pytest.mark.parametrize("size", [1, 2, 3, 5])
@pytest.mark.parametrize("n_right", [1, 3])
def test_solutions_are_those_of_lapack(size: int, n_right: int) -> None:
    generator = np.random.default_rng(size)
    # diagonals that outweigh their rows: positive leading minors
    matrices = generator.uniform(-1.0, 1.0, (N_SYSTEMS, size, size))
    matrices[:, range(size), range(size)] = generator.uniform(5.0, 9.0, size)
    right = generator.uniform(-10.0, 10.0, (N_SYSTEMS, size, n_right))
    expected = np.linalg.solve(matrices, right)

    found, loss = solve_many(
        np.ascontiguousarray(matrices.transpose(1, 2, 0)),
        np.ascontiguousarray(right.transpose(1, 2, 0)),
    )

    np.testing.assert_allclose(found.transpose(2, 0, 1), expected, rtol=1e-10)
    assert (loss < 1.0).all()


# By hand: the second pivot of [[1, 1], [1, 1 + p]] is p; four digits may be lost, so
# that a pivot of 1e-4 of what it comes from is the limit.
@pytest.mark.parametrize(
    ("pivot", "loss"), [(1.0, 2e-4), (1e-2, 1.01e-2), (1e-6, 100.0001)]
)
def test_a_small_pivot_tells_how_many_digits_are_lost(
    pivot: float, loss: float
) -> None:
    matrix = np.array([[1.0, 1.0], [1.0, 1.0 + pivot]])[:, :, None]

    _, found = solve_many(matrix, np.ones((2, 1, 1)))

    assert found[0] == pytest.approx(loss, rel=1e-6)


# By hand: 1000 on the diagonal, and a second pivot of 2: two parts in a thousand.
def test_a_pivot_is_measured_by_what_it_was_formed_from() -> None:
    matrix = np.array([[1000.0, 1000.0], [998.0, 1000.0]])[:, :, None]

    _, found = solve_many(matrix, np.ones((2, 1, 1)))

    assert found[0] == pytest.approx(1000.0 * 1e-4 / 2.0, rel=1e-6)


@pytest.mark.parametrize("last", [1.0, 0.5])
def test_no_pivot_or_a_negative_one_is_not_sound(last: float) -> None:
    matrix = np.array([[1.0, 1.0], [1.0, last]])[:, :, None]

    _, loss = solve_many(matrix, np.ones((2, 1, 1)))

    assert not (loss < 1.0).any()
    assert np.isfinite(loss).all()
