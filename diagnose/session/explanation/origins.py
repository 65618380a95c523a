"""Root before consequence: what may have brought a suspect about, with the odds.

A blown fuse is hardly ever the root, nor a flat battery. Which causes bring them about
follows from the circuit (what opens by current), from what a mode changes elsewhere,
and from the links in knowledge/. Leaves how likely each cause is to `reasoning`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.faults.causes import Cause
from diagnose.faults.links import ties_of
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Origin
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.ready_car import Model
from diagnose.session.steps.ranked_steps import Adviser

SHOWN_ORIGINS = 3
LEAST_ORIGIN = 0.01
NOTHING_FOUND = "nothing found"
OPENED = "is_blown"
OFTEN_ENOUGH = 0.05
# Own choice: a cause that opens a fuse in fewer draws is not what did it.
LEAST_WEIGHED = 1e-6
# Derived: what is left out is under a thousandth, and odds are told in percent.


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
        self._changed: dict[int, frozenset[int]] = {}
        self._opening: dict[str, frozenset[int]] = {}
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
        likeliest = self._adviser.likeliest(conclusion, line)
        cause = causes[likeliest]
        members = tuple(
            member
            for member in self._model.lines[line]
            if causes[member].mode.name == cause.mode.name
        )
        if _opens(cause):
            shares = self._opened_by(cause, members, conclusion)
        elif changed := self._changed_elsewhere(likeliest):
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
        chances = conclusion.beliefs.set_probabilities()
        by_circuit = np.zeros(len(chances))
        likely = np.flatnonzero(~present & (chances > LEAST_WEIGHED))
        opened = self._open(cause, conclusion.hypotheses, conclusion.shown_by[likely])
        weights = conclusion.beliefs.weights[likely]
        by_circuit[likely] = (weights * opened).sum(axis=1)
        shares = self._shares(by_circuit, conclusion, self._openers(cause))
        shares[-1] = float(chances[present].sum())
        return shares

    def _openers(self, cause: Cause) -> frozenset[int]:
        """Return the causes that open a fuse, worked out once."""
        fuse = cause.part.name
        if fuse not in self._opening:
            singles = self._model.compiled.singles
            every = np.arange(1, len(singles.sets))
            alone = self._open(cause, singles, every).mean(axis=1)
            able = np.flatnonzero(alone > OFTEN_ENOUGH).tolist()
            self._opening[fuse] = frozenset(able)
        return self._opening[fuse]

    def _open(self, cause: Cause, hypotheses: Hypotheses, rows: IntArray) -> FloatArray:
        """Return whether a fuse is open after some state, (n_rows, n_draws)."""
        looks = (
            self._model.compiled.predicted(
                hypotheses,
                Reading(
                    kind=ReadingKind.LOOK,
                    state=state.name,
                    red=cause.part.name,
                    black="",
                ),
                rows=rows,
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

    def _changed_elsewhere(self, cause: int) -> frozenset[int]:
        if cause not in self._changed:
            causes = self._model.compiled.causes
            self._changed[cause] = _changing(causes[cause], causes)
        return self._changed[cause]

    def _linked(
        self, members: tuple[int, ...], conclusion: Conclusion
    ) -> dict[int, float]:
        """Return what makes a fault likelier, where it is there as well."""
        present = _rows_with(members, conclusion.hypotheses)
        chances = np.where(present, conclusion.beliefs.set_probabilities(), 0.0)
        return self._shares(chances, conclusion, frozenset(self._parents[members[0]]))


def _changing(cause: Cause, causes: Sequence[Cause]) -> frozenset[int]:
    """Return causes of other parts that change what this one changes first."""
    if not cause.mode.changes or cause.part.role is None:
        return frozenset()
    parameter = cause.mode.changes[0].parameter
    return frozenset(
        number
        for number, other in enumerate(causes)
        if any(
            change.role == cause.part.role and change.parameter == parameter
            for change in other.mode.changes
        )
    )


def _opens(cause: Cause) -> bool:
    is_set = any(change.parameter == OPENED for change in cause.mode.changes)
    return cause.part.kind in PROTECTIVE_KINDS and is_set


def _rows_with(causes: tuple[int, ...], hypotheses: Hypotheses) -> BoolArray:
    """Return which fault sets have one of some causes, (n_sets,) of booleans."""
    wanted = frozenset(causes)
    found = (not wanted.isdisjoint(fault_set) for fault_set in hypotheses.sets)
    return np.fromiter(found, dtype=np.bool_, count=len(hypotheses.sets))
