"""A complaint speaks against the cars that have always done what is complained of."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.sound_draws import draw_shares
from diagnose.session.facts import SymptomFact

SEEN = SymptomFact(symptom="cranks-slowly", is_present=True)


def test_draw_that_always_did_it_hardly_counts() -> None:
    # By hand: one sound car in four cranks slowly by itself, 2 % of such are complained
    # of: weights 1, 1, 1 and .02 over their mean, .755.
    sound_row = np.array([[0.0, 0.0, 0.0, 1.0]])
    found = draw_shares([Noted(0, SEEN, is_complaint=True)], [sound_row])

    assert np.asarray(found) == pytest.approx(np.array([1, 1, 1, 0.02]) / 0.755)


def test_design_without_room_changes_nothing() -> None:
    found = draw_shares([Noted(0, SEEN, is_complaint=True)], [np.ones((1, 4))])

    assert np.asarray(found) == pytest.approx(np.ones(4))


def test_answer_that_is_no_complaint_changes_nothing() -> None:
    told = [Noted(0, SEEN, is_complaint=False)]

    assert draw_shares(told, [np.array([[0.0, 1.0]])]) == 1.0
