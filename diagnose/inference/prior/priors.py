"""Priors as arrays: how likely each set of causes is before any fact.

Reads nothing but numbers taken from the cause network (`network`); the running
diagnosis needs no more than this of it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.faults.causes import Cause, FaultSet

MAX_FAULT_PROBABILITY = 0.5
# Derived: factors multiply; a part is never likelier broken than sound by them.


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Priors:
    """The cause network in compiled form.

    Parameters
    ----------
    contexts : tuple[str, ...]
        Names of the contexts that shift anything in this car.
    configurations : tuple[tuple[str, ...], ...]
        Every combination of context states, in the order of `contexts`.
    configuration_probability : FloatArray
        Shape (n_configurations,); sums to 1.
    part_of : IntArray
        Fault-node index of each cause, shape (n_causes,).
    mode_probability : FloatArray
        Chance of each cause's state of its fault node while no link is at work, first
        without and then with the condition of its spot, shape
        (2, n_causes, n_configurations).
    spot_of : IntArray
        Spot of each fault node, -1 where none, shape (n_parts,).
    spot_probability : FloatArray
        Chance of each spot's condition, shape (n_spots, n_configurations).
    link_parents, link_children : BoolArray
        Which causes are parents and children of each link, shape (n_links, n_causes).
        The children of a link are of one part, no parent of a link and in no spot.
    link_factor : FloatArray
        On the children's chances while a parent is present, shape (n_links,).
    """

    contexts: tuple[str, ...]
    configurations: tuple[tuple[str, ...], ...]
    configuration_probability: FloatArray
    part_of: IntArray
    mode_probability: FloatArray
    spot_of: IntArray
    spot_probability: FloatArray
    link_parents: BoolArray
    link_children: BoolArray
    link_factor: FloatArray

    def given(self, answers: Mapping[str, str]) -> FloatArray:
        """Return the probability of each configuration under context answers.

        Parameters
        ----------
        answers : Mapping[str, str]
            Context to its state; contexts not named stay open, and an answer that
            shifts nothing in this car says nothing.

        Raises
        ------
        ValueError
            If an answer is not one of the context's states.
        """
        keep = np.ones(len(self.configurations), dtype=np.bool_)
        for context, answer in answers.items():
            if context in self.contexts:
                column = self.contexts.index(context)
                keep &= self._configuration_names[:, column] == answer
        if not keep.any():
            raise ValueError(f"no configuration has {dict(answers)}")
        weights = np.where(keep, self.configuration_probability, 0.0)
        return np.asarray(weights / weights.sum())

    @cached_property
    def _configuration_names(self) -> npt.NDArray[np.str_]:
        shape = (len(self.configurations), len(self.contexts))
        return np.array(self.configurations, dtype=np.str_).reshape(shape)

    @cached_property
    def ok_probability(self) -> FloatArray:
        """Chance that each fault node is ok, shape (2, n_parts, n_configurations)."""
        broken = np.zeros((2, len(self.spot_of), self.mode_probability.shape[2]))
        by_cause = self.mode_probability.swapaxes(0, 1)
        np.add.at(broken.swapaxes(0, 1), self.part_of, by_cause)
        return np.asarray(1.0 - broken)

    @cached_property
    def _mode_odds(self) -> FloatArray:
        """Each cause against its node being ok, like `mode_probability`."""
        return np.asarray(self.mode_probability / self.ok_probability[:, self.part_of])

    @cached_property
    def _spot_shares(self) -> tuple[FloatArray, FloatArray]:
        """Return how likely each spot's condition is with all its parts ok.

        Returns
        -------
        tuple
            Shape (2, n_spots, n_configurations), sums to 1 over the first axis; and
            the log of the chance that all parts of the car are ok,
            (n_configurations,).
        """
        log_ok = np.log(self.ok_probability)
        shape = (2, len(self.spot_probability), self.mode_probability.shape[2])
        log_spot = np.zeros(shape)
        tied = np.flatnonzero(self.spot_of >= 0)
        by_part = log_ok[:, tied].swapaxes(0, 1)
        np.add.at(log_spot.swapaxes(0, 1), self.spot_of[tied], by_part)
        chance = np.stack([1.0 - self.spot_probability, self.spot_probability])
        both = chance * np.exp(log_spot)
        total = both.sum(axis=0)
        free = log_ok[0, self.spot_of < 0].sum(axis=0)
        return both / total, np.asarray(free + np.log(total).sum(axis=0))

    @cached_property
    def _odds(self) -> FloatArray:
        odds = self._mode_odds
        result: FloatArray = odds[0].copy()
        spot = self.spot_of[self.part_of]
        tied = np.flatnonzero(spot >= 0)
        shares = self._spot_shares[0][:, spot[tied]]
        result[tied] = (shares * odds[:, tied]).sum(axis=0)
        return result

    @cached_property
    def _log_odds(self) -> FloatArray:
        """Return log odds of each cause, and 0 in a last row for no cause."""
        return np.vstack([np.log(self._odds), np.zeros(self._odds.shape[1])])

    def healthy_probability(self, answers: Mapping[str, str]) -> float:
        """Return the chance that nothing is wrong."""
        return float(self.set_probabilities([()], answers)[0])

    def odds(self) -> FloatArray:
        """Return each cause alone against none, (n_causes, n_configurations).

        What it makes likelier through links is left out.
        """
        return self._odds

    def set_probabilities(
        self, sets: Sequence[FaultSet], answers: Mapping[str, str]
    ) -> FloatArray:
        """Return the chance that exactly these causes are present, shape (n_sets,).

        Notes
        -----
        Sum over configurations of P(configuration) times, for each spot, the sum over
        its condition, times the product over fault nodes; a child of a link has its
        rates multiplied where a parent is in the set. A set with two causes of one part
        has probability 0.
        """
        weights = self.given(answers)
        still = np.flatnonzero(weights)
        size = max((len(s) for s in sets), default=0)
        members = np.full((len(sets), max(size, 1)), -1, dtype=np.int64)
        for row, fault_set in enumerate(sets):
            members[row, : len(fault_set)] = fault_set
        log_joint = self._log_odds[members[:, :, None], still].sum(axis=1)
        log_joint += self._spot_shares[1][still]
        for row in self._sharing_a_spot(members).tolist():
            log_joint[row] += np.log(self._spot_lift(sets[row]))[still]
        for row in self._linked(members).tolist():
            log_joint[row] += self._log_link_ratio(sets[row])[still]
        parts = np.where(
            members >= 0, self.part_of[members], -1 - np.arange(members.shape[1])
        )
        ordered = np.sort(parts, axis=1)
        is_possible = (np.diff(ordered, axis=1) != 0).all(axis=1)
        return np.where(is_possible, np.exp(log_joint) @ weights[still], 0.0)

    def _sharing_a_spot(self, members: IntArray) -> IntArray:
        """Return the rows with two causes or more in one spot."""
        alone = -2 - np.arange(members.shape[1])
        spots = np.where(members >= 0, self.spot_of[self.part_of[members]], alone)
        spots = np.sort(np.where(spots == -1, alone, spots), axis=1)
        return np.flatnonzero((np.diff(spots, axis=1) == 0).any(axis=1))

    def _spot_lift(self, fault_set: FaultSet) -> FloatArray:
        """Return how much likelier a set is than by the odds of its causes alone."""
        result = np.ones(self.mode_probability.shape[2])
        spots = self.spot_of[self.part_of[list(fault_set)]]
        for spot in np.unique(spots[spots >= 0]).tolist():
            here = [
                c for c, s in zip(fault_set, spots.tolist(), strict=True) if s == spot
            ]
            together = self._mode_odds[:, here].prod(axis=1)
            together *= self._spot_shares[0][:, spot]
            result *= together.sum(axis=0) / self._odds[here].prod(axis=0)
        return result

    def _linked(self, members: IntArray) -> IntArray:
        """Return the rows with a parent of some link."""
        is_parent = np.append(self.link_parents.any(axis=0), False)
        return np.flatnonzero(is_parent[members].any(axis=1))

    def _log_link_ratio(self, fault_set: FaultSet) -> FloatArray:
        """Return the log of what links at work change in a set's chance."""
        result = np.zeros(self.mode_probability.shape[2])
        at_work = np.flatnonzero(self.link_parents[:, list(fault_set)].any(axis=1))
        present = {int(self.part_of[cause]): cause for cause in fault_set}
        for part, links in self._by_child(at_work):
            strained = self._strained(part, links)
            causes = np.flatnonzero(self.part_of == part)
            cause = present.get(part)
            if cause is None:
                ratio = (1.0 - strained.sum(axis=0)) / self.ok_probability[0, part]
            else:
                place = int(np.searchsorted(causes, cause))
                ratio = strained[place] / self.mode_probability[0, cause]
            result += np.log(ratio)
        return result

    def _by_child(self, links: IntArray) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Yield each part with the links that end there."""
        ends: dict[int, list[int]] = {}
        for link in links.tolist():
            child = int(self.link_children[link].argmax())
            ends.setdefault(int(self.part_of[child]), []).append(link)
        for part, found in ends.items():
            yield part, tuple(found)

    def _strained(self, part: int, links: tuple[int, ...]) -> FloatArray:
        """Return the chances of a part's modes with links at work, worked out once.

        Shape (n_modes, n_configurations).
        """
        key = (part, links)
        if key not in self._strains:
            causes = np.flatnonzero(self.part_of == part)
            rates = self.mode_probability[0, causes]
            for link in links:
                factors = np.where(
                    self.link_children[link, causes], self.link_factor[link], 1.0
                )
                rates = rates * factors[:, None]
                together = np.maximum(rates.sum(axis=0), 1e-12)
                rates = rates * np.minimum(1.0, MAX_FAULT_PROBABILITY / together)
            self._strains[key] = rates
        return self._strains[key]

    @cached_property
    def _strains(self) -> dict[tuple[int, tuple[int, ...]], FloatArray]:
        return {}

    def cause_probabilities(self, answers: Mapping[str, str]) -> FloatArray:
        """Return the marginal chance of each cause, shape (n_causes,)."""
        return np.asarray(self._marginal @ self.given(answers))

    @cached_property
    def _marginal(self) -> FloatArray:
        """Return the marginal chance of each cause, (n_causes, n_configurations)."""
        result = self._over_spots(self.mode_probability)
        every = np.arange(len(self.link_factor))
        for part, links in self._by_child(every):
            causes = np.flatnonzero(self.part_of == part)
            result[causes] = sum(
                chance * self._strained(part, at_work)
                if at_work
                else chance * self.mode_probability[0, causes]
                for at_work, chance in self._chances_at_work(links)
            )
        return result

    def _over_spots(self, both: FloatArray) -> FloatArray:
        """Return chances of causes averaged over the conditions of their spots."""
        result: FloatArray = both[0].copy()
        spot = self.spot_of[self.part_of]
        tied = np.flatnonzero(spot >= 0)
        chance = self.spot_probability[spot[tied]]
        result[tied] += chance * (both[1][tied] - both[0][tied])
        return result

    def _chances_at_work(
        self, links: tuple[int, ...]
    ) -> Iterator[tuple[tuple[int, ...], FloatArray]]:
        """Yield every choice of links with the chance that just these are at work.

        Notes
        -----
        The chance that none of some links is at work is a product over parts and
        spots; those of exact choices follow by inclusion and exclusion.
        """
        for size in range(len(links) + 1):
            for at_work in itertools.combinations(links, size):
                rest = tuple(link for link in links if link not in at_work)
                chance = np.zeros(self.mode_probability.shape[2])
                for some in range(size + 1):
                    for also in itertools.combinations(at_work, some):
                        chance += (-1.0) ** some * self._none_at_work((*rest, *also))
                yield at_work, chance

    def _none_at_work(self, links: tuple[int, ...]) -> FloatArray:
        """Return the chance that no parent of some links is present."""
        parents = np.flatnonzero(self.link_parents[list(links)].any(axis=0))
        sound = np.ones((2, len(self.spot_of), self.mode_probability.shape[2]))
        by_cause = self.mode_probability[:, parents].swapaxes(0, 1)
        np.subtract.at(sound.swapaxes(0, 1), self.part_of[parents], by_cause)
        result = np.asarray(sound[0, self.spot_of < 0].prod(axis=0))
        for spot in np.unique(self.spot_of[self.spot_of >= 0]).tolist():
            of_spot = sound[:, self.spot_of == spot].prod(axis=1)
            chance = self.spot_probability[spot]
            result = result * ((1.0 - chance) * of_spot[0] + chance * of_spot[1])
        return result

    def more_than_two(self, answers: Mapping[str, str]) -> float:
        """Return a bound on the chance of three causes or more, if there is any.

        Notes
        -----
        For each configuration the sets of at most two causes are counted by the product
        over fault nodes of ok + broken z up to z^2, summed over the conditions of each
        spot. A parent makes a set without the child of its links less likely (with two
        parents of one link that is taken off twice) and one with it likelier.
        """
        chances = self.mode_probability.copy()
        more = np.zeros(chances.shape[2])
        for cause in np.flatnonzero(self.link_parents.any(axis=0)).tolist():
            ratio = np.exp(self._log_link_ratio((cause,)))
            more += self._odds[cause] * ratio * self._with_children(cause)
            chances[:, cause] *= ratio
        more *= np.exp(self._spot_shares[1])
        few = float((self._at_most_two(chances) + more) @ self.given(answers))
        return max(1.0 - few, 0.0) / (1.0 - self.healthy_probability(answers))

    def _with_children(self, cause: int) -> FloatArray:
        """Return how much likelier a parent's children are beside it, summed.

        In odds, over those beside it without links; shape (n_configurations,).
        """
        result = np.zeros(self.mode_probability.shape[2])
        at_work = np.flatnonzero(self.link_parents[:, cause])
        for part, links in self._by_child(at_work):
            strained, modes = self._strained(part, links), self.part_of == part
            without = (1.0 - strained.sum(axis=0)) / self.ok_probability[0, part]
            lift = strained / self.mode_probability[0, modes] / without - 1.0
            result += (self._odds[modes] * lift).sum(axis=0)
        return result

    def _at_most_two(self, chances: FloatArray) -> FloatArray:
        """Return the chance of at most two causes, shape (n_configurations,).

        Parameters
        ----------
        chances : FloatArray
            Of each cause, like `mode_probability`; links are left out.
        """
        ok = self.ok_probability
        broken = np.zeros_like(ok)
        np.add.at(broken.swapaxes(0, 1), self.part_of, chances.swapaxes(0, 1))
        odds = broken / ok
        free = self.spot_of < 0
        counts = _counts(ok[0, free], odds[0, free])
        for spot, chance in enumerate(self.spot_probability):
            here = self.spot_of == spot
            dry, spoilt = (_counts(ok[c, here], odds[c, here]) for c in (0, 1))
            mixed = (1.0 - chance) * dry + chance * spoilt
            counts = np.stack(
                [(counts[: n + 1] * mixed[n::-1]).sum(axis=0) for n in range(3)]
            )
        return np.asarray(counts.sum(axis=0))

    def pair_lift(self, answers: Mapping[str, str]) -> StoredArray:
        """Return how much likelier pairs are than by the odds of each, about.

        Shape (n_causes, n_causes), symmetric; the spots' and links' share of it, taken
        at the mean over the configurations: for the order of a search.
        """
        weights = self.given(answers)
        n_causes = len(self.part_of)
        result = np.ones((n_causes, n_causes), dtype=np.float32)
        odds = self._mode_odds @ weights
        shares = self._spot_shares[0] @ weights
        spot = self.spot_of[self.part_of]
        for number in range(len(self.spot_probability)):
            here = np.flatnonzero(spot == number)
            some = odds[:, here]
            both = np.einsum("d,di,dj->ij", shares[:, number], some, some)
            alone = shares[:, number] @ some
            result[np.ix_(here, here)] = both / np.outer(alone, alone)
        for parents, children, factor in zip(
            self.link_parents, self.link_children, self.link_factor, strict=True
        ):
            tied = np.outer(parents, children)
            result[tied | tied.T] *= factor
        return result

    def drawn(self, random: np.random.Generator) -> FaultSet:
        """Return a fault set drawn from the priors; perhaps two causes of one part."""
        weights = self.configuration_probability
        config = random.choice(len(weights), p=weights / weights.sum())
        is_spoilt = (
            random.random(len(self.spot_probability))
            < (self.spot_probability[:, config])
        )
        spoilt = np.append(is_spoilt, False)[self.spot_of[self.part_of]].astype(
            np.int64
        )
        chances = self.mode_probability[spoilt, np.arange(len(spoilt)), config]
        level = random.random(len(chances))
        at_work = self.link_parents[:, level < chances].any(axis=1)
        for children, factor in zip(
            self.link_children[at_work], self.link_factor[at_work], strict=True
        ):
            chances = np.where(children, factor * chances, chances)
        return tuple(np.flatnonzero(level < chances).tolist())

    def arrays(self) -> dict[str, npt.NDArray[Any]]:
        """Return all of it as arrays, to be kept."""
        return {item.name: np.array(getattr(self, item.name)) for item in fields(self)}

    @staticmethod
    def from_arrays(held: Mapping[str, npt.NDArray[Any]]) -> Priors:
        """Return priors from what `arrays` gave."""
        rows = held["configurations"].tolist()
        numbers = {
            item.name: np.asarray(held[item.name])
            for item in fields(Priors)
            if item.name not in ("contexts", "configurations")
        }
        return Priors(
            contexts=tuple(held["contexts"].tolist()),
            configurations=tuple(tuple(row) for row in rows),
            **numbers,
        )


def _counts(ok: FloatArray, odds: FloatArray) -> FloatArray:
    """Return the chance that none, one or two of some fault nodes are broken.

    Parameters
    ----------
    ok, odds : FloatArray
        Chance of each to be ok, and its odds to be broken, shape (n_parts, n_some).

    Returns
    -------
    FloatArray
        Shape (3, n_some): the elementary symmetric sums of the odds.
    """
    one = odds.sum(axis=0)
    two = 0.5 * (one**2 - (odds**2).sum(axis=0))
    return np.asarray(ok.prod(axis=0) * np.stack([np.ones_like(one), one, two]))


def rates_alone(causes: Sequence[Cause]) -> Priors:
    """Return each cause at its own rate; a sheet asks for no probability."""
    parts = list(dict.fromkeys(cause.part.name for cause in causes))
    part_of = np.array([parts.index(cause.part.name) for cause in causes], dtype=int)
    rates = np.array([cause.mode.rate for cause in causes], dtype=np.float64)
    none = np.zeros((0, len(causes)), dtype=np.bool_)
    return Priors(
        contexts=(),
        configurations=((),),
        configuration_probability=np.ones(1),
        part_of=part_of,
        mode_probability=np.stack([rates, rates])[:, :, None],
        spot_of=np.full(len(parts), -1, dtype=np.int64),
        spot_probability=np.zeros((0, 1)),
        link_parents=none,
        link_children=none,
        link_factor=np.zeros(0),
    )
