"""The Bayesian network over the causes, held by pgmpy.

The only module that knows pgmpy. It builds the cause network, checks it, answers prior
queries, and hands its tables to `priors`; with the likelihood of facts added it is the
reference the compiled form is tested against.
"""

from __future__ import annotations

import itertools
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore", FutureWarning)  # pgmpy warns at its own import
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

if TYPE_CHECKING:
    from pgmpy.inference import VariableElimination

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.errors import ImpossibleEvidenceError
from diagnose.faults.causes import Cause, FaultSet
from diagnose.faults.links import UNTIED, Link, Spot, Ties
from diagnose.inference.prior.priors import MAX_FAULT_PROBABILITY, Priors
from diagnose.measurement.symptoms import Context

OK = "ok"
SEEN = "seen"
NO_YES = ("no", "yes")
SUM_TOLERANCE = 1e-9


def node_name(words: str) -> str:
    """Return a name every interchange format can hold.

    Examples
    --------
    >>> node_name("pump-relay.coil")
    'pump_relay_coil'
    """
    return re.sub(r"\W", "_", words)


RESERVED = frozenset(
    ("network", "variable", "probability", "table", "default", "property", "type")
)
"""Words of the grammar of BIF 0.15, which no reader takes for a name."""


def node_names(words: Sequence[str], taken: Iterable[str] = ()) -> dict[str, str]:
    """Return a node name for each, none of them twice.

    Parameters
    ----------
    words : Sequence[str]
    taken : Iterable[str]
        Names that are given away already.

    Examples
    --------
    >>> node_names(["relay.coil", "relay-coil", "table"])
    {'relay.coil': 'relay_coil', 'relay-coil': 'relay_coil_2', 'table': 'table_2'}
    """
    gone = {*taken, *RESERVED}
    found = {}
    for word in words:
        plain = name = node_name(word)
        count = 1
        while name in gone:
            count += 1
            name = f"{plain}_{count}"
        gone.add(name)
        found[word] = name
    return found


def add_node(
    network: DiscreteBayesianNetwork,
    name: str,
    states: Sequence[str],
    columns: Sequence[Sequence[float]],
    parents: Mapping[str, Sequence[str]] | None = None,
) -> None:
    """Add a node; one column per parent configuration, the last parent fastest.

    Parameters
    ----------
    columns : Sequence[Sequence[float]]
        Each with the chance of every state.
    parents : Mapping[str, Sequence[str]] or None
        Nodes of the network to their states.
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


def new_network() -> DiscreteBayesianNetwork:
    """Return a network without nodes."""
    return DiscreteBayesianNetwork()


def check(network: DiscreteBayesianNetwork) -> None:
    """Check structure and tables, sums to 1e-9 (pgmpy allows 1e-2).

    Raises
    ------
    ValueError
        If a table does not sum to 1.
    """
    network.check_model()
    for table in network.get_cpds():
        sums = table.get_values().sum(axis=0)
        if np.abs(sums - 1.0).max() > SUM_TOLERANCE:
            raise ValueError(f"{table.variable}: columns sum to {sums}")


class CauseNetwork:
    """Context nodes, a fault node for each part with its modes, and what ties them.

    Parameters
    ----------
    contexts : Sequence[Context]
    causes : Sequence[Cause]
        In the order the compiled form numbers them.
    ties : Ties
        Causes that make others likelier, and conditions of whole places.

    Raises
    ------
    ValueError
        If a table of the network does not sum to 1.

    Notes
    -----
    A spot is an unseen node between a context and the parts of a place. Of a link, an
    unseen node says whether one of the parents is present; it is the parent of the
    child's part, whose tables then stay small however many parents there are.
    """

    def __init__(
        self,
        contexts: Sequence[Context],
        causes: Sequence[Cause],
        ties: Ties = UNTIED,
    ) -> None:
        self.contexts = tuple(contexts)
        self.causes = tuple(causes)
        self.ties = ties
        self._index = {cause.name: i for i, cause in enumerate(self.causes)}
        self.parts = tuple(dict.fromkeys(cause.part.name for cause in causes))
        self.modes = {
            part: tuple(c for c in self.causes if c.part.name == part)
            for part in self.parts
        }
        taken = [c.name for c in self.contexts]
        self.nodes = node_names(self.parts, taken)
        between = [*(s.name for s in ties.spots), *map(_link_words, ties.links)]
        self._between = node_names(between, [*taken, *self.nodes.values()])
        self._spot_of = {part: spot for spot in ties.spots for part in spot.parts}
        self._links_of = {
            part: tuple(link for link in ties.links if link.part == part)
            for part in self.parts
        }
        self.network = new_network()
        for context in self.contexts:
            add_node(
                self.network,
                context.name,
                tuple(context.states),
                [list(context.states.values())],
            )
        for spot in ties.spots:
            self._add_spot(spot)
        for part in self.parts:
            self._add_part(part)
        for link in ties.links:
            self._add_link(link)
        check(self.network)

    def _add_spot(self, spot: Spot) -> None:
        states = self._context_states(spot.context)
        chances = [spot.chances[state] for state in states]
        columns = [[1.0 - chance, chance] for chance in chances]
        name = self._between[spot.name]
        add_node(self.network, name, NO_YES, columns, {spot.context: states})

    def _add_link(self, link: Link) -> None:
        """Add whether some parent of a link is present; after the parts."""
        parents = {
            part: tuple(
                self.causes.index(cause) in link.parents for cause in self.modes[part]
            )
            for part in dict.fromkeys(self.causes[n].part.name for n in link.parents)
        }
        columns = [
            [1.0 - any(present), float(any(present))]
            for present in itertools.product(
                *((False, *one) for one in parents.values())
            )
        ]
        states = {
            self.nodes[part]: (OK, *(cause.mode.name for cause in self.modes[part]))
            for part in parents
        }
        add_node(
            self.network, self._between[_link_words(link)], NO_YES, columns, states
        )

    def _add_part(self, part: str) -> None:
        modes, spot, links = (
            self.modes[part],
            self._spot_of.get(part),
            self._links_of[part],
        )
        wanted = {name for cause in modes for name in cause.mode.factors}
        if spot is not None:
            wanted.add(spot.context)
        contexts = {c.name: tuple(c.states) for c in self.contexts if c.name in wanted}
        rates = _rates(modes, contexts)
        parents = dict(contexts)
        if spot is not None:
            rates = self._in_spot(rates, modes, contexts, spot)
            parents[self._between[spot.name]] = NO_YES
        table = _with_ok(rates.reshape(len(modes), -1))
        for link in links:
            factors = np.array(
                [
                    link.factor if self._index[c.name] in link.children else 1.0
                    for c in modes
                ]
            )
            linked = _with_ok(table[1:] * factors[:, None])
            table = np.stack([table, linked], axis=2).reshape(len(table), -1)
            parents[self._between[_link_words(link)]] = NO_YES
        states = (OK, *(cause.mode.name for cause in modes))
        add_node(self.network, self.nodes[part], states, table.T.tolist(), parents)

    def _in_spot(
        self,
        rates: FloatArray,
        modes: Sequence[Cause],
        contexts: Mapping[str, Sequence[str]],
        spot: Spot,
    ) -> FloatArray:
        """Return rates without and with a spot's condition, on a further last axis.

        On average over the spot each rate is as it was.
        """
        weights = np.array([spot.weights.get(self._index[c.name], 1.0) for c in modes])
        answers = itertools.product(*contexts.values())
        place = list(contexts).index(spot.context)
        chance = np.array([spot.chances[answer[place]] for answer in answers])
        mean = 1.0 + chance * (weights[:, None] - 1.0)
        shares = np.stack([1.0 / mean, weights[:, None] / mean], axis=2)
        return np.asarray(rates[:, :, None] * shares)

    def _context_states(self, name: str) -> tuple[str, ...]:
        return next(tuple(c.states) for c in self.contexts if c.name == name)

    def priors(self) -> Priors:
        """Return the network's tables in compiled form.

        A context that none of the car's causes follows drops out.
        """
        tables = {part: self.network.get_cpds(self.nodes[part]) for part in self.parts}
        followed = {one for table in tables.values() for one in table.variables[1:]}
        contexts = [c for c in self.contexts if c.name in followed]
        shape = [len(c.states) for c in contexts]
        states = np.indices(shape).reshape(len(shape), -1)
        rows = {c.name: row for c, row in zip(contexts, states, strict=True)}
        weights = np.ones(states.shape[1])
        for context in contexts:
            weights *= np.array(list(context.states.values()))[rows[context.name]]
        mode = np.empty((2, len(self.causes), len(weights)))
        for part, table in tables.items():
            in_part = [self._index[cause.name] for cause in self.modes[part]]
            mode[:, in_part] = self._unlinked(part, table, rows, len(weights))
        spots, links = self.ties.spots, self.ties.links
        spot_chance = np.empty((len(spots), len(weights)))
        for number, spot in enumerate(spots):
            chances = [spot.chances[s] for s in self._context_states(spot.context)]
            spot_chance[number] = np.array(chances)[rows[spot.context]]
        n_causes = len(self.causes)
        return Priors(
            contexts=tuple(c.name for c in contexts),
            configurations=tuple(itertools.product(*(c.states for c in contexts))),
            configuration_probability=weights,
            part_of=np.array([self.parts.index(c.part.name) for c in self.causes]),
            mode_probability=mode,
            spot_of=np.array([_spot_number(spots, part) for part in self.parts]),
            spot_probability=spot_chance,
            link_parents=_membership([one.parents for one in links], n_causes),
            link_children=_membership([one.children for one in links], n_causes),
            link_factor=np.array([link.factor for link in links], dtype=np.float64),
        )

    def _unlinked(
        self,
        part: str,
        table: TabularCPD,
        rows: Mapping[str, IntArray],
        n_configurations: int,
    ) -> FloatArray:
        """Return the chance of each mode without and with the spot's condition.

        While no link is at work; shape (2, n_modes, n_configurations).
        """
        values = np.asarray(table.values)
        for _ in self._links_of[part]:
            values = values[..., 0]
        spot = self._spot_of.get(part)
        both = [values, values] if spot is None else [values[..., 0], values[..., 1]]
        picked = [rows[parent] for parent in table.variables[1:] if parent in rows]
        return np.stack([_picked(one[1:], picked, n_configurations) for one in both])

    def fault_sets(self) -> tuple[FaultSet, ...]:
        """Return every combination of fault-node states, last node fastest."""
        index = {cause.name: i for i, cause in enumerate(self.causes)}
        choices = [
            [(), *((index[cause.name],) for cause in self.modes[part])]
            for part in self.parts
        ]
        return tuple(
            tuple(sorted(itertools.chain.from_iterable(combination)))
            for combination in itertools.product(*choices)
        )

    def posterior(
        self, likelihoods: Sequence[FloatArray], answers: Mapping[str, str]
    ) -> dict[str, float]:
        """Return the probability of each cause by variable elimination.

        Parameters
        ----------
        likelihoods : Sequence[FloatArray]
            One per fact: its likelihood under every fault set of `fault_sets` (rows)
            and every tolerance draw (columns).
        answers : Mapping[str, str]
            Context answers.

        Raises
        ------
        ImpossibleEvidenceError
            If no fault set can give the facts.

        Notes
        -----
        Adds a tolerance node and one node per fact, with all fault nodes as parents:
        for networks small enough to hold, as a reference.
        """
        evidence = dict(answers)
        evidence.update((f"fact_{i}", SEEN) for i in range(len(likelihoods)))
        nodes = list(self.nodes.values())
        found = marginals(self.with_facts(likelihoods), nodes, evidence)
        return {
            cause.name: found[self.nodes[cause.part.name]][cause.mode.name]
            for part in self.parts
            for cause in self.modes[part]
        }

    def with_facts(self, likelihoods: Sequence[FloatArray]) -> DiscreteBayesianNetwork:
        """Return the network with tolerance draws, and facts as nodes ``fact_0`` ...

        Parameters
        ----------
        likelihoods : Sequence[FloatArray]
            As in `posterior`; each scaled to at most 1.
        """
        network = CauseNetwork(self.contexts, self.causes, self.ties).network
        n_draws = likelihoods[0].shape[1] if likelihoods else 1
        draws = [f"draw_{i}" for i in range(n_draws)]
        add_node(network, "tolerance", draws, [[1.0 / n_draws] * n_draws])
        parents = {
            self.nodes[part]: (OK, *(c.mode.name for c in self.modes[part]))
            for part in self.parts
        }
        parents["tolerance"] = tuple(draws)
        for number, likelihood in enumerate(likelihoods):
            seen = (likelihood / max(likelihood.max(), 1e-300)).ravel()
            columns = np.stack([seen, 1.0 - seen], axis=1).tolist()
            add_node(network, f"fact_{number}", (SEEN, "other"), columns, parents)
        return network


def _engine(network: DiscreteBayesianNetwork) -> VariableElimination:
    """Return what answers queries; imported here, as it takes longer than the rest."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.inference import VariableElimination
    return VariableElimination(network)


def marginals(
    network: DiscreteBayesianNetwork,
    nodes: Sequence[str],
    evidence: Mapping[str, str],
) -> dict[str, dict[str, float]]:
    """Return the probability of every state of some nodes, by variable elimination.

    Parameters
    ----------
    evidence : Mapping[str, str]
        Node to the state it is seen in.

    Raises
    ------
    ImpossibleEvidenceError
        If the evidence has no probability.
    """
    # pgmpy itself may answer impossible evidence in silence
    if not evidence_probability(network, evidence) > 0.0:
        raise ImpossibleEvidenceError("no cause can give these facts together")
    engine = _engine(network)
    return {node: _queried(engine, node, evidence) for node in nodes}


def evidence_probability(
    network: DiscreteBayesianNetwork, evidence: Mapping[str, str]
) -> float:
    """Return the probability of some evidence, one finding after the other."""
    engine = _engine(network)
    told: dict[str, str] = {}
    probability = 1.0
    for node, state in evidence.items():
        probability *= _queried(engine, node, told)[state]
        if not probability > 0.0:
            return 0.0
        told[node] = state
    return probability


def _queried(
    engine: VariableElimination, node: str, evidence: Mapping[str, str]
) -> dict[str, float]:
    table = engine.query([node], evidence=dict(evidence), show_progress=False)
    states = table.state_names[node]
    return dict(zip(states, table.values.tolist(), strict=True))


def dirichlet_shares(counts: FloatArray, pseudo_counts: FloatArray) -> FloatArray:
    """Return the posterior mean of shares under Dirichlet's prior.

    Parameters
    ----------
    counts : FloatArray
        How often each category was seen, shape (n_categories,).
    pseudo_counts : FloatArray
        What each counted for before, shape (n_categories,).

    Returns
    -------
    FloatArray
        Shape (n_categories,); sums to 1.
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


class Form(Enum):
    """An open format for networks."""

    BIF = "bif"
    XMLBIF = "xmlbif"


def written(network: DiscreteBayesianNetwork, name: str, form: Form) -> str:
    """Return a network in an open format.

    Parameters
    ----------
    name : str
        For the network as a whole.
    form : Form

    References
    ----------
    F. G. Cozman, The Interchange Format for Bayesian Networks (BIF 0.15, XMLBIF 0.3),
    1998.
    """
    # a part of pgmpy that a diagnosis never needs
    from pgmpy.readwrite import BIFWriter, XMLBIFWriter

    network.name = node_name(name)
    writer = BIFWriter if form is Form.BIF else XMLBIFWriter
    return str(writer(network)).rstrip() + "\n"


def _picked(
    values: FloatArray, rows: Sequence[IntArray], n_configurations: int
) -> FloatArray:
    """Return a table's column for each configuration, shape (n_rows, n_columns).

    Parameters
    ----------
    values : FloatArray
        Shape (n_rows, one axis per parent).
    rows : Sequence[IntArray]
        For each parent its state in every configuration.
    """
    found = np.moveaxis(values, 0, -1)[tuple(rows)]
    wide = found.reshape(-1, len(values)).T
    return np.broadcast_to(wide, (len(values), n_configurations))


def _with_ok(rates: FloatArray) -> FloatArray:
    """Return rates with the chance of being sound in front, and none too likely.

    Shape (1 + n_modes, n_columns).
    """
    rates = rates * np.minimum(
        1.0, MAX_FAULT_PROBABILITY / np.maximum(rates.sum(axis=0), 1e-12)
    )
    return np.vstack([1.0 - rates.sum(axis=0), rates])


def _link_words(link: Link) -> str:
    return f"{link.name}_{link.part}"


def _spot_number(spots: Sequence[Spot], part: str) -> int:
    return next((n for n, spot in enumerate(spots) if part in spot.parts), -1)


def _membership(rows: Sequence[Sequence[int]], n_causes: int) -> BoolArray:
    result = np.zeros((len(rows), n_causes), dtype=np.bool_)
    for number, members in enumerate(rows):
        result[number, list(members)] = True
    return result


def _rates(modes: Sequence[Cause], parents: Mapping[str, Sequence[str]]) -> FloatArray:
    """Return rates times factors, (n_modes, n_columns), the last parent fastest."""
    shape = (len(modes), *(len(states) for states in parents.values()))
    rates = np.ones(shape)
    for row, cause in enumerate(modes):
        rates[row] *= cause.mode.rate
        for axis, (parent, states) in enumerate(parents.items()):
            by_state = cause.mode.factors.get(parent, {})
            factors = np.array([by_state.get(state, 1.0) for state in states])
            rates[row] *= factors.reshape(-1, *[1] * (len(parents) - axis - 1))
    return rates.reshape(len(modes), -1)
