"""What the owner of a car with a hidden fault complains of.

Leaves what the car shows to `hidden_car`.

Decision that binds it: of two hidden faults each must bring a complaint that the car
has with both, and the owner tells a complaint for each. What shows nothing beside the
other can't be found, and an owner does not keep a second complaint to himself. What
the car has without a fault as well, by its design, is no complaint about a fault.
"""

from __future__ import annotations

from collections.abc import Callable

from diagnose.faults.causes import FaultSet
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import LIKELY, HiddenCar


def complaint_of(car: HiddenCar, model: Model, choose: Callable[[int], int]) -> str:
    """Return a complaint the car's owner would come with, or empty when none.

    Parameters
    ----------
    car : HiddenCar
        The car with its fault.
    model : Model
        The car, made ready for diagnosis.
    choose : Callable
        Number of matching complaints to the index of the one taken.
    """
    matching = brought_complaints(car, model)
    return matching[choose(len(matching))] if matching else ""


def complaints_of(
    car: HiddenCar, model: Model, only: FaultSet | None = None
) -> tuple[str, ...]:
    """Return every complaint that fits a car.

    Parameters
    ----------
    car : HiddenCar
        The car with its faults.
    model : Model
        The car, made ready for diagnosis.
    only : FaultSet or None
        With these faults in place of the car's own.
    """
    seen = {
        name: car.symptom_chance(name, only) > LIKELY
        for name in model.compiled.symptom_names
    }
    return tuple(
        complaint.name
        for complaint in model.knowledge.complaints.values()
        if complaint.retest in seen
        and all(
            seen.get(symptom, answer) is answer
            for symptom, answer in complaint.answers.items()
        )
    )


def brought_complaints(
    car: HiddenCar, model: Model, only: FaultSet | None = None
) -> tuple[str, ...]:
    """Return the complaints that a car has by its faults, and not without them.

    Parameters
    ----------
    car : HiddenCar
        The car with its faults; without any, all that fits it.
    model : Model
        The car, made ready for diagnosis.
    only : FaultSet or None
        With these faults in place of the car's own.
    """
    fitting = complaints_of(car, model, only)
    usual = complaints_of(car, model, ()) if car.faults and fitting else ()
    return tuple(name for name in fitting if name not in usual)


def further_complaints(
    car: HiddenCar, model: Model, complaint: str
) -> tuple[str, ...] | None:
    """Return what else the owner complains of, or None if a fault does not show.

    A fault shows where it alone brings a complaint that the car as it is has too. One
    that does not bring the first complaint brings another, and an owner tells both.

    Parameters
    ----------
    car : HiddenCar
        The car with its faults.
    model : Model
        The car, made ready for diagnosis.
    complaint : str
        What he came with.
    """
    if len(car.faults) < 2:
        return ()
    fitting, told = brought_complaints(car, model), [complaint]
    for fault in car.faults:
        own = brought_complaints(car, model, (fault,))
        shown = [name for name in fitting if name in own]
        if not shown:
            return None
        if not set(told) & set(shown):
            told.append(shown[0])
    return tuple(told[1:])
