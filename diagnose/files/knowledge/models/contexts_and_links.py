"""What makes faults likelier: the car's history, what brings a fault, other faults."""

from __future__ import annotations

import math
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from diagnose.faults.link_rules import LinkRule, LinkRules, Relation, SpotRule
from diagnose.faults.modes import Sign, Trigger, TriggerTest
from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    Identifier,
    KnowledgeEntry,
    ModePatterns,
    Positive,
    Probability,
    SourcedEntry,
    sum_to_one,
)
from diagnose.measurement.symptoms import Context


class ShiftEntry(SourcedEntry):
    """How an answer shifts a class of fault modes."""

    modes: ModePatterns
    weights: Annotated[dict[Identifier, Positive], Field(min_length=1)]

    def names(self, mode: str) -> bool:
        """Return whether a mode, ``kind.name``, is of this class."""
        return any(fnmatchcase(mode, pattern) for pattern in self.modes)


class ContextEntry(SourcedEntry):
    """Something about the car's history."""

    question: Text
    reference: Identifier | None = None
    shifts: list[ShiftEntry] = Field(default_factory=list)
    states: Annotated[
        dict[Identifier, Annotated[float, Field(gt=0, lt=1)]],
        Field(min_length=2),
        AfterValidator(sum_to_one),
    ]

    @model_validator(mode="after")
    def _check_reference(self) -> Self:
        if (self.reference is None) != bool(self.shifts):
            raise ValueError(
                "give either reference, with factors in fault-modes.yaml, or shifts"
            )
        if self.reference is not None and self.reference not in self.states:
            named = ", ".join(self.states)
            raise ValueError(f"reference {self.reference!r} is not one of {named}")
        return self

    def factors(self, mode: str) -> dict[str, float]:
        """Return how much likelier each answer makes a mode.

        The first of the shifts that names the mode holds. The mean of the factors over
        the answers is 1, so who answers nothing keeps the published rates.

        Parameters
        ----------
        mode : str
            ``kind.name``.

        Returns
        -------
        dict[str, float]
            Answer to factor; empty when no shift names the mode. [1]
        """
        for shift in self.shifts:
            if shift.names(mode):
                weights = {one: shift.weights.get(one, 1.0) for one in self.states}
                mean = math.fsum(
                    chance * weights[one] for one, chance in self.states.items()
                )
                return {one: weight / mean for one, weight in weights.items()}
        return {}

    def context(self, name: str) -> Context:
        """Return the question about the history, with its answers."""
        return Context(
            name=name,
            question=self.question,
            states=MappingProxyType(dict(self.states)),
            source=self.source,
            basis=self.basis,
        )


class ContextsFile(KnowledgeEntry):
    """``contexts.yaml``."""

    contexts: dict[Identifier, ContextEntry]


class TriggerTestEntry(KnowledgeEntry):
    """Bringing a fault on purpose."""

    verb: Key
    asks: Text
    state: Key
    minutes: Positive
    caution: Key
    reacts: Probability
    by_other: Probability
    imagined: Probability

    @model_validator(mode="after")
    def _check_question(self) -> Self:
        if "{target}" not in self.asks:
            raise ValueError("asks: must say {target}")
        return self


class TriggerEntry(SourcedEntry):
    """What brings a fault that comes and goes."""

    says: Text
    present: dict[Key, Probability]
    otherwise: Probability
    in_complaint: Probability
    stays: Probability
    test: TriggerTestEntry

    def trigger(self, name: str) -> Trigger:
        """Return the trigger under its name."""
        return Trigger(
            name=name,
            says=self.says,
            present=MappingProxyType(dict(self.present)),
            otherwise=self.otherwise,
            in_complaint=self.in_complaint,
            stays=self.stays,
            test=TriggerTest(**self.test.model_dump()),
            source=self.source,
            basis=self.basis,
        )


class SignEntry(SourcedEntry):
    """What an owner saw of a fault that comes and goes."""

    asks: Text
    state: Key
    minutes: Positive
    triggers: Annotated[dict[Identifier, Probability], Field(min_length=1)]
    loses: list[Key] = Field(default_factory=list)
    every_part: bool = False
    imagined: Probability
    by_lasting: Probability = 1.0
    caution: str = ""
    when: str = ""

    def sign(self, name: str) -> Sign:
        """Return the sign under its name."""
        return Sign(
            name=name,
            asks=self.asks,
            state=self.state,
            minutes=self.minutes,
            triggers=MappingProxyType(dict(self.triggers)),
            loses=tuple(self.loses),
            every_part=self.every_part,
            imagined=self.imagined,
            by_lasting=self.by_lasting,
            caution=self.caution,
            when=self.when,
            source=self.source,
            basis=self.basis,
        )


class TriggersFile(KnowledgeEntry):
    """``triggers.yaml``."""

    triggers: dict[Identifier, TriggerEntry]
    signs: dict[Key, SignEntry] = Field(default_factory=dict)


# Where the second part of a link is, seen from the first; the values of `Relation`.
RelationWord = Literal[
    "grounds-its-coil", "is-fed-through-it", "is-driven-by-it", "anywhere"
]


class LinkEntry(SourcedEntry):
    """A fault that makes another likelier."""

    parents: ModePatterns
    children: ModePatterns
    where: RelationWord
    factor: Annotated[float, Field(gt=1, lt=1000)]
    says: Text

    def link(self, name: str) -> LinkRule:
        """Return the link under its name."""
        return LinkRule(
            name=name,
            parents=tuple(self.parents),
            children=tuple(self.children),
            relation=Relation(self.where),
            factor=self.factor,
            says=self.says,
            source=self.source,
            basis=self.basis,
        )


class SpotWeightEntry(KnowledgeEntry):
    """How much likelier some modes are at a place in a condition."""

    modes: ModePatterns
    weight: Positive


class SpotEntry(SourcedEntry):
    """A condition each place of a car is in or not."""

    follows: Identifier
    chances: dict[Identifier, Annotated[float, Field(gt=0, lt=1)]]
    weights: Annotated[list[SpotWeightEntry], Field(min_length=1)]

    def spot(self, name: str) -> SpotRule:
        """Return the spot under its name."""
        return SpotRule(
            name=name,
            context=self.follows,
            chances=MappingProxyType(dict(self.chances)),
            weights=tuple((tuple(one.modes), one.weight) for one in self.weights),
            source=self.source,
            basis=self.basis,
        )


class LinksFile(KnowledgeEntry):
    """``links.yaml``."""

    links: dict[Identifier, LinkEntry]
    spots: dict[Identifier, SpotEntry]

    def rules(self) -> LinkRules:
        """Return every link and spot of the file."""
        return LinkRules(
            links=tuple(entry.link(name) for name, entry in self.links.items()),
            spots=tuple(entry.spot(name) for name, entry in self.spots.items()),
        )
