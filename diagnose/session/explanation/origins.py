"""Root before consequence: what may have brought a suspect about, with the odds.

A blown fuse is hardly ever the root, nor a flat battery. Which causes bring them about
follows from the circuit (what opens by current), from what a mode changes elsewhere,
and from the links in knowledge/. Leaves how likely each cause is to `concluding`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.faults.causes import Cause
from diagnose.faults.links import ties_of
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Origin
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment

# How many origins are named. Own choice: what one line of a page holds.
SHOWN_ORIGINS = 3

# Origins less likely than this are not named. [1] Own choice: odds are told in percent.
LEAST_ORIGIN = 0.01

# What is said where no cause is found that brings a suspect about.
NOTHING_FOUND = "nothing found"

# The parameter by which a fault mode says that a fuse is open.
OPENED = "is_blown"

# A cause that opens a fuse in a smaller share of draws is not what did it. [1] Own
# choice: one car in twenty.
OFTEN_ENOUGH = 0.05

# Fault sets less likely than this are not looked at. [1] Derived: what is left out is
# under a thousandth, and odds are told in percent.
LEAST_WEIGHED = 1e-6

# The key under which the share stands that no cause brings about.
NO_LINE = -1


class Origins:
    """Finds what brings suspects about, on one car.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        causes = model.compiled.causes
        self._changed: dict[int, frozenset[int]] = {}
        self._opening: dict[str, frozenset[int]] = {}
        self._parents: dict[int, set[int]] = {}
        for link in ties_of(model.car, causes, model.knowledge.links).links:
            for child in link.children:
                self._parents.setdefault(child, set()).update(link.parents)

    def of(self, line: int, moment: Moment) -> tuple[Origin, ...]:
        """Return what brings a line's likeliest fault about, nothing found last.

        The probabilities are those of the origins if the part is found like this; the
        likeliest few are named, and what is left over is some other cause.

        Parameters
        ----------
        line : int
            Number of the line of causes.
        moment : Moment

        Returns
        -------
        tuple[Origin, ...]
            Empty for faults that follow from no other.
        """
        causes = self._model.compiled.causes
        likeliest = moment.lines.likeliest(line)
        cause = causes[likeliest]
        members = tuple(
            member
            for member in self._model.lines[line]
            if causes[member].mode.name == cause.mode.name
        )
        if _opens(cause):
            shares = self._opened_by(cause, members, moment)
        elif changed := self._changed_elsewhere(likeliest):
            shares = self._left_by(changed, members, moment)
        elif members[0] in self._parents:
            shares = self._linked(members, moment)
        else:
            return ()
        total = sum(shares.values())
        if not total > 0.0:
            return ()
        return self._named({one: share / total for one, share in shares.items()})

    def _named(self, shares: Mapping[int, float]) -> tuple[Origin, ...]:
        """Return shares by line as records."""
        found = sorted((one for one in shares if one >= 0), key=lambda k: -shares[k])
        causes = self._model.compiled.causes
        leading = [causes[self._model.lines[one][0]] for one in found[:SHOWN_ORIGINS]]
        named = tuple(
            Origin(cause=cause.name, says=cause.says, probability=shares[one])
            for one, cause in zip(found, leading, strict=False)
            if shares[one] >= LEAST_ORIGIN
        )
        nothing = Origin(
            cause="", says=NOTHING_FOUND, probability=shares.get(NO_LINE, 0.0)
        )
        return (*named, nothing)

    def _shares(
        self, weights: FloatArray, moment: Moment, roots: frozenset[int]
    ) -> dict[int, float]:
        """Return the weights of fault sets added up by the line of their root.

        Parameters
        ----------
        weights : FloatArray
            Shape (n_sets,).
        roots : frozenset[int]
            The causes that count as roots.
        """
        found: dict[int, float] = {}
        line_of = moment.lines.line_of
        for row in np.flatnonzero(weights).tolist():
            fault_set = moment.conclusion.hypotheses.sets[row]
            able = [cause for cause in fault_set if cause in roots]
            line = int(line_of[able[0]]) if able else NO_LINE
            found[line] = found.get(line, 0.0) + float(weights[row])
        return found

    def _opened_by(
        self, cause: Cause, members: tuple[int, ...], moment: Moment
    ) -> dict[int, float]:
        """Return what opens a fuse, by the circuit."""
        conclusion = moment.conclusion
        present = _rows_with(members, conclusion.hypotheses)
        chances = conclusion.beliefs.set_probabilities()
        by_circuit = np.zeros(len(chances))
        likely = np.flatnonzero(~present & (chances > LEAST_WEIGHED))
        opened = self._open(cause, conclusion.hypotheses, conclusion.shown_by[likely])
        weights = conclusion.beliefs.weights[likely]
        by_circuit[likely] = (weights * opened).sum(axis=1)
        shares = self._shares(by_circuit, moment, self._openers(cause))
        shares[NO_LINE] = float(chances[present].sum())
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
            self._model.compiled.readings.predicted(
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
        moment: Moment,
    ) -> dict[int, float]:
        """Return what leaves a part in a state as a change that comes with it."""
        conclusion = moment.conclusion
        present = _rows_with(members, conclusion.hypotheses)
        chances = conclusion.beliefs.set_probabilities()
        others = _rows_with(tuple(changing), conclusion.hypotheses) & ~present
        shares = self._shares(np.where(others, chances, 0.0), moment, changing)
        shares[NO_LINE] = float(chances[present].sum())
        return shares

    def _changed_elsewhere(self, cause: int) -> frozenset[int]:
        if cause not in self._changed:
            causes = self._model.compiled.causes
            self._changed[cause] = _changing(causes[cause], causes)
        return self._changed[cause]

    def _linked(self, members: tuple[int, ...], moment: Moment) -> dict[int, float]:
        """Return what makes a fault likelier, where it is there as well."""
        conclusion = moment.conclusion
        present = _rows_with(members, conclusion.hypotheses)
        chances = np.where(present, conclusion.beliefs.set_probabilities(), 0.0)
        return self._shares(chances, moment, frozenset(self._parents[members[0]]))


def _changing(cause: Cause, causes: Sequence[Cause]) -> frozenset[int]:
    """Return causes of other parts that change what this one changes first.

    A cause outside the circuit, such as a car that stands too long, follows from none.
    """
    if not cause.mode.changes or cause.part.role is None or cause.mode.mechanical:
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
