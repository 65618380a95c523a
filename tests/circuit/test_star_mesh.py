"""Networks eliminated level by level against the same networks node by node."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.solver.elimination_order import Elimination, Stars
from diagnose.circuit.solver.star_mesh import (
    FEW_NETWORKS,
    amps_to_volts,
    eliminate,
    self_ohms,
    spread_amps,
)

N_NODES = 40
N_LINKS = 70


@pytest.mark.parametrize("n_few", [1, 2, FEW_NETWORKS])
def test_few_networks_are_solved_to_the_same_digits_as_many(n_few: int) -> None:
    # what a point shows must not depend on how many are solved beside it
    generator = np.random.default_rng(11)
    for _ in range(10):
        ends = generator.integers(0, N_NODES, (N_LINKS, 2))
        links = [(a, b) for a, b in ends.tolist() if a != b]
        elimination = Elimination(N_NODES, links)
        many = 10.0 ** generator.uniform(
            -12.0, 3.0, (elimination.n_rows, FEW_NETWORKS + 1)
        )
        # more than `FEW_CURRENTS`, and fewer: an amp into each node, and out of it
        many_volts = np.ones((N_NODES, 2, many.shape[1]))
        many_volts[:, 1] = -1.0
        few, few_volts = many[:, :n_few].copy(), many_volts[:, :1, :n_few].copy()
        many_totals = np.ones((N_NODES, many.shape[1]))
        few_totals = np.ones((N_NODES, few.shape[1]))

        for rows, totals, volts in (
            (many, many_totals, many_volts),
            (few, few_totals, few_volts),
        ):
            eliminate(elimination.stars, rows, totals)
            spread_amps(elimination.stars, rows, volts, range(N_NODES))
            amps_to_volts(elimination.stars, rows, totals, volts)

        assert (few == many[:, :n_few]).all()
        assert (few_totals == many_totals[:, :n_few]).all()
        assert (few_volts == many_volts[:, :1, :n_few]).all()


@pytest.mark.parametrize("n_few", [1, 3])
@pytest.mark.parametrize("hubs", [(1,), (1, 2)])
def test_a_hub_gets_its_terms_one_after_the_other(
    hubs: tuple[int, ...], n_few: int
) -> None:
    # thirty loads at the hubs: one level gives each hub thirty terms
    n_nodes = 31 + len(hubs)
    links = [(hub, load) for load in range(1 + len(hubs), n_nodes) for hub in hubs]
    elimination = Elimination(n_nodes, links, kept=hubs)
    generator = np.random.default_rng(12)
    shape = (elimination.n_rows, FEW_NETWORKS + 1)
    many = 10.0 ** generator.uniform(-9.0, 3.0, shape)
    many_amps = generator.uniform(-1.0, 1.0, (n_nodes, *shape[1:]))
    few, few_amps = many[:, :n_few].copy(), many_amps[:, :n_few].copy()

    for rows, amps in ((many, many_amps), (few, few_amps)):
        eliminate(elimination.outer, rows, np.ones((n_nodes, rows.shape[1])))
        spread_amps(elimination.outer, rows, amps, range(n_nodes))

    assert len(elimination.outer.levels) == 1
    assert (few == many[:, :n_few]).all()
    assert (few_amps[1:] == many_amps[1:, :n_few]).all()


# A network all of whose nodes wait for the last.
@pytest.mark.parametrize("n_networks", [1, 10 * FEW_NETWORKS])
def test_where_no_node_is_eliminated_nothing_changes(n_networks: int) -> None:
    rows, amps = np.full((2, n_networks), 3.0), np.full((3, n_networks), 5.0)
    totals = np.zeros((3, n_networks))

    eliminate(Stars(()), rows, totals)
    spread_amps(Stars(()), rows, amps, range(3))
    amps_to_volts(Stars(()), rows, totals, amps)

    assert (rows == 3.0).all()
    assert (amps == 5.0).all()
    assert (totals == 0.0).all()


# By hand: 1 A into the top of three resistors in a row, 1, 2 and 4 ohm down to ground:
# 7 V, 6 V and 4 V; and each node shows the ohms below it.
@pytest.mark.parametrize("n_networks", [1, 3 * FEW_NETWORKS])
def test_an_ampere_down_a_row_of_resistors(n_networks: int) -> None:
    elimination = Elimination(4, [(1, 2), (2, 3), (3, 0)])
    rows = np.zeros((elimination.n_rows, n_networks))
    for ends, siemens in (((1, 2), 1.0), ((2, 3), 0.5), ((3, 0), 0.25)):
        rows[elimination.row(*ends)] = siemens
    totals, amps = np.zeros((4, n_networks)), np.zeros((4, n_networks))
    amps[1] = 1.0

    eliminate(elimination.stars, rows, totals)
    ohms = self_ohms(elimination.stars, rows, totals)
    spread_amps(elimination.stars, rows, amps, [1])
    amps_to_volts(elimination.stars, rows, totals, amps)

    expected = np.array([7.0, 6.0, 4.0])[:, None].repeat(n_networks, axis=1)
    np.testing.assert_allclose(amps[1:], expected, rtol=1e-14)
    np.testing.assert_allclose(ohms[1:], expected, rtol=1e-14)
