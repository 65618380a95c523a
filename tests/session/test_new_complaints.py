"""What a car always did is no complaint."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.weighing.there import new_there, there
from diagnose.session.facts import ComplaintFact, SymptomFact
from diagnose.session.ready_car import Model

SLOW = SymptomFact(symptom="cranks-slowly", is_present=True)


# One sound car in a hundred cranks slowly enough to be called slow by a stranger.
def test_a_complaint_is_hardly_that_of_a_sound_car(sedan_model: Model) -> None:
    bank = sedan_model.compiled.bank.all
    always = there(sedan_model, bank, SLOW.symptom, rows=SOUND_ROW)
    assert always.mean() > 0.01

    answer = Diagnosis(sedan_model).tell(ComplaintFact(complaint="cranks-slowly"))

    assert answer.sound_probability < 0.1


# By hand: who calls .9 of them slow would have called the same .9 slow before.
def test_only_what_is_new_is_complained_of(sedan_model: Model) -> None:
    bank = sedan_model.compiled.bank.all
    always = there(sedan_model, bank, SLOW.symptom, rows=SOUND_ROW)

    assert new_there(sedan_model, SLOW, always).max() == 0.0
    assert new_there(sedan_model, SLOW, np.ones_like(always)) == pytest.approx(
        1.0 - always
    )
    # every fourth draw stands for its neighbours
    few = np.ones_like(always[:, ::4])
    assert new_there(sedan_model, SLOW, few) == pytest.approx(1.0 - always[:, ::4])


def test_what_every_sound_car_does_goes_with_a_complaint(sedan_model: Model) -> None:
    cranks = SymptomFact(symptom="engine-cranks", is_present=True)
    chance = np.full((1, sedan_model.compiled.predictor.model.sample.n_draws), 0.7)

    assert new_there(sedan_model, cranks, chance).tolist() == chance.tolist()
