"""One car while a lead is added or a part is taken off: what fault sets show of it.

The changed car is compiled like any other, for the states that a look needs and with
some of the draws; its fault sets are solved when they are asked for, and kept. A part
that is exchanged takes no changed car: its faults are away, and the rest is as it was.
Leaves likelihoods to `session.evidence.weighing`.

Decision that binds it: a fault set is solved for every fourth draw there, as pairs are
(a fused lead between two points of the sedan then takes a second for all 650 single
causes; with all 64 draws it would take four).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import IntArray, StoredArray
from diagnose.circuit.altered_model import LEAD, altered_model, lead_part
from diagnose.circuit.car import Car, Part
from diagnose.faults.causes import Cause, FaultSet, Severity
from diagnose.faults.predictions.predictor import Predictor
from diagnose.faults.signatures import effect_signature
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses, joined
from diagnose.measurement.needed_states import needed_states
from diagnose.measurement.quantities import Probe
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Look
from diagnose.measurement.substitutions import Substitution, SubstitutionKind

# How many draws are solved of a changed car. [1] Own choice: a quarter of a
# diagnosis's.
FEW_DRAWS = 16

# How many fault sets of a changed car are kept. [1] Derived: every single cause of a
# large car, the pairs and severities of an evening; 35 kB each.
KEPT_SETS = 2000

# A fault set with how severe its causes are.
_Key = tuple[FaultSet, tuple[Severity, ...]]


def renewed_parts(substitution: Substitution, look: Look, car: Car) -> frozenset[str]:
    """Return the parts that are known to be good in a test, by name.

    Parameters
    ----------
    substitution : Substitution
        What is changed.
    look : Reading or SymptomCheck
        What is seen meanwhile.
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Those of what is exchanged as a whole, and a fuse that is looked at: whether it
        holds is seen of a new one.
    """
    found: set[str] = set()
    if substitution.kind is SubstitutionKind.SWAP:
        found |= {p.name for p in car.parts if p.assembly == substitution.at}
    if isinstance(look, Reading) and look.kind is ReadingKind.LOOK:
        found.add(look.red)
    return frozenset(found)


def without_parts(
    fault_set: FaultSet, parts: frozenset[str], causes: Sequence[Cause]
) -> FaultSet:
    """Return what is left of a fault set where some parts are known to be good.

    Parameters
    ----------
    fault_set : FaultSet
        The causes present.
    parts : frozenset[str]
        The parts without a fault, by name.
    causes : Sequence[Cause]
        What the numbers of a fault set stand for.

    Returns
    -------
    FaultSet
        Without causes of these parts.
    """
    return tuple(one for one in fault_set if causes[one].part.name not in parts)


class SubstitutedCar:
    """One car with a lead added or a part off its wires, as one look sees it.

    Parameters
    ----------
    whole : Compiled
        The car as it stands.
    substitution : Substitution
        A lead, or a part taken off; what is exchanged needs no such car.
    look : Reading or SymptomCheck
        What is read or looked for.
    lead : Part or None
        Of `lead_for`, where there is one.
    n_draws : int or None
        How many of its draws are solved, about; None: all.

    Attributes
    ----------
    compiled : Compiled
        The changed car, with the states that the look needs.
    every : int
        How many draws of the whole car each draw stands for. [1]
    """

    def __init__(
        self,
        whole: Compiled,
        substitution: Substitution,
        look: Look,
        *,
        lead: Part | None = None,
        n_draws: int | None = FEW_DRAWS,
    ) -> None:
        self.every = 1 if n_draws is None else max(1, whole.n_draws // n_draws)
        is_unplugged = substitution.kind is SubstitutionKind.UNPLUG
        states = needed_states(look, whole.car, whole.knowledge.symptoms)
        model = altered_model(
            whole.predictor.model,
            states=states,
            every=self.every,
            lead=lead,
            unplugged=substitution.at if is_unplugged else "",
        )
        probes = [one for one in whole.predictor.probes if one.state in states]
        if lead is not None:
            probes += [Probe(branch=LEAD, state=s, is_current=True) for s in states]
        predictor = Predictor(model, whole.causes, probes)
        self.compiled = Compiled(
            predictor, whole.knowledge, whole.priors, bank=_sound_bank(predictor)
        )
        self._stands_for = _first_alike(whole)
        self._kept: dict[_Key, tuple[int, int]] = {}
        self._blocks: list[Hypotheses] = []

    def hypotheses(
        self,
        sets: Sequence[FaultSet],
        severities: Sequence[tuple[Severity, ...]],
    ) -> Hypotheses:
        """Return fault sets with what they show of the changed car.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            Of causes that last; at least one.
        severities : Sequence[tuple[Severity, ...]]
            How severe causes of each are, as the whole car has it.

        Returns
        -------
        Hypotheses
            In that order, with the draws of the changed car.
        """
        keys = [
            self._key(one, severe) for one, severe in zip(sets, severities, strict=True)
        ]
        missing = [key for key in dict.fromkeys(keys) if key not in self._kept]
        if len(self._kept) + len(missing) > KEPT_SETS:
            self.forget()
            missing = list(dict.fromkeys(keys))
        if missing:
            self._solve(missing)
        places = [self._kept[key] for key in keys]
        return replace(_gathered(self._blocks, places), sets=tuple(sets))

    def is_solved(
        self,
        sets: Sequence[FaultSet],
        severities: Sequence[tuple[Severity, ...]],
    ) -> bool:
        """Return whether all these fault sets are kept.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            As for `hypotheses`.
        severities : Sequence[tuple[Severity, ...]]
            How severe causes of each are.

        Returns
        -------
        bool
        """
        each = zip(sets, severities, strict=True)
        return all(self._key(one, severe) in self._kept for one, severe in each)

    def forget(self) -> None:
        """Forget the fault sets that were solved."""
        self._kept, self._blocks = {}, []

    def _solve(self, missing: Sequence[_Key]) -> None:
        solved = self.compiled.hypotheses(
            [fault_set for fault_set, _ in missing],
            severities=[severe for _, severe in missing],
        )
        if not solved.symptoms.shape[2]:
            # no symptom of these states: what is shaped like symptoms needs a column
            solved = replace(solved, symptoms=_no_symptom(solved))
        for row, key in enumerate(missing):
            self._kept[key] = len(self._blocks), row
        self._blocks.append(solved)

    def _key(self, fault_set: FaultSet, severe: tuple[Severity, ...]) -> _Key:
        """Return a fault set by those that act alike, severities by the draws here."""
        alike = {one: self._stands_for[one] for one in fault_set}
        levels = tuple(
            Severity(
                alike[one.cause],
                one.level[:: self.every] if isinstance(one.level, tuple) else one.level,
            )
            for one in severe
            if one.cause in alike
        )
        return tuple(sorted(alike.values())), levels


def lead_for(substitution: Substitution, *, is_cable: bool) -> Part | None:
    """Return the lead of a substitution; None where it takes none.

    Parameters
    ----------
    substitution : Substitution
    is_cable : bool
        A jump lead; else a fused one.

    Returns
    -------
    Part or None
    """
    if substitution.kind is not SubstitutionKind.BRIDGE:
        return None
    return lead_part(substitution.at, substitution.to, is_cable=is_cable)


def _first_alike(whole: Compiled) -> dict[int, int]:
    """Return for each cause the first that acts as it does; both last or neither."""
    first: dict[tuple[object, ...], int] = {}
    return {
        number: first.setdefault(effect_signature(cause), number)
        for number, cause in enumerate(whole.causes)
    }


def _sound_bank(predictor: Predictor) -> Bank:
    """Return a bank of the sound changed car; other fault sets lie elsewhere."""
    sound: tuple[FaultSet, ...] = ((),)
    n_draws = predictor.model.sample.n_draws
    symptoms = np.empty((1, n_draws, 0), dtype=np.float32)
    return Bank(sound, predictor.predict(sound), symptoms)


def _no_symptom(solved: Hypotheses) -> StoredArray:
    return np.zeros((*solved.symptoms.shape[:2], 1), dtype=np.float32)


def _gathered(
    blocks: Sequence[Hypotheses], places: Sequence[tuple[int, int]]
) -> Hypotheses:
    """Return rows of several hypotheses as one, in the order given."""
    numbers: IntArray = np.array(places, dtype=np.int64)
    used = np.unique(numbers[:, 0])
    if len(used) == 1:
        block, rows = blocks[int(used[0])], numbers[:, 1]
        is_whole = len(rows) == len(block.sets) and (np.diff(rows) == 1).all()
        return block if is_whole else block.kept(rows)
    parts = [blocks[n].kept(numbers[numbers[:, 0] == n, 1]) for n in used.tolist()]
    order = np.argsort(np.argsort(numbers[:, 0], kind="stable"), kind="stable")
    return joined(parts).kept(order)
