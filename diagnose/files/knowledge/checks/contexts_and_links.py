"""What contexts.yaml, triggers.yaml and links.yaml say of modes and states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diagnose.files.knowledge.checks.findings import (
    Finding,
    mode_names,
    modes_named,
    unknown_modes,
    unknown_name,
)
from diagnose.files.knowledge.contents import Contents
from diagnose.files.yaml_positions import Location


def check_context_shifts(contents: Contents) -> Iterator[Finding]:
    """Find shifts by unknown answers, and of unknown modes."""
    modes = mode_names(contents)
    for name, context in contents.contexts.contexts.items():
        for index, shift in enumerate(context.shifts):
            place: Location = ("contexts", name, "shifts", index)
            where = (*place, "modes")
            yield from unknown_modes(shift.modes, where, modes, file="contexts")
            for answer in shift.weights:
                if answer not in context.states:
                    yield Finding(
                        file="contexts",
                        location=(*place, "weights", answer),
                        message=unknown_name(
                            f"answer of {name}", answer, context.states
                        ),
                        is_key=True,
                    )


def check_triggers(contents: Contents) -> Iterator[Finding]:
    """Find triggers with unknown states and cautions."""
    states, cautions = contents.states.states, contents.cautions.cautions
    for name, trigger in contents.triggers.triggers.items():
        place: Location = ("triggers", name)
        for state in trigger.present:
            if state not in states:
                yield Finding(
                    file="triggers",
                    location=(*place, "present", state),
                    message=unknown_name("operating state", state, states),
                    is_key=True,
                )
        for key, value, known, what in (
            ("state", trigger.test.state, states, "operating state"),
            ("caution", trigger.test.caution, cautions, "caution"),
        ):
            if value not in known:
                yield Finding(
                    file="triggers",
                    location=(*place, "test", key),
                    message=unknown_name(what, value, known),
                )


def check_signs(contents: Contents) -> Iterator[Finding]:
    """Find signs with unknown triggers, states, symptoms and cautions."""
    states, cautions = contents.states.states, contents.cautions.cautions
    triggers, symptoms = contents.triggers.triggers, contents.symptoms.symptoms
    for name, sign in contents.triggers.signs.items():
        named: list[tuple[str, str, Mapping[str, object], str]]
        named = [("triggers", one, triggers, "trigger") for one in sign.triggers]
        named += [("loses", one, symptoms, "symptom") for one in sign.loses]
        named.append(("state", sign.state, states, "operating state"))
        if sign.caution:
            named.append(("caution", sign.caution, cautions, "caution"))
        for key, value, known, what in named:
            if value not in known:
                yield Finding(
                    file="triggers",
                    location=("signs", name, key),
                    message=unknown_name(what, value, known),
                )


def check_links(contents: Contents) -> Iterator[Finding]:
    """Find links of unknown modes, and children that are parents as well."""
    modes = mode_names(contents)
    before = [p for link in contents.links.links.values() for p in link.parents]
    before += [
        pattern
        for spot in contents.links.spots.values()
        for weighed in spot.weights
        for pattern in weighed.modes
    ]
    kinds = {mode.split(".")[0] for mode in modes_named(modes, before)}
    for name, link in contents.links.links.items():
        place: Location = ("links", name)
        yield from unknown_modes(link.parents, (*place, "parents"), modes)
        yield from unknown_modes(link.children, (*place, "children"), modes)
        for number, pattern in enumerate(link.children):
            shared = {
                mode.split(".")[0] for mode in modes_named(modes, [pattern])
            } & kinds
            if shared:
                yield Finding(
                    file="links",
                    location=(*place, "children", number),
                    message=f"a {min(shared)} is a parent or in a spot as well",
                )


def check_spots(contents: Contents) -> Iterator[Finding]:
    """Find spots of unknown modes, and those without a chance for each answer."""
    modes, contexts = mode_names(contents), contents.contexts.contexts
    for name, spot in contents.links.spots.items():
        place: Location = ("spots", name)
        for number, weighed in enumerate(spot.weights):
            where = (*place, "weights", number, "modes")
            yield from unknown_modes(weighed.modes, where, modes)
        if spot.follows not in contexts:
            message = unknown_name("context", spot.follows, contexts)
            yield Finding(file="links", location=(*place, "follows"), message=message)
        elif set(spot.chances) != set(contexts[spot.follows].states):
            named = ", ".join(contexts[spot.follows].states)
            message = f"chances must be given for each answer: {named}"
            yield Finding(file="links", location=(*place, "chances"), message=message)
