"""Operating states of a car: those of knowledge/ with the car's own switches.

A state that says which loads are on is there only when the file writes it: a state is
never solved with the key off under the name of one with the key on. Leaves which
states come with switches and outputs to `states_with_parts`, and what a state does to
the circuit to `circuit`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from diagnose.circuit.operating_states import ComesWith, OperatingState
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.states_with_parts import (
    KEY_ON,
    has_state,
    is_on,
    output_words,
    priming_seconds,
    switched_words,
    worked_positions,
)
from diagnose.files.car.grammar.entries import CarEntry, StateEntry
from diagnose.files.yaml_positions import Location

# Whatever a key of a state holds.
GivenT = TypeVar("GivenT")

# Each switch with its positions, the resting one first.
Switches = Mapping[str, tuple[str, ...]]


def car_switches(car: CarEntry) -> Switches:
    """Return each switch with its positions, the resting one first.

    Parameters
    ----------
    car : CarEntry
        The car file.

    Returns
    -------
    Switches
        In the order of the file.
    """
    return MappingProxyType(
        {name: tuple(switch.live) for name, switch in car.switches.items()}
    )


def car_states(car: CarEntry, draft: Draft) -> tuple[OperatingState, ...]:
    """Return the car's operating states: the default ones first, then its own.

    Parameters
    ----------
    car : CarEntry
        The car file.
    draft : Draft
        Takes the problems.

    Returns
    -------
    tuple[OperatingState, ...]
        With their switches, outputs and labels.
    """
    switches = car_switches(car)
    known = draft.knowledge.states
    states = _default_states(car, known)
    for name, entry in car.states.items():
        if name not in known:
            own = _merged(name, entry, {**known, **states}, draft)
            if own is None:
                continue
            states[name] = own
        _check_positions(name, entry, switches, draft)
    _check_order(car, {**known, **states}, draft)
    _check_outputs(car, states, draft)
    states = {name: _after_one_there(s, states, known) for name, s in states.items()}
    found = {name: _with_commands(state, car) for name, state in states.items()}
    return tuple(_in_words(state, found, car, draft) for state in found.values())


def _default_states(
    car: CarEntry, known: Mapping[str, OperatingState]
) -> dict[str, OperatingState]:
    """Return the states of knowledge/ that the car has, in the order there."""
    built: dict[str, OperatingState] = {}

    def build(name: str) -> OperatingState:
        if name not in built:
            base = known[name]
            there = base.like and has_state(car, known[base.like], known)
            like = build(base.like).switch_positions if there else {}
            worked = worked_positions(car, base, known)
            positions = MappingProxyType({**like, **worked})
            base = replace(base, switch_positions=positions)
            entry = car.states.get(name)
            built[name] = base if entry is None else _filled(name, entry, base)
        return built[name]

    names = [name for name in known if has_state(car, known[name], known)]
    return {name: build(name) for name in names}


def _after_one_there(
    state: OperatingState,
    states: Mapping[str, OperatingState],
    known: Mapping[str, OperatingState],
) -> OperatingState:
    """Return a state that comes after one the car has, or from rest."""
    after = state.after
    while after and after not in states and after in known:
        after = known[after].after
    return replace(state, after=after)


def _with_commands(state: OperatingState, car: CarEntry) -> OperatingState:
    """Return a state with the outputs that are on in it, and how long they prime."""
    commands = {
        f"{controller}.{output}"
        for controller, entry in car.controllers.items()
        for output, details in entry.outputs.items()
        if is_on(details, state)
    }
    seconds = state.lasts_seconds
    if state.comes_with is ComesWith.PRIMING:
        seconds = priming_seconds(car) or seconds
    return replace(state, commands=frozenset(commands), lasts_seconds=seconds)


def _in_words(
    state: OperatingState,
    states: Mapping[str, OperatingState],
    car: CarEntry,
    draft: Draft,
) -> OperatingState:
    """Return a state with the words of this car in its label and its instruction."""
    known, base = draft.knowledge, states.get(state.like)
    words = {
        "{disconnected}": _disconnected(car, draft),
        "{switched}": switched_words(state, base, car_switches(car)),
        "{outputs}": output_words(state, base, known.output_hows, known.role_words),
        "{seconds}": f"{state.lasts_seconds:g}",
    }
    label, how = state.label, state.how
    for mark, text in words.items():
        label, how = label.replace(mark, text), how.replace(mark, text)
    return replace(state, label=label, how=how)


def _disconnected(car: CarEntry, draft: Draft) -> str:
    """Return in words that the battery, or each of several, is disconnected."""
    post = "positive" if draft.ground_post == "plus" else "negative"
    others = sum(part.kind == "battery" for part in car.parts.values())
    if not others:
        return f"battery disconnected at its {post} post"
    each = "both batteries" if others == 1 else "all batteries"
    return f"{each} disconnected at their {post} posts"


def _merged(
    name: str, entry: StateEntry, states: Mapping[str, OperatingState], draft: Draft
) -> OperatingState | None:
    """Return a state with what the file says about it."""
    location: Location = ("states", name)
    base = states.get(entry.like or name)
    if base is None and draft.is_broken(entry.like or name):
        return None
    if base is None and entry.like is None:
        draft.report(
            location,
            f'there is no operating state "{name}"{did_you_mean(name, states)}; '
            "a new one needs `like: ` and the state it is like",
            of_key=True,
        )
        return None
    if base is None:
        draft.report(
            (*location, "like"),
            f'there is no operating state "{entry.like}"'
            f"{did_you_mean(str(entry.like), states)}",
        )
        return None
    return _filled(name, entry, base)


def _filled(name: str, entry: StateEntry, base: OperatingState) -> OperatingState:
    """Return a state as the file has it, from the one that it is like."""
    return replace(
        base,
        name=name,
        switch_positions=MappingProxyType({**base.switch_positions, **entry.switches}),
        label=entry.label or base.label,
        after=base.after if entry.after is None else entry.after,
        engine_rpm=entry.engine or base.engine_rpm,
        change_minutes=_first(entry.change, base.change_minutes),
        needs_helper=_first(entry.needs_helper, base.needs_helper),
        caution=entry.caution or base.caution,
    )


def _first(given: GivenT | None, default: GivenT) -> GivenT:
    """Return what the file gives, else the default."""
    return default if given is None else given


def _check_positions(
    name: str, entry: StateEntry, switches: Switches, draft: Draft
) -> None:
    """Report switches and positions that don't exist."""
    for switch, position in entry.switches.items():
        location = ("states", name, "switches", switch)
        positions = switches.get(switch)
        if positions is None:
            if not draft.is_broken(switch):
                draft.report(
                    location,
                    f'there is no switch "{switch}"{did_you_mean(switch, switches)}',
                    of_key=True,
                )
        elif position not in positions:
            draft.report(
                location,
                f'switch "{switch}" has no position "{position}"'
                f"{did_you_mean(position, positions)}; it has {', '.join(positions)}",
            )


def _check_order(
    car: CarEntry, states: Mapping[str, OperatingState], draft: Draft
) -> None:
    """Report states that come after none that exists, or after themselves."""
    for name, entry in car.states.items():
        location = ("states", name, "after")
        if entry.after is None or draft.is_broken(entry.after):
            continue
        if entry.after not in states:
            draft.report(
                location,
                f'there is no operating state "{entry.after}"'
                f"{did_you_mean(entry.after, states)}; known: {', '.join(states)}",
            )
            continue
        seen = [name]
        while (before := states[seen[-1]].after) in states and before not in seen:
            seen.append(before)
        if before in seen:
            draft.report(location, f'state "{name}" would come after itself')


def _check_outputs(
    car: CarEntry, states: Mapping[str, OperatingState], draft: Draft
) -> None:
    """Report outputs that are on in states the car does not have, or not at key on."""
    for controller, entry in car.controllers.items():
        for output, details in entry.outputs.items():
            where: Location = ("controllers", controller, "outputs", output)
            for index, state in enumerate(details.on_in):
                if state not in states and not draft.is_broken(state):
                    message = _no_state(state, states, draft)
                    draft.report((*where, "on-in", index), message)
            primes = details.primes
            if primes is not None and math.isfinite(primes) and KEY_ON in details.on_in:
                draft.report(
                    (*where, "primes"),
                    f'"{output}" is on in {KEY_ON}, where what primes rests again; '
                    f"take {KEY_ON} out of on-in, or write `primes: always`",
                )


def _no_state(name: str, states: Mapping[str, OperatingState], draft: Draft) -> str:
    """Return that the car does not have a state, and why."""
    if name in draft.knowledge.states:
        return (
            f'this car does not have the state "{name}"; write it under `states` with '
            "the positions of its switches"
        )
    return (
        f'there is no operating state "{name}"'
        f"{did_you_mean(name, {**draft.knowledge.states, **states})}; "
        f"known: {', '.join(states)}"
    )
