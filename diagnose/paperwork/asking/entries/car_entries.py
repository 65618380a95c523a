"""A car as it was answered, as the entries of its file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.car_questions import STUDS
from diagnose.paperwork.asking.entries.circuit_entries import circuit_entries
from diagnose.paperwork.asking.entries.idle_entries import without_idle, words_of
from diagnose.paperwork.asking.entries.source_entries import (
    cable_entries,
    section_entry,
    source_entries,
)
from diagnose.paperwork.asking.plan import CarPlan, lead

# Places that the metal's probe is at. Own choice.
_METAL = {"body": "firewall", "engine": "engine-top", "frame": "starter"}

# What a resistance wire of a factory's coil feed has, where nobody measured it. From
# memory: some 1.4 ohm in all.
_RESISTANCE_WIRE = "0.35 ohm/ft 4 ft"

# The straight wire in its place. Own choice.
_STRAIGHT_WIRE = "14 AWG 4 ft"


def car_entries(plan: CarPlan, layouts: Layouts) -> list[FileEntry]:
    """Return a car's entries, in the order in which they are asked for.

    Parameters
    ----------
    plan : CarPlan
        Everything answered.
    layouts : Layouts
        The places.
    """
    entries = [*_top(plan), *source_entries(plan), *_supply(plan), *_controllers(plan)]
    for circuit in plan.circuits:
        entries.extend(circuit_entries(circuit, plan.around))
    entries.extend(cable_entries(plan))
    entries.extend(_states(plan))
    entries = without_idle(_merged(entries))
    studs = [*_studs(entries)]
    return [*_places([*entries, *studs], layouts), *studs, *entries]


def _top(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield title, system and metal."""
    yield FileEntry(path=(), name="title", value=plan.title)
    yield FileEntry(path=(), name="system", value=plan.system)
    has_frame = plan.text("cables", "frame-strap") != "none"
    metal = [name for name in _METAL if name != "frame" or has_frame]
    yield FileEntry(path=(), name="metal", value={name: _METAL[name] for name in metal})


def _supply(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield ignition switch, fuse boxes, light switch, panel and second battery."""
    yield from _ignition_switch(plan)
    if plan.coil_feed != "none":
        yield section_entry(plan, "splices", "old-coil-terminal", "firewall")
        is_resistance = plan.coil_feed == "resistance wire"
        name = "resistance-wire" if is_resistance else "old-coil-wire"
        value: dict[str, Written] = {
            "from": plan.around.feeds.get("ignition", "ignition-switch.run"),
            "to": "old-coil-terminal",
            "wire": _RESISTANCE_WIRE if is_resistance else _STRAIGHT_WIRE,
        }
        yield section_entry(plan, "wires", name, value)
    if "old-fuse-box" in plan.pages:
        yield from _factory_box(plan)
    if "light-switch" in plan.pages:
        page = "light-switch"
        value = {
            "place": plan.text(page, "place"),
            "live": {"off": [], "tail": ["tail"], "head": ["tail", "head"]},
        }
        yield section_entry(plan, "switches", page, value, page)
        wire, fuse = plan.wire(page, "wire"), plan.text(page, "fuse")
        value = {"from": f"old-junction via {lead(wire, '1 ft')}", "fuse": fuse}
        if fuse == "none":
            value = {"from": "old-junction"}
        value |= {"wire": wire, "to": "light-switch.feed"}
        yield section_entry(plan, "circuits", "light-feed", value)
    if plan.panel != "none":
        yield from _panel(plan)
    if "second-battery" in plan.pages:
        yield from _second_battery(plan)


def _ignition_switch(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the ignition switch and what feeds it."""
    page = "ignition-switch"
    live: dict[str, Written] = {"off": []}
    for position in ("accessory", "run", "crank"):
        live[position] = plan.text(page, position).split()
    value: dict[str, Written] = {"place": "column", "feed": "battery", "live": live}
    yield section_entry(plan, "switches", page, value, page)
    yield section_entry(plan, "splices", "old-junction", "under-dash")
    start = "starter-solenoid.30"
    if "starter" not in plan.pages:
        start = f"battery.{plan.hot}"
    wire, fuse = plan.wire(page, "wire"), plan.text(page, "fuse")
    value = {"from": f"{start} via {lead(wire, '1 ft')}", "fuse": fuse}
    if fuse == "none":
        value = {"from": start}
    value |= {"wire": wire, "to": "old-junction"}
    yield section_entry(plan, "circuits", "old-main", value)
    value = {
        "from": "old-junction",
        "to": "ignition-switch.battery",
        "wire": lead(wire, "2 ft"),
    }
    yield section_entry(plan, "wires", "switch-feed", value)


def _factory_box(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the factory's fuse box and the wires to it."""
    buses = {
        feed.removeprefix("old-fuse-box.")
        for feed in plan.around.feeds.values()
        if feed.startswith("old-fuse-box.")
    }
    used = {
        bus
        for bus in buses
        for circuit in plan.circuits
        for fact in ("feed", "relay")
        if plan.around.feeds.get(circuit.text(fact)) == f"old-fuse-box.{bus}"
        or circuit.text(fact) == f"old-fuse-box.{bus}"
    }
    exciter = plan.pages.get("alternator", {}).get("exciter")
    if "ignition" in buses and exciter and exciter.text != "none":
        used.add("ignition")
    used |= {bus for bus in buses if _hangs_on(plan, f"old-fuse-box.{bus}")}
    if not used:
        return
    value: dict[str, Written] = {
        "place": plan.text("old-fuse-box", "place"),
        "buses": [one for one in ("battery", "ignition", "accessory") if one in used],
    }
    yield section_entry(plan, "panels", "old-fuse-box", value, "old-fuse-box")
    run = plan.text("ignition-switch", "run").split()
    sources = {
        "battery": "old-junction",
        "ignition": f"ignition-switch.{'run' if 'run' in run else 'ignition'}",
        "accessory": "ignition-switch.accessory",
    }
    for bus, source in sources.items():
        if bus in used:
            value = {
                "from": source,
                "to": f"old-fuse-box.{bus}",
                "wire": plan.wire("old-fuse-box", "wire"),
            }
            yield section_entry(plan, "wires", f"old-box-{bus}", value)


def _hangs_on(plan: CarPlan, terminal: str) -> bool:
    """Return whether a page of the car, no circuit, hangs on a terminal."""
    told = [fact.text for facts in plan.pages.values() for fact in facts.values()]
    told += [
        fact.text for facts in plan.controllers.values() for fact in facts.values()
    ]
    return any(plan.around.feeds.get(text, text) == terminal for text in told)


def _panel(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the added panel, its main fuse, and the relay of its switched half."""
    page, hot = "fuse-panel", f"battery.{plan.hot}"
    place = plan.text(page, "place")
    has_both = plan.panel == "both halves"
    halves = ["constant", "switched"] if has_both else ["constant"]
    value: dict[str, Written] = {"place": place, "buses": halves}
    yield section_entry(plan, "panels", page, value, page)
    wire, fuse = plan.wire(page, "wire"), plan.text(page, "fuse")
    if fuse == "none":
        value = {"from": hot, "to": "fuse-panel.constant", "wire": wire}
        yield section_entry(plan, "wires", "main-wire", value)
    else:
        value = {
            "from": f"{hot} via {lead(wire, '1 ft')}",
            "fuse": {"size": fuse, "place": place},
            "wire": wire,
            "to": "fuse-panel.constant",
        }
        yield section_entry(plan, "circuits", "main", value)
    if has_both:
        trigger = plan.text(page, "trigger")
        start = plan.around.feeds.get(trigger, trigger)
        value = {
            "place": place,
            "30": "fuse-panel.constant",
            "87": "fuse-panel.switched",
            "86": f"{start} via {plan.wire(page, 'trigger-wire')}",
            "85": "body-stud via 18 AWG 2 ft",
        }
        yield section_entry(plan, "relays", "panel-relay", value)


def _second_battery(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the second battery, the relay that joins it, and a fuse at each end."""
    page, hot = "second-battery", plan.hot
    place = plan.text(page, "place")
    other = "minus" if hot == "plus" else "plus"
    wire, fuse = plan.wire(page, "wire"), plan.text(page, "fuse")
    value: dict[str, Written] = {
        "kind": "battery",
        "place": place,
        "terminals": {
            hot: f"{page}-post",
            other: f"body via {plan.wire(page, 'ground')}",
        },
    }
    yield section_entry(plan, "splices", f"{page}-post", place)
    yield section_entry(plan, "parts", page, value, page)
    trigger = plan.text(page, "trigger")
    start = plan.around.feeds.get(trigger, trigger)
    value = {
        "place": plan.text("battery", "place"),
        "86": f"{start} via 18 AWG 6 ft",
        "85": "body-stud via 18 AWG 2 ft",
    }
    yield section_entry(plan, "relays", "split-relay", value)
    first = f"battery.{hot}"
    ends = (
        ("split-feed", first, "split-relay.30", plan.text("battery", "place"), "1 ft"),
        ("split-run", f"{page}-post", "split-relay.87", place, ""),
    )
    for name, begin, end, where, length in ends:
        own = lead(wire, length) if length else wire
        if fuse == "none":
            value = {"from": begin, "to": end, "wire": own}
            yield section_entry(plan, "wires", name, value)
            continue
        value = {
            "from": f"{begin} via {lead(wire, '1 ft')}",
            "fuse": {"size": fuse, "place": where},
            "wire": own,
            "to": end,
        }
        yield section_entry(plan, "circuits", name, value)


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
