"""What links at work change: the chances of a part's modes while a parent is present.

Works on arrays; a link is a row of them. Leaves which causes are linked to
`faults.links`, and the tables to `cause_network`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.faults.causes import FaultSet

# A part is at most this likely to be broken, whatever factors say. [1] Derived: factors
# multiply, and are not meant to make a part likelier broken than sound.
MAX_FAULT_PROBABILITY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LinksAtWork:
    """The links of one car.

    A link is at work while one of its parents is present.

    Parameters
    ----------
    parents, children : BoolArray
        Which causes are parents and children of each link, shape (n_links, n_causes).
        The children of a link are of one part.
    factor : FloatArray
        On the children's chances while it is at work, shape (n_links,). [1]
    part_of : IntArray
        Part of each cause, shape (n_causes,).
    chances : FloatArray
        Of each cause while no link is at work, shape (n_causes, n_configurations). [1]
    ok : FloatArray
        Chance that each part is sound then, shape (n_parts, n_configurations). [1]
    """

    parents: BoolArray
    children: BoolArray
    factor: FloatArray
    part_of: IntArray
    chances: FloatArray
    ok: FloatArray
    _kept: dict[tuple[int, tuple[int, ...]], FloatArray] = field(
        init=False, default_factory=dict
    )

    def by_child(self, links: IntArray) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Yield each part whose causes some links make likelier.

        Parameters
        ----------
        links : IntArray
            Numbers of links, shape (n_some,).

        Yields
        ------
        tuple[int, tuple[int, ...]]
            The part, and those of the links that end there.
        """
        ends: dict[int, list[int]] = {}
        for link in links.tolist():
            child = int(self.children[link].argmax())
            ends.setdefault(int(self.part_of[child]), []).append(link)
        for part, found in ends.items():
            yield part, tuple(found)

    def strained(self, part: int, links: tuple[int, ...]) -> FloatArray:
        """Return the chances of a part's modes with some links at work.

        Parameters
        ----------
        part : int
            Number of the part.
        links : tuple[int, ...]
            Those at work.

        Returns
        -------
        FloatArray
            Shape (n_modes, n_configurations), worked out once. [1]
        """
        key = (part, links)
        if key not in self._kept:
            causes = np.flatnonzero(self.part_of == part)
            rates = self.chances[causes]
            for link in links:
                factors = np.where(self.children[link, causes], self.factor[link], 1.0)
                rates = rates * factors[:, None]
                together = np.maximum(rates.sum(axis=0), 1e-12)
                rates = rates * np.minimum(1.0, MAX_FAULT_PROBABILITY / together)
            self._kept[key] = rates
        return self._kept[key]

    def log_ratio(self, fault_set: FaultSet) -> FloatArray:
        """Return how much likelier links make a fault set, as a log.

        Parameters
        ----------
        fault_set : FaultSet
            The causes present.

        Returns
        -------
        FloatArray
            Natural log of the set's chance over that without links, shape
            (n_configurations,). [1]
        """
        result = np.zeros(self.chances.shape[1])
        at_work = np.flatnonzero(self.parents[:, list(fault_set)].any(axis=1))
        present = {int(self.part_of[cause]): cause for cause in fault_set}
        for part, links in self.by_child(at_work):
            strained = self.strained(part, links)
            causes = np.flatnonzero(self.part_of == part)
            cause = present.get(part)
            if cause is None:
                ratio = (1.0 - strained.sum(axis=0)) / self.ok[part]
            else:
                place = int(np.searchsorted(causes, cause))
                ratio = strained[place] / self.chances[cause]
            result += np.log(ratio)
        return result

    def rows_with_parent(self, members: IntArray) -> IntArray:
        """Return which fault sets hold a parent of some link.

        Parameters
        ----------
        members : IntArray
            The causes of each set, -1 where there is none, shape (n_sets, n_most).

        Returns
        -------
        IntArray
            Rows of `members`, rising.
        """
        is_parent = np.append(self.parents.any(axis=0), False)
        return np.flatnonzero(is_parent[members].any(axis=1))
