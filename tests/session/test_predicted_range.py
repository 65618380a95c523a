"""The middle of weighted predictions, beside numpy's own weighted quantile."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.session.evidence.implied.predicted_range import TAILS, middle_range


@pytest.mark.parametrize("n_rows", [1, 2, 7, 40])
def test_middle_range_is_the_weighted_quantile_of_the_inverted_distribution(
    n_rows: int,
) -> None:
    random = np.random.default_rng(n_rows)
    values = np.round(random.normal(size=(n_rows, 64)), 1)
    weights = random.random((n_rows, 64)) * (random.random((n_rows, 64)) < 0.5)

    found = middle_range(values, weights)

    expected = np.quantile(
        values.ravel(), TAILS, weights=weights.ravel(), method="inverted_cdf"
    )
    assert found == tuple(expected.tolist())


def test_values_without_weight_all_count_alike() -> None:
    # Of 100 values 1 to 100 the fifth and the ninety-fifth end the middle nine tenths.
    values = np.arange(1.0, 101.0)

    assert middle_range(values, np.zeros(100)) == (5.0, 95.0)


def test_over_range_is_an_end_where_more_than_a_twentieth_reads_it() -> None:
    values = np.array([1.0, 2.0, np.inf])

    assert middle_range(values, np.array([0.5, 0.4, 0.1])) == (1.0, np.inf)
