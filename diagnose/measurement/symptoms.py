"""Symptoms and complaints: what the owner notices, put in terms of the circuit.

A symptom is a tree of claims on circuit quantities, so its probability under a fault
comes from the solver. Leaves the solving to `faults` and the words to knowledge/.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from enum import Enum
from types import MappingProxyType


class Quantity(Enum):
    """What a claim looks at, on the part with the claim's role.

    Attributes
    ----------
    VOLTS
        Across the part's main terminals, as of a 12 V system. [V]
    AMPS
        Through the part, in either direction. [A]
    LIGHT
        Of a lamp, 1 at its rated volts. [1]
    IS_UP
        1 when the controller is powered and out of reset. [1]
    IS_CLOSED
        1 when the contacts are closed. [1]
    IS_BLOWN
        1 when the fuse is open. [1]
    CHATTERS
        1 when contacts or a controller go on and off by themselves. [1]
    BATTERY_AMPS
        Out of the battery, positive while it discharges. [A]
    TURNS
        1 when nothing keeps the motor from turning. [1]
    MECHANICAL
        A mechanical condition, named by the claim's role; 1 when good. [1]
    OVERLOAD
        What would flow through a fuse that is blown, over its rating. [1]
    """

    VOLTS = "volts"
    AMPS = "amps"
    LIGHT = "light"
    IS_UP = "is_up"
    IS_CLOSED = "is_closed"
    IS_BLOWN = "is_blown"
    CHATTERS = "chatters"
    BATTERY_AMPS = "battery_amps"
    TURNS = "turns"
    MECHANICAL = "mechanical"
    OVERLOAD = "overload"


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One comparison: quantity of a role in a state against a limit.

    Parameters
    ----------
    role : str
        Role of the part; every part with the role must satisfy the claim.
    quantity : Quantity
        What is compared.
    state : str
        Operating state.
    at_least : bool
        True: the claim holds above the limit; False: below it.
    limit : float
        What it is compared with. [unit of the quantity]
    blur : float
        Scale of the logistic curve around the limit: people and parts differ. [same]
    relative_to : str or None
        When given, the quantity is divided by its value in this other state.
    part : str
        When given, the one part that is looked at, whatever its role.
    """

    role: str
    quantity: Quantity
    state: str
    at_least: bool
    limit: float
    blur: float
    relative_to: str | None = None
    part: str = ""


class Join(Enum):
    """How the members of a group combine: all, at least one, or none of them hold."""

    ALL = "all"
    ANY = "any"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Claims, groups and names of other symptoms joined together.

    Parameters
    ----------
    join : Join
        How they combine.
    members : tuple[Claim | Group | str, ...]
        What is joined; a text is the name of a symptom.
    """

    join: Join
    members: tuple[Claim | Group | str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptom:
    """One observable yes or no.

    Parameters
    ----------
    name : str
        Key, in plain words: ``engine-cranks``.
    question : str
        What to ask the owner.
    state : str
        The operating state it is observed in.
    when : Group
        Holds exactly when the honest answer is yes.
    minutes : float
        Time to observe it. [min]
    missed_probability, imagined_probability : float
        Chance of a no although it holds, and of a yes although it doesn't. [1]
    caution : str
        Key of the caution that stands before it, or empty.
    needs : str
        The symptom that must hold for the question to have an answer at all; empty
        where it always has one.
    source, basis : str
        Where the limits are from, and whether that was read, remembered or estimated.
    part : str
        The part it was made for, of a symptom that no file lists; else empty. Its
        chances are worked out when somebody asks and kept in no table. ``*`` of one
        that gathers those of all parts.
    any_part : str
        What the names of symptoms end with that are made for parts: it holds as well
        where one of those does; empty where it gathers none.
    is_only_told : bool
        It is told by who saw it, and nobody is asked for it.
    shows_in_use : bool
        It shows while the car is used, over days, and at no one look; its state is the
        one it is noted under.
    """

    name: str
    question: str
    state: str
    when: Group
    minutes: float
    missed_probability: float
    imagined_probability: float
    caution: str = ""
    needs: str = ""
    source: str = ""
    basis: str = ""
    part: str = ""
    any_part: str = ""
    is_only_told: bool = False
    shows_in_use: bool = False


def moved(symptom: Symptom, states: Mapping[str, str]) -> Symptom:
    """Return a symptom that is looked for in other operating states.

    Parameters
    ----------
    symptom : Symptom
        Any symptom.
    states : Mapping[str, str]
        Operating state to the one in its place; those not named stay.

    Returns
    -------
    Symptom
        With its own state and those of its claims moved.
    """
    when = _moved_group(symptom.when, states)
    state = states.get(symptom.state, symptom.state)
    return replace(symptom, state=state, when=when)


def _moved_group(group: Group, states: Mapping[str, str]) -> Group:
    members: list[Claim | Group | str] = []
    for member in group.members:
        if isinstance(member, Group):
            members.append(_moved_group(member, states))
        elif isinstance(member, Claim):
            other = member.relative_to
            members.append(
                replace(
                    member,
                    state=states.get(member.state, member.state),
                    relative_to=other and states.get(other, other),
                )
            )
        else:
            members.append(member)
    return replace(group, members=tuple(members))


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """What the owner came with: symptoms already answered.

    Parameters
    ----------
    name, says : str
        Key (``first-start-fails``) and the owner's words.
    answers : Mapping[str, bool]
        Symptom to the answer the complaint implies.
    retest : str
        The symptom whose re-test closes the case.
    cured_answer : bool
        The answer to it that means cured.
    group : str
        Where it is listed, by what the car does; empty for with the rest.
    stands_for : Mapping[str, str]
        Of a complaint in knowledge/: which of those that are made for every part it is
        (``dead``), to the role of the part it is that for; empty where it is none.
    part : str
        The part it was made for, or that it stands for one of; empty of the car.
    without : Mapping[str, str]
        Role to the owner's words on a car where no part has it.
    begins_at_posts : bool
        Whether the battery's posts are read before any other point.
    also : tuple[str, ...]
        What people say for it besides, by which it is found.
    """

    name: str
    says: str
    answers: Mapping[str, bool]
    retest: str
    cured_answer: bool
    group: str = ""
    stands_for: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    part: str = ""
    without: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    begins_at_posts: bool = False
    also: tuple[str, ...] = ()

    def said_of(self, roles: AbstractSet[str]) -> Complaint:
        """Return it in the words that fit a car.

        Parameters
        ----------
        roles : AbstractSet[str]
            Those that the car's parts have.

        Returns
        -------
        Complaint
            The same where nothing is missing.
        """
        missing = [words for role, words in self.without.items() if role not in roles]
        return replace(self, says=missing[0]) if missing else self


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """Something known about the car's history that shifts the priors.

    Parameters
    ----------
    name, question : str
        Key (``wiring``) and what to ask.
    states : Mapping[str, float]
        Answer to its prior probability; sums to 1. [1]
    source, basis : str
        Where they are from, and whether that was read, remembered or estimated.
    """

    name: str
    question: str
    states: Mapping[str, float]
    source: str = ""
    basis: str = ""
