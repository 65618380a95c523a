"""Cautions, limits and prices that other entries name."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from diagnose.files.knowledge.checks.findings import Finding, unknown_name
from diagnose.files.knowledge.contents import Contents
from diagnose.files.yaml_positions import Location


class _HasCaution(Protocol):
    @property
    def caution(self) -> str: ...


def check_cautions(contents: Contents) -> Iterator[Finding]:
    """Find cautions that there are not."""
    pointing: list[tuple[str, Location, _HasCaution]] = []
    known = contents.cautions.cautions
    for index, mode in enumerate(contents.fault_modes.modes):
        for key in mode.repair.cautions():
            if key not in known:
                yield Finding(
                    file="fault-modes",
                    location=("modes", index, "repair", "caution"),
                    message=unknown_name("caution", key, known),
                )
    for name, symptom in contents.symptoms.symptoms.items():
        pointing.append(("symptoms", ("symptoms", name), symptom))
    for name, state in contents.states.states.items():
        pointing.append(("states", ("states", name), state))
    pointing.append(("meter", ("test_lamp",), contents.meter.test_lamp))
    pointing.append(("meter", ("in_series",), contents.meter.in_series))
    for file, place, entry in pointing:
        if entry.caution and entry.caution not in known:
            yield Finding(
                file=file,
                location=(*place, "caution"),
                message=unknown_name("caution", entry.caution, known),
            )


def check_standing_cautions(contents: Contents) -> Iterator[Finding]:
    """Find rules of unknown cautions and roles."""
    rules, known = contents.cautions.rules(), contents.cautions.cautions
    lists = (
        ("at_electronics", (rules.at_electronics,)),
        ("clear_of_engine", (rules.clear_of_engine,)),
        ("clear_with", tuple(rules.clear_with)),
        ("needs_engine", tuple(rules.needs_engine)),
        ("needs_part", tuple(rules.needs_part)),
        ("on_tests", tuple(rules.on_tests.values())),
        ("stays_on", tuple(rules.stays_on.values())),
        (
            "work_on",
            tuple(key for several in rules.work_on.values() for key in several),
        ),
    )
    for name, keys in lists:
        for key in keys:
            if key not in known:
                yield Finding(
                    file="cautions",
                    location=("standing", name),
                    message=unknown_name("caution", key, known),
                )
    roles = contents.part_kinds.roles
    for name, named in (("stays_on", rules.stays_on), ("work_on", rules.work_on)):
        for role in named:
            if role not in roles:
                yield Finding(
                    file="cautions",
                    location=("standing", name, role),
                    message=unknown_name("role", role, roles),
                    is_key=True,
                )
    for key, role in rules.needs_part.items():
        if role not in roles:
            yield Finding(
                file="cautions",
                location=("standing", "needs_part", key),
                message=unknown_name("role", role, roles),
            )


def check_effort(contents: Contents) -> Iterator[Finding]:
    """Find limits of unknown states and cautions, and repairs of unknown prices."""
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
                        message=unknown_name(key[:-1], one, known),
                    )
    for number, mode in enumerate(contents.fault_modes.modes):
        if mode.repair.price not in contents.effort.prices:
            yield Finding(
                file="fault-modes",
                location=("modes", number, "repair", "price"),
                message=unknown_name(
                    "price", mode.repair.price, contents.effort.prices
                ),
            )
