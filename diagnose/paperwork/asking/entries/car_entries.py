"""A car as it was answered, as the entries of its file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.entries.circuit_entries import circuit_entries
from diagnose.paperwork.asking.entries.idle_entries import without_idle, words_of
from diagnose.paperwork.asking.entries.source_entries import (
    cable_entries,
    section_entry,
    source_entries,
)
from diagnose.paperwork.asking.entries.supply_entries import supply
from diagnose.paperwork.asking.plan import CarPlan, lead
from diagnose.paperwork.asking.supply_questions import STUDS

# Places that the metal's probe is at. Own choice.
_METAL = {"body": "firewall", "engine": "engine-top", "frame": "starter"}


def car_entries(plan: CarPlan, layouts: Layouts) -> list[FileEntry]:
    """Return a car's entries, in the order in which they are asked for.

    Parameters
    ----------
    plan : CarPlan
        Everything answered.
    layouts : Layouts
        The places.
    """
    entries = [*_top(plan), *source_entries(plan), *supply(plan), *_controllers(plan)]
    for circuit in plan.circuits:
        entries.extend(circuit_entries(circuit, plan.around))
    entries.extend(cable_entries(plan))
    entries.extend(_states(plan))
    entries = without_idle(_merged(entries))
    studs = [*_studs(entries)]
    entries = _without_idle_strap([*studs, *entries])[len(studs) :]
    return [*_places([*entries, *studs], layouts), *studs, *entries]


def _top(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield title, system and metal."""
    yield FileEntry(path=(), name="title", value=plan.title)
    yield FileEntry(path=(), name="system", value=plan.system)
    has_frame = plan.text("cables", "frame-strap") != "none"
    metal = [name for name in _METAL if name != "frame" or has_frame]
    yield FileEntry(path=(), name="metal", value={name: _METAL[name] for name in metal})


def _controllers(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the controllers with their feeds."""
    for name, facts in plan.controllers.items():
        assumed = [fact for fact, told in facts.items() if told.is_assumed]
        value: dict[str, Written] = {
            "place": facts["place"].text,
            "draws": facts["draws"].text,
        }
        if facts["memory"].text != "none":
            value["memory"] = "5 mA"
        value["ground"] = facts["ground"].text
        yield FileEntry(
            path=("controllers",),
            name=name,
            value=value,
            comment=f"assumed: {', '.join(assumed)}" if assumed else "",
        )
        feeds = (("feed", "supply", "wire"), ("memory", "memory", "memory-wire"))
        for fact, terminal, wire in feeds:
            if facts[fact].text != "none":
                yield _controller_feed(plan, name, (fact, terminal, wire))


def _controller_feed(
    plan: CarPlan, name: str, facts: tuple[str, str, str]
) -> FileEntry:
    """Return what feeds one terminal of a controller."""
    fact, terminal, wire = facts
    told = plan.controllers[name]
    feed = told[fact].text
    start = plan.around.feeds.get(feed, feed)
    value: dict[str, Written] = {"from": start}
    if not start.startswith(("fuse-panel.", "old-fuse-box.")):
        value["from"] = f"{start} via {lead(told[wire].text, '1 ft')}"
    fuse = told["fuse"].text
    if fuse == "none":
        value = {"from": start}
    else:
        place = plan.text("battery", "place")
        is_post = start.startswith("battery.")
        value["fuse"] = {"size": fuse, "place": place} if is_post else fuse
    value |= {"wire": told[wire].text, "to": f"{name}.{terminal}"}
    return section_entry(plan, "circuits", f"{name}-{fact}", value)


def _states(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield where the switches are in each operating state."""
    loaded: dict[str, Written] = {"ignition-switch": "run"}
    if "light-switch" in plan.pages:
        loaded["light-switch"] = "head"
    for circuit in plan.circuits:
        is_on = circuit.usual is not None and circuit.usual.is_on_when_loaded
        if is_on and circuit.has_switch:
            loaded[circuit.switch_name] = "on"
    positions: Mapping[str, Written] = {
        "key-on": {"ignition-switch": "run"},
        "cranking": {"ignition-switch": "crank"},
        "idle": {"ignition-switch": "run"},
        "idle-loaded": loaded,
        "fast-idle": loaded,
    }
    for name, switches in positions.items():
        yield section_entry(plan, "states", name, {"switches": switches})
    if plan.around.can_run_on:
        entry = section_entry(plan, "states", "run-on", {})
        yield replace(entry, comment="the key turned off, and the engine runs on")


def _merged(entries: list[FileEntry]) -> list[FileEntry]:
    """Return entries with the outputs of controllers inside their controllers."""
    outputs: dict[str, dict[str, Written]] = {}
    for entry in entries:
        if len(entry.path) > 1:
            outputs.setdefault(entry.path[1], {})[entry.name] = entry.value
    result = []
    for entry in entries:
        if len(entry.path) > 1:
            continue
        is_controller = entry.path == ("controllers",) and entry.name in outputs
        if is_controller and isinstance(entry.value, dict):
            value = {**entry.value, "outputs": outputs[entry.name]}
            result.append(replace(entry, value=value))
        else:
            result.append(entry)
    return result


def _without_idle_strap(entries: list[FileEntry]) -> list[FileEntry]:
    """Return entries without the strap to a body that nothing else is joined to."""
    strap = "engine-strap"
    words = {
        word
        for entry in entries
        if entry.name not in {strap, "metal", "title"}
        for word in words_of(entry.value)
    }
    return [one for one in entries if one.name != strap or "body" in words]


def _studs(entries: list[FileEntry]) -> Iterator[FileEntry]:
    """Yield the studs that something is grounded at."""
    words = {word for entry in entries for word in words_of(entry.value)}
    for name, (metal, place) in STUDS.items():
        if name in words:
            value: dict[str, Written] = {"bolted-to": metal, "place": place}
            yield FileEntry(path=("grounds",), name=name, value=value)


def _places(entries: list[FileEntry], layouts: Layouts) -> Iterator[FileEntry]:
    """Yield the places that something is at."""
    words = {word for entry in entries for word in words_of(entry.value)}
    for name, place in layouts.places.items():
        if name in words:
            value: Written = place.time
            if place.caution:
                value = {"time": place.time, "caution": place.caution}
            yield FileEntry(
                path=("places",), name=name, value=value, comment=place.says
            )
