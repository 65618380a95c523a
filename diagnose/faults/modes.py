"""Fault modes: the ways a kind of part fails, as changes to its parameters.

A mode says what happens to numbers the element functions already read, so a new mode
is a record in knowledge/, not code, and no element knows faults. Opens, shorts, wear,
wrong parts and wiring errors are all such changes: a wire on the wrong terminal is a
contact that works the other way round, a branch from the wrong terminal that is
normally open, or a diode turned round. Leaves to `causes` which parts of a car can have
a mode.

A fault that comes and goes has no changes and no predictions of its own: while it is
there it is the lasting mode it acts as, and what a fact says of it is mixed from that
one and the sound car.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

from diagnose.circuit.values import Distribution

# Value of `Repair.renews` for a repair that makes the part new as a whole. Own choice.
ITSELF = "itself"


class Operation(Enum):
    """How a change acts on the healthy value.

    Attributes
    ----------
    SET
        The amount takes its place.
    TIMES
        The amount multiplies it.
    PLUS
        The amount is added to it.
    """

    SET = "set"
    TIMES = "times"
    PLUS = "plus"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One parameter of a part, changed.

    Parameters
    ----------
    parameter : str
        Name as the element reads it, with its unit (``joint_a_ohms``).
    operation : Operation
        How the amount acts on the healthy value.
    amount : Distribution
        The severity, in the parameter's unit (for TIMES: a factor).
    role : str or None
        When given, the change hits the part with this role (``battery``) instead of the
        failing part: a consequence that comes with the fault.
    kind : str or None
        When given, the change hits all parts of this kind that the failing part is made
        of, or that are in its assembly; they are all as bad.
    """

    parameter: str
    operation: Operation
    amount: Distribution
    role: str | None = None
    kind: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """What mends a fault.

    A relay is swapped as a whole: to tell its contacts from its coil before that saves
    nothing, so causes that one repair mends are one line of the ranking.

    Parameters
    ----------
    action : str
        In the owner's words, with ``{part}`` for the name, or ``{assembly}`` for that
        of the whole it is swapped with.
    minutes : float
        Time once at the place. [min]
    cure_probability : float
        Chance that the repair cures this fault. [1]
    cautions : tuple[str, ...]
        Keys of the cautions that stand before it; what every repair of a part with a
        role needs is in `CautionRules.work_on`.
    price : str
        What has to be bought: a key of `Effort.price_minutes`.
    renews : str
        What is made new as a whole, empty when only this fault is mended; one such
        repair mends every fault of the assembly whose repair renews the same, of the
        part alone where it is `ITSELF`.
    goes_with : str
        The `renews` of a greater repair of the same assembly that mends this fault as
        well: who renews a battery puts a charged one in. Empty where there is none.
    """

    action: str
    minutes: float
    cure_probability: float
    cautions: tuple[str, ...] = ()
    price: str = "nothing"
    renews: str = ""
    goes_with: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultMode:
    """A way one kind of part fails.

    Parameters
    ----------
    kind : str
        Kind of part, a key of `elements.ELEMENTS`.
    name : str
        The trade's words in snake_case, e.g. ``open_circuit``; identifier-clean.
    says : str
        One line for the screen with ``{part}``, e.g. ``{part}: contacts burnt``.
    rate : float
        Chance that one part of this kind has this fault, on a car in the reference
        context (before the context factors). [1]
    changes : tuple[Change, ...]
        What it does to the car, one after the other.
    repair : Repair
        What mends it.
    factors : Mapping[str, Mapping[str, float]]
        Context to its answer to a factor on `rate`. [1]
    roles : frozenset[str]
        When not empty, only parts with one of these roles can have it.
    except_roles : frozenset[str]
        Parts with one of these roles can't have it.
    needs : frozenset[str]
        What a part must have beside it, names of `surroundings.Surroundings.of`; every
        part of the kind can have it where empty.
    mechanical : Mapping[str, float]
        For faults outside the circuit: named mechanical condition (``engine_fires``) to
        its value, 1 when healthy. [1]
    source, basis : str
        Where the rate is from, and whether that was read, remembered or estimated.
    acts_as : str
        The lasting mode of the kind whose changes these are, for a mode that comes and
        goes; empty for one that lasts.
    triggers : Mapping[str, float]
        Trigger to how often it is the one that brings such a fault; sums to 1. [1]
    reacts : Mapping[str, float]
        Of one that lasts: trigger to the chance that its test, done at this part, makes
        the fault come or go for a moment. [1]
    """

    kind: str
    name: str
    says: str
    rate: float
    changes: tuple[Change, ...]
    repair: Repair
    factors: Mapping[str, Mapping[str, float]]
    roles: frozenset[str] = frozenset()
    except_roles: frozenset[str] = frozenset()
    needs: frozenset[str] = frozenset()
    mechanical: Mapping[str, float]
    source: str
    basis: str
    acts_as: str = ""
    triggers: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    reacts: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def lasts(self) -> bool:
        """Whether the fault is there all the time, once it is there."""
        return not self.acts_as


@dataclass(frozen=True, slots=True, kw_only=True)
class TriggerTest:
    """Bringing a fault on purpose: wiggling, warming or misting a place or a part.

    Parameters
    ----------
    verb : str
        The test at a place or part is called ``verb-name``.
    asks : str
        The question, with ``{target}``.
    state : str
        Operating state it is done in.
    minutes : float
        Time it takes. [min]
    caution : str
        Key of the caution that stands before it.
    reacts, by_other, imagined : float
        Chance that the fault comes or goes: at its place and with its own trigger, at
        its place with another, and anywhere else. [1]
    """

    verb: str
    asks: str
    state: str
    minutes: float
    caution: str
    reacts: float
    by_other: float
    imagined: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """What brings a fault that comes and goes.

    Parameters
    ----------
    name : str
        Key: ``vibration``.
    says : str
        When it makes the fault come or go, in words: ``when it is shaken``.
    present : Mapping[str, float]
        Operating state to the chance that the fault is there at one look. [1]
    otherwise : float
        The same in a state not named. [1]
    in_complaint : float
        Chance that it was there when the owner saw what he came with. [1]
    stays : float
        Chance that looks in one state, nothing mended between them, all find it as the
        first did; else it is drawn anew at each. [1]
    test : TriggerTest
        What brings the fault on purpose.
    source, basis : str
        Where the chances are from, and whether that was read, remembered or estimated.
    """

    name: str
    says: str
    present: Mapping[str, float]
    otherwise: float
    in_complaint: float
    stays: float
    test: TriggerTest
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """What an owner saw of a fault that comes and goes: a knock helps, rain brings it.

    Parameters
    ----------
    name : str
        Key: ``works-after-a-knock``.
    asks : str
        The question; with ``{part}`` where it is asked of every part.
    state : str
        Operating state that it is noted under.
    minutes : float
        Time it takes to say or to try. [min]
    triggers : Mapping[str, float]
        What brings a fault to the chance that this is then seen. [1]
    loses : tuple[str, ...]
        Symptoms of which one is gone while the fault is there; any fault does where
        none is named.
    every_part : bool
        It is asked of every load and controller, and what is lost is that it works.
    imagined : float
        Chance of a yes without such a fault. [1]
    by_lasting : float
        Share of how often a fault that lasts reacts, at which it is taken for this. [1]
    caution : str
        Key of the caution that stands before it, or empty.
    source, basis : str
        Where the chances are from, and whether that was read, remembered or estimated.
    when : str
        It as an answer to when the fault comes; empty where it is none.
    """

    name: str
    asks: str
    state: str
    minutes: float
    triggers: Mapping[str, float]
    loses: tuple[str, ...]
    every_part: bool
    imagined: float
    by_lasting: float
    caution: str
    source: str
    basis: str
    when: str = ""
