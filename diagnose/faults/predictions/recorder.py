"""Recorder: what of solved points is kept, for readings and symptoms.

Knows where volts, resistances, currents and on/off facts go in a prediction. Leaves the
solving to the circuit, the arrays to `predicted`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.operating_states import OperatingState
from diagnose.faults.predictions.overloads import OPEN_SHARE, Tripped
from diagnose.faults.predictions.predicted import PredictionInMaking, in_source_units
from diagnose.measurement.quantities import Probe

# Points whose resistances are kept together. [1] Measured: pieces of this size stay in
# the processor's cache meanwhile.
KEPT_TOGETHER = 256

# What an on/off probe shows of a part that goes on and off. [1] Own choice: neither
# open nor closed is what a person sees, and a symptom can ask for it.
HALF_CLOSED = 0.5


@dataclass(frozen=True, slots=True)
class _StateProbes:
    """Columns of one state's probes of one sort, and the places of their branches."""

    columns: IntArray
    places: IntArray


class Recorder:
    """Where the values of a car's nodes, probes and protective parts are kept.

    Parameters
    ----------
    states : Sequence[OperatingState]
        The car's states, in the order of predictions.
    probes : Sequence[Probe]
        The columns of `Prediction.probes`.
    branch_index : Mapping[str, int]
        Name of a branch to its number.
    protective : IntArray
        Branches of the protective parts, rising, shape (n_protective,).
    """

    def __init__(
        self,
        states: Sequence[OperatingState],
        probes: Sequence[Probe],
        branch_index: Mapping[str, int],
        protective: IntArray,
    ) -> None:
        probed = [branch_index[probe.branch] for probe in probes]
        numbers = np.array(probed, dtype=np.int64)
        flows = np.array([probe.is_current for probe in probes], dtype=np.bool_)
        self._measured = np.union1d(numbers[flows], protective)
        self._protective_places = np.searchsorted(self._measured, protective)
        self._gated = np.unique(numbers[~flows])

        def of_state(state: OperatingState, *, is_current: bool) -> _StateProbes:
            columns = [
                column
                for column, probe in enumerate(probes)
                if probe.state == state.name and probe.is_current is is_current
            ]
            chosen = np.array(columns, dtype=np.int64)
            branches = self._measured if is_current else self._gated
            return _StateProbes(chosen, np.searchsorted(branches, numbers[chosen]))

        self._currents = tuple(of_state(state, is_current=True) for state in states)
        self._gates = tuple(of_state(state, is_current=False) for state in states)

    def keep(
        self,
        making: PredictionInMaking,
        points: IntArray,
        solved: SolvedPoints,
    ) -> FloatArray:
        """Keep what solved points show, and return the protective parts' currents.

        Parameters
        ----------
        making : PredictionInMaking
            Written to.
        points : IntArray
            Points in `making`, shape (n_points,).
        solved : SolvedPoints
            The same points in every state in turn.

        Returns
        -------
        FloatArray
            Shape (n_states n_points, n_protective). [A]
        """
        for some, ohms in solved.source_ohms():
            _put_ohms(making, points, some, ohms)
        amps = solved.branch_amps(self._measured)
        conducts = solved.branch_conducts(self._gated)
        # the probes of each point side by side, in the order of all columns
        shown = np.empty((len(points), making.probes.shape[1]), np.float32)
        for state in range(len(self._currents)):
            here = slice(state * len(points), (state + 1) * len(points))
            making.volts[state, points] = solved.volts[here]
            making.is_settled[state, points] = solved.is_settled[here]
            for probes, seen in (
                (self._currents[state], amps),
                (self._gates[state], conducts),
            ):
                shown[:, probes.columns] = seen[here].take(probes.places, axis=1)
        making.probes[points] = shown
        return amps[:, self._protective_places]

    def mark_cycling(
        self, making: PredictionInMaking, points: IntArray, tripped: Tripped
    ) -> None:
        """Note what goes on and off; what it shows holds for a share of time only.

        Parameters
        ----------
        making : PredictionInMaking
            Written to.
        points : IntArray
            Points in `making`, shape (n_points,).
        tripped : Tripped
            What has opened at these points.
        """
        for state, place in np.ndindex(len(self._gates), tripped.branch.shape[1]):
            rows = np.flatnonzero(tripped.is_cycling[state, :, place])
            making.is_settled[state, points[rows]] = OPEN_SHARE
            probes = self._gates[state]
            branches = self._gated[probes.places]
            hit, probe = np.nonzero(tripped.branch[rows, place][:, None] == branches)
            making.probes[points[rows[hit]], probes.columns[probe]] = HALF_CLOSED


def _put_ohms(
    making: PredictionInMaking, points: IntArray, some: IntArray, ohms: FloatArray
) -> None:
    """Keep the resistances of some of the points of every state in turn."""
    state, place = np.divmod(some, len(points))
    for start in range(0, len(some), KEPT_TOGETHER):
        here = slice(start, start + KEPT_TOGETHER)
        units = in_source_units(ohms[here])
        making.source_units[state[here], points[place[here]]] = units
