"""Nodes of a network eliminated side by side, for when few networks are solved at once.

Of a few hundred networks the number of steps counts, not what is moved in memory:
fifteen levels instead of fifty-five nodes take a third of the time for the last points
of an answer (measured). Every sum is added up in the order in which single nodes would
be, so the digits are the same however many networks are solved together.

Leaves the order of elimination to `elimination_order`, and the choice between levels
and single nodes to `star_mesh`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from diagnose.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Star:
    """A node at its turn to be eliminated, with its links to neighbours.

    Parameters
    ----------
    node : int
        The node itself.
    neighbours : tuple[int, ...]
        Nodes it is linked with by then, the reference first.
    first : int
        Row of the link to the first neighbour; the others follow.
    mesh : tuple[tuple[int, ...], ...]
        For each neighbour, the rows of its links to the neighbours after it: the links
        that eliminating the node adds to.
    between : tuple[tuple[int, ...], ...]
        For each neighbour but the reference, the rows of its links to all of those,
        -1 for the one to itself.
    """

    node: int
    neighbours: tuple[int, ...]
    first: int
    mesh: tuple[tuple[int, ...], ...]
    between: tuple[tuple[int, ...], ...]

    @property
    def links(self) -> slice:
        """The rows of its links, in the order of `neighbours`."""
        return slice(self.first, self.first + len(self.neighbours))


class _Added(NamedTuple):
    """Terms, and the places they are added to in so many turns.

    In each turn there is one term for each place, and no place twice. `parts` is where
    the terms of all turns lie, one turn after the other.
    """

    parts: slice
    places: IntArray
    n_turns: int


@dataclass(frozen=True, slots=True)
class Level:
    """Nodes eliminated in one step, for none of them is a neighbour of another.

    Where several terms go to one row they are added one after the other, so that every
    sum is what it is when each node takes its turn.

    Parameters
    ----------
    nodes : IntArray
        The nodes, those with most neighbours first, shape (n_nodes,).
    links : IntArray
        Rows of their links: to the first neighbour of each, then to the second of those
        that have one, and so on; shape (n_links,).
    owner : IntArray
        The place in `nodes` that each link belongs to, shape (n_links,).
    stretches : tuple[slice, ...]
        Where in `links` the first neighbours lie, the second ones, and so on.
    by, of : IntArray
        Places in `links`: the share `by` times the link `of` is a new link, shape
        (n_products,).
    added : tuple[_Added, ...]
        To which rows those products are added.
    ends : IntArray
        The neighbours in the order of `links`, the reference left out.
    handed : IntArray
        Rows of the same links in the order in which currents are passed on.
    holders : IntArray
        The node that each of `handed` belongs to.
    passed : tuple[_Added, ...]
        To which nodes those currents are added.
    """

    nodes: IntArray
    links: IntArray
    owner: IntArray
    stretches: tuple[slice, ...]
    by: IntArray
    of: IntArray
    added: tuple[_Added, ...]
    ends: IntArray
    handed: IntArray
    holders: IntArray
    passed: tuple[_Added, ...]

    @staticmethod
    def of_stars(stars: Sequence[Star]) -> Level:
        """Return the level of some nodes.

        Parameters
        ----------
        stars : Sequence[Star]
            None a neighbour of another, those with most neighbours first.

        Returns
        -------
        Level
            With all places looked up.
        """
        turns = [
            [
                (star.first + turn, place)
                for place, star in enumerate(stars)
                if turn < len(star.neighbours)
            ]
            for turn in range(len(stars[0].neighbours))
        ]
        links = [row for turn in turns for row, _ in turn]
        ends = [
            star.neighbours[turn]
            for turn in range(1, len(turns))
            for star in stars
            if turn < len(star.neighbours)
        ]
        products = _products(stars, {row: place for place, row in enumerate(links)})
        every = [each for some in products for each in some]
        by, of, targets = np.array(every, np.int64).reshape(-1, 3).T
        added = _in_turns(_stretches(products), targets)
        passed = _passed(stars)
        every = [each for some in passed for each in some]
        handed, holders, reached = np.array(every, np.int64).reshape(-1, 3).T
        return Level(
            nodes=np.array([star.node for star in stars]),
            links=np.array(links),
            owner=np.array([place for turn in turns for _, place in turn]),
            stretches=_stretches(turns),
            by=by,
            of=of,
            added=added,
            ends=np.array(ends, dtype=np.int64),
            handed=handed,
            holders=holders,
            passed=_in_turns(_stretches(passed), reached),
        )

    def eliminate(self, rows: FloatArray, totals: FloatArray) -> None:
        """Eliminate these nodes, in place; see `star_mesh.eliminate`.

        Parameters
        ----------
        rows : FloatArray
            Conductances, which become shares; shape (n_rows, n_networks). [S], [1]
        totals : FloatArray
            Receives that of each node, shape (n_nodes, n_networks). [S]
        """
        own = rows.take(self.links, axis=0)
        total = own[self.stretches[0]].copy()
        for stretch in self.stretches[1:]:
            total[: stretch.stop - stretch.start] += own[stretch]
        totals[self.nodes] = total
        shares = own / total.take(self.owner, axis=0)
        rows[self.links] = shares
        products = own.take(self.of, axis=0)
        products *= shares.take(self.by, axis=0)
        _add(products, rows, self.added)

    def spread(self, shares: FloatArray, amps: FloatArray) -> None:
        """Pass the currents into these nodes on, in place; see `star_mesh.spread_amps`.

        Parameters
        ----------
        shares : FloatArray
            As `eliminate` leaves them, shape (n_rows, n_networks). [1]
        amps : FloatArray
            Shape (n_nodes, n_cases, n_networks). [A]
        """
        parts = amps.take(self.holders, axis=0)
        parts *= shares.take(self.handed, axis=0)[:, None]
        _add(parts, amps, self.passed)

    def solve(self, shares: FloatArray, totals: FloatArray, amps: FloatArray) -> None:
        """Turn currents into volts, in place; see `star_mesh.amps_to_volts`.

        Parameters
        ----------
        shares, totals : FloatArray
            As `eliminate` leaves them. [1], [S]
        amps : FloatArray
            Shape (n_nodes, n_cases, n_networks). [A], [V]
        """
        first = self.stretches[0].stop
        own = amps.take(self.nodes, axis=0)
        own /= totals.take(self.nodes, axis=0)[:, None]
        parts = amps.take(self.ends, axis=0)
        parts *= shares.take(self.links[first:], axis=0)[:, None]
        for stretch in self.stretches[1:]:
            own[: stretch.stop - stretch.start] += parts[
                stretch.start - first : stretch.stop - first
            ]
        amps[self.nodes] = own


@dataclass(frozen=True, slots=True)
class Lone:
    """A level of one node: what `Level` does, in a third of the calls.

    The last nodes of a car are all linked with each other, so that most of its levels
    are such.

    Parameters
    ----------
    node : int
        The node.
    links : slice
        Rows of its links.
    by, of : IntArray
        Places among its links: the share `by` times the link `of` is a new link, shape
        (n_products,).
    targets : IntArray
        To which rows those products are added, same shape.
    ends : IntArray
        Its neighbours, the reference left out.
    """

    node: int
    links: slice
    by: IntArray
    of: IntArray
    targets: IntArray
    ends: IntArray

    @staticmethod
    def of_star(star: Star) -> Lone:
        """Return the level of one node.

        Parameters
        ----------
        star : Star
            The node at its turn.

        Returns
        -------
        Lone
            With all places looked up.
        """
        places = {star.first + place: place for place in range(len(star.neighbours))}
        every = [each for some in _products([star], places) for each in some]
        by, of, targets = np.array(every, np.int64).reshape(-1, 3).T
        ends = np.array(star.neighbours[1:], dtype=np.int64)
        return Lone(star.node, star.links, by, of, targets, ends)

    def eliminate(self, rows: FloatArray, totals: FloatArray) -> None:
        """Eliminate the node, in place; see `Level.eliminate`.

        Parameters
        ----------
        rows : FloatArray
            Shape (n_rows, n_networks). [S], [1]
        totals : FloatArray
            Shape (n_nodes, n_networks). [S]
        """
        own = rows[self.links]
        total = _sum_in_order(own)
        totals[self.node] = total
        shares = own / total
        products = own.take(self.of, axis=0)
        products *= shares.take(self.by, axis=0)
        own[:] = shares
        rows[self.targets] += products

    def spread(self, shares: FloatArray, amps: FloatArray) -> None:
        """Pass the current into the node on, in place; see `Level.spread`.

        Parameters
        ----------
        shares : FloatArray
            Shape (n_rows, n_networks). [1]
        amps : FloatArray
            Shape (n_nodes, n_cases, n_networks). [A]
        """
        amps[self.ends] += shares[self.links][1:, None] * amps[self.node]

    def solve(self, shares: FloatArray, totals: FloatArray, amps: FloatArray) -> None:
        """Turn the current into volts, in place; see `Level.solve`.

        Parameters
        ----------
        shares, totals : FloatArray
            As `eliminate` leaves them. [1], [S]
        amps : FloatArray
            Shape (n_nodes, n_cases, n_networks). [A], [V]
        """
        parts = np.empty((1 + len(self.ends), *amps.shape[1:]))
        np.divide(amps[self.node], totals[self.node], out=parts[0])
        own_shares = shares[self.links][1:, None]
        np.multiply(amps.take(self.ends, axis=0), own_shares, out=parts[1:])
        amps[self.node] = _sum_in_order(parts)


def level_of(stars: Sequence[Star]) -> Level | Lone:
    """Return the level of some nodes.

    Parameters
    ----------
    stars : Sequence[Star]
        None a neighbour of another, those with most neighbours first; at least one.

    Returns
    -------
    Level or Lone
        Whatever takes fewer calls.
    """
    return Lone.of_star(stars[0]) if len(stars) == 1 else Level.of_stars(stars)


def _add(terms: FloatArray, table: FloatArray, added: Sequence[_Added]) -> None:
    """Add terms to rows of a table, in place, each row's from the first to the last."""
    for parts, places, n_turns in added:
        if n_turns == 1:
            table[places] += terms[parts]
            continue
        # a hub gets a term from each node around it: all in one sum, not in as many
        shape = (len(places), *table.shape[1:])
        turns = np.empty((1 + n_turns, *shape))
        turns[0] = table[places]
        turns[1:] = terms[parts].reshape(n_turns, *shape)
        table[places] = _sum_in_order(turns)


def _sum_in_order(parts: FloatArray) -> FloatArray:
    """Return the sum along the first axis, added up from the first to the last.

    A plain sum of one network alone would take them in another order.
    """
    if parts[0].size > 1:
        return np.asarray(np.add.reduce(parts, axis=0))
    return np.asarray(np.add.accumulate(parts, axis=0)[-1])


def _products(
    stars: Sequence[Star], place_of: Mapping[int, int]
) -> list[list[tuple[int, int, int]]]:
    """Return the products that eliminating nodes adds to links.

    `place_of` is the place of each row in `Level.links`. Each product is the place of
    the share, that of the link, and the row it is added to; in lists of their own those
    that come to a row first, second and so on.
    """
    turns: list[list[tuple[int, int, int]]] = []
    met: dict[int, int] = {}
    for star in stars:
        for place, rows in enumerate(star.mesh):
            for other, row in enumerate(rows, place + 1):
                met[row] = met.get(row, -1) + 1
                if met[row] == len(turns):
                    turns.append([])
                ends = place_of[star.first + place], place_of[star.first + other]
                turns[met[row]].append((*ends, row))
    return [sorted(turn, key=_target) for turn in turns]


def _passed(stars: Sequence[Star]) -> list[list[tuple[int, int, int]]]:
    """Return the links by which nodes pass their currents on.

    Each is the row of the link, the node, and the neighbour; in lists of their own
    those by which a neighbour is reached first, second and so on.
    """
    turns: list[list[tuple[int, int, int]]] = []
    met: dict[int, int] = {}
    for star in stars:
        for row, neighbour in enumerate(star.neighbours[1:], star.first + 1):
            met[neighbour] = met.get(neighbour, -1) + 1
            if met[neighbour] == len(turns):
                turns.append([])
            turns[met[neighbour]].append((row, star.node, neighbour))
    return [sorted(turn, key=_target) for turn in turns]


def _target(term: tuple[int, int, int]) -> int:
    """Return what a term is added to."""
    return term[2]


def _in_turns(stretches: Sequence[slice], targets: IntArray) -> tuple[_Added, ...]:
    """Return stretches of terms, those together that go to the same places.

    Parameters
    ----------
    stretches : Sequence[slice]
        Where the terms lie that come to their places first, second and so on.
    targets : IntArray
        The place of each term, rising within a stretch.
    """
    found: list[_Added] = []
    for parts in stretches:
        places = targets[parts]
        if found and np.array_equal(found[-1].places, places):
            last = found.pop()
            joined = slice(last.parts.start, parts.stop)
            found.append(_Added(joined, places, last.n_turns + 1))
        else:
            found.append(_Added(parts, places, 1))
    return tuple(found)


def _stretches(parts: Sequence[Sequence[object]]) -> tuple[slice, ...]:
    """Return where each of several lists lies once all are joined."""
    ends = np.cumsum([0, *map(len, parts)]).tolist()
    return tuple(slice(*pair) for pair in pairwise(ends))
