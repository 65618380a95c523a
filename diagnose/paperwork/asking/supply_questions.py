"""Asks what feeds the circuits: ignition switch, fuse boxes, panel, second battery."""

from __future__ import annotations

import re

from diagnose.paperwork.asking.answers import (
    Fact,
    choice,
    one_of,
    read_fuse,
    read_wire,
    worded,
)
from diagnose.paperwork.asking.pages import page, read_feed, read_place
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Script
from diagnose.paperwork.asking.source_questions import Asker

# Studs that ground wires meet at: metal and place.
STUDS = {
    "body-stud": ("body", "firewall"),
    "engine-stud": ("engine", "engine-top"),
    "dash-stud": ("body", "under-dash"),
    "rear-stud": ("body", "trunk"),
}


# Names that the supply of the car uses up.
TAKEN = (
    *("body", "engine", "frame", "main", "charge", "old-main", "light-feed", *STUDS),
    *("inertia-switch", "inertia-feed", "inertia-ground"),
    *("exciter-joint", "exciter-diode"),
)


def ask_supply(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for ignition switch, old coil feed, factory box, light switch and panel."""
    around = plan.around
    told = yield from page(
        "ignition-switch",
        "The ignition switch: its contacts are called accessory, run, ignition, start",
        {
            "accessory": Fact(
                says="live in accessory", usual="accessory", read=_read_contacts
            ),
            "run": Fact(
                says="live in run",
                usual="accessory run ignition",
                read=_read_contacts,
            ),
            "crank": Fact(
                says="live while cranking", usual="ignition start", read=_read_crank
            ),
            "fuse": Fact(
                says="fuse or fusible link of its feed, or none",
                usual="30 A fusible-link",
                read=read_fuse,
            ),
            "wire": Fact(
                says="wire to it, from the battery's cable at the starter",
                usual="10 AWG 8 ft",
                read=read_wire,
            ),
            "run-on": Fact(
                says="might the engine run on after it is turned off: yes or no",
                usual="no",
                read=worded("yes", "no"),
            ),
        },
    )
    assert told is not None
    plan.pages["ignition-switch"] = told
    around.can_run_on = told["run-on"].text == "yes"
    for contact in ("ignition", "run", "accessory"):
        if contact in f"{told['run'].text} {told['accessory'].text}".split():
            around.feeds[contact] = f"ignition-switch.{contact}"
    plan.coil_feed = yield from ask.one(
        "coil-feed",
        "The factory's wire from the switch to the ignition coil: resistance wire, "
        "straight wire, or none?",
        "none",
        choice("none", "resistance wire", "straight wire"),
    )
    if plan.coil_feed != "none":
        around.feeds["coil"] = "old-coil-terminal"
    yield from ask_factory_box(plan, ask)
    yield from ask_panel(plan, ask)
    around.feeds["battery"] = f"battery.{plan.hot}"
    around.feed_place = plan.text("battery", "place")
    around.known.update(
        ("battery", "alternator", "starter", "ignition-switch", "starter-solenoid")
    )
    around.taken |= {*around.known, *TAKEN}
    has_frame = plan.text("cables", "frame-strap") != "none"
    around.studs = [*STUDS, "body", "engine", *(["frame"] if has_frame else [])]


def ask_factory_box(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for the factory's fuse box and light switch."""
    box = yield from page(
        "old-fuse-box",
        "The factory's fuse box: constant, ignition and accessory fuses",
        {
            "place": ask.fact("", "where", "under-dash", read_place(plan.around)),
            "wire": ask.fact("", "each wire to it", "12 AWG 2 ft", read_wire),
        },
        can_be_none=True,
    )
    if box is not None:
        plan.pages["old-fuse-box"] = box
        feeds = {"old-constant": "battery"}
        run = plan.text("ignition-switch", "run").split()
        feeds |= {"old-ignition": "ignition"} if {"run", "ignition"} & set(run) else {}
        feeds |= {"old-accessory": "accessory"} if "accessory" in run else {}
        for feed, bus in feeds.items():
            plan.around.feeds[feed] = f"old-fuse-box.{bus}"
        plan.around.known.add("old-fuse-box")
        plan.around.panels.add("old-fuse-box")
    lights = yield from page(
        "light-switch",
        "The light switch",
        {
            "fuse": ask.fact("", "its fuse, or none", "20 A breaker", read_fuse),
            "wire": ask.fact("", "wire to it", "12 AWG 3 ft", read_wire),
            "place": ask.fact("", "where", "dash", read_place(plan.around)),
        },
        can_be_none=True,
    )
    if lights is not None:
        plan.pages["light-switch"] = lights
        plan.around.feeds["lights"] = "light-switch.head"
        plan.around.feeds["side-lights"] = "light-switch.tail"
        plan.around.known.add("light-switch")


def ask_panel(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for the added fuse panel and its relay, and for a second battery."""
    plan.panel = yield from ask.one(
        "panel",
        "An added fuse panel: both halves (constant and switched), constant only, or "
        "none?",
        "none",
        choice("none", "constant only", "both halves"),
    )
    feeds = dict(plan.around.feeds)
    if plan.panel != "none":
        trigger = "coil" if "coil" in feeds else next(iter(feeds))
        facts = {
            "place": ask.fact("", "where", "fender", read_place(plan.around)),
            "fuse": ask.fact(
                "main-fuse", "main fuse, or none", "60 A slow-fuse", read_fuse
            ),
            "wire": ask.fact(
                "main-wire", "wire from the battery", "8 AWG 3 ft", read_wire
            ),
        }
        if plan.panel == "both halves":
            facts["trigger"] = ask.fact(
                "panel-trigger",
                "what makes the relay of the switched half pull in",
                trigger,
                read_feed(plan.around),
            )
            facts["trigger-wire"] = ask.fact(
                "", "wire to the relay's 86", "18 AWG 4 ft", read_wire
            )
        told = yield from page("fuse-panel", "The added fuse panel", facts)
        assert told is not None
        plan.pages["fuse-panel"] = told
        plan.around.known.update(("fuse-panel", "panel-relay"))
        plan.around.panels.add("fuse-panel")
        halves = {"constant": "fuse-panel.constant"}
        if plan.panel == "both halves":
            halves["switched"] = "fuse-panel.switched"
        plan.around.feeds = {**halves, **feeds}
    if "second-battery" in ask.defaults:
        yield from ask_second_battery(plan, ask)


def ask_second_battery(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for a second battery that is charged through a relay."""
    told = yield from page(
        "second-battery",
        "The second battery and its relay",
        {
            "place": ask.fact(
                "second-battery", "where", "trunk", read_place(plan.around)
            ),
            "wire": ask.fact("", "cable between the two", "6 AWG 14 ft", read_wire),
            "fuse": ask.fact(
                "", "a fuse at each end, or none", "80 A slow-fuse", read_fuse
            ),
            "trigger": ask.fact(
                "",
                "what makes the relay pull in",
                "ignition",
                read_feed(plan.around),
            ),
            "ground": ask.fact(
                "", "its ground cable to the body", "6 AWG 2 ft", read_wire
            ),
        },
        can_be_none=True,
    )
    if told is not None:
        plan.pages["second-battery"] = told
        plan.around.feeds["second-battery"] = f"second-battery.{plan.hot}"
        plan.around.known.update(("second-battery", "split-relay"))


def _read_crank(text: str) -> str:
    """Read the contacts that are live while cranking; the starter's is one of them."""
    contacts = _read_contacts(text)
    if "start" not in contacts.split():
        raise ValueError("without start the starter gets no current; name it too")
    return contacts


def _read_contacts(text: str) -> str:
    """Read contacts of the ignition switch, with spaces between them."""
    words = re.split(r"[\s+]+", text.strip().lower())
    if words == ["none"]:
        return ""
    known = ("accessory", "run", "ignition", "start")
    return " ".join(one_of(word, known) for word in words)
