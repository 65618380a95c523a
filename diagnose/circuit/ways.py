"""The stages that changes of one state go through on their way.

From where the state before left their gates. What is made of the stages is left to
`compounds` and `unions`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.circuit.compounds import Compounds
from diagnose.circuit.nodal import BoolArray, Slots
from diagnose.circuit.operating_point import Start
from diagnose.circuit.settling import Guesses, Stages
from diagnose.circuit.singles import Singles, nothing, stacked

SOUND = -1
"""In place of a change's number: the sound car."""


class Ways:
    """Changes of a state that move something, and the stages on their way.

    Parameters
    ----------
    singles : Singles
    state : int
    changes : Mapping[int, Slots]
        Their changed branches, in all draws.

    Attributes
    ----------
    numbers : IntArray
        Which changes they are; the last is the sound car.
    slots : Slots
        Their changed branches, all draws of a change in turn.
    stages : Stages
        Of each point.
    is_known : BoolArray
        Points that settle, all stages there, shape (n_points,).
    """

    def __init__(
        self, singles: Singles, state: int, changes: Mapping[int, Slots]
    ) -> None:
        solver, draws = singles.solver, singles.draws(state)
        self._length = len(draws)
        self.numbers = np.array([*changes, SOUND])
        self.slots = stacked([*changes.values(), nothing(len(draws))])
        points, gates = solver.origin.solver, solver.gates
        sound = Start(solver.base.segment[draws], gates.whole(solver.begins[draws]))
        alone, is_known = points.stages(draws, nothing(len(draws)), sound)
        begins = singles.begins[state, self.numbers[:-1]]
        count = len(changes)
        draw = np.tile(draws, count)
        start = Start(
            solver.base.segment[draw],
            gates.whole(begins.reshape(count * len(draws), begins.shape[-1])),
        )
        guesses = Guesses(alone.segment, np.tile(np.arange(len(draws)), count))
        slots = self.slots.take(np.arange(len(draw)))
        others, are_known = points.stages(draw, slots, start, guesses)
        stages = Stages.joined([others, alone])
        is_known = np.append(are_known, is_known)
        self.is_known: BoolArray = is_known & stages.is_whole
        self.stages = stages.until(self.is_known)

    def follow(self, compounds: Compounds) -> None:
        """Note the stages of the changes and of the sound car."""
        count = np.where(self.is_known, self.stages.count, 0)
        count = count.reshape(-1, self._length).max(axis=1)
        for each in np.unique(count[count > 0]).tolist():
            some = np.flatnonzero(count == each)
            points = (some[:, None] * self._length + np.arange(self._length)).ravel()
            compounds.follow(
                self.numbers[some],
                self.slots.take(points),
                self.stages.take(points).until(self.is_known[points]),
                self.is_known[points],
            )
