"""Bringing a fault on purpose: wiggling, warming, misting, first a place, then a part.

And what was renewed without help, which is told in the same way.

A test is asked and told like a symptom of the car (``wiggle-fender``), but what it says
follows from the trigger and the place of a cause, not from the circuit. A fault that
lasts may react as well: a lug that is loose all the time carries better while somebody
twists it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Place
from diagnose.faults.causes import Cause, FaultSet
from diagnose.faults.modes import Trigger
from diagnose.inference.compiled.intermittent import Presence
from diagnose.measurement.symptoms import Group, Join, Symptom

# What is told of a part that was renewed begins with this.
RENEWED = "renewed"

# How often a new part is bad as well, or the wrong one. [1] From memory: shops take
# back some in a hundred parts, and as many are fitted that do not belong on the car.
BAD_NEW = 0.05

# How often a fault that no part is bought for outlives the new part: what has to be
# cleaned, tightened, charged or wired otherwise is often put together again as it was.
# [1] Own choice: as often as not.
AS_BEFORE = 0.5

# How likely a part without a fault is told to have been renewed. [1] Own choice: which
# it is counts for nothing, as it is the same for all that is not at fault.
TOLD_RENEWED = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Provocation:
    """A test of one place or part.

    Parameters
    ----------
    symptom : Symptom
        What is asked; yes: the fault comes or goes.
    trigger : str
        The trigger it brings.
    target : str
        A place of the car, or what is bought as a whole (`Part.assembly`).
    place : str
        Where it is done.
    share_there : FloatArray
        How much of each cause that comes and goes sits there, shape (n_fleeting,):
        half of a wire's where one of its two ends is. [1]
    lasting : Mapping[int, float]
        The causes there that last and may react all the same, by number, each with the
        chance that it does. [1]
    """

    symptom: Symptom
    trigger: str
    target: str
    place: str
    share_there: FloatArray
    lasting: Mapping[int, float]

    def lasting_reacts(self, sets: Sequence[FaultSet]) -> FloatArray:
        """Return how likely something seems to react, for faults that last.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            What is wrong; causes that come and go are left out of account.

        Returns
        -------
        FloatArray
            Shape (n_sets,); without a fault there, how often it is imagined. [1]
        """
        still = np.full(len(sets), 1.0 - self.symptom.imagined_probability)
        for number, fault_set in enumerate(sets):
            for cause in fault_set:
                still[number] *= 1.0 - self.lasting.get(cause, 0.0)
        return 1.0 - still

    def reaction(self, presence: Presence) -> FloatArray:
        """Return how likely faults that come and go react, (n_fleeting, n_draws)."""
        return presence.reaction(self.trigger, self.share_there)

    def moved(self, presence: Presence, n_causes: int) -> FloatArray:
        """Return how far each cause moves the answer, shape (n_causes,). [1]."""
        result = np.zeros(n_causes)
        result[presence.numbers] = self.reaction(presence).mean(axis=1)
        for number, chance in self.lasting.items():
            result[number] = chance
        return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Renewal:
    """That a part was renewed and the trouble is still there.

    It is told and never proposed: to renew on a guess is what a diagnosis spares.

    Parameters
    ----------
    symptom : Symptom
        What is told; yes: it was renewed.
    target : str
        What is bought as a whole (`Part.assembly`).
    left : Mapping[int, float]
        How likely each fault of the old part, by number, is there with the new one as
        well. [1]
    """

    symptom: Symptom
    target: str
    left: Mapping[int, float]

    def lasting_reacts(self, sets: Sequence[FaultSet]) -> FloatArray:
        """Return how likely it is told, by what is wrong all the same, (n_sets,)."""
        told = np.full(len(sets), TOLD_RENEWED)
        for number, fault_set in enumerate(sets):
            for cause in fault_set:
                told[number] *= self.left.get(cause, 1.0)
        return told

    def reaction(self, presence: Presence) -> FloatArray:
        """Return the same of faults that come and go, (n_fleeting, n_draws)."""
        left = [self.left.get(int(one), 1.0) for one in presence.numbers]
        told = TOLD_RENEWED * np.array(left)
        return np.repeat(told[:, None], presence.trigger.shape[1], axis=1)

    def moved(self, presence: Presence, n_causes: int) -> FloatArray:
        """Return how far each cause moves the answer, shape (n_causes,). [1]."""
        del presence
        result = np.zeros(n_causes)
        for number, left in self.left.items():
            result[number] = TOLD_RENEWED * (1.0 - left)
        return result


def renewals(car: Car, causes: Sequence[Cause]) -> Mapping[str, Renewal]:
    """Return what can be told to have been renewed on a car, by name.

    Parameters
    ----------
    car : Car
    causes : Sequence[Cause]
        All that it can have.

    Returns
    -------
    Mapping[str, Renewal]
        One for each thing bought as a whole that has a fault.
    """
    left: dict[str, dict[int, float]] = {}
    for number, cause in enumerate(causes):
        is_bought = cause.mode.repair.price != "nothing"
        chance = BAD_NEW if is_bought else AS_BEFORE
        left.setdefault(cause.part.assembly, {})[number] = chance
    found = {}
    for target, chances in left.items():
        name = f"{RENEWED}-{target}"
        symptom = Symptom(
            name=name,
            question=f"Was {target} renewed, without any help?",
            state=car.states[0].name,
            when=Group(join=Join.ALL, members=()),
            minutes=0.0,
            missed_probability=0.0,
            imagined_probability=0.0,
        )
        found[name] = Renewal(
            symptom=symptom, target=target, left=MappingProxyType(chances)
        )
    return MappingProxyType(found)


def provocations(
    car: Car, causes: Sequence[Cause], triggers: Mapping[str, Trigger]
) -> Mapping[str, Provocation]:
    """Return every test that could react on a car, by its name."""
    fleeting = [cause for cause in causes if not cause.mode.lasts]
    reacting = {
        number: cause for number, cause in enumerate(causes) if cause.mode.reacts
    }
    states = {state.name for state in car.states}
    of_part = {part.assembly: part.place for part in car.parts}
    found: dict[str, Provocation] = {}
    for trigger in triggers.values():
        if trigger.test.state not in states:
            continue
        able = [trigger.name in cause.mode.triggers for cause in fleeting]
        for is_place in (True, False):
            where = [_targets(cause, car, is_place=is_place) for cause in fleeting]
            lasting: dict[str, dict[int, float]] = {}
            for number, cause in reacting.items():
                chance = cause.mode.reacts.get(trigger.name, 0.0)
                for target, share in _targets(cause, car, is_place=is_place).items():
                    if chance > 0.0:
                        lasting.setdefault(target, {})[number] = share * chance
            targets = [target for shares in where for target in shares]
            for target in dict.fromkeys([*targets, *lasting]):
                place = of_part.get(target, target)
                share_there = np.array([shares.get(target, 0.0) for shares in where])
                is_told = target in lasting or ((share_there > 0.0) & able).any()
                if not target or not is_told:
                    continue
                name = f"{trigger.test.verb}-{target}"
                found.setdefault(
                    name,
                    Provocation(
                        symptom=_symptom(
                            name,
                            target,
                            trigger,
                            car.places.get(of_part.get(target, target)),
                        ),
                        trigger=trigger.name,
                        target=target,
                        place=place,
                        share_there=share_there,
                        lasting=MappingProxyType(lasting.get(target, {})),
                    ),
                )
    return MappingProxyType(found)


def _targets(cause: Cause, car: Car, *, is_place: bool) -> Mapping[str, float]:
    """Return where a cause sits, each with how much of it: a wire at both its ends."""
    part = cause.part
    if not is_place:
        return {part.assembly: 1.0}
    ends = [car.test_points.get(node, part.place) for node in part.terminals.values()]
    if part.kind != "wire":
        return {part.place: 1.0}
    return {place: ends.count(place) / len(ends) for place in ends}


def _symptom(name: str, target: str, trigger: Trigger, place: Place | None) -> Symptom:
    test = trigger.test
    return Symptom(
        name=name,
        question=test.asks.replace("{target}", target),
        state=test.state,
        when=Group(join=Join.ALL, members=()),
        minutes=test.minutes + (place.minutes if place else 0.0),
        missed_probability=0.0,
        imagined_probability=test.imagined,
        caution=test.caution,
    )
