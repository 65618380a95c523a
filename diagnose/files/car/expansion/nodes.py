"""From names to nodes: which terminals of a draft are one electrical point.

Leaves what a sound circuit is to `checks`.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from diagnose.circuit.car import Part
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.yaml_positions import Location, Plain


def resolve(draft: Draft) -> tuple[Part, ...]:
    """Return the draft's parts with nodes instead of terminal names.

    Parameters
    ----------
    draft : Draft
        The car; unknown names are added to its problems.

    Returns
    -------
    tuple[Part, ...]
        The parts whose every terminal is known, in the draft's order.
    """
    for name, location in draft.ends:
        find_terminal(draft, name, location)
    nodes = {name: _node(draft, name) for name in draft.terminals}
    _taint_by_unread(draft, nodes)
    _taint_by_misnamed(draft, nodes)
    unused = _unused_optional(draft)
    _fill_places(draft)
    parts = []
    for part in draft.parts:
        names = {
            terminal: draft.main_terminals.get(name, name)
            for terminal, name in part.terminals.items()
        }
        if part.kind == "alternator":
            names = {key: name for key, name in names.items() if name not in unused}
        if any(name in unused for name in names.values()):
            continue
        if any(name not in nodes for name in names.values()):
            draft.tainted.update(
                nodes[name] for name in names.values() if name in nodes
            )
            continue
        terminals = {key: nodes[name] for key, name in names.items()}
        place = part.place or _place_of(draft, names)
        parts.append(
            replace(
                part,
                terminals=MappingProxyType(terminals),
                values=MappingProxyType(dict(part.values)),
                place=place,
                stud_beside=_stud_node(part, nodes),
            )
        )
    return tuple(parts)


def _stud_node(part: Part, nodes: Mapping[str, str]) -> tuple[str, str] | None:
    """Return the end that could be on another stud, with the node of that one."""
    if part.stud_beside is None or part.stud_beside[1] not in nodes:
        return None
    end, name = part.stud_beside
    return end, nodes[name]


def _taint_by_unread(draft: Draft, nodes: Mapping[str, str]) -> None:
    """Note the nodes that entries which could not be read name."""
    for section, entries in draft.document.data.items():
        named = entries if isinstance(entries, dict) else {}
        for name, entry in {section: entries, **named}.items():
            if name in draft.broken:
                _taint_by_words(draft, nodes, entry)
    for entry in draft.document.repeated:
        _taint_by_words(draft, nodes, entry)


def _taint_by_words(draft: Draft, nodes: Mapping[str, str], entry: Plain) -> None:
    """Note the nodes that an entry names."""
    for word in _words(entry):
        terminal = draft.main_terminals.get(word, word)
        if terminal in nodes:
            draft.tainted.add(nodes[terminal])


def _taint_by_misnamed(draft: Draft, nodes: Mapping[str, str]) -> None:
    """Note the nodes that a misspelt name may have meant."""
    for name in draft.misnamed:
        assembly = name.partition(".")[0]
        meant = difflib.get_close_matches(name, list(nodes), n=3, cutoff=0.6)
        meant.extend(known for known in nodes if known.startswith(f"{assembly}."))
        draft.tainted.update(nodes[known] for known in meant)


def _words(data: Plain) -> Iterator[str]:
    """Return every word of the text in an entry."""
    if isinstance(data, str):
        yield from data.split()
    elif isinstance(data, dict):
        for value in data.values():
            yield from _words(value)
    elif isinstance(data, list):
        for value in data:
            yield from _words(value)


def find_terminal(draft: Draft, name: str, location: Location) -> str | None:
    """Return the full name of a terminal, or report that there is none.

    Parameters
    ----------
    draft : Draft
        The car.
    name : str
        As in the file: ``battery.plus`` or ``body``.
    location : Location
        Where the file says so.

    Returns
    -------
    str or None
        The terminal; None when there is none.
    """
    full = draft.main_terminals.get(name, name)
    if full in draft.terminals:
        return full
    if not draft.is_broken(name):
        draft.report(_where(draft, location), _unknown_terminal(draft, name))
        draft.misnamed.add(name)
    return None


def _where(draft: Draft, location: Location) -> Location:
    """Return the location of the value that names a terminal, as near as possible."""
    return location if location in draft.document.values else location[:-1]


# What people call the metal of the body. Own choice, from common use.
BODY_WORDS = ("chassis", "ground", "earth", "gnd", "bodywork")


def _unknown_terminal(draft: Draft, name: str) -> str:
    """Return the message for a terminal that doesn't exist."""
    assembly, _, terminal = name.partition(".")
    if name == "frame":
        return "this car has no frame; add `frame` with its place to `metal`"
    if name in BODY_WORDS:
        return f'there is no terminal "{name}"; the metal of the car is `body`'
    own = [
        known.partition(".")[2]
        for known in draft.terminals
        if known.startswith(f"{assembly}.")
    ]
    if own and terminal:
        return (
            f'"{assembly}" has no terminal "{terminal}"{did_you_mean(terminal, own)}; '
            f"it has {', '.join(own)}"
        )
    if own:
        choices = " or ".join(f"{assembly}.{one}" for one in own)
        return f'"{assembly}" has several terminals; name one: {choices}'
    known = [*draft.terminals, *draft.main_terminals]
    return f'there is no terminal "{name}"{did_you_mean(name, known)}'


def _node(draft: Draft, name: str) -> str:
    """Return the node of a terminal: the last of the terminals it sits on."""
    seen = [name]
    while seen[-1] in draft.sits_on:
        target, location = draft.sits_on[seen[-1]]
        found = find_terminal(draft, target, location) if len(seen) == 1 else None
        found = found or draft.main_terminals.get(target, target)
        if found in seen:
            draft.tainted.update(seen)
            if len(seen) == 1 or name == min(seen):
                draft.report(
                    location, f'"{name}" sits on itself; one end must be another part'
                )
            break
        if found not in draft.terminals:
            draft.tainted.add(seen[-1])
            break
        seen.append(found)
    return seen[-1]


def _unused_optional(draft: Draft) -> frozenset[str]:
    """Return the optional terminals that nothing is joined to."""
    used = {draft.main_terminals.get(name, name) for name, _ in draft.ends}
    used.update(target for target, _ in draft.sits_on.values())
    used.update(draft.sits_on)
    return frozenset(draft.optional - used)


def _fill_places(draft: Draft) -> None:
    """Give terminals without a place the place of a neighbour."""
    links: dict[str, list[str]] = {}
    pairs = [(name, target) for name, (target, _) in draft.sits_on.items()]
    pairs.extend(
        (part.terminals["a"], part.terminals["b"])
        for part in draft.parts
        if {"a", "b"} <= set(part.terminals)
    )
    for first, second in pairs:
        for one, other in ((first, second), (second, first)):
            links.setdefault(one, []).append(draft.main_terminals.get(other, other))
    waiting = {name for name, place in draft.terminal_places.items() if not place}
    while waiting:
        found = _places_from_neighbours(draft, waiting, links)
        if not found:
            return
        draft.terminal_places.update(found)
        waiting -= set(found)


def _places_from_neighbours(
    draft: Draft, waiting: set[str], links: Mapping[str, list[str]]
) -> dict[str, str]:
    """Return the places that waiting terminals can take over now."""
    found = {}
    for name in sorted(waiting):
        for neighbour in links.get(name, []):
            place = draft.terminal_places.get(neighbour)
            if place:
                found[name] = place
                break
    return found


def _place_of(draft: Draft, names: Mapping[str, str]) -> str:
    """Return the first known place among a part's terminals."""
    places = (draft.terminal_places.get(name) for name in names.values())
    return next((place for place in places if place), "")
