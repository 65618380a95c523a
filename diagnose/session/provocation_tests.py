"""Bringing a fault on purpose: wiggling, warming, misting, first a place, then a part.

A test is asked and told like a symptom of the car (``wiggle-fender``), but what it says
follows from the trigger and the place of a cause, not from the circuit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray
from diagnose.circuit.car import Car, Place
from diagnose.faults.causes import Cause
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
    """

    symptom: Symptom
    trigger: str
    target: str
    place: str
    at_target: BoolArray


def provocations(
    car: Car, causes: Sequence[Cause], triggers: Mapping[str, Trigger]
) -> Mapping[str, Provocation]:
    """Return every test that could react on a car, by its name."""
    fleeting = [cause for cause in causes if not cause.mode.lasts]
    states = {state.name for state in car.states}
    of_part = {part.assembly: part.place for part in car.parts}
    found: dict[str, Provocation] = {}
    for trigger in triggers.values():
        if trigger.test.state not in states:
            continue
        able = [trigger.name in cause.mode.triggers for cause in fleeting]
        for is_place in (True, False):
            where = [
                cause.part.place if is_place else cause.part.assembly
                for cause in fleeting
            ]
            for target in dict.fromkeys(where):
                place = of_part.get(target, target)
                at_target = np.array([one == target for one in where])
                if not target or not (at_target & able).any():
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
                    ),
                )
    return MappingProxyType(found)


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
