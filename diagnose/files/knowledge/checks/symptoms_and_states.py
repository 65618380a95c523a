"""What symptoms.yaml, complaints.yaml and states.yaml say of one another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.errors import did_you_mean
from diagnose.files.knowledge.checks.findings import Finding, unknown_name
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.symptoms_and_complaints import (
    QUANTITIES,
    MemberEntry,
)
from diagnose.files.yaml_positions import Location

# Quantities that only some kinds of part have.
KINDS_OF_QUANTITY: Mapping[str, tuple[str, ...]] = {
    "light": ("lamp", "led-lamp"),
    "is_up": ("controller",),
    "is_closed": ("contacts",),
    "is_blown": PROTECTIVE_KINDS,
    "chatters": ("contacts", "controller", "breaker"),
    "battery_amps": ("battery", "battery-bank"),
    "turns": ("motor", "load"),
}


def check_symptoms(contents: Contents) -> Iterator[Finding]:
    """Find symptoms that look at what there is not."""
    states = contents.states.states
    for name, symptom in contents.symptoms.symptoms.items():
        place: Location = ("symptoms", name)
        if symptom.state not in states:
            yield Finding(
                file="symptoms",
                location=(*place, "state"),
                message=unknown_name("operating state", symptom.state, states),
            )
        for where, member in _members(symptom.when, (*place, "when")):
            for key, message in _member_problems(contents, member):
                yield Finding(file="symptoms", location=(*where, key), message=message)


def _members(
    member: MemberEntry | None, place: Location
) -> Iterator[tuple[Location, MemberEntry]]:
    """Yield a member and all those inside it, with their places; none of nothing."""
    if member is None:
        return
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
        yield "symptom", unknown_name("symptom", member.symptom, symptoms)
    for key in ("state", "relative_to"):
        state = getattr(member, key)
        if state is not None and state not in states:
            yield key, unknown_name("operating state", state, states)
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
        return unknown_name("mechanical condition", target, known) if missing else ""
    roles = contents.part_kinds.roles
    if target not in roles:
        return unknown_name("role", target, roles)
    kinds = KINDS_OF_QUANTITY.get(member.sort)
    if kinds is not None and not set(roles[target].kinds) <= set(kinds):
        return (
            f"{member.sort} is for {' and '.join(kinds)}; "
            f'"{target}" can be {", ".join(roles[target].kinds)}'
        )
    return ""


def check_symptom_circles(contents: Contents) -> Iterator[Finding]:
    """Find symptoms that are made of themselves."""
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


def check_symptom_needs(contents: Contents) -> Iterator[Finding]:
    """Find symptoms that need an unknown symptom, or themselves, to have an answer."""
    symptoms = contents.symptoms.symptoms
    for name, symptom in symptoms.items():
        if symptom.needs is None:
            continue
        message = ""
        if symptom.needs not in symptoms:
            message = unknown_name("symptom", symptom.needs, symptoms)
        elif symptom.needs == name:
            message = f'the symptom "{name}" needs itself'
        if message:
            location = ("symptoms", name, "needs")
            yield Finding(file="symptoms", location=location, message=message)


def check_states(contents: Contents) -> Iterator[Finding]:
    """Find states that follow an unknown state, or exist by an unknown symptom."""
    symptoms = contents.symptoms.symptoms
    for name, state in contents.states.states.items():
        for key in ("after", "like", "otherwise"):
            other = getattr(state, key)
            if other is not None and other not in contents.states.states:
                yield Finding(
                    file="states",
                    location=("states", name, key),
                    message=unknown_name("state", other, contents.states.states),
                )
        if state.exists_when is not None and state.exists_when not in symptoms:
            yield Finding(
                file="states",
                location=("states", name, "exists_when"),
                message=unknown_name("symptom", state.exists_when, symptoms),
            )


def check_complaints(contents: Contents) -> Iterator[Finding]:
    """Find complaints of unknown symptoms or groups, and re-tests that turn none."""
    symptoms = {**contents.symptoms.symptoms, **contents.triggers.signs}
    for name, complaint in contents.complaints.complaints.items():
        place: Location = ("complaints", name)
        groups = contents.complaints.groups
        if complaint.group is not None and complaint.group not in groups:
            yield Finding(
                file="complaints",
                location=(*place, "group"),
                message=unknown_name("group", complaint.group, groups),
            )
        for answer in complaint.answers:
            if answer not in symptoms:
                yield Finding(
                    file="complaints",
                    location=(*place, "answers", answer),
                    message=unknown_name("symptom", answer, symptoms),
                    is_key=True,
                )
        roles = contents.part_kinds.roles
        for role in complaint.without:
            if role not in roles:
                yield Finding(
                    file="complaints",
                    location=(*place, "without", role),
                    message=unknown_name("role", role, roles),
                    is_key=True,
                )
        if complaint.retest not in complaint.answers:
            yield Finding(
                file="complaints",
                location=(*place, "retest"),
                message=f'the re-test "{complaint.retest}" is not among the answers'
                f"{did_you_mean(complaint.retest, complaint.answers)}",
            )
        elif complaint.answers[complaint.retest] == complaint.cured_answer:
            yield Finding(
                file="complaints",
                location=(*place, "cured_answer"),
                message="cured_answer is the answer of the complaint itself; "
                "it must be the other one",
            )
