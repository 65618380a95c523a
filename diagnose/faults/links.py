"""Links between faults: one that makes another likelier, and what spoils one place.

The rules come from knowledge/; which causes of one car they tie together follows from
its wiring. Leaves the arithmetic to `inference`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fnmatch import fnmatchcase
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.faults.causes import Cause
from diagnose.faults.modes import FaultMode


class Relation(Enum):
    """Where in a car the fault that is made likelier sits."""

    GROUNDS_COIL = "grounds-its-coil"
    FED_THROUGH = "is-fed-through-it"
    DRIVEN_BY = "is-driven-by-it"
    ANYWHERE = "anywhere"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRule:
    """A fault that makes another likelier.

    Parameters
    ----------
    name : str
        Plain identifier.
    parents, children : tuple[str, ...]
        Fault modes, ``kind.mode``; ``*`` stands for any letters.
    relation : Relation
        Where the children are, seen from a parent.
    factor : float
        On the rate of each child while some parent is present. [1]
    says : str
        What the parent does to the child, in words.
    """

    name: str
    parents: tuple[str, ...]
    children: tuple[str, ...]
    relation: Relation
    factor: float
    says: str
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotRule:
    """A condition that a whole place of a car may be in, such as damp.

    Parameters
    ----------
    context : str
        The question of the car's history that its chance follows.
    chances : Mapping[str, float]
        Answer to the chance that one place is in this condition.
    weights : tuple[tuple[tuple[str, ...], float], ...]
        Fault modes, and how much likelier they are in such a place.
    """

    name: str
    context: str
    chances: Mapping[str, float]
    weights: tuple[tuple[tuple[str, ...], float], ...]
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRules:
    """All that knowledge/ says about links."""

    links: tuple[LinkRule, ...] = ()
    spots: tuple[SpotRule, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Causes that make causes of one part likelier.

    Parameters
    ----------
    name : str
    parents : tuple[int, ...]
        Numbers of causes, rising; one of them is enough.
    part : str
        The part of the children.
    children : tuple[int, ...]
    factor : float
        On the rate of each child. [1]
    says : str
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
    chances : Mapping[str, float]
        Answer of `context` to the chance of the condition.
    weights : Mapping[int, float]
        Cause to how much likelier it is then; those not named are as likely.
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
    """What ties the causes of one car together."""

    links: tuple[Link, ...] = ()
    spots: tuple[Spot, ...] = ()


UNTIED = Ties()


def is_of(mode: FaultMode, patterns: Sequence[str]) -> bool:
    """Return whether a mode is one of a class.

    Parameters
    ----------
    patterns : Sequence[str]
        ``kind.mode`` each; ``*`` stands for any letters.
    """
    name = f"{mode.kind}.{mode.name}"
    return any(fnmatchcase(name, pattern) for pattern in patterns)


def ties_of(car: Car, causes: Sequence[Cause], rules: LinkRules) -> Ties:
    """Return how the causes of one car are tied together."""
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


LEADS = frozenset({"wire", "joint"})
CARRIERS = LEADS | {"fuse", "slow-fuse", "fusible-link", "breaker", "resistor"}


def _coil_ground(car: Car, contacts: Part) -> frozenset[str]:
    """Return the parts on the shortest way from a relay's coil to ground."""
    coil = next((part for part in car.parts if part.name == contacts.gate), None)
    if coil is None:
        return frozenset()
    kinds = LEADS | {"driver"}
    came = {coil.terminals["b"]: frozenset[str]()}
    ahead = [coil.terminals["b"]]
    for node in ahead:
        if node == car.reference:
            return came[node]
        for part in car.parts:
            ends = tuple(part.terminals.values())
            if part.kind not in kinds or node not in ends:
                continue
            for end in ends:
                if end not in came:
                    came[end] = came[node] | {part.name}
                    ahead.append(end)
    return frozenset()


def _fed_through(car: Car, contacts: Part) -> frozenset[str]:
    """Return the loads that contacts feed, through wires and fuses alone."""
    seen = {*contacts.terminals.values()}
    ahead = [contacts.terminals["b"]]
    found: set[str] = set()
    for node in ahead:
        for part in car.parts:
            ends = tuple(part.terminals.values())
            if node not in ends:
                continue
            if part.kind in LOAD_KINDS and part.terminals["a"] == node:
                found.add(part.name)
            if part.kind in CARRIERS:
                fresh = [end for end in ends if end not in seen]
                seen.update(fresh)
                ahead.extend(fresh)
    return frozenset(found)


def _driven_by(car: Car, driver: Part) -> frozenset[str]:
    """Return what hangs on an output, through wires alone."""
    seen = {*driver.terminals.values()}
    ahead = [driver.terminals["out"]]
    found: set[str] = set()
    for node in ahead:
        for part in car.parts:
            ends = tuple(part.terminals.values())
            if node not in ends or part.name == driver.name:
                continue
            found.add(part.name)
            if part.kind in LEADS:
                fresh = [end for end in ends if end not in seen]
                seen.update(fresh)
                ahead.extend(fresh)
    return frozenset(found)


def _anywhere(car: Car, child: Part) -> frozenset[str]:
    return frozenset(part.name for part in car.parts if part.name != child.name)


_NEAR: Mapping[Relation, Callable[[Car, Part], frozenset[str]]] = MappingProxyType(
    {
        Relation.GROUNDS_COIL: _coil_ground,
        Relation.FED_THROUGH: _fed_through,
        Relation.DRIVEN_BY: _driven_by,
        Relation.ANYWHERE: _anywhere,
    }
)
