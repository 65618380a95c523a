"""What makes a finished circuit sound: one small function for each claim.

Decision that binds this module: a file may have entries that could not be read. The
nodes these may have touched are `tainted` and given the benefit of the doubt, so that
every problem reported is real.
Leaves what single entries say to `names`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from diagnose.circuit.car import Car, Part
from diagnose.circuit.design.reach import (
    CONDUCTOR_KINDS,
    METAL_KINDS,
    hot_post,
    reached,
)
from diagnose.circuit.elements import CONSUMER_KINDS, ELEMENTS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.metal import METAL_TERMINALS


@dataclass(frozen=True, slots=True, kw_only=True)
class _Circuit:
    """A car with what the checks look up over and over.

    Parameters
    ----------
    hot_post : str
        The post of the battery that is not grounded.
    ground, hot : frozenset[str]
        Nodes that conductors join to the grounded post, and to the other one.
    """

    car: Car
    draft: Draft
    hot_post: str
    ground: frozenset[str]
    hot: frozenset[str]

    @property
    def tainted(self) -> set[str]:
        """Nodes that unread entries may have touched."""
        return self.draft.tainted

    def report(self, part: Part, message: str) -> None:
        """Report a problem at the entry that declares a part."""
        self.draft.report(self.draft.locations[part.name], message, of_key=True)


def check_circuit(car: Car, draft: Draft) -> None:
    """Check the finished circuit.

    Parameters
    ----------
    car : Car
        The car, perhaps without the parts whose terminals are unknown.
    draft : Draft
        Takes the problems.
    """
    hot = hot_post(car)
    circuit = _Circuit(
        car=car,
        draft=draft,
        hot_post=hot,
        ground=reached(_conductors(car), (car.reference, *draft.tainted)),
        hot=reached(_conductors(car), (hot, *draft.tainted)),
    )
    for check in (
        _check_wire_ends,
        _check_contacts_are_connected,
        _check_sources,
        _check_closing,
        _check_alternator,
        _check_consumers,
        _check_fuses,
    ):
        check(circuit)


def _conductors(car: Car, kinds: frozenset[str] = CONDUCTOR_KINDS) -> list[Part]:
    """Return the parts of a car that join two nodes."""
    return [part for part in car.parts if part.kind in kinds]


def _check_wire_ends(circuit: _Circuit) -> None:
    """Report wires with an end on nothing else, and with both ends on one terminal."""
    touching: dict[str, set[str]] = {}
    for part in circuit.car.parts:
        for node in part.terminals.values():
            touching.setdefault(node, set()).add(part.name)
    for part in circuit.car.parts:
        if part.kind != "wire":
            continue
        ends = part.terminals["a"], part.terminals["b"]
        if ends[0] == ends[1]:
            circuit.report(
                part, f'wire "{part.name}" has both ends on "{ends[0]}"; move one'
            )
            continue
        for node in ends:
            is_adrift = node in METAL_TERMINALS.values() and node not in circuit.ground
            if is_adrift:
                continue  # `_check_consumers` says what the metal lacks
            if touching[node] == {part.name} and node not in circuit.tainted:
                circuit.report(
                    part,
                    f'wire "{part.name}" ends on "{node}", where nothing else is '
                    "connected; join something there, or delete the wire",
                )


def _check_contacts_are_connected(circuit: _Circuit) -> None:
    """Report relays and switches whose common terminal is on nothing."""
    touching: dict[str, set[str]] = {}
    for part in circuit.car.parts:
        for node in part.terminals.values():
            touching.setdefault(node, set()).add(part.assembly)
    reported = set()
    for part in circuit.car.parts:
        if part.kind not in {"contacts", "switch-contact"}:
            continue
        node = part.terminals["a"]
        is_alone = touching[node] == {part.assembly} and node not in circuit.tainted
        if is_alone and part.assembly not in reported:
            reported.add(part.assembly)
            circuit.report(
                part, f'nothing is connected to "{node}"; join its supply to it'
            )


def _check_sources(circuit: _Circuit) -> None:
    """Report sources shorted by metal, and two in one loop of nothing but metal."""
    metal = _conductors(circuit.car, METAL_KINDS)
    sources = []
    for part in circuit.car.parts:
        if part.kind in {"battery", "alternator"}:
            posts = _posts(part, circuit)
            sources.append((part, [reached(metal, (post,)) for post in posts], posts))
    for part, joined, posts in sources:
        if posts[1] in joined[0]:
            circuit.report(
                part,
                f'"{posts[0]}" and "{posts[1]}" are joined by nothing but metal: a '
                f"short circuit of {part.name}",
            )
    looped = set()
    for (one, joined, own), (two, _, posts) in itertools.combinations(sources, 2):
        if own[1] in joined[0] or two.name in looped:
            continue
        is_parallel = posts[0] in joined[0] and posts[1] in joined[1]
        is_reversed = posts[1] in joined[0] and posts[0] in joined[1]
        if (is_parallel and one.kind == two.kind) or is_reversed:
            looped.add(two.name)
            way = "the wrong way round" if is_reversed else "in parallel"
            circuit.report(
                two,
                f'"{two.name}" and "{one.name}" are sources in one loop, {way}, with '
                "nothing but metal between them; put a relay, a switch or a diode "
                "between them",
            )


def _posts(source: Part, circuit: _Circuit) -> list[str]:
    """Return the terminals of a source, the positive one first."""
    if source.kind == "battery":
        return [source.terminals["plus"], source.terminals["minus"]]
    ends = [source.terminals["output"], source.terminals["case"]]
    return ends[::-1] if circuit.car.is_positive_ground else ends


def _check_closing(circuit: _Circuit) -> None:
    """Report contacts and outputs that short the battery as soon as they close."""
    metal = _conductors(circuit.car, METAL_KINDS)
    hot = reached(metal, (circuit.hot_post,))
    ground = reached(metal, (circuit.car.reference,))
    if hot & ground:
        return
    for part in circuit.car.parts:
        if part.kind in {"contacts", "switch-contact", "driver"}:
            ends = set(part.terminals.values())
            if ends & hot and ends & ground:
                circuit.report(
                    part,
                    f'"{part.name}" shorts the battery when it closes: metal joins '
                    "one end to each post; put a load in between",
                )


def _check_alternator(circuit: _Circuit) -> None:
    """Report an alternator that can't charge the battery."""
    for part in circuit.car.parts:
        if part.kind != "alternator":
            continue
        output = part.terminals["output"]
        if output not in circuit.hot | circuit.ground:
            circuit.report(
                part,
                f'nothing joins "{output}" to the battery; add the charging wire',
            )


def _check_consumers(circuit: _Circuit) -> None:
    """Report loads and coils without a supply or without a ground return."""
    adrift = _metal_adrift(circuit)
    stranded: dict[str, list[str]] = {}
    for part in circuit.car.parts:
        if part.kind not in CONSUMER_KINDS:
            continue
        ends = [part.terminals[name] for name in ELEMENTS[part.kind].terminals]
        exciter = _exciter_ground(circuit)
        ground = circuit.ground | exciter
        if any(end in ground for end in ends) and any(
            end in circuit.hot for end in ends
        ):
            continue
        if ends[0] in circuit.hot or not any(end in ground for end in ends):
            missing, end = "no ground return", ends[1]
            target = circuit.car.reference
        else:
            missing, end = "no supply", ends[0]
            target = circuit.hot_post
        if target == circuit.car.reference and end in adrift:
            stranded.setdefault(adrift[end], []).append(part.name)
            continue
        circuit.report(
            part,
            f'"{part.name}" has {missing}: nothing joins "{end}" to {target}',
        )

    for metal, parts in stranded.items():
        circuit.draft.report(
            ("metal", metal),
            f"nothing joins {metal} to {circuit.car.reference}; without that "
            f"{', '.join(parts)} {'has' if len(parts) == 1 else 'have'} no ground "
            "return; add the strap or cable under `wires`",
            of_key=True,
        )


def _metal_adrift(circuit: _Circuit) -> dict[str, str]:
    """Return the nodes joined to body, engine or frame when that has no ground.

    One missing strap leaves many parts without a return; the metal is what to name.
    """
    conductors = _conductors(circuit.car)
    return {
        node: name
        for name, terminal in METAL_TERMINALS.items()
        if terminal not in circuit.ground
        for node in reached(conductors, (terminal,))
    }


def _exciter_ground(circuit: _Circuit) -> frozenset[str]:
    """Return the nodes grounded through an alternator's field, as a charge lamp is."""
    starts = [
        part.terminals["exciter"]
        for part in circuit.car.parts
        if part.kind == "alternator" and "exciter" in part.terminals
    ]
    return reached(_conductors(circuit.car), starts)


def _check_fuses(circuit: _Circuit) -> None:
    """Report fuses through which nothing can draw current."""
    users = {
        node
        for part in circuit.car.parts
        if part.kind in CONSUMER_KINDS or part.kind in {"battery", "alternator"}
        for node in part.terminals.values()
    }
    users |= circuit.tainted
    conductors = _conductors(circuit.car)
    for fuse in circuit.car.parts:
        if fuse.kind not in PROTECTIVE_KINDS:
            continue
        others = [part for part in conductors if part.name != fuse.name]
        for node in fuse.terminals.values():
            if not users & reached(others, (node,)):
                circuit.report(
                    fuse,
                    f'{fuse.kind} "{fuse.name}" is on no path: nothing beyond '
                    f'"{node}" gives or takes current; join something there, or '
                    "delete it",
                )
