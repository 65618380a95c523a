"""Networks eliminated level by level against the same networks node by node."""

from __future__ import annotations

import numpy as np

from diagnose.circuit.solver.elimination_order import Elimination
from diagnose.circuit.solver.star_mesh import FEW_NETWORKS, eliminate

N_NODES = 40
N_LINKS = 70


def test_few_networks_are_eliminated_to_the_same_digits_as_many() -> None:
    # what a point shows must not depend on how many are solved beside it
    generator = np.random.default_rng(11)
    for _ in range(10):
        ends = generator.integers(0, N_NODES, (N_LINKS, 2))
        links = [(a, b) for a, b in ends.tolist() if a != b]
        elimination = Elimination(N_NODES, links)
        many = 10.0 ** generator.uniform(
            -12.0, 3.0, (elimination.n_rows, FEW_NETWORKS + 1)
        )
        few = many[:, :FEW_NETWORKS].copy()
        many_totals = np.zeros((N_NODES, many.shape[1]))
        few_totals = np.zeros((N_NODES, few.shape[1]))

        eliminate(elimination.stars, many, many_totals)
        eliminate(elimination.stars, few, few_totals)

        assert (few == many[:, :FEW_NETWORKS]).all()
        assert (few_totals == many_totals[:, :FEW_NETWORKS]).all()
