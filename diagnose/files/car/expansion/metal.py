"""Body, engine and frame, and the ground studs bolted to them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from diagnose.circuit.car import Part
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.relays_and_joints import add_joint
from diagnose.files.car.grammar.entries import (
    CarEntry,
    MetalEntry,
)
from diagnose.files.yaml_positions import Location

# The big metal parts by their short names, and the one terminal of each.
METAL_TERMINALS: Mapping[str, str] = MappingProxyType(
    {"body": "body.metal", "engine": "engine.block", "frame": "frame.metal"}
)


def add_metal(metal: MetalEntry, draft: Draft) -> None:
    """Declare body, engine and frame; add the engine as the carrier of its faults.

    Parameters
    ----------
    metal : MetalEntry
        What the file says.
    draft : Draft
        The car being put together.
    """
    places = {"body": metal.body, "engine": metal.engine, "frame": metal.frame}
    for name, place in places.items():
        if place is not None:
            terminal = METAL_TERMINALS[name].partition(".")[2]
            declared = draft.declare(
                name, terminal, place=place, location=("metal", name)
            )
            draft.main_terminals[name] = declared
    draft.add(
        Part(
            name="engine",
            assembly="engine",
            kind="engine",
            terminals={},
            values=draft.values("engine", {}, location=("metal", "engine")),
            place=metal.engine,
            role="engine",
        ),
        ("metal", "engine"),
    )


def add_grounds(car: CarEntry, draft: Draft) -> None:
    """Add the ground studs, each a joint to the metal it is bolted to.

    Parameters
    ----------
    car : CarEntry
        The car file.
    draft : Draft
        The car being put together.
    """
    for name, ground in car.grounds.items():
        location: Location = ("grounds", name)
        stud = draft.declare(name, "stud", place=ground.place, location=location)
        draft.main_terminals[name] = stud
        add_joint(draft, name, stud, ground.bolted_to, location, given=ground.values)
