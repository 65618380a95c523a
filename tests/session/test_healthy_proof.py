"""A proof that reads what a sound car reads never speaks against the repair."""

from __future__ import annotations

import pytest

from diagnose.measurement.readings import Reading
from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact, RepairFact
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import draw_car, play

# Where in the band of a sound car the proof is read. [1, of the band]
SHARES = (0.01, 0.1, 0.5, 0.9, 0.99)

# Of how many repairs the proof is looked at; each is worked out anew.
MOST_PROOFS = 6

# Readings are told to a millivolt or so; less than this is no change. [1]
ROUNDING = 0.002


# Of played diagnoses what was mended, right or wrong, and asked for as a proof: the
# first repair, and those after it.
@pytest.mark.parametrize("seed", [501, 503, 505, 507, 510, 512])
def test_a_healthy_proof_never_lowers_mended(model: Model, seed: int) -> None:
    stock = HiddenCars(model, n_cars=4, seed=1)
    car, complaint = draw_car(model, stock, number=3, seed=seed, errors=Errors())
    facts = play(model, car, complaint, seed=seed).facts
    n_proofs = 0
    for number, fact in enumerate(facts, start=1):
        if not isinstance(fact, RepairFact):
            continue
        diagnosis = Diagnosis(model)
        diagnosis.recall(facts[:number])
        before = diagnosis.answer
        proof = next(iter(before.next_steps), None)
        if before.advice.verdict is not Verdict.PROVE or proof is None:
            continue
        if not isinstance(proof.step, Reading):
            continue
        sound = proof.expected[0]
        for share in SHARES:
            value = sound.low + share * (sound.high - sound.low)
            told = Diagnosis(model)
            told.recall((*facts[:number], ReadingFact(reading=proof.step, value=value)))
            assert told.answer.sound_probability > before.sound_probability - ROUNDING
            n_proofs += 1

    assert n_proofs


def test_no_proof_needs_what_the_complaint_denies(model: Model) -> None:
    # an engine that idles has started, which is the test of the complaint itself
    running = {state.name for state in model.car.states if state.is_engine_running}
    complaint = model.knowledge.complaints["first-start-fails"]
    proofs = []
    for cause in model.compiled.causes:
        diagnosis = Diagnosis(model)
        diagnosis.recall(
            (ComplaintFact(complaint=complaint.name), RepairFact(cause=cause.name))
        )
        steps = diagnosis.answer.next_steps[:1]
        proofs += [one.step for one in steps if isinstance(one.step, Reading)]
        if len(proofs) == MOST_PROOFS:
            break

    assert len(proofs) == MOST_PROOFS
    assert not [proof.name for proof in proofs if proof.state in running]
