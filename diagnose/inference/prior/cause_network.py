"""The Bayesian network over the causes of one car, before any fact.

Knows which nodes there are and what their tables hold. Leaves pgmpy to `network`, and
the form a diagnosis runs on to `compilation`.

The tables stand by themselves and are checked here: a car that is seen for the first
time needs nothing else of the network, and pgmpy takes longer to import than the
tables to make. It holds the network for whoever asks it something or exports it.

Decisions that bind it:

- A part has one node, whose states are sound and its fault modes: a part fails in one
  way at a time.
- How a fault began is a context, a parent of the parts' nodes with factors, although it
  is really what the fault causes. By Bayes' rule the chance of the answer given the
  mode, over its chance at all, does the same, and one table serves all questions.
- Water at one place is an unseen node for each place (a spot), and not a link from
  joint to joint: twenty joints at a fender would need two to the twentieth columns.
- Whether some parent of a link is present is a node of its own. The tables of the child
  double with each link, however many parents the link has.
- A spot leaves every rate as it is on average; a link makes its child likelier. A spot
  only says what fails together. What a link adds, up to a tenth of a worn battery's
  rate, is too little to correct the published rates for.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import Cause
from diagnose.faults.links import UNTIED, Link, Spot, Ties
from diagnose.inference.prior.links_at_work import MAX_FAULT_PROBABILITY
from diagnose.inference.prior.node_names import node_names
from diagnose.inference.prior.xmlbif import SUM_TOLERANCE, NodeTable
from diagnose.measurement.symptoms import Context

if TYPE_CHECKING:
    from diagnose.inference.prior.network import Network

# The state of a part's node that stands for no fault.
OK = "ok"

# The states of the unseen nodes: a spot's condition, and whether some parent of a link
# is present.
NO_YES = ("no", "yes")


class CauseNetwork:
    """Context nodes, a node for each part with its fault modes, and what ties them.

    Parameters
    ----------
    contexts : Sequence[Context]
        Questions about the car's history, with how likely each answer is.
    causes : Sequence[Cause]
        In the order the compiled form numbers them.
    ties : Ties
        Causes that make others likelier, and conditions of whole places.

    Attributes
    ----------
    contexts : tuple[Context, ...]
        As given.
    causes : tuple[Cause, ...]
        As given.
    ties : Ties
        As given.
    parts : tuple[str, ...]
        Parts with a cause, in the order of their first.
    modes : dict[str, tuple[Cause, ...]]
        Part to its causes, in the order of its node's states after `OK`.
    nodes : dict[str, str]
        Part to the name of its node.
    tables : dict[str, NodeTable]
        Node to its table. [1]

    Raises
    ------
    ValueError
        If a table of the network does not sum to 1.

    Notes
    -----
    A spot is an unseen node between a context and the parts of a place. Of a link, an
    unseen node says whether one of the parents is present; it is the parent of the
    child's part.

    References
    ----------
    D. Koller and N. Friedman, Probabilistic Graphical Models, MIT Press, 2009, chapter
    3 (Bayesian networks).
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
        modes: dict[str, list[Cause]] = {}
        for cause in self.causes:
            modes.setdefault(cause.part.name, []).append(cause)
        self.parts = tuple(modes)
        self.modes = {part: tuple(found) for part, found in modes.items()}
        taken = [c.name for c in self.contexts]
        self.nodes = node_names(self.parts, taken)
        between = [*(s.name for s in ties.spots), *map(_link_words, ties.links)]
        self._between = node_names(between, [*taken, *self.nodes.values()])
        self._spot_of = {part: spot for spot in ties.spots for part in spot.parts}
        self.tables: dict[str, NodeTable] = {}
        for context in self.contexts:
            answers, chances = tuple(context.states), list(context.states.values())
            self._add(context.name, answers, np.array([chances]).T, {})
        for spot in ties.spots:
            self._add_spot(spot)
        for part in self.parts:
            self._add_part(part)
        for link in ties.links:
            self._add_link(link)

    @cached_property
    def network(self) -> Network:
        """The network in pgmpy's form, checked by it.

        Raises
        ------
        ValueError
            If the network has a loop.
        """
        # only here, for pgmpy takes a second to import
        from diagnose.inference.prior.network import add_node, check, new_network

        network = new_network()
        for name, table in self.tables.items():
            columns = table.values.reshape(len(table.states), -1).T
            parents = {parent: self.tables[parent].states for parent in table.parents}
            add_node(network, name, table.states, columns.tolist(), parents)
        check(network)
        return network

    def spot_of(self, part: str) -> Spot | None:
        """Return the spot that a part sits in.

        Parameters
        ----------
        part : str
            Name of a part.

        Returns
        -------
        Spot or None
            None where its place has no condition of its own.
        """
        return self._spot_of.get(part)

    def links_of(self, part: str) -> tuple[Link, ...]:
        """Return the links that make causes of a part likelier.

        Parameters
        ----------
        part : str
            Name of a part.

        Returns
        -------
        tuple[Link, ...]
            In the order of the axes of its table, behind those of the contexts and the
            spot.
        """
        return tuple(link for link in self.ties.links if link.part == part)

    def context_states(self, name: str) -> tuple[str, ...]:
        """Return the answers of a context.

        Parameters
        ----------
        name : str
            Of the context.

        Returns
        -------
        tuple[str, ...]
            In the order of its node's states.
        """
        return next(tuple(c.states) for c in self.contexts if c.name == name)

    def part_states(self, part: str) -> tuple[str, ...]:
        """Return the states of a part's node.

        Parameters
        ----------
        part : str
            Name of a part.

        Returns
        -------
        tuple[str, ...]
            `OK`, then its fault modes.
        """
        return (OK, *(cause.mode.name for cause in self.modes[part]))

    def _add(
        self,
        name: str,
        states: Sequence[str],
        columns: FloatArray,
        parents: Mapping[str, Sequence[str]],
    ) -> None:
        """Add the table of a node.

        Parameters
        ----------
        columns : FloatArray
            The probability of every state, one column for each configuration of the
            parents, the last parent changing fastest. [1]
        parents : Mapping[str, Sequence[str]]
            Nodes that it depends on, to their states.

        Raises
        ------
        ValueError
            If a column is off by more than `SUM_TOLERANCE`.
        """
        sums = columns.sum(axis=0)
        if np.abs(sums - 1.0).max() > SUM_TOLERANCE:
            raise ValueError(f"{name}: columns sum to {sums}")
        shape = (len(states), *map(len, parents.values()))
        self.tables[name] = NodeTable(
            node=name,
            states=tuple(states),
            parents=tuple(parents),
            values=np.ascontiguousarray(columns, dtype=np.float64).reshape(shape),
        )

    def _add_spot(self, spot: Spot) -> None:
        states = self.context_states(spot.context)
        chances = [spot.chances[state] for state in states]
        columns = [[1.0 - chance, chance] for chance in chances]
        name = self._between[spot.name]
        self._add(name, NO_YES, np.array(columns).T, {spot.context: states})

    def _add_link(self, link: Link) -> None:
        """Add whether some parent of a link is present; after the parts."""
        parts = dict.fromkeys(self.causes[n].part.name for n in link.parents)
        is_parent = [
            tuple(self._index[cause.name] in link.parents for cause in self.modes[part])
            for part in parts
        ]
        columns = [
            [1.0 - any(present), float(any(present))]
            for present in itertools.product(*((False, *one) for one in is_parent))
        ]
        states = {self.nodes[part]: self.part_states(part) for part in parts}
        name = self._between[_link_words(link)]
        self._add(name, NO_YES, np.array(columns).T, states)

    def _add_part(self, part: str) -> None:
        modes, spot = self.modes[part], self.spot_of(part)
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
        for link in self.links_of(part):
            linked = _with_ok(table[1:] * self._link_factors(link, modes)[:, None])
            table = np.stack([table, linked], axis=2).reshape(len(table), -1)
            parents[self._between[_link_words(link)]] = NO_YES
        self._add(self.nodes[part], self.part_states(part), table, parents)

    def _link_factors(self, link: Link, modes: Sequence[Cause]) -> FloatArray:
        """Return what a link multiplies each mode's rate by, shape (n_modes,)."""
        is_child = [self._index[cause.name] in link.children for cause in modes]
        return np.where(is_child, link.factor, 1.0)

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
