"""Changed branches: what fault sets change in the network, ready for the solver.

A cause changes parameters of parts; the branches of those parts are built anew, and
those that come out as before are left out. Leaves to `causes` which parameters change,
to the solver what follows from it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.car import Part
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.solver.network import (
    CURVE_LENGTH,
    FORCED,
    Network,
    Slots,
    curve,
)
from diagnose.faults.causes import Cause, FaultSet, Severity, changed_values

# A fault set, and how severe some of its causes are; the others are as drawn.
Scenario = tuple[FaultSet, tuple[Severity, ...]]

# Stands for the number of the state where a part is alike in all. Derived: no index.
_ANY_STATE = -1


@dataclass(frozen=True, slots=True)
class _ChangedBranch:
    """One branch with its changed curve, shape (n_draws, CURVE_LENGTH)."""

    number: int
    curve: FloatArray


@dataclass(frozen=True, slots=True)
class _WorkedOut:
    """What was worked out before: values by scenario; branches also by state, part."""

    values: dict[Scenario, Mapping[str, Values]] = field(default_factory=dict)
    branches: dict[tuple[int, Scenario, str], tuple[_ChangedBranch, ...]] = field(
        default_factory=dict
    )


class ChangedBranches:
    """The branches that fault sets of one car change.

    Parameters
    ----------
    model : CarModel
        The car with its drawn values.
    causes : Sequence[Cause]
        What the numbers of a fault set stand for.
    networks : Sequence[Network]
        The sound car in each of its states.
    """

    def __init__(
        self, model: CarModel, causes: Sequence[Cause], networks: Sequence[Network]
    ) -> None:
        self._model = model
        self._causes = causes
        self._networks = networks
        self._states: tuple[OperatingState, ...] = model.car.states
        self._branch_index = networks[0].branch_indices()
        # single causes as drawn are asked for over and over
        self._lasting, self._passing = _WorkedOut(), _WorkedOut()

    def points(
        self, states: Sequence[int], scenarios: Sequence[Scenario], draws: IntArray
    ) -> tuple[IntArray, Slots]:
        """Return the points of every state, scenario and draw, the draw moving fastest.

        Parameters
        ----------
        states : Sequence[int]
            Numbers of states.
        scenarios : Sequence[Scenario]
            What is wrong.
        draws : IntArray
            Which tolerance draws, shape (n_draws,).

        Returns
        -------
        tuple[IntArray, Slots]
            The draw of each point as the solver counts them (all draws of the first
            state first), shape (n_points,); and its changed branches.
        """
        n_draws, n_all = len(draws), self._model.sample.n_draws
        lists = [
            self._of_scenario(state, *scenario)
            for state in states
            for scenario in scenarios
        ]
        width = max((len(changed) for changed in lists), default=0)
        branch = np.full((len(lists), n_draws, width), -1, dtype=np.int64)
        curves = np.zeros((len(lists), n_draws, width, CURVE_LENGTH))
        for row, changed in enumerate(lists):
            for column, one in enumerate(changed):
                branch[row, :, column] = one.number
                curves[row, :, column] = one.curve[draws]
        slots = Slots(
            branch=branch.reshape(len(lists) * n_draws, width),
            curves=curves.reshape(len(lists) * n_draws, width, CURVE_LENGTH),
        )
        in_state = np.repeat(np.array(states) * n_all, len(scenarios) * n_draws)
        return in_state + np.tile(draws, len(lists)), slots

    def forget_passing(self) -> None:
        """Forget all but single causes as drawn: the rest is asked for once."""
        self._passing = _WorkedOut()

    def _of_scenario(
        self, state: int, fault_set: FaultSet, severities: tuple[Severity, ...]
    ) -> tuple[_ChangedBranch, ...]:
        """Return the branches that its causes change, each alone unless they meet."""
        single = [
            self._of_causes(
                state, ((cause,), tuple(s for s in severities if s.cause == cause))
            )
            for cause in fault_set
        ]
        together = tuple(one for changed in single for one in changed)
        numbers = [one.number for one in together]
        if len(set(numbers)) == len(numbers):
            return together
        return self._of_causes(state, (fault_set, severities))

    def _of_causes(self, state: int, scenario: Scenario) -> tuple[_ChangedBranch, ...]:
        """Return the branches that causes change together."""
        values = self._values(scenario)
        return tuple(
            changed
            for part in self._model.touched_parts(values)
            for changed in self._of_part(state, part, scenario=scenario, values=values)
        )

    def _of_part(
        self,
        state: int,
        part: Part,
        *,
        scenario: Scenario,
        values: Mapping[str, Values],
    ) -> tuple[_ChangedBranch, ...]:
        """Return the changed branches of a part, worked out once where states agree."""
        follows = ELEMENTS[part.kind].follows_state or self._states[state].is_unplugged
        key = (state if follows else _ANY_STATE, scenario, part.name)
        known = self._worked_out(scenario).branches
        if key not in known:
            network = self._networks[state]
            branches = self._model.part_branches(part, self._states[state], values)
            changed = (
                _ChangedBranch(self._branch_index[branch.name], curve(branch))
                for branch in branches
            )
            known[key] = tuple(one for one in changed if _differs(network, one))
        return known[key]

    def _values(self, scenario: Scenario) -> Mapping[str, Values]:
        known = self._worked_out(scenario).values
        if scenario not in known:
            fault_set, severities = scenario
            causes = [self._causes[cause] for cause in fault_set]
            levels = {self._causes[s.cause].name: s.level for s in severities}
            known[scenario] = changed_values(self._model, causes, levels)
        return known[scenario]

    def _worked_out(self, scenario: Scenario) -> _WorkedOut:
        fault_set, severities = scenario
        is_passing = len(fault_set) > 1 or severities
        return self._passing if is_passing else self._lasting


def scenarios_of(
    sets: Sequence[FaultSet], severities: Sequence[tuple[Severity, ...]] | None
) -> list[Scenario]:
    """Return fault sets with their severities.

    Parameters
    ----------
    sets : Sequence[FaultSet]
        The fault sets.
    severities : Sequence[tuple[Severity, ...]] or None
        Those of each set; None: all are as drawn.

    Returns
    -------
    list[Scenario]
        One for each set.

    Raises
    ------
    ValueError
        If there are not as many severities as sets.
    """
    if severities is None:
        return [(fault_set, ()) for fault_set in sets]
    return list(zip(sets, severities, strict=True))


def _differs(network: Network, changed: _ChangedBranch) -> bool:
    """Return whether a branch differs from that of the sound car in a state."""
    base = network.curves[:, changed.number]
    if (base == changed.curve).all():
        return False
    # what carries in neither is no difference
    return bool(base[:, FORCED].max() >= 0.0 or changed.curve[:, FORCED].max() >= 0.0)
