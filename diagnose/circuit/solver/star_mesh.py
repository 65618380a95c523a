"""Many sparse resistor networks solved at once, without a subtraction.

Eliminating a node is the star-mesh transformation: its links to its neighbours become
links between the neighbours,

    g_ij += g_i g_j / sum(g)

Only positive numbers are added, multiplied and divided, so every result keeps its
digits even where a node hangs on a picosiemens beside a kilosiemens: a wire that floats
on its insulation beside a battery cable. A factorisation that subtracts from diagonals,
as LAPACK's does, has none left there; and with one order for all networks this is
faster. All networks of a batch have the same links, so each step runs over the whole
batch: arrays are (row or node, network). Node 0 is the reference, to which every other
node has a link.

No compiler at run time: such a library is 64 MB to install, and compiles when a car is
first opened, which is when a person waits.

References
----------
A. Rosen, "A new network theorem", Journal of the Institution of Electrical Engineers
62, 1924 (from memory).
C. A. O'Cinneide, "Relative-error bounds for the LU decomposition via the GTH
algorithm", Numerische Mathematik 73, 1996 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.solver.elimination_order import Stars

# Networks up to which nodes are eliminated level by level (measured: of fewer the
# number of steps counts, not what is moved in memory).
FEW_NETWORKS = 512

# Currents of one node, cases times networks, up to which they are passed on level by
# level (measured, for the same reason).
FEW_CURRENTS = 1024


def eliminate(stars: Stars, rows: FloatArray, totals: FloatArray) -> None:
    """Eliminate nodes, in place.

    Parameters
    ----------
    stars : Stars
        The nodes.
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
    """Pass the currents into eliminated nodes on to their neighbours, in place.

    Parameters
    ----------
    stars : Stars
        The nodes, in the order in which they were eliminated.
    shares : FloatArray
        As `eliminate` leaves them, shape (n_rows, n_networks). [1]
    amps : FloatArray
        Current into each node, shape (n_nodes, n_networks) or
        (n_nodes, n_cases, n_networks). [A]
    sources : Iterable[int]
        The nodes that have any; more may be named.
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
    """Turn currents that were passed on into node voltages, in place.

    Parameters
    ----------
    stars : Stars
        The nodes, in the order in which they were eliminated.
    shares, totals : FloatArray
        As `eliminate` leaves them. [1], [S]
    amps : FloatArray
        As `spread_amps` leaves them; the voltages of neighbours that are not among
        `stars` have to be there already. [A], [V]
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
    """Return the same numbers, shape (n_nodes, n_cases, n_networks)."""
    return amps if amps.ndim == 3 else amps[:, None]


def self_ohms(stars: Stars, shares: FloatArray, totals: FloatArray) -> FloatArray:
    """Return the resistance between each node and the reference.

    Parameters
    ----------
    stars : Stars
        All nodes, eliminated.
    shares, totals : FloatArray
        As `eliminate` leaves them. [1], [S]

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
