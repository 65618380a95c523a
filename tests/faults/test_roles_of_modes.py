"""Which parts can have a mode that is limited to a role, or spares one.

By themselves, without a whole car: a car whose parts all have the modes of all roles
takes minutes to solve.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.causes import catalogue
from diagnose.faults.modes import FaultMode
from tests.lamp_car import BLOWN, BURNT_OUT, CAR

WITHOUT_ROLE = replace(
    CAR.part("lamp-fuse"), name="spare-fuse", assembly="spare-fuse", role=None
)
THREE_FUSES = replace(CAR, parts=(*CAR.parts, WITHOUT_ROLE))
"""Two fuses with a role each, and one without."""


def fuses_with(mode: FaultMode, car: Car = THREE_FUSES) -> list[str]:
    return [cause.part.name for cause in catalogue(car, [mode])]


@pytest.mark.parametrize(
    ("roles", "fuses"),
    [
        ((), ["main-fuse", "lamp-fuse", "spare-fuse"]),
        (("main-fuse",), ["main-fuse"]),
        (("lamp-fuse", "main-fuse"), ["main-fuse", "lamp-fuse"]),
        (("starter",), []),
    ],
    ids=" ".join,
)
def test_mode_for_some_roles_is_only_theirs(
    roles: tuple[str, ...], fuses: list[str]
) -> None:
    assert fuses_with(replace(BLOWN, roles=frozenset(roles))) == fuses


@pytest.mark.parametrize(
    ("spared", "fuses"),
    [
        (("main-fuse",), ["lamp-fuse", "spare-fuse"]),
        (("lamp-fuse", "main-fuse"), ["spare-fuse"]),
        (("starter",), ["main-fuse", "lamp-fuse", "spare-fuse"]),
    ],
    ids=" ".join,
)
def test_mode_that_spares_some_roles_is_of_all_others(
    spared: tuple[str, ...], fuses: list[str]
) -> None:
    assert fuses_with(replace(BLOWN, except_roles=frozenset(spared))) == fuses


def test_parts_behind_one_that_can_not_fail_so_are_looked_at_too() -> None:
    # The main fuse comes before the lamp's in the car's order.
    limited = replace(BLOWN, roles=frozenset({"lamp-fuse"}))

    found = [cause.name for cause in catalogue(CAR, [limited, BLOWN])]

    assert found == ["main-fuse:blown", "lamp-fuse:blown", "lamp-fuse:blown"]


def test_modes_behind_one_of_another_kind_are_looked_at_too() -> None:
    found = [cause.name for cause in catalogue(CAR, [BURNT_OUT, BLOWN])]

    assert found == ["main-fuse:blown", "lamp-fuse:blown", "lamp:burnt_out"]
