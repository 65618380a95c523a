"""A car's network in open formats, for other programs to read.

Three networks: the causes exactly as a diagnosis starts from them; one fault at a time
with every symptom; and the fault sets and facts of one diagnosis. Leaves writing them
down to `prior.network`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import Cause
from diagnose.faults.links import UNTIED, Ties
from diagnose.inference.belief.evidence import symptom_likelihood
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.network import Form, add_node, check, new_network, written
from diagnose.inference.prior.node_names import node_name, node_names
from diagnose.inference.prior.priors import Priors
from diagnose.measurement.symptoms import Context

# The node for the one cause, in a network of single faults.
CAUSE = "cause"

# Its state that stands for no cause, and the words for a fault set without one.
NONE = "none"

# The node for the fault set, in the network of one diagnosis.
FAULTS = "faults"


def answered(
    contexts: Sequence[Context], answers: Mapping[str, str]
) -> tuple[Context, ...]:
    """Return contexts with the answered ones certain.

    Parameters
    ----------
    contexts : Sequence[Context]
        Questions about the car's history.
    answers : Mapping[str, str]
        Context to one of its states.

    Returns
    -------
    tuple[Context, ...]
        In the same order; the state that was answered has probability 1.
    """
    return tuple(
        replace(
            context,
            states={
                state: float(state == answers[context.name]) for state in context.states
            },
        )
        if context.name in answers
        else context
        for context in contexts
    )


def cause_network_text(
    contexts: Sequence[Context],
    causes: Sequence[Cause],
    *,
    name: str,
    form: Form,
    ties: Ties = UNTIED,
) -> str:
    """Return the network of contexts and parts, a node for each part.

    Parameters
    ----------
    contexts : Sequence[Context]
        Questions about the car's history.
    causes : Sequence[Cause]
        All that can be wrong with the car.
    name : str
        Name of the network.
    form : Form
        Of the file.
    ties : Ties
        What ties the causes together, by nodes of its own.

    Returns
    -------
    str
        The file.

    Raises
    ------
    ValueError
        If a table does not sum to 1.
    """
    return written(CauseNetwork(contexts, causes, ties).network, name, form)


def symptom_network_text(
    contexts: Sequence[Context], compiled: Compiled, *, name: str, form: Form
) -> str:
    """Return the network of contexts, one node for the cause, and every symptom.

    Parameters
    ----------
    contexts : Sequence[Context]
        Questions about the car's history.
    compiled : Compiled
        The car, with what each cause shows.
    name : str
        Name of the network.
    form : Form
        Of the file.

    Returns
    -------
    str
        The file.

    Raises
    ------
    ValueError
        If a table does not sum to 1.

    Notes
    -----
    One fault at a time, and symptoms independent of each other under a cause: the
    tolerance draws that the diagnosis keeps together are averaged for each symptom.
    """
    network = new_network()
    for context in contexts:
        add_node(
            network, context.name, tuple(context.states), [[*context.states.values()]]
        )
    taken = [context.name for context in contexts]
    states = (NONE, *node_names([c.name for c in compiled.causes], [NONE]).values())
    add_node(
        network,
        CAUSE,
        states,
        single_fault_chances(compiled.priors).T.tolist(),
        {context.name: tuple(context.states) for context in contexts},
    )
    nodes = node_names(compiled.symptom_names, [*taken, CAUSE])
    for column, symptom in enumerate(compiled.symptom_names):
        chance = _chance_alone(compiled, column, symptom)
        yes = symptom_likelihood(
            compiled.knowledge.symptoms[symptom], is_present=True, chance=chance
        ).mean(axis=1)
        columns = np.stack([yes, 1.0 - yes], axis=1)
        add_node(
            network, nodes[symptom], ("yes", "no"), columns.tolist(), {CAUSE: states}
        )
    check(network)
    return written(network, name, form)


def _chance_alone(compiled: Compiled, column: int, symptom: str) -> FloatArray:
    """Return the chance of a symptom without and with each cause, (1 + n, n_draws)."""
    rows = [0, *(compiled.shown_by(n) for n in range(len(compiled.causes)))]
    chance = compiled.singles.symptoms[rows, :, column].astype(np.float64)
    state = compiled.knowledge.symptoms[symptom].state
    fleeting = slice(1 + compiled.n_lasting, None)
    chance[fleeting] = compiled.presence.mixed(
        chance[fleeting], chance[0], compiled.presence.chance(state)
    )
    return chance


def told_network_text(
    sets: Sequence[str],
    shares: FloatArray,
    facts: Sequence[str],
    *,
    name: str,
    form: Form,
) -> str:
    """Return the network of one diagnosis: its fault sets, and each fact told.

    Parameters
    ----------
    sets : Sequence[str]
        Words for each fault set.
    shares : FloatArray
        What each fault set weighs before any fact, after the first, and so on, shape
        (1 + n_facts, n_sets); not normalised. [1]
    facts : Sequence[str]
        Words for each fact, in the order of `shares`.
    name : str
        Name of the network.
    form : Form
        Of the file.

    Returns
    -------
    str
        The file.

    Raises
    ------
    ValueError
        If a table does not sum to 1.

    Notes
    -----
    A fact has two states. Its chance under a fault set is that given the facts before
    it, so the tolerances that tie facts together are in it: with every fact set to
    ``as_told``, the fault sets have the probabilities of the diagnosis. With only some
    of them set, they are right as long as those are the first ones.
    """
    network = new_network()
    states = tuple(node_names(sets).values())
    add_node(network, FAULTS, states, [(shares[0] / shares[0].sum()).tolist()])
    for number, words in enumerate(facts, start=1):
        before, after = shares[number - 1], shares[number]
        chance = np.divide(after, before, out=np.zeros_like(after), where=before > 0.0)
        told = chance / max(chance.max(), 1e-300)
        add_node(
            network,
            node_name(f"fact_{number}_{words}"),
            ("as_told", "otherwise"),
            np.stack([told, 1.0 - told], axis=1).tolist(),
            {FAULTS: states},
        )
    check(network)
    return written(network, name, form)


def single_fault_chances(priors: Priors) -> FloatArray:
    """Return the chance of no cause and of each one, given that there is at most one.

    Parameters
    ----------
    priors : Priors
        Of one car.

    Returns
    -------
    FloatArray
        Shape (1 + n_causes, n_configurations); each column sums to 1. [1]
    """
    sets = [(), *((i,) for i in range(len(priors.part_of)))]
    columns = [
        priors.set_probabilities(sets, dict(zip(priors.contexts, config, strict=True)))
        for config in priors.configurations
    ]
    chances = np.stack(columns, axis=1)
    return np.asarray(chances / chances.sum(axis=0))
