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
                message=unknown_name(
                    "caution", entry.caution, contents.cautions.cautions
                ),
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
