"""A reading that no fault moves tells no faults apart, whatever draws are left."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference.choice.particles import Particles
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.candidates import Candidates, Sight
from diagnose.session.steps.sound_values import SoundValues
from tests.lamp_car import CAR, GROUND, make_knowledge

READINGS = tuple(
    Reading(kind=ReadingKind.DC_VOLTS, state="lit", red=red, black=GROUND)
    for red in ("battery.plus", "lamp.plus")
)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(), n_draws=16)


def test_what_no_fault_moves_is_the_same_in_all_draws(lamp_model: Model) -> None:
    compiled = lamp_model.compiled
    row = {cause.name: compiled.shown_by(n) for n, cause in enumerate(compiled.causes)}
    # an open feed is left with the first draws, a burnt-out lamp with the last ones
    rows = np.repeat([row["feed:open_circuit"], row["lamp:burnt_out"]], 4)
    draws = np.array([0, 1, 2, 3, 12, 13, 14, 15])
    group = np.repeat([0, 1], 4)
    particles = Particles(row=rows, draw=draws, share=np.full(8, 0.125), group=group)
    candidates = Candidates(ReadingKind.DC_VOLTS, READINGS, compiled)
    some = np.arange(len(READINGS))
    shown = candidates.shown(Sight(compiled.singles, particles), some)

    told = SoundValues(compiled.singles, particles).told(candidates, some, shown)

    assert np.ptp(shown[0]) > 0.01
    assert np.ptp(told[0]) == 0.0
    # at the lamp the open feed leaves nothing, and that stays
    assert told[1, :4] == pytest.approx(np.zeros(4), abs=0.1)
    assert (told[1, 4:] > 11.0).all()
