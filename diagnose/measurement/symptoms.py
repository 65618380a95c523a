"""Symptoms and complaints: what the owner notices, put in terms of the circuit.

A symptom is a tree of claims on circuit quantities, so its probability under a fault
comes from the solver. Leaves the solving to `faults` and the words to knowledge/.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Quantity(Enum):
    """What a claim looks at, on the part with the claim's role."""

    VOLTS = "volts"  # across the part's main terminals [V, per 12 V system]
    AMPS = "amps"  # through the part [A]
    LIGHT = "light"  # (volts/rated volts)**3.4, of LEDs by their amps; 1 at rated volts
    IS_UP = "is_up"  # 1 when the controller is powered and out of reset
    IS_CLOSED = "is_closed"  # 1 when the relay contacts are closed
    IS_BLOWN = "is_blown"  # 1 when the fuse is open
    CHATTERS = "chatters"  # 1 when contacts or a controller go on and off by themselves
    BATTERY_AMPS = "battery_amps"  # out of the battery, positive = discharging [A]
    MECHANICAL = "mechanical"  # a mechanical condition named by `role`, 1 when good


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One comparison: quantity of a role in a state against a limit.

    Parameters
    ----------
    role : str
        Role of the part; every part with the role must satisfy the claim.
    state : str
        Operating state.
    at_least : bool
        True: the claim holds above the limit; False: below it.
    limit : float
        In the quantity's unit.
    blur : float
        Logistic width of the limit: people and parts differ. Same unit.
    relative_to : str or None
        When given, the quantity is divided by its value in this other state.
    """

    role: str
    quantity: Quantity
    state: str
    at_least: bool
    limit: float
    blur: float
    relative_to: str | None = None


class Join(Enum):
    """How the members of a group combine."""

    ALL = "all"
    ANY = "any"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Claims, groups and names of other symptoms joined together."""

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
        Chance of a no although it holds, and of a yes although it doesn't.
    caution : str
        Key of a caution, or empty.
    """

    name: str
    question: str
    state: str
    when: Group
    minutes: float
    missed_probability: float
    imagined_probability: float
    caution: str = ""
    source: str = ""
    basis: str = ""


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
        The symptom whose re-test closes the case, and the answer that means cured.
    cured_answer : bool
    """

    name: str
    says: str
    answers: Mapping[str, bool]
    retest: str
    cured_answer: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """Something known about the car's history that shifts the priors.

    Parameters
    ----------
    name, question : str
        Key (``wiring``) and what to ask.
    states : Mapping[str, float]
        Answer to its prior probability; sums to 1.
    """

    name: str
    question: str
    states: Mapping[str, float]
    source: str = ""
    basis: str = ""
