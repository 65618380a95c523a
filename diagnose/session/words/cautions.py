"""Cautions of a step or a repair: all that can hurt there, each once, worst first.

Knows how a place, a state and what is done there add up: hands that have to be away
before the engine turns, plugs that bear no bare probe, fans that can't start with the
battery off. Leaves the words to knowledge/, and to `terminal` how they are shown.
"""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.circuit.car import Car, Place
from diagnose.circuit.operating_states import OperatingState
from diagnose.faults.causes import Cause
from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.points.forbidden_points import (
    electronic_points,
    touched_points,
)
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Look, SubstitutionTest
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.measurement.symptoms import Symptom
from diagnose.session.ready_car import Model
from diagnose.session.substitution.leads import LeadEffects
from diagnose.session.words.wording import changed_places, places_of

# Protection bolted into a feed: to look at its link takes what mending it takes. Rule
# of the trade.
BOLTED_KINDS = ("slow-fuse", "fusible-link")

# Kinds of reading whose leads go to a plug. By definition: a clamp and an eye touch
# nothing, and a test lamp is not held at electronics at all.
PROBING_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.AC_VOLTS})

# What a fault does to contacts that stay closed. Parameter of knowledge/.
STAYS_CLOSED = "is_stuck_closed"


def cautions_for(
    reading: Reading, car: Car, knowledge: Knowledge, *, in_series: bool = False
) -> tuple[str, ...]:
    """Return the cautions of a reading, in words.

    Parameters
    ----------
    reading : Reading
        What is read.
    car : Car
        The car.
    knowledge : Knowledge
        Which cautions there are.
    in_series : bool
        Whether the instruction offers a meter in series.

    Returns
    -------
    tuple[str, ...]
        Those of the state, of the tool and of the places, each once.
    """
    state, rules = car.state(reading.state), knowledge.caution_rules
    is_look = reading.kind is ReadingKind.LOOK
    keys = [] if is_look else [state.caution]
    if is_look and car.part(reading.red).kind in BOLTED_KINDS:
        keys += _repair_keys(car.part(reading.red).kind, knowledge)
    if reading.kind is ReadingKind.LAMP:
        keys.insert(0, knowledge.meter.test_lamp.caution)
    if in_series:
        keys.append(knowledge.meter.series_caution)
    if reading.kind in PROBING_KINDS and (
        touched_points(reading, car) & electronic_points(car)
    ):
        keys.append(rules.at_electronics)
    keys += [
        car.places[place].caution
        for place in places_of(reading, car)
        if place in car.places
    ]
    return _in_words(keys, car, knowledge, state=None if is_look else state)


def test_cautions(
    test: SubstitutionTest,
    effects: LeadEffects | None,
    model: Model,
    *,
    is_cable: bool,
) -> tuple[str, ...]:
    """Return the cautions of a test with the circuit changed, in words.

    Parameters
    ----------
    test : SubstitutionTest
        What is changed, and what is looked at.
    effects : LeadEffects or None
        What a lead does to the sound car; None where there is no lead.
    model : Model
        The car, made ready for diagnosis.
    is_cable : bool
        A lead has to be a jump lead.

    Returns
    -------
    tuple[str, ...]
        Those of the change, of what it may set in motion, of its places and then of the
        look, each once.
    """
    car, knowledge = model.car, model.knowledge
    rules, change = knowledge.caution_rules.on_tests, test.substitution
    names = [change.kind.value]
    if change.kind is SubstitutionKind.BRIDGE:
        names = ["cable" if is_cable else "lead"]
    if effects is not None:
        names += ["lead_cranks"] * bool(effects.cranks_in)
        names += ["lead_pumps"] * bool(effects.pumps_in)
    keys = [rules.get(name, "") for name in names]
    if not change.ends:
        roles = [p.role for p in car.parts if p.assembly == change.at and p.role]
        work = knowledge.caution_rules.work_on
        keys += [key for role in roles for key in work.get(role, ())]
    keys += [
        car.places[place].caution
        for place in changed_places(change, car)
        if place in car.places
    ]
    of_change = _in_words(keys, car, knowledge, state=_state_of(test.look, model))
    if isinstance(test.look, Reading):
        of_look = cautions_for(test.look, car, knowledge)
    else:
        of_look = symptom_cautions(model.asked(test.look.symptom), None, car, knowledge)
    return tuple(dict.fromkeys((*of_change, *of_look)))


def _state_of(look: Look, model: Model) -> OperatingState:
    """Return the operating state that a look is taken in."""
    name = look.state if isinstance(look, Reading) else model.asked(look.symptom).state
    return model.car.state(name)


def symptom_cautions(
    symptom: Symptom, place: Place | None, car: Car, knowledge: Knowledge
) -> tuple[str, ...]:
    """Return the cautions of looking for a symptom, in words.

    Parameters
    ----------
    symptom : Symptom
        What is looked for.
    place : Place or None
        Where, if it is done at one place.
    car : Car
        The car.
    knowledge : Knowledge
        Which cautions there are.

    Returns
    -------
    tuple[str, ...]
        Its own, that of the place and that of the state, each once; of what shows in
        use its own alone.
    """
    state = car.state(symptom.state)
    of_state = "" if symptom.shows_in_use else state.caution
    keys = [symptom.caution, place.caution if place else "", of_state]
    return _in_words(keys, car, knowledge, state=state)


def repair_cautions(cause: Cause, car: Car, knowledge: Knowledge) -> tuple[str, ...]:
    """Return the cautions of a repair and of the places it leads to, in words.

    Parameters
    ----------
    cause : Cause
        What is mended.
    car : Car
        The car.
    knowledge : Knowledge
        Which cautions there are.

    Returns
    -------
    tuple[str, ...]
        Each once; that the battery comes off first stands first, unless the repair says
        itself what comes before it.
    """
    part, rules = cause.part, knowledge.caution_rules
    own = list(cause.mode.repair.cautions)
    off = _battery_off(knowledge)
    roles = [
        one.role for one in car.parts if one.assembly == part.assembly and one.role
    ]
    keys = [*own, *(key for role in roles for key in rules.work_on.get(role, ()))]
    if not off & set(own):
        keys.sort(key=lambda key: key not in off)
    if any(change.parameter == STAYS_CLOSED for change in cause.mode.changes):
        keys.insert(0, rules.stays_on.get(part.role or "", ""))
    ends = (car.test_points.get(node, "") for node in part.terminals.values())
    keys += [
        car.places[place].caution
        for place in (part.place, *ends)
        if place in car.places
    ]
    return _in_words(keys, car, knowledge, state=None)


def rewiring_cautions(
    assemblies: Iterable[str], car: Car, knowledge: Knowledge
) -> tuple[str, ...]:
    """Return the cautions of changing wires and parts, the battery off first.

    Parameters
    ----------
    assemblies : Iterable[str]
        Parts or assemblies of the car that are worked at.
    car : Car
    knowledge : Knowledge
    """
    keys = [
        state.caution
        for state in knowledge.states.values()
        if not (state.is_battery_connected or state.is_unplugged)
    ]
    named = set(assemblies)
    for part in car.parts:
        if {part.name, part.assembly} & named:
            keys += knowledge.caution_rules.work_on.get(part.role or "", ())
            ends = (car.test_points.get(node, "") for node in part.terminals.values())
            keys += [
                car.places[place].caution
                for place in (part.place, *ends)
                if place in car.places
            ]
    return _in_words(keys, car, knowledge, state=None)


def _in_words(
    keys: Iterable[str],
    car: Car,
    knowledge: Knowledge,
    *,
    state: OperatingState | None,
) -> tuple[str, ...]:
    """Return the words of cautions by the standing rules, each once."""
    rules, kept = knowledge.caution_rules, [key for key in keys if key]
    is_off = (
        bool(_battery_off(knowledge) & set(kept))
        if state is None
        else not state.is_battery_connected
    )
    if is_off:
        kept = [key for key in kept if key not in rules.needs_engine]
    roles = {part.role for part in car.parts}
    kept = [key for key in kept if rules.needs_part.get(key) in {None, *roles}]
    if _turns_engine(kept, state, knowledge) and rules.clear_with & set(kept):
        kept.insert(0, rules.clear_of_engine)
    return tuple(dict.fromkeys(knowledge.cautions[key] for key in kept if key))


def _turns_engine(
    keys: Iterable[str], state: OperatingState | None, knowledge: Knowledge
) -> bool:
    """Return whether the engine turns in a state, or in what cautions are about."""
    if state is not None:
        return state.is_cranking or state.engine_rpm > 0.0
    cranking = {s.caution for s in knowledge.states.values() if s.is_cranking}
    return bool(cranking & set(keys))


def _battery_off(knowledge: Knowledge) -> set[str]:
    """Return the cautions of work with the battery disconnected."""
    states = knowledge.states.values()
    return {s.caution for s in states if not s.is_battery_connected and s.caution}


def _repair_keys(kind: str, knowledge: Knowledge) -> list[str]:
    """Return the cautions of mending a kind of part, each once."""
    found = (
        key
        for mode in knowledge.modes
        if mode.kind == kind
        for key in mode.repair.cautions
    )
    return list(dict.fromkeys(found))
