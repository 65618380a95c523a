"""Sparse elimination of many resistor networks at once, without a subtraction.

Eliminating a node is the star-mesh transformation: its links to its neighbours become
links between the neighbours,

    g_ij += g_i g_j / sum(g)

Only positive numbers are added, multiplied and divided, so every result keeps its
digits even where a node hangs on a picosiemens beside a kilosiemens; a factorisation
that subtracts from diagonals does not. All networks of a batch have the same links, so
the order is worked out once and each step runs over the whole batch: arrays are
(row, network). Node 0 is the reference, to which every other node has a link.

References
----------
C. A. O'Cinneide, "Relative-error bounds for the LU decomposition via the GTH
algorithm", Numerische Mathematik 73, 1996 (from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np

from diagnose.arrays import FloatArray, IntArray

MOST_NEIGHBOURS = 5
# Measured: a hub eliminated before its turn links all its neighbours with each other.
FEW_NETWORKS = 512
FEW_CURRENTS = 1024
# Measured: of fewer the number of steps counts, not what is moved in memory.


@dataclass(frozen=True, slots=True)
class Star:
    """A node when its turn comes, with its links to neighbours.

    Parameters
    ----------
    neighbours : tuple[int, ...]
        Nodes, the reference first.
    first : int
        Row of the link to the first neighbour; the others follow.
    mesh : tuple[tuple[int, ...], ...]
        For each neighbour, the rows of its links to the neighbours after it.
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
        """The rows of the links."""
        return slice(self.first, self.first + len(self.neighbours))


class _Added(NamedTuple):
    """A stretch of parts, and the places they are added to, each of them once."""

    parts: slice
    places: IntArray


@dataclass(frozen=True, slots=True)
class _Level:
    """Nodes that are eliminated together, for none of them is a neighbour of another.

    `nodes` are these, those with most neighbours first; `links` the rows of their
    links, to the first neighbour of each, then to the second of those that have one;
    `owner` whose each is (its place in `nodes`), and `stretches` those of each turn.
    The shares `by` times the links `of` (places in `links`) are `added` to the rows of
    other links, one after the other where several go to one row: sums are then what
    they are when each node takes its turn. `ends` are the neighbours by `links`, the
    reference left out. The same links in the order in which currents are `passed` on:
    the rows `handed`, and the node whose each is (`holders`).
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
    def of_stars(stars: Sequence[Star]) -> _Level:
        """Return a level; its stars have ever fewer neighbours."""
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
        added = [_Added(each, targets[each]) for each in _stretches(products)]
        passed = _passed(stars)
        every = [each for some in passed for each in some]
        handed, holders, reached = np.array(every, np.int64).reshape(-1, 3).T
        return _Level(
            nodes=np.array([star.node for star in stars]),
            links=np.array(links),
            owner=np.array([place for turn in turns for _, place in turn]),
            stretches=_stretches(turns),
            by=by,
            of=of,
            added=tuple(added),
            ends=np.array(ends, dtype=np.int64),
            handed=handed,
            holders=holders,
            passed=tuple(_Added(each, reached[each]) for each in _stretches(passed)),
        )

    def eliminate(self, rows: FloatArray, totals: FloatArray) -> None:
        """Do as `eliminate` for these nodes."""
        own = rows.take(self.links, axis=0)
        total = own[self.stretches[0]].copy()
        for stretch in self.stretches[1:]:
            total[: stretch.stop - stretch.start] += own[stretch]
        totals[self.nodes] = total
        shares = own / total.take(self.owner, axis=0)
        rows[self.links] = shares
        products = own.take(self.of, axis=0)
        products *= shares.take(self.by, axis=0)
        for stretch, places in self.added:
            rows[places] += products[stretch]

    def spread(self, shares: FloatArray, amps: FloatArray) -> None:
        """Do as `spread_amps` for these nodes; amps of shape (n_nodes, n_cases, n)."""
        parts = amps.take(self.holders, axis=0)
        parts *= shares.take(self.handed, axis=0)[:, None]
        for stretch, places in self.passed:
            amps[places] += parts[stretch]

    def solve(self, shares: FloatArray, totals: FloatArray, amps: FloatArray) -> None:
        """Do as `amps_to_volts` for these nodes; amps as in `spread`."""
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


def _products(
    stars: Sequence[Star], place_of: Mapping[int, int]
) -> list[list[tuple[int, int, int]]]:
    """Return the products that eliminating stars adds to links.

    Parameters
    ----------
    place_of : Mapping[int, int]
        The place of each row in `_Level.links`.

    Returns
    -------
    list
        The place of the share, that of the link, and the row of their sum; apart those
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
    return turns


def _passed(stars: Sequence[Star]) -> list[list[tuple[int, int, int]]]:
    """Return the links by which currents are passed on.

    Returns
    -------
    list
        The row of the link, the node, and the neighbour; apart those by
        which a neighbour is reached first, second and so on.
    """
    turns: list[list[tuple[int, int, int]]] = []
    met: dict[int, int] = {}
    for star in stars:
        for row, neighbour in enumerate(star.neighbours[1:], star.first + 1):
            met[neighbour] = met.get(neighbour, -1) + 1
            if met[neighbour] == len(turns):
                turns.append([])
            turns[met[neighbour]].append((row, star.node, neighbour))
    return turns


def _stretches(parts: Sequence[Sequence[object]]) -> tuple[slice, ...]:
    """Return where parts lie that follow each other."""
    ends = np.cumsum([0, *map(len, parts)]).tolist()
    return tuple(slice(*pair) for pair in pairwise(ends))


class Stars:
    """Nodes in the order in which they are eliminated.

    Parameters
    ----------
    order : Sequence[Star]

    Attributes
    ----------
    order : tuple[Star, ...]
        Those first that wait for no other, then those that wait for these only.
    levels : tuple[_Level, ...]
        The same, those that do not wait for each other together: for few networks, of
        which the number of steps counts.
    """

    def __init__(self, order: Sequence[Star]) -> None:
        depth = dict.fromkeys((star.node for star in order), 0)
        for star in order:
            for neighbour in star.neighbours:
                if neighbour in depth:
                    depth[neighbour] = max(depth[neighbour], depth[star.node] + 1)
        levels: dict[int, list[Star]] = {}
        for star in order:
            levels.setdefault(depth[star.node], []).append(star)
        for level in levels.values():
            level.sort(key=lambda star: -len(star.neighbours))
        ordered = [levels[step] for step in range(len(levels))]
        self.order = tuple(star for level in ordered for star in level)
        self.levels = tuple(_Level.of_stars(level) for level in ordered)


class Elimination:
    """The order in which the nodes of a network are eliminated.

    Parameters
    ----------
    n_nodes : int
        The reference (node 0) included.
    links : Sequence[tuple[int, int]]
        Pairs of nodes; a pair may come more than once.
    kept : Collection[int]
        Nodes that stay when only the `outer` ones are eliminated.

    Attributes
    ----------
    n_rows : int
        Number of links, those that elimination adds included.
    stars, outer, inner : Stars
        The nodes in order: all, those that come first, and the others; no inner star
        has a link in a row below `n_outer_rows`.
    """

    def __init__(
        self,
        n_nodes: int,
        links: Sequence[tuple[int, int]],
        kept: Collection[int] = (),
    ) -> None:
        order, n_outer = _order(n_nodes, links, frozenset(kept))
        rows: dict[tuple[int, int], int] = {}
        for node, neighbours in order:
            first = len(rows)
            for place, neighbour in enumerate(neighbours):
                rows[min(node, neighbour), max(node, neighbour)] = first + place
        self._rows = rows
        self.n_nodes = n_nodes
        self.n_rows = len(rows)
        stars = tuple(_star(node, neighbours, rows) for node, neighbours in order)
        self.stars = Stars(stars)
        self.outer, self.inner = Stars(stars[:n_outer]), Stars(stars[n_outer:])
        self.n_outer_rows = stars[n_outer].first if stars[n_outer:] else self.n_rows

    def row(self, first: int, second: int) -> int:
        """Return the row of the link between two nodes.

        Raises
        ------
        KeyError
            If the nodes are not linked, or the same.
        """
        return self._rows[min(first, second), max(first, second)]


def _order(
    n_nodes: int, links: Sequence[tuple[int, int]], kept: frozenset[int]
) -> tuple[list[tuple[int, tuple[int, ...]]], int]:
    """Return nodes with neighbours, fewest first, and how many are not kept."""
    around: list[set[int]] = [{0} for _ in range(n_nodes)]
    for a, b in links:
        if a != b:
            around[a].add(b)
            around[b].add(a)
    left = set(range(1, n_nodes))
    order: list[tuple[int, tuple[int, ...]]] = []

    def take_out(candidates: set[int]) -> None:
        node = min(candidates, key=lambda n: (len(around[n]), n))
        left.remove(node)
        order.append((node, tuple(sorted(around[node]))))
        for a, b in combinations(around[node], 2):
            around[a].add(b)
            around[b].add(a)
        for neighbour in around[node]:
            around[neighbour].discard(node)

    while outer := {n for n in left - kept if len(around[n]) <= MOST_NEIGHBOURS}:
        take_out(outer)
    n_outer = len(order)
    while left:
        take_out(left)
    return order, n_outer


def _star(
    node: int, neighbours: tuple[int, ...], rows: dict[tuple[int, int], int]
) -> Star:
    def row(a: int, b: int) -> int:
        return -1 if a == b else rows[min(a, b), max(a, b)]

    return Star(
        node=node,
        neighbours=neighbours,
        first=row(node, neighbours[0]),
        mesh=tuple(
            tuple(row(a, b) for b in neighbours[place + 1 :])
            for place, a in enumerate(neighbours)
        ),
        between=tuple(tuple(row(a, b) for b in neighbours[1:]) for a in neighbours[1:]),
    )


def eliminate(stars: Stars, rows: FloatArray, totals: FloatArray) -> None:
    """Eliminate nodes, in place.

    Parameters
    ----------
    rows : FloatArray
        Conductance of each link, shape (n_rows, n_networks); the links of eliminated
        nodes become shares: the fraction of a current into the node that leaves it by
        the link. [S], [1]
    totals : FloatArray
        Receives the conductance of all links of each node at its turn, shape
        (n_nodes, n_networks). [S]
    """
    if rows.shape[1] <= FEW_NETWORKS:
        for level in stars.levels:
            level.eliminate(rows, totals)
        return
    most = max((len(star.neighbours) for star in stars.order), default=0)
    buffers = np.empty((2, most, rows.shape[1]))
    each_row, each_product = list(rows), list(buffers[1])
    for star in stars.order:
        own = rows[star.links]
        total = totals[star.node]
        np.add.reduce(own, axis=0, out=total)
        shares = np.divide(own, total, out=buffers[0, : len(own)])
        for place, targets in enumerate(star.mesh[:-1]):
            products = buffers[1, : len(targets)]
            np.multiply(own[place + 1 :], shares[place], out=products)
            for row, product in zip(targets, each_product, strict=False):
                np.add(each_row[row], product, out=each_row[row])
        own[:] = shares


def spread_amps(
    stars: Stars,
    shares: FloatArray,
    amps: FloatArray,
    sources: Iterable[int],
) -> None:
    """Hand the currents into eliminated nodes on to their neighbours, in place.

    Parameters
    ----------
    shares : FloatArray
        As `eliminate` leaves them.
    amps : FloatArray
        Current into each node, shape (n_nodes, ..., n_networks). [A]
    sources : Iterable[int]
        The nodes that have any.
    """
    if amps[0].size <= FEW_CURRENTS:
        for level in stars.levels:
            level.spread(shares, _in_cases(amps))
        return
    each_row, each_amps = list(shares), list(amps)
    passed = np.empty(amps.shape[1:])
    carrying = set(sources)
    for star in stars.order:
        if star.node not in carrying:
            continue
        own = each_amps[star.node]
        carrying.update(star.neighbours)
        for row, neighbour in enumerate(star.neighbours[1:], star.first + 1):
            np.multiply(each_row[row], own, out=passed)
            np.add(each_amps[neighbour], passed, out=each_amps[neighbour])


def amps_to_volts(
    stars: Stars, shares: FloatArray, totals: FloatArray, amps: FloatArray
) -> None:
    """Turn the currents that were spread into node voltages, in place.

    The voltages of neighbours that are not among `stars` have to be there already.
    """
    if amps[0].size <= FEW_CURRENTS:
        for level in reversed(stars.levels):
            level.solve(shares, totals, _in_cases(amps))
        return
    each_row, each_node = list(shares), list(amps)
    part = np.empty(amps.shape[1:])
    for star in reversed(stars.order):
        own = each_node[star.node]
        np.divide(own, totals[star.node], out=own)
        for row, neighbour in enumerate(star.neighbours[1:], star.first + 1):
            np.multiply(each_row[row], each_node[neighbour], out=part)
            np.add(own, part, out=own)


def _in_cases(amps: FloatArray) -> FloatArray:
    """Return a view of shape (n_nodes, n_cases, n_networks)."""
    return amps if amps.ndim == 3 else amps[:, None]


def self_ohms(stars: Stars, shares: FloatArray, totals: FloatArray) -> FloatArray:
    """Return the resistance between each node and the reference.

    Parameters
    ----------
    stars : Stars
        All nodes, eliminated.
    shares, totals : FloatArray
        As `eliminate` leaves them.

    Returns
    -------
    FloatArray
        Shape (n_nodes, n_networks). [Ω]

    Notes
    -----
    Entries of the inverse where the network has links, in reverse order:
    z_pj = sum_k share_pk z_kj and z_pp = 1 / total_p + sum_k share_pk z_kp.

    References
    ----------
    K. Takahashi, J. Fagan, M.-S. Chin, "Formation of a sparse bus impedance matrix and
    its application to short circuit study", PICA Conference, 1973 (from memory).
    """
    entries, own = np.zeros_like(shares), np.zeros_like(totals)
    each_share, each_entry, each_own = list(shares), list(entries), list(own)
    part = np.empty(shares.shape[1])
    for star in reversed(stars.order):
        itself = np.divide(1.0, totals[star.node], out=each_own[star.node])
        for row, (neighbour, rows) in enumerate(
            zip(star.neighbours[1:], star.between, strict=True), star.first + 1
        ):
            entry = each_entry[row]
            for link, between in enumerate(rows, star.first + 1):
                known = each_own[neighbour] if between < 0 else each_entry[between]
                np.multiply(each_share[link], known, out=part)
                np.add(entry, part, out=entry)
            np.multiply(each_share[row], entry, out=part)
            np.add(itself, part, out=itself)
    return own
