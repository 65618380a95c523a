"""Battery, alternator, starter and heavy cables, as entries of a car file."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.paperwork.asking.plan import CarPlan, lead

# Coil of a solenoid on a starter, by the system's volts. From memory at 12 V: pull-in
# and hold-in together take some ten amps once it is in; the same watts at other volts.
SOLENOID_OHMS = {"6 V": "0.33 ohm", "12 V": "1.3 ohm", "24 V": "5.2 ohm"}

# What its contacts have. From memory.
SOLENOID_CONTACT = "0.4 mohm"


def assumed_words(plan: CarPlan, page: str) -> str:
    """Return the comment that names what the owner did not know."""
    names = ", ".join(plan.assumed(page))
    return f"assumed: {names}" if names else ""


def section_entry(
    plan: CarPlan, section: str, name: str, value: Written, page: str = ""
) -> FileEntry:
    """Return an entry of a section, with what was not known on its page."""
    comment = assumed_words(plan, page) if page else ""
    heading = "Supply" if section == "circuits" else ""
    return FileEntry(
        path=(section,), name=name, value=value, comment=comment, heading=heading
    )


def source_entries(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield battery, alternator and starter, with what joins them."""
    battery: dict[str, Written] = {
        "place": plan.text("battery", "place"),
        "cold-cranking": plan.text("battery", "cca"),
        "age": plan.text("battery", "age"),
    }
    if "series-link" in plan.pages["battery"]:
        link = plan.wire("battery", "series-link")
        battery |= {} if link == "none" else {"series-link": link}
    if plan.grounded == "plus":
        battery["grounded"] = "plus"
    comment = assumed_words(plan, "battery")
    yield FileEntry(path=(), name="battery", value=battery, comment=comment)
    for post in ("plus", "minus"):
        terminal = f"battery.{post}"
        yield FileEntry(path=("clamps",), name=f"{post}-clamp", value=terminal)
    if "alternator" in plan.pages:
        yield from _alternator(plan)
    if "starter" in plan.pages:
        yield from _starter(plan)


def _alternator(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the alternator with its charging, sense and exciter wires."""
    rated, _, low = plan.text("alternator", "rated").partition(", low-speed ")
    value: dict[str, Written] = {"place": "alternator", "rated": rated}
    if low:
        value["low-speed"] = low
    comment = assumed_words(plan, "alternator")
    yield FileEntry(path=(), name="alternator", value=value, comment=comment)
    hot, output = f"battery.{plan.hot}", "alternator.output"
    wire, fuse = plan.wire("alternator", "wire"), plan.text("alternator", "fuse")
    if fuse == "none":
        value = {"from": output, "to": hot, "wire": wire}
        yield section_entry(plan, "wires", "charging-wire", value)
    else:
        value = {
            "from": f"{hot} via {lead(wire, '1 ft')}",
            "fuse": {"size": fuse, "place": plan.text("battery", "place")},
            "wire": wire,
            "to": output,
        }
        yield section_entry(plan, "circuits", "charge", value)
    sense = plan.text("alternator", "sense")
    if sense != "own output":
        is_panel = sense == "panel" and plan.panel != "none"
        start = "fuse-panel.constant" if is_panel else hot
        value = {
            "from": start,
            "to": "alternator.sense",
            "wire": plan.wire("alternator", "sense-wire"),
        }
        yield section_entry(plan, "wires", "sense-wire", value)
    yield from _exciter(plan)


def _exciter(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield what the alternator's exciter is on."""
    kind, wire = (
        plan.text("alternator", "exciter"),
        plan.wire("alternator", "exciter-wire"),
    )
    feeds = plan.around.feeds
    named = ("old-ignition", "run", "ignition")
    feed = next((feeds[one] for one in named if one in feeds), f"battery.{plan.hot}")
    end = "alternator.exciter"
    if kind != "none" and plan.text("alternator", "exciter-diode") == "yes":
        end = "exciter-joint"
        yield from _exciter_diode(plan, wire)
        wire = "18 AWG 1 ft"
    if kind == "charge lamp":
        sits = feed.startswith("old-fuse-box.")
        value: dict[str, Written] = {
            "from": feed if sits else f"{feed} via 18 AWG 1 ft",
            "fuse": "5 A",
            "wire": "18 AWG 3 ft",
            "load": "3 W lamp",
            "ground": f"{end} via {wire}",
            "place": "dash",
        }
        yield section_entry(plan, "circuits", "charge-lamp", value)
    elif kind == "ignition":
        value = {"from": feed, "to": end, "wire": wire}
        yield section_entry(plan, "wires", "exciter-wire", value)


def _exciter_diode(plan: CarPlan, wire: str) -> Iterator[FileEntry]:
    """Yield the diode that keeps the exciter from feeding back, and its joint."""
    yield section_entry(plan, "splices", "exciter-joint", "dash")
    joint, exciter = "exciter-joint", f"alternator.exciter via {wire}"
    first, second = (joint, exciter) if plan.hot == "plus" else (exciter, joint)
    value: dict[str, Written] = {
        "kind": "diode",
        "terminals": {"a": first, "b": second},
        "place": "dash",
    }
    yield section_entry(plan, "parts", "exciter-diode", value)


def _starter(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield starter and solenoid, and the wire from the ignition switch."""
    value: dict[str, Written] = {
        "place": "starter",
        "cranking": plan.text("starter", "cranking"),
    }
    comment = assumed_words(plan, "starter")
    yield FileEntry(path=(), name="starter", value=value, comment=comment)
    wire = plan.wire("starter", "wire")
    start = "ignition-switch.start"
    if plan.text("starter", "neutral-switch") == "yes":
        live: dict[str, Written] = {"park": ["out"], "drive": []}
        value = {"place": "starter", "live": live}
        yield section_entry(plan, "switches", "neutral-switch", value)
        value = {"from": start, "to": "neutral-switch.feed", "wire": lead(wire, "5 ft")}
        yield section_entry(plan, "wires", "start-wire", value)
        start = "neutral-switch.out"
    if plan.text("starter", "relay") == "yes":
        value = {
            "place": "firewall",
            "30": f"starter-solenoid.30 via {lead(wire, '4 ft')}",
            "86": f"{start} via {wire}",
            "85": "body-stud via 18 AWG 2 ft",
        }
        yield section_entry(plan, "relays", "starter-relay", value)
        start, wire = "starter-relay.87", lead(wire, "4 ft")
    value = {
        "place": "starter",
        "87": f"starter.{plan.hot}",
        "86": f"{start} via {wire}",
        "85": "starter.case",
        "values": {
            "coil_ohms": SOLENOID_OHMS[plan.system],
            "contact_ohms": SOLENOID_CONTACT,
        },
    }
    yield section_entry(plan, "relays", "starter-solenoid", value)


def cable_entries(plan: CarPlan) -> Iterator[FileEntry]:
    """Yield the heavy cables and ground straps."""
    grounded = f"battery.{plan.grounded}"
    hot = f"battery.{plan.hot}"
    ends = {
        "battery-cable": (hot, "starter-solenoid.30", "battery-cable"),
        "ground-cable": (grounded, "engine", "battery-cable"),
        "engine-strap": ("engine", "body", "ground-strap"),
        "body-lead": (grounded, "body", "ground-strap"),
        "frame-strap": ("body", "frame", "ground-strap"),
    }
    for name, (start, end, role) in ends.items():
        is_there = plan.text("cables", name) != "none"
        if name == "battery-cable" and "starter" not in plan.pages:
            is_there = False
        if is_there:
            value: dict[str, Written] = {
                "from": start,
                "to": end,
                "wire": plan.wire("cables", name),
                "role": role,
            }
            yield section_entry(plan, "wires", name, value)
