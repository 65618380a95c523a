"""What a question about the history would tell of what was told."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.session.diagnosis import Diagnosis
from diagnose.session.explanation.telling_history import (
    LEAST_BITS,
    history_bits,
)
from diagnose.session.facts import ComplaintFact, ContextFact
from diagnose.session.ready_car import Model

TOLD = ComplaintFact(complaint="battery-goes-flat")


def cause_entropy(diagnosis: Diagnosis) -> float:
    """Return how unsure it is which one cause it is. [bit]."""
    conclusion = diagnosis._now.moment.conclusion
    chances: dict[int, float] = {}
    likely = conclusion.beliefs.set_probabilities()
    for fault_set, share in zip(conclusion.hypotheses.sets, likely, strict=True):
        if len(fault_set) == 1:
            chances[fault_set[0]] = chances.get(fault_set[0], 0.0) + float(share)
    shares = np.array([one for one in chances.values() if one > 0.0])
    shares /= shares.sum()
    return float(-(shares * np.log2(shares)).sum())


def test_bits_are_what_the_answers_take_of_the_doubt(model: Model) -> None:
    before = Diagnosis(model)
    before.tell(TOLD)
    conclusion = before._now.moment.conclusion
    bits = history_bits(conclusion, model.compiled, {})
    question = next(one for one in model.knowledge.contexts if one.name == "began")

    left, evidence = [], []
    for answer in question.states:
        after = Diagnosis(model)
        after.tell(TOLD)
        after.tell(ContextFact(context="began", answer=answer))
        left.append(cause_entropy(after))
        evidence.append(after._now.moment.conclusion.beliefs.log_evidence)
    chances = np.array(list(question.states.values())) * np.exp(evidence)
    expected = cause_entropy(before) - float(chances @ left / chances.sum())

    assert bits["began"] == pytest.approx(expected, abs=0.02)
    assert bits["began"] > 0.05


def test_question_that_tells_little_is_not_asked(model: Model) -> None:
    diagnosis = Diagnosis(model)
    answer = diagnosis.tell(TOLD)
    bits = history_bits(diagnosis._now.moment.conclusion, model.compiled, {})

    asked = list(answer.contexts_open)

    assert asked == sorted(asked, key=lambda name: -bits[name])
    assert set(asked) == {name for name, told in bits.items() if told >= LEAST_BITS}
    assert len(asked) < len(model.knowledge.contexts)


def test_before_anything_was_told_every_question_is_open(model: Model) -> None:
    assert len(Diagnosis(model).answer.contexts_open) == len(model.knowledge.contexts)
