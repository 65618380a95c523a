"""Priors as arrays: how likely each set of causes is before any fact.

Reads nothing but numbers taken from the cause network (`compilation`); the running
diagnosis needs no more than this of it. Leaves what links change to `links_at_work`,
and other questions about the priors to `marginal_chances`, `several_faults` and
`drawn_faults`.

Answered contexts leave only their own configurations, and what single causes weigh is
worked out once a case: a pair of causes then costs some microseconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.faults.causes import Cause, FaultSet
from diagnose.inference.prior.links_at_work import LinksAtWork

# Name of the array that says which row each cause has among those kept. By definition.
_MODE_ROWS = "mode_rows"


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Priors:
    """The cause network of one car in compiled form.

    A configuration is one answer to each context; a spot is a place whose parts share
    an unseen condition.

    Parameters
    ----------
    contexts : tuple[str, ...]
        Names of the contexts that shift anything in this car.
    configurations : tuple[tuple[str, ...], ...]
        Every combination of context states, in the order of `contexts`.
    configuration_probability : FloatArray
        Shape (n_configurations,); sums to 1. [1]
    part_of : IntArray
        Number of each cause's part, shape (n_causes,).
    mode_probability : FloatArray
        Chance of each cause while no link is at work, first without and then with the
        condition of its spot, shape (2, n_causes, n_configurations). [1]
    spot_of : IntArray
        Spot of each part, -1 where none, shape (n_parts,).
    spot_probability : FloatArray
        Chance of each spot's condition, shape (n_spots, n_configurations). [1]
    link_parents, link_children : BoolArray
        Which causes are parents and children of each link, shape (n_links, n_causes).
        The children of a link are of one part, no parent of a link and in no spot.
    link_factor : FloatArray
        On the children's chances while a parent is present, shape (n_links,). [1]
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

        Returns
        -------
        FloatArray
            Shape (n_configurations,); sums to 1. [1]

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
    def is_answered(self) -> Mapping[str, FloatArray]:
        """Whether each configuration has each answer to a context. [1].

        Context to 1 where it has and 0 where not, (n_configurations, n_answers); the
        answers in the order of their words.
        """
        found = {}
        for column, context in enumerate(self.contexts):
            names = self._configuration_names[:, column]
            found[context] = (names[:, None] == np.unique(names)).astype(np.float64)
        return found

    @cached_property
    def ok_probability(self) -> FloatArray:
        """Chance that each part is sound while no link is at work. [1].

        First without and then with the condition of its spot, shape
        (2, n_parts, n_configurations).
        """
        broken = np.zeros((2, len(self.spot_of), self.mode_probability.shape[2]))
        by_cause = self.mode_probability.swapaxes(0, 1)
        np.add.at(broken.swapaxes(0, 1), self.part_of, by_cause)
        return np.asarray(1.0 - broken)

    @cached_property
    def mode_odds(self) -> FloatArray:
        """Odds of each cause against its part being sound. [1].

        Shape as `mode_probability`.
        """
        return np.asarray(self.mode_probability / self.ok_probability[:, self.part_of])

    @cached_property
    def spot_shares(self) -> FloatArray:
        """Chance of each spot's condition, given that all its parts are sound. [1].

        First that it is not in it, then that it is, shape
        (2, n_spots, n_configurations).
        """
        return self._spots_with_parts_sound[0]

    @cached_property
    def log_all_sound(self) -> FloatArray:
        """Natural log of the chance that no part has a fault, (n_configurations,)."""
        return self._spots_with_parts_sound[1]

    @cached_property
    def _spots_with_parts_sound(self) -> tuple[FloatArray, FloatArray]:
        """`spot_shares` and `log_all_sound`."""
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
    def odds(self) -> FloatArray:
        """Odds of each cause alone against no cause, (n_causes, n_configurations). [1].

        What the cause makes likelier through links is left out.
        """
        odds = self.mode_odds
        result: FloatArray = odds[0].copy()
        spot = self.spot_of[self.part_of]
        tied = np.flatnonzero(spot >= 0)
        shares = self.spot_shares[:, spot[tied]]
        result[tied] = (shares * odds[:, tied]).sum(axis=0)
        return result

    @cached_property
    def _log_odds(self) -> FloatArray:
        """Return log odds of each cause, and 0 in a last row for no cause."""
        return np.vstack([np.log(self.odds), np.zeros(self.odds.shape[1])])

    @cached_property
    def links(self) -> LinksAtWork:
        """The links, with the chances that they act on."""
        return LinksAtWork(
            parents=self.link_parents,
            children=self.link_children,
            factor=self.link_factor,
            part_of=self.part_of,
            chances=self.mode_probability[0],
            ok=self.ok_probability[0],
        )

    def healthy_probability(self, answers: Mapping[str, str]) -> float:
        """Return the chance that nothing is wrong.

        Parameters
        ----------
        answers : Mapping[str, str]
            As for `given`.

        Returns
        -------
        float
            Chance. [1]

        Raises
        ------
        ValueError
            As `given`.
        """
        return float(self.set_probabilities([()], answers)[0])

    def set_probabilities(
        self, sets: Sequence[FaultSet], answers: Mapping[str, str]
    ) -> FloatArray:
        """Return the chance that exactly the causes of a set are present.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            Any sets of causes.
        answers : Mapping[str, str]
            As for `given`.

        Returns
        -------
        FloatArray
            Shape (n_sets,); 0 for a set with two causes of one part. [1]

        Raises
        ------
        ValueError
            As `given`.

        Notes
        -----
        Sum over configurations of P(configuration) times, for each spot, the sum over
        its condition, times the product over parts; a child of a link has its rates
        multiplied where a parent is in the set.
        """
        weights = self.given(answers)
        still = np.flatnonzero(weights)
        size = max([1, *map(len, sets)])
        members = np.full((len(sets), size), -1, dtype=np.int64)
        for row, fault_set in enumerate(sets):
            members[row, : len(fault_set)] = fault_set
        log_joint = self._log_odds[members[:, :, None], still].sum(axis=1)
        log_joint += self.log_all_sound[still]
        for row in self._sharing_a_spot(members).tolist():
            log_joint[row] += np.log(self._spot_lift(sets[row]))[still]
        for row in self.links.rows_with_parent(members).tolist():
            log_joint[row] += self.links.log_ratio(sets[row])[still]
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
            together = self.mode_odds[:, here].prod(axis=1)
            together *= self.spot_shares[:, spot]
            result *= together.sum(axis=0) / self.odds[here].prod(axis=0)
        return result

    def arrays(self) -> dict[str, npt.NDArray[Any]]:
        """Return all of it as arrays, to be kept.

        Returns
        -------
        dict[str, NDArray]
            Field to its numbers or words; see `from_arrays`. Of `mode_probability`
            each row once: many causes are as likely as others, whatever is answered.
        """
        held = {item.name: np.array(getattr(self, item.name)) for item in fields(self)}
        modes = held["mode_probability"]
        flat, number = modes.reshape(-1, modes.shape[2]), dict[bytes, int]()
        row_of = [number.setdefault(row.tobytes(), len(number)) for row in flat]
        _, first = np.unique(row_of, return_index=True)
        held["mode_probability"] = flat[first]
        held[_MODE_ROWS] = np.array(row_of, dtype=np.int64).reshape(modes.shape[:2])
        return held

    @staticmethod
    def from_arrays(held: Mapping[str, npt.NDArray[Any]]) -> Priors:
        """Return priors from the arrays that were kept of them.

        Parameters
        ----------
        held : Mapping[str, NDArray]
            What `arrays` gave.

        Returns
        -------
        Priors
            The same as before.
        """
        rows = held["configurations"].tolist()
        numbers = {
            item.name: np.asarray(held[item.name])
            for item in fields(Priors)
            if item.name not in ("contexts", "configurations")
        }
        modes = numbers["mode_probability"]
        numbers["mode_probability"] = modes[np.asarray(held[_MODE_ROWS])]
        return Priors(
            contexts=tuple(held["contexts"].tolist()),
            configurations=tuple(tuple(row) for row in rows),
            **numbers,
        )


def rates_alone(causes: Sequence[Cause]) -> Priors:
    """Return priors in which each cause has its own rate and nothing ties them.

    For what asks for no probability, such as a sheet of expected readings.

    Parameters
    ----------
    causes : Sequence[Cause]
        Of one car.

    Returns
    -------
    Priors
        Without contexts, spots and links.
    """
    names = [cause.part.name for cause in causes]
    parts = {name: number for number, name in enumerate(dict.fromkeys(names))}
    part_of = np.array([parts[name] for name in names], dtype=int)
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
