"""One diagnosis as a network in an open format: its fault sets and the facts told.

Leaves the network to `inference.interchange`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.interchange import NONE, told_network_text
from diagnose.inference.prior.network import Form
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.seen import Observation
from diagnose.session.facts import Fact, RepairFact, SymptomFact
from diagnose.session.ready_car import Model


def diagnosis_network_text(model: Model, facts: Sequence[Fact], *, form: Form) -> str:
    """Return the network of a diagnosis as it stood before the first repair.

    Parameters
    ----------
    facts : Sequence[Fact]
        The standing facts, oldest first.

    Raises
    ------
    ImpossibleEvidenceError
        If no fault set can give them.
    """
    before = tuple(
        itertools.takewhile(lambda fact: not isinstance(fact, RepairFact), facts)
    )
    conclusion = Reasoner(model).conclude(before)
    sets, shares = shares_by_fact(conclusion)
    causes = model.compiled.causes
    return told_network_text(
        [" and ".join(causes[c].name for c in s) or NONE for s in sets],
        shares,
        [_words(noted.observation) for noted in conclusion.observations],
        name=model.car.name,
        form=form,
    )


def shares_by_fact(conclusion: Conclusion) -> tuple[tuple[FaultSet, ...], FloatArray]:
    """Return the fault sets in use, and what each weighs after each fact.

    Returns
    -------
    tuple
        Fault sets, and weights of shape (1 + n_facts, n_sets), the prior first.
    """
    rows = np.flatnonzero(conclusion.prior.any(axis=1))
    all_sets = [conclusion.hypotheses.sets[row] for row in rows]
    sets = tuple(dict.fromkeys(all_sets))
    column = {fault_set: i for i, fault_set in enumerate(sets)}
    place = np.array([column[fault_set] for fault_set in all_sets])
    weights = conclusion.prior[rows]
    shares = [np.bincount(place, weights.sum(axis=1), len(sets))]
    for likelihood in conclusion.weighed:
        weights = weights * likelihood[rows]
        shares.append(np.bincount(place, weights.sum(axis=1), len(sets)))
    return sets, np.stack(shares)


def _words(observation: Observation) -> str:
    if isinstance(observation, SymptomFact):
        return f"symptom {observation.symptom}"
    return observation.step.name
