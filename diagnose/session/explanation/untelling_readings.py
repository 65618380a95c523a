"""Why a reading tells little: what of the circuit keeps a fault from showing there.

Leaves how much it tells to `priced`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import CONSUMER_KINDS
from diagnose.circuit.operating_states import DrawsWhen
from diagnose.measurement.points.where_to_measure import DROP_KINDS, meaningless_ohms
from diagnose.measurement.quantities import main_nodes
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment, latest_observation
from diagnose.session.steps.priced import Pricing

# A reading that tells less moves hardly any belief. [bit] Own choice.
LEAST_BITS = 0.05

# Below this current none is said to flow. [A] Derived: a bad joint of one ohm then
# drops .05 V, which the meter's and the model's spread hide.
LEAST_AMPS = 0.05

# Across more than this a contact or a wire is open. [V] Derived: none that is closed
# drops a volt in a sound car.
OPEN_VOLTS = 1.0

# With less than this across it a consumer is off. [V] Derived: none works on half a
# volt.
DEAD_VOLTS = 0.5

# Below this chance the car hardly gets into a state. [1] Own choice: more likely than
# not.
LEAST_REACHED = 0.5

# The earliest state that tells this share of what the best one tells is named. [1] Own
# choice: half.
NEARLY = 0.5

# The values of a wire that lie in the way of its current.
WIRE_OHMS = ("wire_ohms", "joint_a_ohms", "joint_b_ohms", "extra_ohms")

# Those of a contact, a fuse or a joint.
CONTACT_OHMS = ("contact_ohms", "ohms", "joint_ohms")


def ohms_mean_nothing(electronic: str) -> str:
    """Return in one sentence why ohms of an electronic part tell nothing."""
    return (
        f"ohms mean nothing at {electronic}: electronics show a meter anything; "
        "read volts there"
    )


def meaningless_notes(moment: Moment, car: Car) -> tuple[str, ...]:
    """Return what to say of a reading just told that weighs nothing.

    Parameters
    ----------
    moment : Moment
    car : Car

    Returns
    -------
    tuple[str, ...]
        Empty where it weighs something.
    """
    latest = latest_observation(moment.facts)
    if not isinstance(latest, ReadingFact):
        return ()
    electronic = meaningless_ohms(latest.reading, car)
    return (ohms_mean_nothing(electronic),) if electronic else ()


class Silence:
    """Knows what keeps readings of one car from telling anything.

    Parameters
    ----------
    model : Model
    weigher : Weigher
        How likely the car gets into a state.
    pricing : Pricing
        What a reading would tell.
    """

    def __init__(self, model: Model, weigher: Weigher, pricing: Pricing) -> None:
        self._model = model
        self._weigher = weigher
        self._pricing = pricing

    def why(self, reading: Reading, moment: Moment) -> str:
        """Return in one sentence why a reading tells little; empty when it tells.

        Parameters
        ----------
        reading : Reading
        moment : Moment
            A reading that told much before may tell nothing more.

        Returns
        -------
        str
        """
        lacking = moment.prices.why_impossible(reading)
        if lacking:
            return f"you can't take it: {lacking}"
        electronic = meaningless_ohms(reading, self._model.car)
        if electronic:
            return ohms_mean_nothing(electronic)
        if not self._is_reached(reading, moment):
            return "with what is suspected the car hardly gets into this state"
        bits = self._pricing.bits([reading], moment)[0]
        dead = self.without_current(reading)
        if dead:
            what = (
                "neither a break nor a bad joint would"
                if bits < LEAST_BITS
                else ("a break would show, but a bad joint would not")
            )
            ending = " show" if bits < LEAST_BITS else ""
            return f"{dead}: {what}{ending}{self._elsewhere(reading, moment)}"
        if bits < LEAST_BITS:
            says = "all that is still suspected would show nearly the same there"
            return f"{says}{self._elsewhere(reading, moment)}"
        return ""

    def without_current(self, reading: Reading) -> str:
        """Return in words that no current flows where the leads are.

        Parameters
        ----------
        reading : Reading

        Returns
        -------
        str
            Empty where some flows, or where it is not known.
        """
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
        sound, held = slice(0, 1), compiled.singles.prediction
        across = held.volts_at(place, index[red], sound)
        return float(np.median(across - held.volts_at(place, index[black], sound)))

    def _elsewhere(self, reading: Reading, moment: Moment) -> str:
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
        others = [
            one
            for one in others
            if self._is_reached(one, moment) and moment.prices.can_take(one)
        ]
        if reading.kind is not ReadingKind.DC_VOLTS or not others:
            return ""
        bits = self._pricing.bits(others, moment)
        telling = [
            one.state
            for one, tells in zip(others, bits, strict=True)
            if tells >= max(LEAST_BITS, NEARLY * max(bits))
            and not self.without_current(one)
        ]
        return f"; they would in: {telling[0]}" if telling else ""

    def _is_reached(self, reading: Reading, moment: Moment) -> bool:
        """Return whether the car likely gets into the state of a reading."""
        conclusion = moment.conclusion
        reach = self._weigher.reach_chance(conclusion.hypotheses, reading.state)
        reached = reach[conclusion.shown_by] * conclusion.beliefs.weights
        return float(reached.sum()) >= LEAST_REACHED


def _ends(part: Part) -> tuple[str, ...]:
    """Return the two nodes of a part that carries or takes current."""
    if part.kind not in DROP_KINDS | CONSUMER_KINDS:
        return ()
    return main_nodes(part)


def _path_ohms(part: Part) -> Iterator[float]:
    names = WIRE_OHMS if part.kind == "wire" else CONTACT_OHMS
    for name in names:
        if name in part.values:
            yield part.values[name].distribution.nominal
