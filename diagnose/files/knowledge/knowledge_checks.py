"""What one knowledge file says about another: every name must exist, once.

Each check is one small function that yields what it finds wrong. Leaves the grammar of
a single entry to `knowledge_models` and reading to `knowledge_files`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Protocol

from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.files.draft import nearest
from diagnose.files.knowledge.knowledge_models import (
    QUANTITIES,
    CautionsFile,
    ChangeEntry,
    ComplaintsFile,
    ConditionsFile,
    ContextsFile,
    EffortFile,
    FaultModesFile,
    LinksFile,
    MemberEntry,
    MeterFile,
    ModeEntry,
    PartKindsFile,
    StatesFile,
    SymptomsFile,
    TriggersFile,
)
from diagnose.files.yaml_positions import Location

# Quantities that only some kinds of part have.
KINDS_OF_QUANTITY: Mapping[str, tuple[str, ...]] = {
    "light": ("lamp", "led-lamp"),
    "is_up": ("controller",),
    "is_closed": ("contacts",),
    "is_blown": PROTECTIVE_KINDS,
    "chatters": ("contacts", "controller", "breaker"),
    "battery_amps": ("battery",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """All knowledge files, each valid in itself."""

    part_kinds: PartKindsFile
    fault_modes: FaultModesFile
    contexts: ContextsFile
    links: LinksFile
    triggers: TriggersFile
    symptoms: SymptomsFile
    complaints: ComplaintsFile
    states: StatesFile
    cautions: CautionsFile
    meter: MeterFile
    conditions: ConditionsFile
    effort: EffortFile


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something wrong at one entry of one file (named without its ending)."""

    file: str
    location: Location
    message: str
    is_key: bool = False


class _HasCaution(Protocol):
    @property
    def caution(self) -> str: ...


Check = Callable[[Contents], Iterator[Finding]]


def findings(contents: Contents) -> tuple[Finding, ...]:
    """Return everything the files get wrong about each other."""
    return tuple(found for check in _CHECKS for found in check(contents))


def _unknown(what: str, name: str, known: Iterable[str]) -> str:
    """Return the message for a name that does not exist."""
    names = sorted(known)
    hint = nearest(name, names)
    listed = "" if hint else f"; known: {', '.join(names)}"
    return f'there is no {what} "{name}"{hint}{listed}'


def _check_kinds(contents: Contents) -> Iterator[Finding]:
    """Require a default for all that the circuit reads, and for nothing else."""
    for kind, parameters in contents.part_kinds.kinds.items():
        place: Location = ("kinds", kind)
        if kind not in ELEMENTS:
            message = _unknown("kind of part", kind, ELEMENTS)
            yield Finding(
                file="part-kinds", location=place, message=message, is_key=True
            )
            continue
        known = ELEMENTS[kind].parameters
        for parameter in parameters:
            if parameter not in known:
                yield Finding(
                    file="part-kinds",
                    location=(*place, parameter),
                    message=_unknown(f"parameter of {kind}", parameter, known),
                    is_key=True,
                )
        for parameter in known:
            if parameter not in parameters:
                yield Finding(
                    file="part-kinds",
                    location=place,
                    message=f'{kind} has no default for "{parameter}"',
                    is_key=True,
                )
    for kind in ELEMENTS.keys() - contents.part_kinds.kinds.keys():
        yield Finding(
            file="part-kinds",
            location=("kinds",),
            message=f'the kind "{kind}" is missing',
            is_key=True,
        )


def _check_conditions(contents: Contents) -> Iterator[Finding]:
    """Require of a condition a parameter that the circuit reads."""
    for kind, parameters in contents.conditions.conditions.items():
        known = contents.part_kinds.kinds.get(kind)
        if known is None:
            yield Finding(
                file="conditions",
                location=("conditions", kind),
                message=_unknown("kind of part", kind, contents.part_kinds.kinds),
                is_key=True,
            )
            continue
        for parameter in parameters:
            if parameter not in known:
                yield Finding(
                    file="conditions",
                    location=("conditions", kind, parameter),
                    message=_unknown(f"parameter of {kind}", parameter, known),
                    is_key=True,
                )


def _check_roles(contents: Contents) -> Iterator[Finding]:
    """Require of a role kinds that exist."""
    for role, entry in contents.part_kinds.roles.items():
        for index, kind in enumerate(entry.kinds):
            if kind not in ELEMENTS:
                yield Finding(
                    file="part-kinds",
                    location=("roles", role, "kinds", index),
                    message=_unknown("kind of part", kind, ELEMENTS),
                )


def _check_mode_names(contents: Contents) -> Iterator[Finding]:
    """Require of a mode a kind that exists and a name of its own."""
    first: dict[tuple[str, str], int] = {}
    for index, mode in enumerate(contents.fault_modes.modes):
        if mode.kind not in ELEMENTS:
            yield Finding(
                file="fault-modes",
                location=("modes", index, "kind"),
                message=_unknown("kind of part", mode.kind, ELEMENTS),
            )
        before = first.setdefault((mode.kind, mode.name), index)
        if before != index:
            yield Finding(
                file="fault-modes",
                location=("modes", index, "name"),
                message=f'{mode.kind} has a mode "{mode.name}" already '
                f"(mode {before + 1} of the list); give it another name",
            )


def _check_mode_roles(contents: Contents) -> Iterator[Finding]:
    """Require of a mode roles that exist and fit its kind."""
    roles = contents.part_kinds.roles
    for index, mode in enumerate(contents.fault_modes.modes):
        for name in ("roles", "except_roles"):
            for number, role in enumerate(getattr(mode, name)):
                place = ("modes", index, name, number)
                if role not in roles:
                    yield Finding(
                        file="fault-modes",
                        location=place,
                        message=_unknown("role", role, roles),
                    )
                elif mode.kind not in roles[role].kinds:
                    yield Finding(
                        file="fault-modes",
                        location=place,
                        message=f'no {mode.kind} can have the role "{role}"; '
                        f"it is for {', '.join(roles[role].kinds)}",
                    )


def _check_mode_changes(contents: Contents) -> Iterator[Finding]:
    """Require of a change a parameter the part has and a possible amount."""
    for index, mode in enumerate(contents.fault_modes.modes):
        for number, change in enumerate(mode.changes):
            place: Location = ("modes", index, "changes", number)
            for key, message in _change_problems(contents, mode, change):
                yield Finding(
                    file="fault-modes", location=(*place, key), message=message
                )


def _change_problems(
    contents: Contents, mode: ModeEntry, change: ChangeEntry
) -> Iterator[tuple[str, str]]:
    """Yield the key and the message of everything wrong with a change."""
    roles = contents.part_kinds.roles
    kinds = [mode.kind]
    if change.role is not None:
        if change.role not in roles:
            yield "role", _unknown("role", change.role, roles)
            return
        kinds = roles[change.role].kinds
    for kind in kinds:
        known = ELEMENTS[kind].parameters if kind in ELEMENTS else ()
        if known and change.parameter not in known:
            message = _unknown(f"parameter of {kind}", change.parameter, known)
            yield "parameter", message
    amount = change.distribution()
    is_ohms = change.parameter.endswith("ohms")
    must_be_positive = change.operation == "times" or (
        change.operation == "set" and is_ohms
    )
    if must_be_positive and amount.first <= 0:
        yield (
            amount.shape.value,
            f"{change.operation} {change.parameter} by {amount.first:g}; "
            "must be greater than 0",
        )


def _check_mode_factors(contents: Contents) -> Iterator[Finding]:
    """Require of factors contexts and answers that exist, not the reference."""
    contexts = contents.contexts.contexts
    for index, mode in enumerate(contents.fault_modes.modes):
        for name, by in mode.factors.items():
            place: Location = ("modes", index, "factors", name)
            if name not in contexts:
                message = _unknown("context", name, contexts)
                yield Finding(
                    file="fault-modes", location=place, message=message, is_key=True
                )
                continue
            for state in by:
                message = ""
                if contexts[name].reference is None:
                    message = f"{name} shifts whole classes of modes in contexts.yaml"
                elif state not in contexts[name].states:
                    message = _unknown(
                        f"answer of {name}", state, contexts[name].states
                    )
                elif state == contexts[name].reference:
                    message = (
                        f'"{state}" is the reference answer of {name}; '
                        "its factor is 1, change the rate instead"
                    )
                if message:
                    yield Finding(
                        file="fault-modes",
                        location=(*place, state),
                        message=message,
                        is_key=True,
                    )


def _check_context_shifts(contents: Contents) -> Iterator[Finding]:
    """Require of shifts answers that exist, and modes that there are."""
    modes = _mode_names(contents)
    for name, context in contents.contexts.contexts.items():
        for index, shift in enumerate(context.shifts):
            place: Location = ("contexts", name, "shifts", index)
            where = (*place, "modes")
            yield from _unknown_modes(shift.modes, where, modes, file="contexts")
            for answer in shift.weights:
                if answer not in context.states:
                    yield Finding(
                        file="contexts",
                        location=(*place, "weights", answer),
                        message=_unknown(f"answer of {name}", answer, context.states),
                        is_key=True,
                    )


def _check_fleeting(contents: Contents) -> Iterator[Finding]:
    """Require of modes that come and go a lasting one, always as severe, and triggers.

    They can be of just those parts that can have the lasting one.
    """
    named = {(mode.kind, mode.name): mode for mode in contents.fault_modes.modes}
    for index, mode in enumerate(contents.fault_modes.modes):
        if mode.acts_as is None:
            continue
        place: Location = ("modes", index)
        lasting = named.get((mode.kind, mode.acts_as))
        of_kind = [name for kind, name in named if kind == mode.kind]
        message = ""
        if lasting is None:
            message = _unknown(f"fault mode of {mode.kind}", mode.acts_as, of_kind)
        elif lasting.acts_as is not None or any(
            change.fixed is None for change in lasting.changes
        ):
            message = f"{mode.acts_as} must last and have fixed changes"
        elif {*lasting.roles} != {*mode.roles} or {*lasting.except_roles} != {
            *mode.except_roles
        }:
            message = f"must have the roles of {mode.acts_as}"
        if message:
            yield Finding(
                file="fault-modes", location=(*place, "acts_as"), message=message
            )
        for trigger in mode.triggers:
            if trigger not in contents.triggers.triggers:
                yield Finding(
                    file="fault-modes",
                    location=(*place, "triggers", trigger),
                    message=_unknown("trigger", trigger, contents.triggers.triggers),
                    is_key=True,
                )


def _check_triggers(contents: Contents) -> Iterator[Finding]:
    """Require of triggers states and cautions that there are."""
    states, cautions = contents.states.states, contents.cautions.cautions
    for name, trigger in contents.triggers.triggers.items():
        place: Location = ("triggers", name)
        for state in trigger.present:
            if state not in states:
                yield Finding(
                    file="triggers",
                    location=(*place, "present", state),
                    message=_unknown("operating state", state, states),
                    is_key=True,
                )
        for key, value, known, what in (
            ("state", trigger.test.state, states, "operating state"),
            ("caution", trigger.test.caution, cautions, "caution"),
        ):
            if value not in known:
                yield Finding(
                    file="triggers",
                    location=(*place, "test", key),
                    message=_unknown(what, value, known),
                )


def _check_links(contents: Contents) -> Iterator[Finding]:
    """Require of links modes that there are, and children that are no parents."""
    modes = _mode_names(contents)
    before = [p for link in contents.links.links.values() for p in link.parents]
    before += [
        pattern
        for spot in contents.links.spots.values()
        for weighed in spot.weights
        for pattern in weighed.modes
    ]
    kinds = {mode.split(".")[0] for mode in _named(modes, before)}
    for name, link in contents.links.links.items():
        place: Location = ("links", name)
        yield from _unknown_modes(link.parents, (*place, "parents"), modes)
        yield from _unknown_modes(link.children, (*place, "children"), modes)
        for number, pattern in enumerate(link.children):
            shared = {mode.split(".")[0] for mode in _named(modes, [pattern])} & kinds
            if shared:
                yield Finding(
                    file="links",
                    location=(*place, "children", number),
                    message=f"a {min(shared)} is a parent or in a spot as well",
                )


def _check_spots(contents: Contents) -> Iterator[Finding]:
    """Require of spots a context with a chance for each answer, and known modes."""
    modes, contexts = _mode_names(contents), contents.contexts.contexts
    for name, spot in contents.links.spots.items():
        place: Location = ("spots", name)
        for number, weighed in enumerate(spot.weights):
            where = (*place, "weights", number, "modes")
            yield from _unknown_modes(weighed.modes, where, modes)
        if spot.follows not in contexts:
            message = _unknown("context", spot.follows, contexts)
            yield Finding(file="links", location=(*place, "follows"), message=message)
        elif set(spot.chances) != set(contexts[spot.follows].states):
            named = ", ".join(contexts[spot.follows].states)
            message = f"chances must be given for each answer: {named}"
            yield Finding(file="links", location=(*place, "chances"), message=message)


def _mode_names(contents: Contents) -> list[str]:
    return [f"{mode.kind}.{mode.name}" for mode in contents.fault_modes.modes]


def _named(modes: Sequence[str], patterns: Sequence[str]) -> list[str]:
    return [m for m in modes if any(fnmatchcase(m, one) for one in patterns)]


def _unknown_modes(
    patterns: Sequence[str],
    place: Location,
    modes: Sequence[str],
    file: str = "links",
) -> Iterator[Finding]:
    for number, pattern in enumerate(patterns):
        if not _named(modes, [pattern]):
            yield Finding(
                file=file,
                location=(*place, number),
                message=_unknown("fault mode", pattern, modes),
            )


def _check_mode_rates(contents: Contents) -> Iterator[Finding]:
    """Keep the modes of one part under 1 together, whatever the answers."""
    worst: dict[str, float] = {}
    for index, mode in enumerate(contents.fault_modes.modes):
        highest = math.prod(
            max(1.0, *by.values()) for by in mode.factors.values() if by
        )
        before = worst.get(mode.kind, 0.0)
        worst[mode.kind] = before + mode.rate * highest
        if before < 1.0 <= worst[mode.kind]:
            yield Finding(
                file="fault-modes",
                location=("modes", index, "rate"),
                message=f"with this rate and its factors the modes of {mode.kind} "
                f"reach {worst[mode.kind]:.3g}; they must stay under 1 together",
            )


def _check_mode_mechanical(contents: Contents) -> Iterator[Finding]:
    """Require of a mode mechanical conditions that are declared."""
    known = contents.fault_modes.mechanical
    for index, mode in enumerate(contents.fault_modes.modes):
        for name in mode.mechanical:
            if name not in known:
                yield Finding(
                    file="fault-modes",
                    location=("modes", index, "mechanical", name),
                    message=_unknown("mechanical condition", name, known),
                    is_key=True,
                )


def _check_cautions(contents: Contents) -> Iterator[Finding]:
    """Require that every caution named exists."""
    pointing: list[tuple[str, Location, _HasCaution]] = []
    for index, mode in enumerate(contents.fault_modes.modes):
        pointing.append(("fault-modes", ("modes", index, "repair"), mode.repair))
    for name, symptom in contents.symptoms.symptoms.items():
        pointing.append(("symptoms", ("symptoms", name), symptom))
    for name, state in contents.states.states.items():
        pointing.append(("states", ("states", name), state))
    pointing.append(("meter", ("test_lamp",), contents.meter.test_lamp))
    pointing.append(("meter", ("in_series",), contents.meter.in_series))
    for file, place, entry in pointing:
        if entry.caution and entry.caution not in contents.cautions.cautions:
            yield Finding(
                file=file,
                location=(*place, "caution"),
                message=_unknown("caution", entry.caution, contents.cautions.cautions),
            )


def _check_effort(contents: Contents) -> Iterator[Finding]:
    """Require that limits name states and cautions that exist, repairs a price."""
    for name, limit in contents.effort.limits.items():
        for key, named, known in (
            ("states", limit.states, contents.states.states),
            ("cautions", limit.cautions, contents.cautions.cautions),
        ):
            for place, one in enumerate(named):
                if one not in known:
                    yield Finding(
                        file="effort",
                        location=("limits", name, key, place),
                        message=_unknown(key[:-1], one, known),
                    )
    for number, mode in enumerate(contents.fault_modes.modes):
        if mode.repair.price not in contents.effort.prices:
            yield Finding(
                file="fault-modes",
                location=("modes", number, "repair", "price"),
                message=_unknown("price", mode.repair.price, contents.effort.prices),
            )


def _check_symptoms(contents: Contents) -> Iterator[Finding]:
    """Require of a symptom that all it looks at exists."""
    states = contents.states.states
    for name, symptom in contents.symptoms.symptoms.items():
        place: Location = ("symptoms", name)
        if symptom.state not in states:
            yield Finding(
                file="symptoms",
                location=(*place, "state"),
                message=_unknown("operating state", symptom.state, states),
            )
        for where, member in _members(symptom.when, (*place, "when")):
            for key, message in _member_problems(contents, member):
                yield Finding(file="symptoms", location=(*where, key), message=message)


def _members(
    member: MemberEntry, place: Location
) -> Iterator[tuple[Location, MemberEntry]]:
    """Yield a member and all those inside it, with their places."""
    yield place, member
    for join in ("all", "any", "none"):
        for index, inner in enumerate(getattr(member, join) or ()):
            yield from _members(inner, (*place, join, index))


def _member_problems(
    contents: Contents, member: MemberEntry
) -> Iterator[tuple[str, str]]:
    """Yield the key and the message of everything wrong with one member alone."""
    symptoms, states = contents.symptoms.symptoms, contents.states.states
    if member.symptom is not None and member.symptom not in symptoms:
        yield "symptom", _unknown("symptom", member.symptom, symptoms)
    for key in ("state", "relative_to"):
        state = getattr(member, key)
        if state is not None and state not in states:
            yield key, _unknown("operating state", state, states)
    if member.sort in QUANTITIES:
        message = _target_problem(contents, member)
        if message:
            yield member.sort, message


def _target_problem(contents: Contents, member: MemberEntry) -> str:
    """Return what is wrong with the role a claim looks at; empty when nothing is."""
    target: str = getattr(member, member.sort)
    if member.sort == "mechanical":
        known = contents.fault_modes.mechanical
        missing = target not in known
        return _unknown("mechanical condition", target, known) if missing else ""
    roles = contents.part_kinds.roles
    if target not in roles:
        return _unknown("role", target, roles)
    kinds = KINDS_OF_QUANTITY.get(member.sort)
    if kinds is not None and not set(roles[target].kinds) <= set(kinds):
        return (
            f"{member.sort} is for {' and '.join(kinds)}; "
            f'"{target}" can be {", ".join(roles[target].kinds)}'
        )
    return ""


def _check_symptom_circles(contents: Contents) -> Iterator[Finding]:
    """Refuse a symptom that is made of itself."""
    symptoms = contents.symptoms.symptoms

    def named(name: str) -> set[str]:
        return {
            member.symptom
            for _, member in _members(symptoms[name].when, ())
            if member.symptom is not None and member.symptom in symptoms
        }

    for name in symptoms:
        reached: set[str] = set()
        ahead = named(name)
        while ahead:
            reached |= ahead
            ahead = set().union(*(named(other) for other in ahead)) - reached
        if name in reached:
            yield Finding(
                file="symptoms",
                location=("symptoms", name),
                message=f'the symptom "{name}" is made of itself',
                is_key=True,
            )


def _check_states(contents: Contents) -> Iterator[Finding]:
    """Require of a state that the symptom it exists by is known."""
    symptoms = contents.symptoms.symptoms
    for name, state in contents.states.states.items():
        if state.after is not None and state.after not in contents.states.states:
            yield Finding(
                file="states",
                location=("states", name, "after"),
                message=_unknown("state", state.after, contents.states.states),
            )
        if state.exists_when is not None and state.exists_when not in symptoms:
            yield Finding(
                file="states",
                location=("states", name, "exists_when"),
                message=_unknown("symptom", state.exists_when, symptoms),
            )


def _check_complaints(contents: Contents) -> Iterator[Finding]:
    """Require of a complaint symptoms that exist and a re-test that turns one."""
    symptoms = contents.symptoms.symptoms
    for name, complaint in contents.complaints.complaints.items():
        place: Location = ("complaints", name)
        for answer in complaint.answers:
            if answer not in symptoms:
                yield Finding(
                    file="complaints",
                    location=(*place, "answers", answer),
                    message=_unknown("symptom", answer, symptoms),
                    is_key=True,
                )
        if complaint.retest not in complaint.answers:
            yield Finding(
                file="complaints",
                location=(*place, "retest"),
                message=f'the re-test "{complaint.retest}" is not among the answers'
                f"{nearest(complaint.retest, complaint.answers)}",
            )
        elif complaint.answers[complaint.retest] == complaint.cured_answer:
            yield Finding(
                file="complaints",
                location=(*place, "cured_answer"),
                message="cured_answer is the answer of the complaint itself; "
                "it must be the other one",
            )


_CHECKS: tuple[Check, ...] = (
    _check_kinds,
    _check_conditions,
    _check_roles,
    _check_mode_names,
    _check_mode_roles,
    _check_mode_changes,
    _check_mode_factors,
    _check_context_shifts,
    _check_fleeting,
    _check_triggers,
    _check_links,
    _check_spots,
    _check_mode_rates,
    _check_mode_mechanical,
    _check_cautions,
    _check_effort,
    _check_symptoms,
    _check_symptom_circles,
    _check_states,
    _check_complaints,
)
