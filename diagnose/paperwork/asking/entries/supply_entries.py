"""Ignition switch, fuse boxes, panel and second battery, as entries of a car file."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.paperwork.asking.entries.source_entries import (
    section_entry,
)
from diagnose.paperwork.asking.plan import CarPlan, lead

# What a resistance wire of a factory's coil feed has, where nobody measured it. From
# memory: some 1.4 ohm in all.
RESISTANCE_WIRE = "0.35 ohm/ft 4 ft"


# The straight wire in its place. Own choice.
STRAIGHT_WIRE = "14 AWG 4 ft"


def supply(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield ignition switch, fuse boxes, light switch, panel and second battery."""
    yield from _ignition_switch(plan)
    if plan.coil_feed != "none":
        yield section_entry(plan, "splices", "old-coil-terminal", "firewall")
        is_resistance = plan.coil_feed == "resistance wire"
        name = "resistance-wire" if is_resistance else "old-coil-wire"
        value: dict[str, Written] = {
            "from": plan.around.feeds.get("ignition", "ignition-switch.run"),
            "to": "old-coil-terminal",
            "wire": RESISTANCE_WIRE if is_resistance else STRAIGHT_WIRE,
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
    used |= {bus for bus in buses if hangs_on(plan, f"old-fuse-box.{bus}")}
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


def hangs_on(plan: CarPlan, terminal: str) -> bool:
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
