"""Root before consequence: what may have brought a suspect about, with the odds.

A blown fuse is hardly ever the root, nor a flat battery. Which causes bring them about
follows from the circuit (what opens by current), from what a mode changes elsewhere,
and from the links in knowledge/. Leaves how likely each cause is to `reasoning`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import BoolArray
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.faults.causes import Cause
from diagnose.faults.links import ties_of
from diagnose.inference.hypotheses import Hypotheses
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.advising import Adviser
from diagnose.session.answer import Origin
from diagnose.session.model import Model
from diagnose.session.reasoning import Conclusion

SHOWN_ORIGINS = 3
LEAST_ORIGIN = 0.01
NOTHING_FOUND = "nothing found"
OPENED = "is_blown"
OFTEN_ENOUGH = 0.05
# Own choice: a cause that opens a fuse in fewer draws is not what did it.


class Origins:
    """Finds what brings suspects about, on one car.

    Parameters
    ----------
    model : Model
    adviser : Adviser
    """

    def __init__(self, model: Model, adviser: Adviser) -> None:
        self._model = model
        self._adviser = adviser
        causes = model.compiled.causes
        self._parents: dict[int, set[int]] = {}
        for link in ties_of(model.car, causes, model.knowledge.links).links:
            for child in link.children:
                self._parents.setdefault(child, set()).update(link.parents)

    def of(self, line: int, conclusion: Conclusion) -> tuple[Origin, ...]:
        """Return what brings a line's likeliest fault about, nothing found last.

        Empty for faults that follow from no other. The probabilities are those of the
        origins if the part is found like this; the likeliest few are named, and what is
        left over is some other cause.
        """
        causes = self._model.compiled.causes
        cause = causes[self._adviser.likeliest(conclusion, line)]
        members = tuple(
            member
            for member in self._model.lines[line]
            if causes[member].mode.name == cause.mode.name
        )
        if _opens(cause):
            shares = self._opened_by(cause, members, conclusion)
        elif changed := _changed_elsewhere(cause, self._model):
            shares = self._left_by(changed, members, conclusion)
        elif members[0] in self._parents:
            shares = self._linked(members, conclusion)
        else:
            return ()
        total = sum(shares.values())
        if not total > 0.0:
            return ()
        return self._named({one: share / total for one, share in shares.items()})

    def _named(self, shares: Mapping[int, float]) -> tuple[Origin, ...]:
        """Return shares by line (-1: nothing found) as records."""
        found = sorted((one for one in shares if one >= 0), key=lambda k: -shares[k])
        causes = self._model.compiled.causes
        leading = [causes[self._model.lines[one][0]] for one in found[:SHOWN_ORIGINS]]
        named = tuple(
            Origin(cause=cause.name, says=cause.says, probability=shares[one])
            for one, cause in zip(found, leading, strict=False)
            if shares[one] >= LEAST_ORIGIN
        )
        nothing = Origin(cause="", says=NOTHING_FOUND, probability=shares.get(-1, 0.0))
        return (*named, nothing)

    def _shares(
        self, weights: FloatArray, conclusion: Conclusion, roots: frozenset[int] | None
    ) -> dict[int, float]:
        """Return the weights of fault sets added up by the line of their root.

        Parameters
        ----------
        weights : FloatArray
            Shape (n_sets,).
        roots : frozenset[int] or None
            The causes that count as roots; any cause when None.
        """
        found: dict[int, float] = {}
        for row in np.flatnonzero(weights).tolist():
            fault_set = conclusion.hypotheses.sets[row]
            able = [c for c in fault_set if roots is None or c in roots]
            line = self._adviser.line_of(able[0]) if able else -1
            found[line] = found.get(line, 0.0) + float(weights[row])
        return found

    def _opened_by(
        self, cause: Cause, members: tuple[int, ...], conclusion: Conclusion
    ) -> dict[int, float]:
        """Return what opens a fuse, by the circuit."""
        present = _rows_with(members, conclusion.hypotheses)
        weights = conclusion.beliefs.weights
        opened = self._open(cause, conclusion.hypotheses)
        by_circuit = np.where(
            present, 0.0, (weights * opened[conclusion.shown_by]).sum(axis=1)
        )
        alone = opened[1 : self._model.compiled.bank.n_singles].mean(axis=1)
        able = frozenset(np.flatnonzero(alone > OFTEN_ENOUGH).tolist())
        shares = self._shares(by_circuit, conclusion, able)
        shares[-1] = float(weights[present].sum())
        return shares

    def _open(self, cause: Cause, hypotheses: Hypotheses) -> FloatArray:
        """Return whether a fuse is open after some state, (n_sets, n_draws)."""
        looks = (
            self._model.compiled.predicted(
                hypotheses,
                Reading(
                    kind=ReadingKind.LOOK,
                    state=state.name,
                    red=cause.part.name,
                    black="",
                ),
            )
            for state in self._model.car.states
            if state.is_battery_connected
        )
        return np.asarray(np.stack(list(looks)).max(axis=0))

    def _left_by(
        self,
        changing: frozenset[int],
        members: tuple[int, ...],
        conclusion: Conclusion,
    ) -> dict[int, float]:
        """Return what leaves a part in a state as a change that comes with it."""
        present = _rows_with(members, conclusion.hypotheses)
        chances = conclusion.beliefs.set_probabilities()
        others = _rows_with(tuple(changing), conclusion.hypotheses) & ~present
        shares = self._shares(np.where(others, chances, 0.0), conclusion, changing)
        shares[-1] = float(chances[present].sum())
        return shares

    def _linked(
        self, members: tuple[int, ...], conclusion: Conclusion
    ) -> dict[int, float]:
        """Return what makes a fault likelier, where it is there as well."""
        present = _rows_with(members, conclusion.hypotheses)
        chances = np.where(present, conclusion.beliefs.set_probabilities(), 0.0)
        return self._shares(chances, conclusion, frozenset(self._parents[members[0]]))


def _opens(cause: Cause) -> bool:
    is_set = any(change.parameter == OPENED for change in cause.mode.changes)
    return cause.part.kind in PROTECTIVE_KINDS and is_set


def _changed_elsewhere(cause: Cause, model: Model) -> frozenset[int]:
    """Return causes of other parts that change what this one changes first."""
    if not cause.mode.changes or cause.part.role is None:
        return frozenset()
    parameter = cause.mode.changes[0].parameter
    return frozenset(
        number
        for number, other in enumerate(model.compiled.causes)
        if any(
            change.role == cause.part.role and change.parameter == parameter
            for change in other.mode.changes
        )
    )


def _rows_with(causes: tuple[int, ...], hypotheses: Hypotheses) -> BoolArray:
    """Return which fault sets have one of some causes, (n_sets,) of booleans."""
    wanted = frozenset(causes)
    found = (not wanted.isdisjoint(fault_set) for fault_set in hypotheses.sets)
    return np.fromiter(found, dtype=np.bool_, count=len(hypotheses.sets))
