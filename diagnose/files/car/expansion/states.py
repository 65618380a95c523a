"""Operating states of a car: those of knowledge/ with the car's own switches.

Leaves what a state does to the circuit to `circuit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from diagnose.circuit.car import OperatingState
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.draft import Draft
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
    grounded = "positive" if draft.ground_post == "plus" else "negative"
    known = draft.knowledge.states
    states = {name: state for name, state in known.items() if not state.is_optional}
    for name, entry in car.states.items():
        state = _merged(name, entry, {**known, **states}, draft)
        if state is not None:
            _check_positions(name, entry, switches, draft)
            states[name] = state
    _check_order(car, states, draft)
    commands = _commands(car, states, draft)
    return tuple(
        replace(
            state,
            label=state.label.replace("{grounded}", grounded),
            commands=state.commands | commands.get(name, frozenset()),
        )
        for name, state in states.items()
    )


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


def _commands(
    car: CarEntry, states: Mapping[str, OperatingState], draft: Draft
) -> Mapping[str, frozenset[str]]:
    """Return the outputs on in each state."""
    on: dict[str, set[str]] = {}
    for controller, entry in car.controllers.items():
        for output, details in entry.outputs.items():
            for index, state in enumerate(details.on_in):
                on.setdefault(state, set()).add(f"{controller}.{output}")
                if state not in states and not draft.is_broken(state):
                    draft.report(
                        ("controllers", controller, "outputs", output, "on-in", index),
                        f'there is no operating state "{state}"'
                        f"{did_you_mean(state, states)}; known: {', '.join(states)}",
                    )
    return {state: frozenset(outputs) for state, outputs in on.items()}
