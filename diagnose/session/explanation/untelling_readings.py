"""Why a reading tells little: what of the circuit keeps a fault from showing there.

Leaves how much it tells to `advising`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from diagnose.circuit.car import DrawsWhen, Part
from diagnose.circuit.elements import CONSUMER_KINDS
from diagnose.measurement.quantities import main_nodes
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.where_to_measure import DROP_KINDS, meaningless_ohms
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.ready_car import Model
from diagnose.session.steps.ranked_steps import Adviser

LEAST_BITS = 0.05
# Own choice: below this a reading moves hardly any belief.
LEAST_AMPS = 0.05
# Derived: a bad joint of one ohm then drops .05 V, which the meter's and the model's
# spread hide.
OPEN_VOLTS = 1.0
DEAD_VOLTS = 0.5
# Derived: no closed contact or wire of a sound car drops a volt, and no consumer works
# on half of one.
LEAST_REACHED = 0.5
NEARLY = 0.5
# Own choice: the earliest state that tells half of what the best one tells is named.
PATH_OHMS = ("wire_ohms", "joint_a_ohms", "joint_b_ohms", "extra_ohms")


def ohms_mean_nothing(electronic: str) -> str:
    """Return in one sentence why ohms of an electronic part tell nothing."""
    return (
        f"ohms mean nothing at {electronic}: electronics show a meter anything; "
        "read volts there"
    )


class Silence:
    """Knows what keeps readings of one car from telling anything.

    Parameters
    ----------
    model : Model
    reasoner : Reasoner
    adviser : Adviser
    """

    def __init__(self, model: Model, reasoner: Reasoner, adviser: Adviser) -> None:
        self._model = model
        self._reasoner = reasoner
        self._adviser = adviser

    def why(self, reading: Reading, conclusion: Conclusion) -> str:
        """Return in one sentence why a reading tells little; empty when it tells.

        Parameters
        ----------
        reading : Reading
        conclusion : Conclusion
            What is believed now: a reading that told much before may tell nothing more.
        """
        lacking = self._adviser.prices.why_impossible(reading)
        if lacking:
            return f"you can't take it: {lacking}"
        electronic = meaningless_ohms(reading, self._model.car)
        if electronic:
            return ohms_mean_nothing(electronic)
        reach = self._reasoner.weigher.reach_chance(
            conclusion.hypotheses, reading.state
        )
        reached = reach[conclusion.shown_by] * conclusion.beliefs.weights
        if float(reached.sum()) < LEAST_REACHED:
            return "with what is suspected the car hardly gets into this state"
        bits = self._adviser.bits([reading], conclusion)[0]
        dead = self.without_current(reading)
        if dead:
            what = (
                "neither a break nor a bad joint would"
                if bits < LEAST_BITS
                else ("a break would show, but a bad joint would not")
            )
            ending = " show" if bits < LEAST_BITS else ""
            return f"{dead}: {what}{ending}{self._elsewhere(reading, conclusion)}"
        if bits < LEAST_BITS:
            says = "all that is still suspected would show nearly the same there"
            return f"{says}{self._elsewhere(reading, conclusion)}"
        return ""

    def without_current(self, reading: Reading) -> str:
        """Return what says that no current flows where the leads are, or nothing."""
        if reading.kind is not ReadingKind.DC_VOLTS:
            return ""
        car = self._model.car
        leads = {reading.red, reading.black} - {car.reference}
        between = [part for part in car.parts if set(_ends(part)) >= leads]
        if reading.black == car.reference:
            between = [part for part in car.parts if reading.red in _ends(part)]
        amps = [self._amps(part, reading.state) for part in between]
        known = [one for one in amps if one is not None]
        if not known or max(known) >= LEAST_AMPS:
            return ""
        where = between[0].name if len(leads) > 1 else reading.red
        return f"no current flows at {where} in this state"

    def _amps(self, part: Part, state: str) -> float | None:
        """Return about what a sound car drives through a part; None when not known."""
        if part.kind not in DROP_KINDS | CONSUMER_KINDS:
            return None
        is_turning = self._model.car.state(state).is_engine_turning
        if part.draws_when is DrawsWhen.ENGINE_TURNS and not is_turning:
            return 0.0
        volts = abs(self._sound_volts(part, state))
        if part.kind in CONSUMER_KINDS:
            return 0.0 if volts < DEAD_VOLTS else None
        if volts > OPEN_VOLTS:
            return 0.0
        ohms = sum(_path_ohms(part))
        return volts / ohms if ohms > 0.0 else None

    def _sound_volts(self, part: Part, state: str) -> float:
        compiled = self._model.compiled
        red, black = main_nodes(part)
        index = compiled.predictor.node_index
        place = compiled.predictor.state_index[state]
        volts = compiled.singles.prediction.volts[place, 0]
        return float(np.median(volts[:, index[red]] - volts[:, index[black]]))

    def _elsewhere(self, reading: Reading, conclusion: Conclusion) -> str:
        """Return in which other state the same leads tell most, in words."""
        others = [
            Reading(
                kind=reading.kind,
                state=state.name,
                red=reading.red,
                black=reading.black,
            )
            for state in self._model.car.states
            if state.is_battery_connected and state.name != reading.state
        ]
        others = [one for one in others if self._may_be_taken(one, conclusion)]
        if reading.kind is not ReadingKind.DC_VOLTS or not others:
            return ""
        bits = self._adviser.bits(others, conclusion)
        telling = [
            one.state
            for one, tells in zip(others, bits, strict=True)
            if tells >= max(LEAST_BITS, NEARLY * max(bits))
            and not self.without_current(one)
        ]
        return f"; they would in: {telling[0]}" if telling else ""

    def _may_be_taken(self, reading: Reading, conclusion: Conclusion) -> bool:
        reach = self._reasoner.weigher.reach_chance(
            conclusion.hypotheses, reading.state
        )
        reached = reach[conclusion.shown_by] * conclusion.beliefs.weights
        is_reached = float(reached.sum()) >= LEAST_REACHED
        return is_reached and self._adviser.prices.can_take(reading)


def _ends(part: Part) -> tuple[str, ...]:
    """Return the two nodes of a part that carries or takes current."""
    if part.kind not in DROP_KINDS | CONSUMER_KINDS:
        return ()
    return main_nodes(part)


def _path_ohms(part: Part) -> Iterator[float]:
    names = PATH_OHMS if part.kind == "wire" else ("contact_ohms", "ohms", "joint_ohms")
    for name in names:
        if name in part.values:
            yield part.values[name].distribution.nominal
