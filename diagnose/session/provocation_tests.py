"""Bringing a fault on purpose: wiggling, warming, misting, first a place, then a part.

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

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.car import Car, Place
from diagnose.faults.causes import Cause, FaultSet
from diagnose.faults.modes import Trigger
from diagnose.measurement.symptoms import Group, Join, Symptom


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
    at_target : BoolArray
        Which causes that come and go sit there, shape (n_fleeting,).
    lasting : Mapping[int, float]
        The causes there that last and may react all the same, by number, each with the
        chance that it does. [1]
    """

    symptom: Symptom
    trigger: str
    target: str
    place: str
    at_target: BoolArray
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
            where = [_target(cause, is_place=is_place) for cause in fleeting]
            lasting: dict[str, dict[int, float]] = {}
            for number, cause in reacting.items():
                chance = cause.mode.reacts.get(trigger.name, 0.0)
                target = _target(cause, is_place=is_place)
                if chance > 0.0:
                    lasting.setdefault(target, {})[number] = chance
            for target in dict.fromkeys([*where, *lasting]):
                place = of_part.get(target, target)
                at_target = np.array([one == target for one in where], dtype=np.bool_)
                is_told = target in lasting or (at_target & able).any()
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
                        at_target=at_target,
                        lasting=MappingProxyType(lasting.get(target, {})),
                    ),
                )
    return MappingProxyType(found)


def _target(cause: Cause, *, is_place: bool) -> str:
    return cause.part.place if is_place else cause.part.assembly


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
