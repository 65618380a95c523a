"""Where the person is and what the car is doing, and what is lacking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.faults.owner_limits import OwnerLimit
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.facts import Fact, LimitFact
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import places_of

# Big contacts with studs of their own. They are reached like a battery post.
STUD_ROLES = frozenset({"starter-solenoid"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Where the person is and what the car is doing, from the latest observation.

    Parameters
    ----------
    state : str
        The operating state of the car; empty where nothing was observed yet.
    places : frozenset[str]
        The places he is at.
    """

    state: str = ""
    places: frozenset[str] = frozenset()


def whereabouts_after(step: Step, model: Model) -> Whereabouts:
    """Return where a step leaves the person, and the car.

    Parameters
    ----------
    step : Step
    model : Model

    Returns
    -------
    Whereabouts
    """
    if isinstance(step, SymptomCheck):
        return Whereabouts(state=model.asked(step.symptom).state)
    places = frozenset(places_of(step, model.car))
    if isinstance(step, Reading):
        return Whereabouts(state=step.state, places=places)
    looked = whereabouts_after(step.look, model)
    return Whereabouts(state=looked.state, places=places | looked.places)


def limits_lacking(facts: Sequence[Fact], model: Model) -> tuple[OwnerLimit, ...]:
    """Return what the owner lacks, as last told."""
    told = {
        fact.limit: fact.is_lacking for fact in facts if isinstance(fact, LimitFact)
    }
    known = model.knowledge.effort.limits
    return tuple(known[name] for name, is_lacking in told.items() if is_lacking)
