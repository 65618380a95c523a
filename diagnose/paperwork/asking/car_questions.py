"""Asks for a whole car: battery to grounds first, then circuit by circuit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

from diagnose.errors import did_you_mean
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.answers import (
    Fact,
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
from diagnose.paperwork.asking.supply_questions import ask_supply

# What says how a load is fed or how large it is, typed where names are asked for.
_FACT = re.compile(r"\s*(?:(?:feed|relay)\s|(?:fuse|load|wire)\s+\d)", re.IGNORECASE)


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
    yield from ask_supply(plan, ask)
    yield from _ask_controllers(plan, layouts, ask)
    yield from ask_circuits(plan, layouts, ask.defaults, chosen)
    return plan


def _ask_controllers(plan: CarPlan, layouts: Layouts, ask: Asker) -> Script[None]:
    """Ask for controllers and how each is fed and grounded."""
    around = plan.around
    names = yield Question(
        key="controllers",
        asks="Which controllers were added? The engine's is called engine-controller, "
        "the gearbox's transmission-controller.",
        default=ask.defaults.get("controllers", "none"),
        read=partial(_read_controllers, frozenset(around.taken), layouts),
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
                system=plan.system,
                near=did_you_mean(name, layouts.circuits),
                is_factory=key == "factory",
            )
            if circuit is not None:
                plan.circuits.append(circuit)


def _read_controllers(taken: frozenset[str], layouts: Layouts, text: str) -> list[str]:
    """Read names of controllers; what is known as a load is none."""
    names = _read_new_names(taken, text)
    load = next((name for name in names if layouts.circuit_called(name)), None)
    if load:
        raise ValueError(f'"{load}" is a load; loads are asked for next')
    return names


def _read_new_names(taken: frozenset[str], text: str) -> list[str]:
    """Read names that nothing on the car has."""
    facts = next((one.strip() for one in text.split(",") if _FACT.match(one)), "")
    if facts:
        raise ValueError(
            f'"{facts}" says what a load is like, which is asked next; its name first'
        )
    names = read_names(text)
    twice = next((name for name in names if name in taken), None)
    if twice:
        raise ValueError(f'"{twice}" is there already; leave it out or rename it')
    return names
