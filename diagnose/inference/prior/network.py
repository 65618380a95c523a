"""The door to pgmpy: networks of discrete nodes, their tables, and files of them.

The only module that imports pgmpy; what else needs a network goes through it. Leaves
which nodes there are to `cause_network` and `interchange`.

pgmpy holds the network, checks it, answers and exports it, and a diagnosis runs on
arrays made from the same tables (`compilation`): elimination in pgmpy is exact but slow
for ranking many readings, and its import takes about 2 s. So this module is imported
where it is first needed, and no diagnosis waits for it.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import TypeAlias

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore", FutureWarning)  # pgmpy warns at its own import
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

from diagnose.arrays import FloatArray
from diagnose.inference.prior.node_names import node_name
from diagnose.inference.prior.xmlbif import SUM_TOLERANCE, NodeTable, xmlbif_text

Network: TypeAlias = DiscreteBayesianNetwork


class Form(Enum):
    """An open format for networks."""

    BIF = "bif"
    XMLBIF = "xmlbif"


def new_network() -> Network:
    """Return a network without nodes.

    Returns
    -------
    Network
        To be filled by `add_node`.
    """
    return DiscreteBayesianNetwork()


def add_node(
    network: Network,
    name: str,
    states: Sequence[str],
    columns: Sequence[Sequence[float]],
    parents: Mapping[str, Sequence[str]] | None = None,
) -> None:
    """Add a node with its table to a network.

    Parameters
    ----------
    network : Network
        Holds the parents already.
    name : str
        Of the node.
    states : Sequence[str]
        Of the node.
    columns : Sequence[Sequence[float]]
        The probability of every state, one column for each configuration of the
        parents, the last parent changing fastest. [1]
    parents : Mapping[str, Sequence[str]] or None
        Nodes that it depends on, to their states.
    """
    parents = parents or {}
    network.add_node(name)
    for parent in parents:
        network.add_edge(parent, name)
    network.add_cpds(
        TabularCPD(
            name,
            len(states),
            np.array(columns, dtype=np.float64).T,
            evidence=list(parents) or None,
            evidence_card=[len(s) for s in parents.values()] or None,
            state_names={
                name: list(states),
                **{p: list(s) for p, s in parents.items()},
            },
        )
    )


def check(network: Network) -> None:
    """Check that a network has no loop, and that its tables fit and sum to 1.

    Parameters
    ----------
    network : Network
        With all its nodes.

    Raises
    ------
    ValueError
        If a column of a table is off by more than `SUM_TOLERANCE`.
    """
    network.check_model()
    for table in network.get_cpds():
        sums = table.get_values().sum(axis=0)
        if np.abs(sums - 1.0).max() > SUM_TOLERANCE:
            raise ValueError(f"{table.variable}: columns sum to {sums}")


def node_table(network: Network, node: str) -> NodeTable:
    """Return the table of a node.

    Parameters
    ----------
    network : Network
        That holds it.
    node : str
        Its name.

    Returns
    -------
    NodeTable
        With the node's states and parents. [1]
    """
    table = network.get_cpds(node)
    return NodeTable(
        node=node,
        states=tuple(table.state_names[node]),
        parents=tuple(table.variables[1:]),
        values=np.asarray(table.values, dtype=np.float64),
    )


def written(network: Network, name: str, form: Form) -> str:
    """Return a network in an open format.

    Parameters
    ----------
    network : Network
        To write down.
    name : str
        For the network as a whole.
    form : Form
        Of the file.

    Returns
    -------
    str
        The file, ending in a line break.

    References
    ----------
    F. G. Cozman, The Interchange Format for Bayesian Networks (BIF 0.15, XMLBIF 0.3),
    1998.
    """
    if form is Form.XMLBIF:
        tables = [node_table(network, node) for node in network.nodes()]
        return xmlbif_text(node_name(name), tables)
    # a part of pgmpy that a diagnosis never needs
    from pgmpy.readwrite import BIFWriter

    network.name = node_name(name)
    return str(BIFWriter(network)).rstrip() + "\n"


def dirichlet_shares(counts: FloatArray, pseudo_counts: FloatArray) -> FloatArray:
    """Return the posterior mean of shares under Dirichlet's prior.

    Parameters
    ----------
    counts : FloatArray
        How often each category was seen, shape (n_categories,). [1]
    pseudo_counts : FloatArray
        How many each counted for before, shape (n_categories,). [1]

    Returns
    -------
    FloatArray
        Shape (n_categories,); sums to 1. [1]

    Notes
    -----
    (a + c) / sum(a + c), with c counts and a pseudo counts.

    References
    ----------
    D. Koller and N. Friedman, Probabilistic Graphical Models, MIT Press, 2009, section
    17.3 (Bayesian parameter estimation).
    """
    # a slow part of pgmpy that a diagnosis never needs
    from pandas import DataFrame
    from pgmpy.parameter_estimator import DiscreteBayesianEstimator

    network = DiscreteBayesianNetwork()
    network.add_node("cause")
    # one row per category, weighted: memory does not grow with the cases
    states = [f"category_{i:05d}" for i in range(len(counts))]
    estimator = DiscreteBayesianEstimator(
        state_names={"cause": states},
        prior_type="dirichlet",
        pseudo_counts={"cause": pseudo_counts[:, None]},
    )
    estimator.fit(network, DataFrame({"cause": states}), sample_weight=counts)
    (table,) = estimator.parameters_
    shares = [table.get_value(cause=state) for state in states]
    return np.array(shares, dtype=np.float64)
