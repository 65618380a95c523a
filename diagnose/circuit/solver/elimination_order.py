"""The order in which the nodes of a network are eliminated, and where its links lie.

All networks of a batch have the same links, so this is worked out once for all of them.
The nodes of branches whose line may change are kept for last: what comes before them is
then eliminated once, however often segments and gates move. Leaves the arithmetic to
`star_mesh`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import combinations

from diagnose.circuit.solver.elimination_levels import Star, level_of

# Links a node may have to be eliminated before the kept ones: a hub with more, taken
# before its turn, links all its neighbours with each other (measured).
MOST_NEIGHBOURS = 5


class Stars:
    """Nodes in the order in which they are eliminated.

    Parameters
    ----------
    order : Sequence[Star]
        The nodes in a possible order.

    Attributes
    ----------
    order : tuple[Star, ...]
        Those first that wait for no other, then those that wait for these only.
    levels : tuple[Level or Lone, ...]
        The same nodes, those that do not wait for each other together.
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
        self.levels = tuple(level_of(level) for level in ordered)


class Elimination:
    """In which order the nodes of networks with the same links are eliminated.

    Nodes with the fewest links come first (minimum degree): each elimination links the
    neighbours with each other, and the fewer they are the fewer links that adds.

    Parameters
    ----------
    n_nodes : int
        Number of nodes, the reference (node 0) included.
    links : Sequence[tuple[int, int]]
        Pairs of nodes; a pair may come more than once.
    kept : Collection[int]
        Nodes that stay when only the `outer` ones are eliminated.

    Attributes
    ----------
    n_nodes : int
        As given.
    n_rows : int
        Number of links, those that elimination adds included.
    stars, outer, inner : Stars
        The nodes in order: all, those that come first, and the others.
    n_outer_rows : int
        Rows below it hold links of outer nodes only.

    References
    ----------
    W. F. Tinney, J. W. Walker, "Direct solutions of sparse network equations by
    optimally ordered triangular factorization", Proceedings of the IEEE 55, 1967 (from
    memory).
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

        Parameters
        ----------
        first, second : int
            The nodes, in either order.

        Returns
        -------
        int
            Below `n_rows`.

        Raises
        ------
        KeyError
            If the nodes are not linked, or the same.
        """
        return self._rows[min(first, second), max(first, second)]


def _order(
    n_nodes: int, links: Sequence[tuple[int, int]], kept: frozenset[int]
) -> tuple[list[tuple[int, tuple[int, ...]]], int]:
    """Return nodes in order, with neighbours, and how many come before kept ones."""
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
    """Return a node at its turn, with the rows of all links that concern it."""

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
