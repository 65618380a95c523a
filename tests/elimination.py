"""Exact answers by pgmpy's variable elimination: the reference for the compiled form.

Slow, and only for networks small enough to hold every fault set; a diagnosis needs none
of it.
"""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.network import Network, add_node

SEEN = "seen"


class ImpossibleFindingsError(Exception):
    """Findings that have no probability together."""


def engine_for(network: Network) -> Any:
    """Return pgmpy's elimination on a network."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # pgmpy warns at its own import
        from pgmpy.inference import VariableElimination
    return VariableElimination(network)


def queried(engine: Any, node: str, evidence: Mapping[str, str]) -> dict[str, float]:
    """Return the probability of every state of a node."""
    table = engine.query([node], evidence=dict(evidence), show_progress=False)
    states = table.state_names[node]
    return dict(zip(states, table.values.tolist(), strict=True))


def marginals(
    network: Network, nodes: Sequence[str], evidence: Mapping[str, str]
) -> dict[str, dict[str, float]]:
    """Return the probability of every state of some nodes.

    Raises
    ------
    ImpossibleFindingsError
        If the evidence has no probability, which pgmpy itself may answer in silence.
    """
    if not evidence_probability(network, evidence) > 0.0:
        raise ImpossibleFindingsError(str(dict(evidence)))
    engine = engine_for(network)
    return {node: queried(engine, node, evidence) for node in nodes}


def evidence_probability(network: Network, evidence: Mapping[str, str]) -> float:
    """Return the probability of some evidence, one finding after the other."""
    engine = engine_for(network)
    told: dict[str, str] = {}
    probability = 1.0
    for node, state in evidence.items():
        probability *= queried(engine, node, told)[state]
        if not probability > 0.0:
            return 0.0
        told[node] = state
    return probability


def fault_sets(causes: CauseNetwork) -> tuple[FaultSet, ...]:
    """Return every combination of the parts' states, the last part fastest."""
    index = {cause.name: i for i, cause in enumerate(causes.causes)}
    choices = [
        [(), *((index[cause.name],) for cause in causes.modes[part])]
        for part in causes.parts
    ]
    return tuple(
        tuple(sorted(itertools.chain.from_iterable(combination)))
        for combination in itertools.product(*choices)
    )


def with_facts(causes: CauseNetwork, likelihoods: Sequence[FloatArray]) -> Network:
    """Return the network with tolerance draws, and facts as nodes ``fact_0`` ...

    Parameters
    ----------
    likelihoods : Sequence[FloatArray]
        One per fact: its likelihood under every fault set of `fault_sets` (rows) and
        every tolerance draw (columns); each is scaled to at most 1.
    """
    network = CauseNetwork(causes.contexts, causes.causes, causes.ties).network
    n_draws = likelihoods[0].shape[1] if likelihoods else 1
    draws = [f"draw_{i}" for i in range(n_draws)]
    add_node(network, "tolerance", draws, [[1.0 / n_draws] * n_draws])
    parents = {causes.nodes[part]: causes.part_states(part) for part in causes.parts}
    parents["tolerance"] = tuple(draws)
    for number, likelihood in enumerate(likelihoods):
        seen = (likelihood / max(likelihood.max(), 1e-300)).ravel()
        columns = np.stack([seen, 1.0 - seen], axis=1).tolist()
        add_node(network, f"fact_{number}", (SEEN, "other"), columns, parents)
    return network


def posterior(
    causes: CauseNetwork,
    likelihoods: Sequence[FloatArray],
    answers: Mapping[str, str],
) -> dict[str, float]:
    """Return the probability of each cause, after facts as in `with_facts`.

    Raises
    ------
    ImpossibleFindingsError
        If no fault set can give the facts.
    """
    evidence = dict(answers)
    evidence.update((f"fact_{i}", SEEN) for i in range(len(likelihoods)))
    nodes = list(causes.nodes.values())
    found = marginals(with_facts(causes, likelihoods), nodes, evidence)
    return {
        cause.name: found[causes.nodes[cause.part.name]][cause.mode.name]
        for part in causes.parts
        for cause in causes.modes[part]
    }
