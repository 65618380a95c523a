"""Causes: which parts can have which mode, and what a mode changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Distribution, Shape, fixed
from diagnose.faults.causes import (
    LADDER_LEVELS,
    Cause,
    catalogue,
    changed_values,
    has_severity,
)
from diagnose.faults.modes import Change, FaultMode, Operation
from diagnose.faults.signatures import effect_signature
from diagnose.session.ready_car import Model
from tests.lamp_car import CAR, MODES, make_mode

N_DRAWS = 16


@pytest.fixture(scope="module")
def model() -> CarModel:
    return CarModel(CAR, Sample(n_draws=N_DRAWS))


@pytest.fixture(scope="module")
def causes() -> tuple[Cause, ...]:
    return catalogue(CAR, MODES)


def named(causes: Sequence[Cause], name: str) -> Cause:
    return next(cause for cause in causes if cause.name == name)


def with_mode(mode: FaultMode, part: str) -> Cause:
    return named(catalogue(CAR, [mode]), f"{part}:{mode.name}")


def test_every_part_has_the_modes_of_its_kind(causes: tuple[Cause, ...]) -> None:
    assert [cause.name for cause in causes] == [
        "battery:discharged",
        "main-fuse:blown",
        "lamp-fuse:blown",
        "light-switch:stuck_open",
        "feed:open_circuit",
        "feed:high_resistance_a",
        "feed:high_resistance_b",
        "feed:short_to_ground",
        "lamp:burnt_out",
        "ground:open_circuit",
        "ground:high_resistance_a",
        "ground:high_resistance_b",
    ]


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        # By the names of the modes: only a pump pumps, only a fan stalls.
        ("pump_weak", ["fuel-pump"]),
        ("fan_stalled", ["fan"]),
    ],
)
def test_mode_of_a_role_is_that_of_its_part_alone(
    name: str, parts: list[str], sedan_model: Model
) -> None:
    causes = sedan_model.compiled.causes

    assert [one.part.name for one in causes if one.mode.name == name] == parts
    assert sum(part.kind == "motor" for part in sedan_model.car.parts) > len(parts)


def test_words_name_the_part(causes: tuple[Cause, ...]) -> None:
    cause = named(causes, "feed:open_circuit")

    assert (cause.says, cause.repair) == ("feed: open_circuit", "mend feed")


def test_names_of_the_shipped_cars_causes_are_unique(sedan_model: Model) -> None:
    names = [cause.name for cause in sedan_model.compiled.causes]

    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("operation", "expected"),
    [(Operation.SET, 4.0), (Operation.TIMES, 0.2), (Operation.PLUS, 4.05)],
    ids=lambda value: getattr(value, "value", None),
)
def test_operations_act_on_the_healthy_value(
    operation: Operation, expected: float
) -> None:
    # By hand on a wire of exactly .05 ohm and an amount of 4.
    wire = replace(
        CAR.part("feed"),
        values={
            **CAR.part("feed").values,
            "wire_ohms": replace(
                CAR.part("feed").values["wire_ohms"], distribution=fixed(0.05)
            ),
        },
    )
    parts = tuple(wire if part.name == "feed" else part for part in CAR.parts)
    model = CarModel(replace(CAR, parts=parts), Sample(n_draws=2))
    mode = make_mode("wire", "changed", 0.01, {"wire_ohms": (operation, fixed(4.0))})

    changed = changed_values(model, [with_mode(mode, "feed")])

    assert changed["feed"]["wire_ohms"] == pytest.approx([expected] * 2)


def test_other_values_of_the_part_stay(
    model: CarModel, causes: tuple[Cause, ...]
) -> None:
    changed = changed_values(model, [named(causes, "feed:open_circuit")])

    joint = changed["feed"]["joint_b_ohms"]
    assert joint.tolist() == model.values["feed"]["joint_b_ohms"].tolist()


def test_sound_values_are_not_touched(
    model: CarModel, causes: tuple[Cause, ...]
) -> None:
    before = model.values["feed"]["joint_a_ohms"].copy()

    changed_values(model, [named(causes, "feed:open_circuit")])

    assert model.values["feed"]["joint_a_ohms"].tolist() == before.tolist()


def test_consequence_hits_the_part_with_the_role(model: CarModel) -> None:
    flat = Change(
        parameter="state_of_charge",
        operation=Operation.SET,
        amount=fixed(0.2),
        role="battery",
    )
    mode = replace(MODES[-1], changes=(flat,))

    changed = changed_values(model, [with_mode(mode, "lamp")])

    assert set(changed) == {"battery"}
    assert changed["battery"]["state_of_charge"].tolist() == [0.2] * N_DRAWS


def test_same_change_to_another_part_acts_otherwise() -> None:
    itself, battery = (
        replace(
            MODES[-1],
            changes=(
                Change(
                    parameter="is_open",
                    operation=Operation.SET,
                    amount=fixed(1.0),
                    role=role,
                ),
            ),
        )
        for role in (None, "battery")
    )

    found = [effect_signature(with_mode(one, "lamp")) for one in (itself, battery)]

    assert found[0] != found[1]


def test_two_causes_of_one_part_add_up(
    model: CarModel, causes: tuple[Cause, ...]
) -> None:
    both = [named(causes, f"feed:high_resistance_{end}") for end in "ab"]

    changed = changed_values(model, both)

    for end, cause in zip("ab", both, strict=True):
        alone = changed_values(model, [cause])["feed"][f"joint_{end}_ohms"]
        assert changed["feed"][f"joint_{end}_ohms"].tolist() == alone.tolist()


def test_severity_stays_within_its_distribution(
    model: CarModel, causes: tuple[Cause, ...]
) -> None:
    # Log-uniform from .3 to 30 ohm on top of a sound joint.
    cause = named(causes, "feed:high_resistance_a")

    added = (
        changed_values(model, [cause])["feed"]["joint_a_ohms"]
        - model.values["feed"]["joint_a_ohms"]
    )

    assert 0.3 <= added.min() < added.max() <= 30.0


@pytest.mark.parametrize("level", LADDER_LEVELS)
def test_level_sets_the_severity_of_every_draw(
    level: float, model: CarModel, causes: tuple[Cause, ...]
) -> None:
    cause = named(causes, "feed:high_resistance_a")
    amount = Distribution(shape=Shape.LOGUNIFORM, first=0.3, second=30.0)

    found = changed_values(model, [cause], {cause.name: level})["feed"]["joint_a_ohms"]

    added = found - model.values["feed"]["joint_a_ohms"]
    expected = amount.quantile(np.full_like(added, level))
    assert added == pytest.approx(expected, rel=1e-9)


def test_only_the_cause_meant_has_the_level(
    model: CarModel, causes: tuple[Cause, ...]
) -> None:
    pair = [named(causes, f"{part}:high_resistance_a") for part in ("feed", "ground")]

    one, other = (
        changed_values(model, pair, {pair[1].name: level}) for level in (0.1, 0.4)
    )

    feeds = [found["feed"]["joint_a_ohms"].tolist() for found in (one, other)]
    assert feeds[0] == feeds[1]
    assert (one["ground"]["joint_a_ohms"] != other["ground"]["joint_a_ohms"]).all()


def test_fault_that_is_all_or_nothing_has_no_severity(
    causes: tuple[Cause, ...],
) -> None:
    assert not has_severity(named(causes, "lamp:burnt_out"))


def test_bad_joint_at_either_end_acts_alike(causes: tuple[Cause, ...]) -> None:
    first, second = (named(causes, f"feed:high_resistance_{end}") for end in "ab")

    assert effect_signature(first) == effect_signature(second)


def test_open_circuit_acts_unlike_a_bad_joint(causes: tuple[Cause, ...]) -> None:
    first = named(causes, "feed:open_circuit")
    second = named(causes, "feed:high_resistance_a")

    assert effect_signature(first) != effect_signature(second)


def test_same_fault_of_another_part_acts_otherwise(causes: tuple[Cause, ...]) -> None:
    first, second = (named(causes, f"{p}:open_circuit") for p in ("feed", "ground"))

    assert effect_signature(first) != effect_signature(second)
