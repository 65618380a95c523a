"""Links between faults: one that makes another likelier, and what spoils one place.

The rules come from knowledge/; which causes of one car they tie together follows from
its wiring. What the circuit itself brings about (a blown fuse, a battery left low) is
no link: it is in the solution. Leaves the arithmetic to `inference`.

A spot (water at one place) leaves every rate as it is on average and says only what
fails together; a link makes its child likelier, and what it adds is too little to
correct the published rates for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.faults.causes import Cause
from diagnose.faults.link_rules import LinkRule, LinkRules, Relation, SpotRule, is_of

# Kinds of part that a way along bare wiring goes through. Rule of the trade.
LEADS = frozenset({"wire", "joint", "clamp", "pin"})

# Kinds of part that a feed goes through on its way to a consumer. Rule of the trade.
CARRIERS = LEADS | {"fuse", "slow-fuse", "fusible-link", "breaker", "resistor"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Causes that make causes of one part likelier.

    Parameters
    ----------
    name : str
        That of the rule.
    parents : tuple[int, ...]
        Numbers of causes, rising; one of them is enough.
    part : str
        The part of the children.
    children : tuple[int, ...]
        Numbers of causes, rising.
    factor : float
        On the rate of each child. [1]
    says : str
        What a parent does to a child, in words.
    """

    name: str
    parents: tuple[int, ...]
    part: str
    children: tuple[int, ...]
    factor: float
    says: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One place of a car, and the causes that are likelier if it is in a condition.

    Parameters
    ----------
    name : str
        That of the rule and of the place.
    context : str
        The question of the car's history that its chance follows.
    chances : Mapping[str, float]
        Answer of `context` to the chance of the condition. [1]
    weights : Mapping[int, float]
        Number of a cause to how much likelier it is then; those not named are as
        likely as ever. [1]
    parts : tuple[str, ...]
        Parts with such causes, at least two.
    """

    name: str
    context: str
    chances: Mapping[str, float]
    weights: Mapping[int, float]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ties:
    """What ties the causes of one car together.

    Parameters
    ----------
    links : tuple[Link, ...]
        One for each rule and part with children.
    spots : tuple[Spot, ...]
        One for each rule and place.
    """

    links: tuple[Link, ...] = ()
    spots: tuple[Spot, ...] = ()


# What ties the causes of a car together in which every fault comes by itself.
UNTIED = Ties()


def ties_of(car: Car, causes: Sequence[Cause], rules: LinkRules) -> Ties:
    """Return how the causes of one car are tied together.

    Parameters
    ----------
    car : Car
        The car; its wiring says which parts a link leads to.
    causes : Sequence[Cause]
        All its causes.
    rules : LinkRules
        What knowledge/ says.

    Returns
    -------
    Ties
        By the numbers of causes.
    """
    links = (link for rule in rules.links for link in _links_of_rule(car, causes, rule))
    spots = (spot for rule in rules.spots for spot in _spots_of_rule(causes, rule))
    return Ties(links=tuple(links), spots=tuple(spots))


def _links_of_rule(car: Car, causes: Sequence[Cause], rule: LinkRule) -> Iterator[Link]:
    """Yield one link for each part that has children with a parent in place."""
    parents = [n for n, cause in enumerate(causes) if is_of(cause.mode, rule.parents)]
    children: dict[str, list[int]] = {}
    for number, cause in enumerate(causes):
        if is_of(cause.mode, rule.children):
            children.setdefault(cause.part.name, []).append(number)
    for name, numbers in children.items():
        near = _NEAR[rule.relation](car, causes[numbers[0]].part)
        found = [n for n in parents if causes[n].part.name in near]
        if found:
            yield Link(
                name=rule.name,
                parents=tuple(found),
                part=name,
                children=tuple(numbers),
                factor=rule.factor,
                says=rule.says,
            )


def _spots_of_rule(causes: Sequence[Cause], rule: SpotRule) -> Iterator[Spot]:
    """Yield one spot for each place where two parts or more may suffer."""
    of_place: dict[str, dict[int, float]] = {}
    for number, cause in enumerate(causes):
        for patterns, weight in rule.weights:
            if cause.part.place and is_of(cause.mode, patterns):
                of_place.setdefault(cause.part.place, {})[number] = weight
                break
    for place, weights in of_place.items():
        parts = tuple(dict.fromkeys(causes[number].part.name for number in weights))
        if len(parts) > 1:
            yield Spot(
                name=f"{rule.name}_{place}",
                context=rule.context,
                chances=rule.chances,
                weights=MappingProxyType(weights),
                parts=parts,
            )


def _coil_ground(car: Car, contacts: Part) -> frozenset[str]:
    """Return the parts on the shortest way from a relay's coil to ground."""
    coil = next((part for part in car.parts if part.name == contacts.gate), None)
    if coil is None:
        return frozenset()
    kinds, meeting = LEADS | {"driver"}, dict[str, list[Part]]()
    for part in car.parts:
        if part.kind in kinds:
            for end in dict.fromkeys(part.terminals.values()):
                meeting.setdefault(end, []).append(part)
    came = {coil.terminals["b"]: frozenset[str]()}
    ahead = [coil.terminals["b"]]
    for node in ahead:
        if node == car.reference:
            return came[node]
        for part in meeting.get(node, ()):
            for end in part.terminals.values():
                if end not in came:
                    came[end] = came[node] | {part.name}
                    ahead.append(end)
    return frozenset()


def _fed_through(car: Car, contacts: Part) -> frozenset[str]:
    """Return the consumers that contacts feed, through wires and fuses alone."""
    met = _met_from("b", contacts, car, through=CARRIERS)
    return frozenset(
        part.name
        for node, part in met
        if part.kind in LOAD_KINDS and part.terminals["a"] == node
    )


def _driven_by(car: Car, driver: Part) -> frozenset[str]:
    """Return what hangs on an output, through wires alone."""
    met = _met_from("out", driver, car, through=LEADS)
    return frozenset(part.name for _, part in met if part.name != driver.name)


def _met_from(
    terminal: str, start: Part, car: Car, *, through: frozenset[str]
) -> Iterator[tuple[str, Part]]:
    """Yield what is met on the way from a terminal, and at which node.

    The way goes through parts of some kinds alone, and never back through its start.
    """
    seen = {*start.terminals.values()}
    ahead = [start.terminals[terminal]]
    for node in ahead:
        for part in car.parts:
            ends = tuple(part.terminals.values())
            if node not in ends:
                continue
            yield node, part
            if part.kind in through:
                fresh = [end for end in ends if end not in seen]
                seen.update(fresh)
                ahead.extend(fresh)


def _anywhere(car: Car, child: Part) -> frozenset[str]:
    """Return all parts but one."""
    return frozenset(part.name for part in car.parts if part.name != child.name)


# Where the parents of a link are, from the part of its children. Derived: one way
# through the wiring for each relation.
_NEAR: Mapping[Relation, Callable[[Car, Part], frozenset[str]]] = MappingProxyType(
    {
        Relation.GROUNDS_COIL: _coil_ground,
        Relation.FED_THROUGH: _fed_through,
        Relation.DRIVEN_BY: _driven_by,
        Relation.ANYWHERE: _anywhere,
    }
)
