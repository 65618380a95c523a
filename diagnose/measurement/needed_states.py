"""Which operating states have to be solved to say what a look at the car shows.

Leaves what is looked at to `symptoms` and `readings`, and solving to `faults`.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.circuit.car import Car
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Look
from diagnose.measurement.symptoms import Claim, Group, Symptom


def needed_states(
    look: Look, car: Car, symptoms: Mapping[str, Symptom]
) -> frozenset[str]:
    """Return the operating states that a look depends on.

    Parameters
    ----------
    look : Reading or SymptomCheck
        What is read or looked for.
    car : Car
        The car.
    symptoms : Mapping[str, Symptom]
        All symptoms by name.

    Returns
    -------
    frozenset[str]
        Of a reading its own; of a symptom those of all its claims. Of either, what
        the car comes from, and those of the symptom by which it gets there. Of a fuse
        that is looked at every one with the battery connected: it may blow in any.
    """
    if isinstance(look, Reading):
        if look.kind is ReadingKind.LOOK:
            live = (state.name for state in car.states if state.is_battery_connected)
            return frozenset(live)
        wanted, asked = [look.state], []
    else:
        wanted, asked = [], [look.symptom]
    return _closed(wanted, asked, car, symptoms)


def _closed(
    wanted: list[str], asked: list[str], car: Car, symptoms: Mapping[str, Symptom]
) -> frozenset[str]:
    """Return some states and those of some symptoms, with all that they rest on."""
    known = {state.name: state for state in car.states}
    found: set[str] = set()
    seen: set[str] = set()
    while wanted or asked:
        if wanted:
            name = wanted.pop()
            if name in known and name not in found:
                found.add(name)
                wanted.append(known[name].after)
                asked.append(known[name].exists_when)
            continue
        name = asked.pop()
        if name in symptoms and name not in seen:
            seen.add(name)
            wanted.append(symptoms[name].state)
            states, others = _members(symptoms[name].when)
            wanted += states
            asked += others
    return frozenset(found)


def _members(group: Group) -> tuple[list[str], list[str]]:
    """Return the states and the symptoms that a group names."""
    states: list[str] = []
    others: list[str] = []
    for member in group.members:
        if isinstance(member, Claim):
            states += [member.state, member.relative_to or ""]
        elif isinstance(member, Group):
            more_states, more_others = _members(member)
            states += more_states
            others += more_others
        else:
            others.append(member)
    return states, others
