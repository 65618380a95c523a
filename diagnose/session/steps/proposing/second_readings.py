"""What a second reading saves after a first: two steps ahead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.inference.choice.look_ahead import after_outcomes, further_minutes
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.outcomes import (
    Outcomes,
)
from diagnose.session.steps.whereabouts import whereabouts_after


class SecondReadings:
    """What a second reading saves after a first, with the same few seconds for each."""

    def __init__(
        self,
        model: Model,
        outcomes: Outcomes,
        moment: Moment,
        readings: Sequence[Reading],
    ) -> None:
        self._model, self._outcomes, self._moment = model, outcomes, moment
        kinds = dict.fromkeys(reading.kind for reading in readings)
        self._of_kind = [
            (kind, [reading for reading in readings if reading.kind is kind])
            for kind in kinds
        ]
        self._shown = [outcomes.shown(some, moment) for _, some in self._of_kind]

    def save_after(self, first: Step) -> float:
        """Return what a second reading saves after a first, net of its own. [min]."""
        here = whereabouts_after(first, self._model)
        minutes = [
            self._moment.prices.minutes(reading, here)
            for _, readings in self._of_kind
            for reading in readings
        ]
        held = self._moment.believed
        outcomes = self._outcomes.chances(first, self._moment)
        after = after_outcomes(outcomes, held.particles)
        joints = [
            self._outcomes.joint(shown[:, one.some], kind, one.particles, held.n_groups)
            for one in after
            for (kind, _), shown in zip(self._of_kind, self._shown, strict=True)
        ]
        return further_minutes(after, joints, held.plan, minutes=np.array(minutes))
