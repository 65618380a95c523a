"""What every step costs this owner, in minutes.

Getting to a place, bringing the car into a state, a second pair of hands, the repair,
and what the price of a part counts as. Leaves to `priced` what a step is worth.

What an owner lacks is a fact of the case: kept, undone and restored as every other. The
price of a part counts as minutes when steps are chosen, and not when they are told: a
dear part is not swapped on a guess, and the minutes on the page stay minutes. A repair
of a sound part counts beyond its time and price, and every repair as the test of the
complaint after it: without this cheap repairs were tried before readings of the same
minutes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.circuit.car import Car, Place
from diagnose.faults.causes import Cause
from diagnose.faults.owner_limits import OwnerLimit
from diagnose.measurement.meters import SERIES_AMPS
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.quantities import claims_of
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SubstitutionTest
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.measurement.symptoms import Quantity
from diagnose.session.facts import ComplaintFact, Fact, TakesFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.whereabouts import (
    STUD_ROLES,
    Whereabouts,
    is_drain,
    limits_lacking,
)
from diagnose.session.words.wording import changed_places, places_of

# A reading, once one is there and the car is ready. [min] From memory: two leads on,
# half a minute to look and to write.
PROBE_MINUTES = 0.5

# What a lead on a terminal in a socket or plug takes more: the relay is pulled up, or
# the terminal is probed from behind. Posts, studs, fuses and what a wire can be taken
# off are reached at once. [min] From memory: half a minute at a relay or switch, twice
# that at electronics.
BEHIND_MINUTES = {
    "coil": 0.5,
    "contacts": 0.5,
    "switch-contact": 0.5,
    "controller": 1.0,
    "driver": 1.0,
    "electronics": 1.0,
}

# What finding any point takes that is no post of the battery. [min] From memory: some
# ten seconds to look it up and to see where it is.
FIND_MINUTES = 0.2


# A state that lasts no longer has ended before the next lead is on. [s] Own choice: the
# ten seconds that a starter may turn.
MOMENTARY_SECONDS = 10.0

# The reading that proves a repair, on the spot. [min] From memory: two probes.
PROOF_MINUTES = 1.0

# What a reading with everything unplugged takes more. [min] From memory: a fuse, a
# relay and a plug out and back, once one is there.
UNPLUG_MINUTES = 2.0


class Prices:
    """The minutes of every step on one car, for one owner.

    Parameters
    ----------
    model : Model
    facts : Sequence[Fact]
        Those of the diagnosis; what the owner lacks and what takes him longer count,
        and that he complains of a fuse.

    Attributes
    ----------
    knows_fuse : bool
        Whether the owner has seen which fuse it is: a look at one is from memory.
    """

    def __init__(self, model: Model, facts: Sequence[Fact] = ()) -> None:
        self._model = model
        self._lacking = limits_lacking(facts, model)
        self._takes = {
            fact.subject: fact.minutes for fact in facts if isinstance(fact, TakesFact)
        }
        self.knows_fuse = is_fuse_complained_of(facts, model)
        self._access: dict[Reading, Mapping[str, float]] = {}
        self._behind = _behind_minutes(model.car)
        self._posts = battery_posts(model.car) | {""}
        self._state_minutes = {
            state.name: self._takes.get(state.name, state.change_minutes)
            for state in model.car.states
        }

    def why_impossible(self, reading: Reading) -> str:
        """Return what this owner lacks to take a reading; empty when nothing."""
        lacking = (
            limit
            for limit in self._needed(reading)
            if limit.is_impossible and not self._goes_in_series(limit, reading)
        )
        return next((limit.says for limit in lacking), "")

    def needs_series(self, reading: Reading) -> bool:
        """Return whether this owner can take a reading only by a meter in series."""
        return any(
            limit.is_impossible and self._goes_in_series(limit, reading)
            for limit in self._needed(reading)
        )

    def can_take(self, reading: Reading) -> bool:
        """Return whether this owner can take a reading."""
        return not self._lacking or not self.why_impossible(reading)

    def minutes(self, reading: Reading, here: Whereabouts) -> float:
        """Return what a reading costs from where the person is. [min]."""
        access = sum(
            minutes
            for place, minutes in self.access(reading).items()
            if place not in here.places
        )
        state = (
            self.again_minutes(reading)
            if reading.state == here.state
            else self.entry_minutes(reading)
        )
        settling = 0.0 if here.has_settled else self.settling_minutes(reading)
        return self.probe_minutes(reading) + access + state + settling

    def settling_minutes(self, reading: Reading) -> float:
        """Return what leaving the car alone before a reading counts as. [min]."""
        is_of_drain = is_drain(reading, self._model.car.state(reading.state))
        return self._model.knowledge.effort.settling_counts_as if is_of_drain else 0.0

    def idle_minutes(self, step: Step, here: Whereabouts) -> float:
        """Return how much longer a step takes than it counts as. [min]."""
        effort = self._model.knowledge.effort
        is_waited_for = isinstance(step, Reading) and self.settling_minutes(step) > 0.0
        if not is_waited_for or here.has_settled:
            return 0.0
        return effort.settling_minutes - effort.settling_counts_as

    def probe_minutes(self, reading: Reading) -> float:
        """Return what a reading takes once one is there and the car is ready. [min]."""
        is_unplugged = self._model.car.state(reading.state).is_unplugged
        behind = sum(
            FIND_MINUTES + self._behind.get(node.partition(".")[0], 0.0)
            for node in (reading.red, reading.black)
            if node not in self._posts
        )
        return PROBE_MINUTES + behind + (UNPLUG_MINUTES if is_unplugged else 0.0)

    def entry_minutes(self, reading: Reading) -> float:
        """Return what bringing the car into a reading's state costs. [min]."""
        if reading.kind is ReadingKind.LOOK:
            return 0.0
        lacking = self._needed(reading) if self._lacking else []
        extra = sum(
            limit.in_series_minutes
            if self._goes_in_series(limit, reading)
            else limit.extra_minutes
            for limit in lacking
        )
        return self._state_minutes[reading.state] + extra

    def again_minutes(self, reading: Reading) -> float:
        """Return what bringing a car back into the state it was just in costs. [min].

        One that lasts only seconds is brought about anew for every reading; what had to
        be rigged for it is there.
        """
        state = self._model.car.state(reading.state)
        if reading.kind is ReadingKind.LOOK or state.lasts_seconds > MOMENTARY_SECONDS:
            return 0.0
        return self._state_minutes[reading.state]

    def access(self, reading: Reading) -> Mapping[str, float]:
        """Return the places a reading takes one to, and minutes to each. [min]."""
        if self.knows_fuse and reading.kind is ReadingKind.LOOK:
            return {}
        if reading not in self._access:
            places = self._model.car.places
            self._access[reading] = {
                place: self._place_minutes(places[place])
                for place in places_of(reading, self._model.car)
                if place in places
            }
        return self._access[reading]

    def symptom_minutes(self, name: str, here: Whereabouts) -> float:
        """Return what looking for a symptom costs. [min]."""
        symptom = self._model.asked(name)
        change = self._state_minutes[symptom.state]
        return symptom.minutes + (0.0 if symptom.state == here.state else change)

    def test_minutes(self, test: SubstitutionTest, here: Whereabouts) -> float:
        """Return what a test with the circuit changed costs. [min]."""
        car, change = self._model.car, test.substitution
        name = change.kind.value
        if change.kind is SubstitutionKind.BRIDGE:
            name = "cable" if self._model.substituted.is_cable(change) else "lead"
        minutes = self._model.knowledge.effort.test_minutes.get(name, 0.0)
        there = frozenset(changed_places(change, car))
        minutes += sum(
            self._place_minutes(car.places[place])
            for place in there - here.places
            if place in car.places
        )
        now = replace(here, places=here.places | there)
        if isinstance(test.look, Reading):
            return minutes + self.minutes(test.look, now)
        return minutes + self.symptom_minutes(test.look.symptom, now)

    def can_test(self, test: SubstitutionTest) -> bool:
        """Return whether this owner can make a test with the circuit changed."""
        places = self._model.car.places
        cautions = {
            places[place].caution
            for place in places_of(test, self._model.car)
            if place in places
        }
        is_barred = any(
            limit.is_impossible and cautions & limit.cautions for limit in self._lacking
        )
        return not is_barred and (
            not isinstance(test.look, Reading) or self.can_take(test.look)
        )

    def repair_minutes(self, cause: Cause) -> float:
        """Return what mending a cause takes, getting there included. [min]."""
        if cause.name in self._takes:
            return self._takes[cause.name]
        place = self._model.car.places.get(cause.part.place)
        if place is None:
            return cause.mode.repair.minutes + PROOF_MINUTES
        extra = sum(
            limit.repair_extra_minutes
            for limit in self._lacking
            if place.caution in limit.cautions
        )
        access = self._place_minutes(place)
        return cause.mode.repair.minutes + access + extra + PROOF_MINUTES

    def proof_minutes(self, facts: Sequence[Fact]) -> float:
        """Return what testing the complaints told takes after a repair. [min]."""
        complaints = self._model.knowledge.complaints
        retests = {
            complaints[fact.complaint].retest
            for fact in facts
            if isinstance(fact, ComplaintFact)
        }
        can_tell, here = self._model.can_tell, Whereabouts()
        tests = [self.symptom_minutes(name, here) for name in retests if can_tell(name)]
        return max(tests, default=0.0)

    def price_minutes(self, cause: Cause) -> float:
        """Return what the price of the parts for a repair counts as. [min]."""
        known = self._model.knowledge.effort.price_minutes
        return known.get(cause.mode.repair.price, 0.0)

    def _place_minutes(self, place: Place) -> float:
        return self._takes.get(place.name, place.minutes)

    def _goes_in_series(self, limit: OwnerLimit, reading: Reading) -> bool:
        """Return whether a meter in series does for the clamp that is lacking.

        With the key off, and where a sound car draws less than the meter carries.
        """
        car, compiled = self._model.car, self._model.compiled
        if reading.kind is not ReadingKind.AMPS or not limit.in_series_minutes:
            return False
        if not is_at_rest(car.state(reading.state)):
            return False
        amps = compiled.readings.predicted(
            compiled.singles, reading, rows=np.array([0])
        )
        return bool(amps.max() < SERIES_AMPS)

    def _needed(self, reading: Reading) -> list[OwnerLimit]:
        """Return what a reading needs of the things that the owner lacks."""
        car = self._model.car
        is_look = reading.kind is ReadingKind.LOOK
        cautions = {
            car.places[place].caution
            for place in places_of(reading, car)
            if place in car.places
        }
        return [
            limit
            for limit in self._lacking
            if reading.kind.value in limit.readings
            or (reading.state in limit.states and not is_look)
            or cautions & limit.cautions
        ]


def is_fuse_complained_of(facts: Sequence[Fact], model: Model) -> bool:
    """Return whether an owner complains of a fuse, and so has seen which it is.

    Parameters
    ----------
    facts : Sequence[Fact]
    model : Model
    """
    symptoms, complaints = model.knowledge.symptoms, model.knowledge.complaints
    retests = (
        complaints[fact.complaint].retest
        for fact in facts
        if isinstance(fact, ComplaintFact)
        # a sign of a fault that comes and goes is asked of no fuse
        and complaints[fact.complaint].retest in symptoms
    )
    # a sign of what comes and goes looks at no circuit
    return any(
        claim.quantity is Quantity.IS_BLOWN
        for name in retests
        if name in symptoms
        for claim in claims_of(symptoms[name].when, symptoms)
    )


def _behind_minutes(car: Car) -> Mapping[str, float]:
    """Return what reaching a terminal of each assembly takes more. [min]."""
    found: dict[str, float] = {}
    for part in car.parts:
        minutes = BEHIND_MINUTES.get(part.kind, 0.0)
        found[part.assembly] = max(found.get(part.assembly, 0.0), minutes)
    for part in car.parts:
        if part.role in STUD_ROLES:
            found[part.assembly] = 0.0
    return found
