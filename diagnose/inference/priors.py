"""Priors as arrays: how likely each set of causes is before any fact.

Reads nothing but numbers taken from the cause network (`network`); the running
diagnosis needs no more than this of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import IntArray
from diagnose.faults.causes import Cause, FaultSet


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
        Chance of each cause's state of its fault node, shape
        (n_causes, n_configurations).
    ok_probability : FloatArray
        Chance that each fault node is ok, shape (n_parts, n_configurations).
    """

    contexts: tuple[str, ...]
    configurations: tuple[tuple[str, ...], ...]
    configuration_probability: FloatArray
    part_of: IntArray
    mode_probability: FloatArray
    ok_probability: FloatArray

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
    def _odds(self) -> FloatArray:
        return np.asarray(self.mode_probability / self.ok_probability[self.part_of])

    @cached_property
    def _log_odds(self) -> FloatArray:
        """Return log odds of each cause, and 0 in a last row for no cause."""
        return np.vstack([np.log(self._odds), np.zeros(self._odds.shape[1])])

    @cached_property
    def _log_all_ok(self) -> FloatArray:
        return np.asarray(np.log(self.ok_probability).sum(axis=0))

    def healthy_probability(self, answers: Mapping[str, str]) -> float:
        """Return the chance that nothing is wrong."""
        return float(self.set_probabilities([()], answers)[0])

    def odds(self) -> FloatArray:
        """Return each cause against its node being ok, (n_causes, n_configurations)."""
        return self._odds

    def set_probabilities(
        self, sets: Sequence[FaultSet], answers: Mapping[str, str]
    ) -> FloatArray:
        """Return the chance that exactly these causes are present, shape (n_sets,).

        Notes
        -----
        Sum over configurations of P(configuration) times the product over fault nodes;
        a set with two causes of one part has probability 0.
        """
        weights = self.given(answers)
        still = np.flatnonzero(weights)
        size = max((len(s) for s in sets), default=0)
        members = np.full((len(sets), max(size, 1)), -1, dtype=np.int64)
        for row, fault_set in enumerate(sets):
            members[row, : len(fault_set)] = fault_set
        log_joint = self._log_odds[members[:, :, None], still].sum(axis=1)
        log_joint += self._log_all_ok[still]
        parts = np.where(
            members >= 0, self.part_of[members], -1 - np.arange(members.shape[1])
        )
        ordered = np.sort(parts, axis=1)
        is_possible = (np.diff(ordered, axis=1) != 0).all(axis=1)
        return np.where(is_possible, np.exp(log_joint) @ weights[still], 0.0)

    def cause_probabilities(self, answers: Mapping[str, str]) -> FloatArray:
        """Return the marginal chance of each cause, shape (n_causes,)."""
        return np.asarray(self.mode_probability @ self.given(answers))


def rates_alone(causes: Sequence[Cause]) -> Priors:
    """Return each cause at its own rate; a sheet asks for no probability."""
    parts = list(dict.fromkeys(cause.part.name for cause in causes))
    part_of = np.array([parts.index(cause.part.name) for cause in causes], dtype=int)
    rates = np.array([cause.mode.rate for cause in causes], dtype=np.float64)
    together = np.bincount(part_of, weights=rates, minlength=len(parts))
    return Priors(
        contexts=(),
        configurations=((),),
        configuration_probability=np.ones(1),
        part_of=part_of,
        mode_probability=rates[:, None],
        ok_probability=np.asarray(1.0 - together[:, None], dtype=np.float64),
    )
