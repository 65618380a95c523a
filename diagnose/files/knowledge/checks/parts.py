"""What part-kinds.yaml and conditions.yaml say of kinds, roles and parameters."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.elements import ELEMENTS
from diagnose.files.knowledge.checks.findings import Finding, unknown_name
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.parts_and_modes import RoleEntry
from diagnose.files.yaml_positions import Location


def check_kinds(contents: Contents) -> Iterator[Finding]:
    """Find parameters without a default, and defaults that no circuit reads."""
    for kind, parameters in contents.part_kinds.kinds.items():
        place: Location = ("kinds", kind)
        if kind not in ELEMENTS:
            message = unknown_name("kind of part", kind, ELEMENTS)
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
                    message=unknown_name(f"parameter of {kind}", parameter, known),
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


def check_conditions(contents: Contents) -> Iterator[Finding]:
    """Find conditions of kinds and parameters that there are not."""
    for kind, parameters in contents.conditions.conditions.items():
        known = contents.part_kinds.kinds.get(kind)
        if known is None:
            yield Finding(
                file="conditions",
                location=("conditions", kind),
                message=unknown_name("kind of part", kind, contents.part_kinds.kinds),
                is_key=True,
            )
            continue
        for parameter in parameters:
            if parameter not in known:
                yield Finding(
                    file="conditions",
                    location=("conditions", kind, parameter),
                    message=unknown_name(f"parameter of {kind}", parameter, known),
                    is_key=True,
                )


def check_roles(contents: Contents) -> Iterator[Finding]:
    """Find roles for kinds of part that there are not."""
    for role, entry in contents.part_kinds.roles.items():
        for index, kind in enumerate(entry.kinds):
            if kind not in ELEMENTS:
                yield Finding(
                    file="part-kinds",
                    location=("roles", role, "kinds", index),
                    message=unknown_name("kind of part", kind, ELEMENTS),
                )
        yield from _check_attached(role, entry)
        if entry.a_load_is is not None and entry.a_load_is not in entry.kinds:
            yield Finding(
                file="part-kinds",
                location=("roles", role, "a_load_is"),
                message=unknown_name("kind of this role", entry.a_load_is, entry.kinds),
            )


def _check_attached(role: str, entry: RoleEntry) -> Iterator[Finding]:
    """Find defaults of what goes with a role that no such part has."""
    for kind, values in entry.attached.items():
        if kind not in ELEMENTS:
            yield Finding(
                file="part-kinds",
                location=("roles", role, "attached", kind),
                message=unknown_name("kind of part", kind, ELEMENTS),
                is_key=True,
            )
            continue
        known = ELEMENTS[kind].parameters
        for parameter in values:
            if parameter not in known:
                yield Finding(
                    file="part-kinds",
                    location=("roles", role, "attached", kind, parameter),
                    message=unknown_name(f"parameter of {kind}", parameter, known),
                    is_key=True,
                )


def check_audited_roles(contents: Contents) -> Iterator[Finding]:
    """Find roles of an audit that there are not."""
    roles, known = contents.design_limits.roles, contents.part_kinds.roles
    for key, names in (("critical", roles.critical), ("needed", roles.needed)):
        for index, role in enumerate(names):
            if role not in known:
                yield Finding(
                    file="design-limits",
                    location=("roles", key, index),
                    message=unknown_name("role", role, known),
                )
