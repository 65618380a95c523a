"""What can be seen of each load, controller and relay, by its own volts and amps.

Every claim is held against what the part does on the sound car, so that no part needs
an entry by hand. Leaves the sound car to `sound_work`, and what an owner comes with to
`part_complaints`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from diagnose.circuit.car import Car
from diagnose.measurement.of_parts.load_symptoms import load_symptoms
from diagnose.measurement.of_parts.part_claims import EVERY_PART
from diagnose.measurement.of_parts.sound_work import SoundWork
from diagnose.measurement.of_parts.switching_symptoms import (
    battery_symptom,
    controller_symptoms,
    relay_symptoms,
)
from diagnose.measurement.symptoms import Group, Join, Symptom


def part_symptoms(car: Car, work: SoundWork) -> Iterator[Symptom]:
    """Yield what can be seen of the parts of a car, one by one.

    Parameters
    ----------
    car : Car
        The car.
    work : SoundWork
        What works on it.

    Yields
    ------
    Symptom
        Several for each load, controller and relay, one for each further battery; each
        knows its part.
    """
    for load in work.loads.values():
        yield from load_symptoms(load, car)
    for name, up_in in work.controllers.items():
        yield from controller_symptoms(car.part(name), up_in)
    for relay in work.relays:
        yield from relay_symptoms(relay, work, car)
    for name, state in work.charged.items():
        yield battery_symptom(car.part(name), state)


def gathered(symptom: Symptom, symptoms: Mapping[str, Symptom]) -> Symptom:
    """Return a symptom that holds where one of some parts does, with their names.

    Parameters
    ----------
    symptom : Symptom
        One with `Symptom.any_part`.
    symptoms : Mapping[str, Symptom]
        With those made for the car's parts.

    Returns
    -------
    Symptom
        As it is where the car has no such part.
    """
    ending = f"-{symptom.any_part}"
    names = [n for n, one in symptoms.items() if one.part and n.endswith(ending)]
    if not names:
        return symptom
    own = (symptom.when,) if symptom.when.members else ()
    when = Group(join=Join.ANY, members=(*own, *names))
    return replace(symptom, when=when, part=EVERY_PART)
