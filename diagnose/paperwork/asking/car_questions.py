"""Asks for a whole car: battery to grounds first, then circuit by circuit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.answers import (
    Fact,
    choice,
    one_of,
    optional,
    read_chosen,
    read_current,
    read_fuse,
    read_names,
    read_title,
    read_wire,
)
from diagnose.paperwork.asking.circuit_questions import ask_circuit
from diagnose.paperwork.asking.pages import page, read_feed, read_ground, read_place
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Question, Script
from diagnose.paperwork.asking.source_questions import Asker, ask_sources

# Studs that ground wires meet at: metal and place.
STUDS = {
    "body-stud": ("body", "firewall"),
    "engine-stud": ("engine", "engine-top"),
    "dash-stud": ("body", "under-dash"),
    "rear-stud": ("body", "trunk"),
}


# Names that the supply of the car uses up.
_TAKEN = ("body", "engine", "frame", "main", "charge", "old-main", "light-feed", *STUDS)


def ask_car(layouts: Layouts, told: Mapping[str, str]) -> Script[CarPlan]:
    """Ask for a whole car.

    Parameters
    ----------
    layouts : Layouts
        The usual cars and circuits.
    told : Mapping[str, str]
        Question to a default that is known beforehand.

    Returns
    -------
    CarPlan
        Everything answered.
    """
    plan = CarPlan()
    plan.around.places = list(layouts.places)
    plan.title = yield Question(
        key="title",
        asks="What do you call the car?",
        default=told.get("title", "My car"),
        read=read_title,
    )
    chosen = yield Question(
        key="layouts",
        asks="What was changed on it? Several may hold, with commas between them.",
        says=tuple(
            f"{number}. {name}: {layout.says}"
            for number, (name, layout) in enumerate(layouts.layouts.items(), start=1)
        ),
        default="none",
        read=read_chosen(layouts.layouts),
    )
    ask = Asker({**layouts.answers(chosen), **told})
    yield from ask_sources(plan, ask)
    yield from _ask_supply(plan, ask)
    yield from _ask_controllers(plan, ask)
    yield from ask_circuits(plan, layouts, ask.defaults, chosen)
    return plan


def _ask_supply(plan: CarPlan, ask: Asker) -> Script[None]:
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
        },
    )
    assert told is not None
    plan.pages["ignition-switch"] = told
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
    yield from _ask_factory_box(plan, ask)
    yield from _ask_panel(plan, ask)
    around.feeds["battery"] = f"battery.{plan.hot}"
    around.feed_place = plan.text("battery", "place")
    around.known.update(
        ("battery", "alternator", "starter", "ignition-switch", "starter-solenoid")
    )
    around.taken |= {*around.known, *_TAKEN}
    has_frame = plan.text("cables", "frame-strap") != "none"
    around.studs = [*STUDS, "body", "engine", *(["frame"] if has_frame else [])]


def _ask_factory_box(plan: CarPlan, ask: Asker) -> Script[None]:
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


def _ask_panel(plan: CarPlan, ask: Asker) -> Script[None]:
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
        yield from _ask_second_battery(plan, ask)


def _ask_second_battery(plan: CarPlan, ask: Asker) -> Script[None]:
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


def _ask_controllers(plan: CarPlan, ask: Asker) -> Script[None]:
    """Ask for controllers and how each is fed and grounded."""
    around = plan.around
    names = yield Question(
        key="controllers",
        asks="Which controllers were added? The engine's is called engine-controller, "
        "the gearbox's transmission-controller.",
        default=ask.defaults.get("controllers", "none"),
        read=partial(_read_new_names, frozenset(around.taken)),
    )
    for name in names:
        usual = ("switched", "ignition", "run", "accessory", *around.feeds)
        usual_feed = next(one for one in usual if one in around.feeds)
        told = yield from page(
            name,
            f"{name}, a controller",
            {
                "feed": Fact(
                    says="what feeds it",
                    usual=usual_feed,
                    read=read_feed(around, has_outputs=False),
                ),
                "fuse": Fact(says="its fuse, or none", usual="10 A", read=read_fuse),
                "wire": Fact(
                    says="wire to its supply", usual="16 AWG 7 ft", read=read_wire
                ),
                "draws": Fact(says="what it draws", usual="0.8 A", read=read_current),
                "ground": Fact(
                    says="where its ground goes",
                    usual="engine-stud via 14 AWG 5 ft",
                    read=read_ground(around, has_outputs=False),
                ),
                "memory": Fact(
                    says="constant feed of its memory, or none",
                    usual="none",
                    read=optional(read_feed(around, has_outputs=False)),
                ),
                "memory-wire": Fact(
                    says="wire to its memory, if it has one",
                    usual="18 AWG 7 ft",
                    read=read_wire,
                ),
                "place": Fact(
                    says="where it is", usual="under-dash", read=read_place(around)
                ),
            },
        )
        assert told is not None
        plan.controllers[name] = told
        fed = f"{name}-feed-fuse.out"
        if told["fuse"].text == "none":
            fed = around.feeds.get(told["feed"].text, told["feed"].text)
        around.controllers[name] = fed
        around.known.update((name, f"{name}-feed-fuse"))
        around.taken.add(name)


def ask_circuits(
    plan: CarPlan,
    layouts: Layouts,
    defaults: Mapping[str, str],
    chosen: list[str],
) -> Script[None]:
    """Ask which circuits there are, and for each of them.

    Parameters
    ----------
    plan : CarPlan
        Takes the circuits.
    layouts : Layouts
        The usual circuits.
    defaults : Mapping[str, str]
        Question to its default.
    chosen : list[str]
        Layouts the car is like.
    """
    known = ", ".join(layouts.circuits)
    adds = list(
        dict.fromkeys(one for name in chosen for one in layouts.layouts[name].adds)
    )
    factory = list(
        dict.fromkeys(
            one
            for name in chosen
            for one in layouts.layouts[name].factory
            if one not in adds
        )
    )
    for key, asks, usual in (
        ("added", "Which loads were added, or wired anew? Any name will do.", adds),
        ("factory", "Which of the factory's loads matter to you?", factory),
    ):
        names = yield Question(
            key=key,
            asks=asks,
            says=(f"Known with their usual values: {known}.",),
            default=", ".join(usual) or "none",
            read=partial(_read_new_names, frozenset(plan.around.taken)),
        )
        for name in names:
            plan.around.taken.add(name)
            circuit = yield from ask_circuit(
                name,
                layouts.circuit_called(name),
                plan.around,
                defaults,
                is_factory=key == "factory",
            )
            if circuit is not None:
                plan.circuits.append(circuit)


def _read_new_names(taken: frozenset[str], text: str) -> list[str]:
    """Read names that nothing on the car has."""
    names = read_names(text)
    twice = next((name for name in names if name in taken), None)
    if twice:
        raise ValueError(f'"{twice}" is there already; leave it out or rename it')
    return names


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
