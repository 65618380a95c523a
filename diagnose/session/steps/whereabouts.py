"""Where the person is and what the car is doing, and what is lacking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diagnose.circuit.operating_states import OperatingState
from diagnose.faults.owner_limits import OwnerLimit
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.facts import Fact, LimitFact
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import places_of

# The kinds of reading by which a drain is read with the key off.
DRAIN_KINDS = frozenset({ReadingKind.AMPS, ReadingKind.FUSE})

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
    has_settled : bool
        Whether the car has been left alone until its drain could be read.
    """

    state: str = ""
    places: frozenset[str] = frozenset()
    has_settled: bool = False


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
        return Whereabouts(
            state=step.state,
            places=places,
            has_settled=is_drain(step, model.car.state(step.state)),
        )
    looked = whereabouts_after(step.look, model)
    return replace(looked, places=places | looked.places)


def is_drain(reading: Reading, state: OperatingState) -> bool:
    """Return whether a reading tells what the car draws at rest.

    Parameters
    ----------
    reading : Reading
    state : OperatingState
        The one it is taken in.
    """
    return reading.kind in DRAIN_KINDS and is_at_rest(state)


def limits_lacking(facts: Sequence[Fact], model: Model) -> tuple[OwnerLimit, ...]:
    """Return what the owner lacks, as last told."""
    told = {
        fact.limit: fact.is_lacking for fact in facts if isinstance(fact, LimitFact)
    }
    known = model.knowledge.effort.limits
    return tuple(known[name] for name, is_lacking in told.items() if is_lacking)
