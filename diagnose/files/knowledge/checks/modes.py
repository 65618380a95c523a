"""What fault-modes.yaml says of kinds, roles, contexts, triggers and prices."""

from __future__ import annotations

import math
from collections.abc import Iterator

from diagnose.circuit.elements import ELEMENTS
from diagnose.files.knowledge.checks.findings import Finding, unknown_name
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.parts_and_modes import ChangeEntry, ModeEntry
from diagnose.files.yaml_positions import Location


def check_mode_names(contents: Contents) -> Iterator[Finding]:
    """Find modes of unknown kinds, and two modes of one name."""
    first: dict[tuple[str, str], int] = {}
    for index, mode in enumerate(contents.fault_modes.modes):
        if mode.kind not in ELEMENTS:
            yield Finding(
                file="fault-modes",
                location=("modes", index, "kind"),
                message=unknown_name("kind of part", mode.kind, ELEMENTS),
            )
        before = first.setdefault((mode.kind, mode.name), index)
        if before != index:
            yield Finding(
                file="fault-modes",
                location=("modes", index, "name"),
                message=f'{mode.kind} has a mode "{mode.name}" already '
                f"(mode {before + 1} of the list); give it another name",
            )


def check_mode_roles(contents: Contents) -> Iterator[Finding]:
    """Find roles that no part of a mode's kind can have."""
    roles = contents.part_kinds.roles
    for index, mode in enumerate(contents.fault_modes.modes):
        for name in ("roles", "except_roles"):
            for number, role in enumerate(getattr(mode, name)):
                place = ("modes", index, name, number)
                if role not in roles:
                    yield Finding(
                        file="fault-modes",
                        location=place,
                        message=unknown_name("role", role, roles),
                    )
                elif mode.kind not in roles[role].kinds:
                    yield Finding(
                        file="fault-modes",
                        location=place,
                        message=f'no {mode.kind} can have the role "{role}"; '
                        f"it is for {', '.join(roles[role].kinds)}",
                    )


def check_mode_changes(contents: Contents) -> Iterator[Finding]:
    """Find changes of parameters that the part hasn't, and impossible amounts."""
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
            yield "role", unknown_name("role", change.role, roles)
            return
        kinds = roles[change.role].kinds
    if change.kind is not None:
        if change.kind not in ELEMENTS:
            yield "kind", unknown_name("kind of part", change.kind, ELEMENTS)
            return
        kinds = [change.kind]
    for kind in kinds:
        known = ELEMENTS[kind].parameters if kind in ELEMENTS else ()
        if known and change.parameter not in known:
            message = unknown_name(f"parameter of {kind}", change.parameter, known)
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


def check_mode_factors(contents: Contents) -> Iterator[Finding]:
    """Find factors for unknown contexts and answers, or for the reference answer."""
    contexts = contents.contexts.contexts
    for index, mode in enumerate(contents.fault_modes.modes):
        for name, by in mode.factors.items():
            place: Location = ("modes", index, "factors", name)
            if name not in contexts:
                message = unknown_name("context", name, contexts)
                yield Finding(
                    file="fault-modes", location=place, message=message, is_key=True
                )
                continue
            for state in by:
                message = ""
                if contexts[name].reference is None:
                    message = f"{name} shifts whole classes of modes in contexts.yaml"
                elif state not in contexts[name].states:
                    message = unknown_name(
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


def check_fleeting(contents: Contents) -> Iterator[Finding]:
    """Find modes that come and go without a fit lasting mode, or by unknown triggers.

    They can be of just those parts that can have the lasting one.
    """
    named = {(mode.kind, mode.name): mode for mode in contents.fault_modes.modes}
    for index, mode in enumerate(contents.fault_modes.modes):
        yield from _unknown_triggers(contents, index)
        if mode.acts_as is None:
            continue
        place: Location = ("modes", index)
        lasting = named.get((mode.kind, mode.acts_as))
        of_kind = [name for kind, name in named if kind == mode.kind]
        message = ""
        if lasting is None:
            message = unknown_name(f"fault mode of {mode.kind}", mode.acts_as, of_kind)
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


def _unknown_triggers(contents: Contents, index: int) -> Iterator[Finding]:
    """Find the triggers of one mode that triggers.yaml does not have."""
    mode, known = contents.fault_modes.modes[index], contents.triggers.triggers
    for key, named in (("triggers", mode.triggers), ("reacts", mode.reacts)):
        for trigger in named:
            if trigger not in known:
                yield Finding(
                    file="fault-modes",
                    location=("modes", index, key, trigger),
                    message=unknown_name("trigger", trigger, known),
                    is_key=True,
                )


def check_mode_rates(contents: Contents) -> Iterator[Finding]:
    """Find kinds of part whose modes can reach a probability of 1 together."""
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


def check_mode_mechanical(contents: Contents) -> Iterator[Finding]:
    """Find modes with mechanical conditions that are not declared."""
    known = contents.fault_modes.mechanical
    for index, mode in enumerate(contents.fault_modes.modes):
        for name in mode.mechanical:
            if name not in known:
                yield Finding(
                    file="fault-modes",
                    location=("modes", index, "mechanical", name),
                    message=unknown_name("mechanical condition", name, known),
                    is_key=True,
                )
