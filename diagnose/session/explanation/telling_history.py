"""Which questions about the car's history would tell something of what was told.

A question that hardly moves the suspects of this complaint is not worth a person's
time before the first step. Leaves the questions to knowledge/ and the asking to
`terminal`.

Decision that binds it: what an answer tells is reckoned over single causes. Sets of two
follow them, and are not solved when the questions are asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.measurement.symptoms import Context
from diagnose.session.evidence.conclusion import Conclusion, before_repairs

# What a question has to tell on average to be asked. [bit] Own choice: of seven it
# leaves one to four on the invented cars, and a reading tells a bit and more.
LEAST_BITS = 0.04


def history_bits(
    conclusion: Conclusion, compiled: Compiled, answers: Mapping[str, str]
) -> Mapping[str, float]:
    """Return what each question would tell about which cause it is.

    Parameters
    ----------
    conclusion : Conclusion
        What the facts amount to.
    compiled : Compiled
        The car with its causes.
    answers : Mapping[str, str]
        What was answered so far.

    Returns
    -------
    Mapping[str, float]
        Question to the mutual information of its answer and the cause. [bit] One that
        shifts nothing in this car is left out.

    References
    ----------
    Shannon, "A Mathematical Theory of Communication", 1948: mutual information.
    """
    priors = compiled.priors
    given, odds = priors.given(answers), priors.odds
    believed = _by_cause(conclusion, len(compiled.causes))
    shares = believed / np.maximum(odds @ given, np.finfo(float).tiny)
    if not shares.any():
        return dict.fromkeys(priors.contexts, 0.0)
    return {
        name: _mutual_bits((odds @ (given[:, None] * told)) * shares[:, None])
        for name, told in priors.is_answered.items()
    }


def telling_questions(
    conclusion: Conclusion,
    compiled: Compiled,
    contexts: Sequence[Context],
    answers: Mapping[str, str],
) -> Mapping[str, str]:
    """Return the questions not answered yet that tell enough, the best first.

    Parameters
    ----------
    conclusion : Conclusion
    compiled : Compiled
        The car with its causes.
    contexts : Sequence[Context]
        The questions of knowledge/.
    answers : Mapping[str, str]
        What was answered so far.

    Returns
    -------
    Mapping[str, str]
        Name of a question to its words; all that are open before anything but the
        history was told.
    """
    open_ones = {one.name: one.question for one in contexts if one.name not in answers}
    if not conclusion.observations:
        return open_ones
    bits = history_bits(conclusion, compiled, answers)
    telling = [name for name in open_ones if bits.get(name, 0.0) >= LEAST_BITS]
    telling.sort(key=lambda name: -bits[name])
    return {name: open_ones[name] for name in telling}


def _by_cause(conclusion: Conclusion, n_causes: int) -> FloatArray:
    """Return how likely each cause is alone, before any repair, (n_causes,). [1]."""
    believed = np.zeros(n_causes)
    likely = before_repairs(conclusion)
    for fault_set, share in zip(conclusion.hypotheses.sets, likely, strict=True):
        if len(fault_set) == 1:
            believed[fault_set[0]] += share
    return believed


def _mutual_bits(joint: FloatArray) -> float:
    """Return the mutual information of rows and columns of a joint chance. [bit].

    Parameters
    ----------
    joint : FloatArray
        Chance of each pair, up to one factor.

    Examples
    --------
    >>> round(_mutual_bits(np.array([[0.5, 0.0], [0.0, 0.5]])), 3)
    1.0
    >>> round(_mutual_bits(np.array([[0.25, 0.25], [0.25, 0.25]])), 3)
    0.0
    """
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    there = joint > 0.0
    return float((joint[there] * np.log2(joint[there] / apart[there])).sum())
