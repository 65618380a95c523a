"""Asks what was added to a car that has a file already."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diagnose.files.car.writing.entry_text import FileEntry
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.car_questions import ask_circuits
from diagnose.paperwork.asking.entries.circuit_entries import circuit_entries
from diagnose.paperwork.asking.plan import Around, CarPlan
from diagnose.paperwork.asking.questions import Script

# Sections whose entries can be on a wire's end.
_NAMED = ("splices", "panels", "switches", "controllers", "relays", "circuits", "parts")


def ask_added(layouts: Layouts, data: Mapping[str, Any]) -> Script[CarPlan]:
    """Ask for circuits that a car file lacks.

    Parameters
    ----------
    layouts : Layouts
        The usual circuits.
    data : Mapping[str, Any]
        The car file as plain data.

    Returns
    -------
    CarPlan
        With the new circuits alone.
    """
    battery = data.get("battery", {})
    plan = CarPlan(title=str(data.get("title", "")))
    plan.system = str(data.get("system", plan.system))
    plan.grounded = battery.get("grounded", "minus")
    plan.around = around_of(data, hot=plan.hot)
    yield from ask_circuits(plan, layouts, {}, [])
    return plan


def added_entries(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the entries of circuits that were added.

    Parameters
    ----------
    plan : CarPlan
        As it was answered.
    """
    for circuit in plan.circuits:
        yield from circuit_entries(circuit, plan.around)


def around_of(data: Mapping[str, Any], *, hot: str) -> Around:
    """Return what circuits can be joined to on a car that has a file.

    Parameters
    ----------
    data : Mapping[str, Any]
        The car file as plain data.
    hot : str
        The battery's post that is not grounded.
    """
    metal = data.get("metal", {})
    circuits = data.get("circuits", {})
    around = Around(
        feeds=_feeds(data, hot),
        studs=[*data.get("grounds", {}), *metal],
        places=list(data.get("places", {})),
        panels=set(data.get("panels", {})),
        known={"battery", "alternator", "starter"},
        feed_place=data.get("battery", {}).get("place", ""),
        can_run_on="run-on" in data.get("states", {}),
    )
    for section in _NAMED:
        around.known.update(data.get(section, {}))
    for name in circuits:
        around.known.update((f"{name}-fuse", f"{name}-relay"))
    around.taken = {*around.known, *data.get("grounds", {}), *data.get("wires", {})}
    for name in data.get("controllers", {}):
        around.controllers[name] = _fed_with(name, circuits, around)
    return around


def _feeds(data: Mapping[str, Any], hot: str) -> dict[str, str]:
    """Return every feed under a short name, or a long one where that is taken."""
    feeds: dict[str, str] = {}

    def add(short: str, terminal: str) -> None:
        name = short if short not in feeds else terminal.replace(".", "-")
        feeds[name] = terminal

    for panel, entry in data.get("panels", {}).items():
        for bus in entry["buses"]:
            add(bus if bus != "battery" else f"{panel}-{bus}", f"{panel}.{bus}")
    add("battery", f"battery.{hot}")
    for switch, entry in data.get("switches", {}).items():
        contacts = {one: None for live in entry["live"].values() for one in live}
        for contact in contacts:
            lights = {"head": "lights", "tail": "side-lights"}
            is_lights = switch == "light-switch" and contact in lights
            short = lights[contact] if is_lights else contact
            # what a switch of one circuit has is called as the switch
            add(switch if contact == "out" else short, f"{switch}.{contact}")
    for splice in data.get("splices", {}):
        add(splice, splice)
    return feeds


def _fed_with(controller: str, circuits: Mapping[str, Any], around: Around) -> str:
    """Return where coils are fed that a controller grounds: behind its own fuse."""
    for name, circuit in circuits.items():
        if circuit.get("to") == f"{controller}.supply":
            if "fuse" in circuit:
                return f"{name}-fuse.out"
            return str(circuit["from"]).partition(" ")[0]
    return next(iter(around.feeds.values()))
