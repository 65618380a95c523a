"""What was seen of a changed car: a lead added, a part exchanged or taken off.

The fault sets are those of the car as it stands, the circuit is the changed one: what a
test shows is weighed by the rules of any reading or answer, on another car. What is
exchanged or renewed has no fault meanwhile. Leaves those rules to `likelihoods`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import FaultSet, Severity
from diagnose.inference.compiled.hypotheses import Hypotheses, joined
from diagnose.inference.compiled.shown_symptoms import symptom_there
from diagnose.inference.compiled.substituted_car import (
    renewed_parts,
    without_parts,
)
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import SubstitutionTest
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.evidence.weighing.scatter import RowIndex
from diagnose.session.ready_car import Model
from diagnose.session.substitution.cars import KEPT_CARS

# Of how many draws one is solved for what an exchange leaves of a set. [1] Own choice:
# as for pairs.
LEFT_STRIDE = 4


# What is left of a fault set, with how severe its causes are.
_Left = tuple[FaultSet, tuple[Severity, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedRows:
    """Some rows of hypotheses as a test shows them.

    Parameters
    ----------
    model : Model
        The car that is seen: the changed one, or the whole one where a part is only
        exchanged.
    hypotheses : Hypotheses
        What they show, among others.
    rows : IntArray
        The row there of each of those wanted, in their order.
    stands_for : int
        How many draws of the whole car each draw stands for. [1]
    is_changed : bool
        The circuit is another one than that of the car as it stands.
    """

    model: Model
    hypotheses: Hypotheses
    rows: IntArray
    stands_for: int
    is_changed: bool

    def on_every_draw(self, values: FloatArray) -> FloatArray:
        """Return what was worked out for the draws here, for all of the whole car.

        Parameters
        ----------
        values : FloatArray
            Shape (n_rows, n_draws here).

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws).
        """
        return values.repeat(self.stands_for, axis=1) if self.is_changed else values

    def of_same_draws(self, values: FloatArray) -> FloatArray:
        """Return what the car as it stands shows in the draws that stand for others.

        Parameters
        ----------
        values : FloatArray
            In every draw, shape (n_rows, n_draws).

        Returns
        -------
        FloatArray
            Same shape, to be compared with what the test shows draw by draw.
        """
        few = values[:, :: self.stands_for]
        return few.repeat(self.stands_for, axis=1)


class ChangedCars:
    """Shows the fault sets of one car as they are in a test.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._models: dict[tuple[SubstitutionTest, bool], Model] = {}

    def rows(
        self,
        hypotheses: Hypotheses,
        test: SubstitutionTest,
        *,
        rows: RowIndex,
        is_rough: bool = False,
    ) -> ChangedRows:
        """Return some fault sets as a test shows them, solved where they are missing.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets with what they show of the car as it stands.
        test : SubstitutionTest
            What is changed, and what is looked at.
        rows : IntArray or slice
            The fault sets wanted.
        is_rough : bool
            With a handful of draws, to see what the test is worth.

        Returns
        -------
        ChangedRows
        """
        hypotheses = self._named(hypotheses)
        numbers = np.arange(len(hypotheses.sets))[rows].tolist()
        left = [self._left(hypotheses, test, number) for number in numbers]
        if test.substitution.kind is SubstitutionKind.SWAP:
            return self._exchanged(hypotheses, left, numbers)
        car = self._model.substituted.of(test, is_rough=is_rough)
        model = self._models.get((test, is_rough))
        if model is None or model.compiled is not car.compiled:
            if len(self._models) >= KEPT_CARS:
                self._models.clear()
            model = replace(self._model, compiled=car.compiled)
            self._models[test, is_rough] = model
        return ChangedRows(
            model=model,
            hypotheses=car.hypotheses([one for one, _ in left], [s for _, s in left]),
            rows=np.arange(len(left)),
            stands_for=car.every,
            is_changed=True,
        )

    def _named(self, hypotheses: Hypotheses) -> Hypotheses:
        """Return rows of the bank with the fault set of every one that is solved.

        Those of pairs that only show others have no name there, as they count for
        nothing themselves.
        """
        bank = self._model.compiled.bank
        if hypotheses.prediction is not bank.all.prediction or not bank.pair_rows:
            return hypotheses
        sets = list(hypotheses.sets)
        for fault_set, row in bank.pair_rows.items():
            sets[row] = fault_set
        return replace(hypotheses, sets=tuple(sets))

    def _left(
        self, hypotheses: Hypotheses, test: SubstitutionTest, number: int
    ) -> _Left:
        """Return a fault set without the faults of parts that are known to be good."""
        good = renewed_parts(test.substitution, test.look, self._model.car)
        causes = self._model.compiled.causes
        left = without_parts(hypotheses.sets[number], good, causes)
        severe = tuple(s for s in hypotheses.severe(number) if s.cause in left)
        return left, severe

    def is_solved(
        self,
        hypotheses: Hypotheses,
        test: SubstitutionTest,
        *,
        rows: RowIndex,
        is_rough: bool = False,
    ) -> bool:
        """Return whether `rows` would have nothing to solve.

        Parameters
        ----------
        hypotheses, test, rows, is_rough
            As for `rows`.

        Returns
        -------
        bool
        """
        hypotheses = self._named(hypotheses)
        is_exchanged = test.substitution.kind is SubstitutionKind.SWAP
        car = None
        if not is_exchanged:
            car = self._model.substituted.known(test, is_rough=is_rough)
            if car is None:
                return False
        numbers = np.arange(len(hypotheses.sets))[rows].tolist()
        left = [self._left(hypotheses, test, number) for number in numbers]
        if car is not None:
            return car.is_solved([one for one, _ in left], [s for _, s in left])
        return all(
            _lies_ready(one) or one[0] == hypotheses.sets[number]
            for one, number in zip(left, numbers, strict=True)
        )

    def _exchanged(
        self, hypotheses: Hypotheses, left: Sequence[_Left], numbers: Sequence[int]
    ) -> ChangedRows:
        """Return fault sets without the faults of what is exchanged."""
        is_less = [
            one != hypotheses.sets[number]
            for (one, _), number in zip(left, numbers, strict=True)
        ]
        wanted = [one for one, less in zip(left, is_less, strict=True) if less]
        every, rows = 1, np.array(numbers)
        compiled = self._model.compiled
        is_bank = hypotheses.prediction is compiled.bank.all.prediction
        if is_bank and all(_lies_ready(one) for one in wanted):
            # what is left lies in the same bank, so that nothing has to be copied
            shown = [compiled.shown_by(one[0]) if one else 0 for one, _ in wanted]
            rows[np.array(is_less)] = shown
        elif wanted:
            alone = list(dict.fromkeys(wanted))
            solved, every = self._of_whole(alone)
            place = {one: len(numbers) + n for n, one in enumerate(alone)}
            hypotheses = joined([hypotheses.kept(rows), solved])
            rows = np.array(
                [
                    place[one] if less else n
                    for n, (one, less) in enumerate(zip(left, is_less, strict=True))
                ]
            )
        return ChangedRows(
            model=self._model,
            hypotheses=hypotheses,
            rows=rows,
            stands_for=every,
            is_changed=False,
        )

    def _of_whole(self, wanted: Sequence[_Left]) -> tuple[Hypotheses, int]:
        """Return fault sets of the car as it stands, and how many draws one stands for.

        Single causes lie ready as they are drawn; others are solved.
        """
        compiled = self._model.compiled
        if all(_lies_ready(one) for one in wanted):
            rows = [compiled.shown_by(one[0]) if one else 0 for one, _ in wanted]
            return compiled.singles.kept(np.array(rows)), 1
        solved = compiled.hypotheses(
            [one for one, _ in wanted],
            severities=[severe for _, severe in wanted],
            every=LEFT_STRIDE,
        )
        return solved, LEFT_STRIDE


def _lies_ready(left: _Left) -> bool:
    """Return whether what is left of a fault set is one of the bank's singles."""
    return len(left[0]) < 2 and not left[1]


def shown_values(
    changed: ChangedRows,
    test: SubstitutionTest,
    stray: Callable[..., FloatArray] | None = None,
) -> FloatArray:
    """Return what rows show of the look of a test, in every draw of the whole car.

    Parameters
    ----------
    changed : ChangedRows
    test : SubstitutionTest
    stray : Callable or None
        Asked instead of the value, for a reading.

    Returns
    -------
    FloatArray
        The value of a reading, or the chance that a symptom is there; shape
        (n_rows, n_draws). [unit of the reading, or 1]
    """
    compiled, look = changed.model.compiled, test.look
    if isinstance(look, Reading):
        values = (
            compiled.readings.predicted(changed.hypotheses, look, rows=changed.rows)
            if stray is None
            else stray(changed.hypotheses, look, rows=changed.rows)
        )
    else:
        held = changed.hypotheses
        values = symptom_there(compiled, held, look.symptom, changed.rows)
    return changed.on_every_draw(np.asarray(values))
