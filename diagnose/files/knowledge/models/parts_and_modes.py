"""Kinds of part with their usual values, and the ways they fail."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from diagnose.faults.modes import Change, FaultMode, Operation, Repair
from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    SUM_TOLERANCE,
    DistributionEntry,
    Identifier,
    KnowledgeEntry,
    Positive,
    Probability,
    SourcedEntry,
    ValueEntry,
)

# The largest rate of a fault mode. [1] Own choice: above this it would be the normal
# condition of the part.
LARGEST_RATE = 0.2

# What a change does to its parameter, in the file's words.
OperationWord = Literal["set", "times", "plus"]


def _only_in_braces(*placeholders: str) -> Callable[[str], str]:
    """Return what refuses a text with any other placeholder."""

    def checked(text: str) -> str:
        for found in re.findall(r"\{[^}]*\}?|\}", text):
            if found not in placeholders:
                known = " or ".join(placeholders)
                raise ValueError(f"has {found!r}; the only placeholder is {known}")
        return text

    return checked


# Text that may name the part.
Template = Annotated[Text, AfterValidator(_only_in_braces("{part}"))]

# Text that may name the part or the assembly it belongs to.
ActionTemplate = Annotated[
    Text, AfterValidator(_only_in_braces("{part}", "{assembly}"))
]


class RoleEntry(SourcedEntry):
    """A role and the kinds of part that can have it."""

    kinds: Annotated[list[Key], Field(min_length=1)]
    says: Text
    draws_when: Literal["always", "engine-turns"] = "always"
    a_load_is: Key | None = None
    attached: dict[Key, dict[Identifier, ValueEntry]] = Field(default_factory=dict)


class PartKindsFile(KnowledgeEntry):
    """``part-kinds.yaml``."""

    roles: dict[Key, RoleEntry]
    kinds: dict[Key, dict[Identifier, ValueEntry]]


class ChangeEntry(DistributionEntry):
    """One parameter, changed."""

    parameter: Identifier
    operation: OperationWord
    role: Key | None = None
    kind: Key | None = None

    def change(self) -> Change:
        """Return the change to the parameter."""
        return Change(
            parameter=self.parameter,
            operation=Operation(self.operation),
            amount=self.distribution(),
            role=self.role,
            kind=self.kind,
        )


class RepairEntry(KnowledgeEntry):
    """What mends a fault."""

    action: ActionTemplate
    minutes: Positive
    cure_probability: Annotated[float, Field(gt=0, le=1)]
    caution: str | list[Key] = ""
    price: Key = "nothing"
    renews: Key | None = None
    goes_with: Key | None = None

    def cautions(self) -> tuple[str, ...]:
        """Return the keys of its cautions, one or several."""
        if isinstance(self.caution, str):
            return (self.caution,) if self.caution else ()
        return tuple(self.caution)

    def repair(self) -> Repair:
        """Return the repair."""
        return Repair(
            action=self.action,
            minutes=self.minutes,
            cure_probability=self.cure_probability,
            cautions=self.cautions(),
            price=self.price,
            renews=self.renews or "",
            goes_with=self.goes_with or "",
        )


class ModeEntry(SourcedEntry):
    """A way one kind of part fails."""

    kind: Key
    name: Identifier
    says: Template
    rate: Annotated[float, Field(gt=0, le=LARGEST_RATE)]
    factors: dict[Identifier, dict[Identifier, Positive]] = Field(default_factory=dict)
    changes: list[ChangeEntry] = Field(default_factory=list)
    acts_as: Identifier | None = None
    triggers: dict[Identifier, Positive] = Field(default_factory=dict)
    reacts: dict[Identifier, Probability] = Field(default_factory=dict)
    mechanical: dict[Identifier, Annotated[float, Field(ge=0, lt=1)]] = Field(
        default_factory=dict
    )
    roles: list[Key] = Field(default_factory=list)
    except_roles: list[Key] = Field(default_factory=list)
    needs: list[
        Literal[
            "stud-beside",
            "half-beside",
            "live-feed",
            "own-trigger",
            "switched-trigger",
            "grounded-coil",
        ]
    ] = Field(default_factory=list)
    repair: RepairEntry

    @field_validator("triggers")
    @classmethod
    def _check_shares(cls, triggers: dict[str, float]) -> dict[str, float]:
        total = math.fsum(triggers.values())
        if triggers and abs(total - 1.0) > SUM_TOLERANCE:
            raise ValueError(f"the triggers sum to {total:g}; they must sum to 1")
        return triggers

    @model_validator(mode="after")
    def _check_effect(self) -> Self:
        if self.acts_as is None and not self.changes and not self.mechanical:
            raise ValueError("changes nothing; give changes, mechanical or acts_as")
        if self.acts_as is not None and (self.changes or self.mechanical):
            raise ValueError("has changes of its own beside acts_as; give one of them")
        if (self.acts_as is None) != (not self.triggers):
            raise ValueError("give acts_as and triggers together, or neither")
        if self.acts_as is not None and self.reacts:
            raise ValueError("reacts is for what lasts; give triggers alone")
        if self.roles and self.except_roles:
            raise ValueError("has roles and except_roles; give at most one of them")
        return self

    def mode(self) -> FaultMode:
        """Return the fault mode, without what contexts say of its whole class."""
        return FaultMode(
            kind=self.kind,
            name=self.name,
            says=self.says,
            rate=self.rate,
            changes=tuple(change.change() for change in self.changes),
            repair=self.repair.repair(),
            factors=MappingProxyType(
                {name: MappingProxyType(dict(by)) for name, by in self.factors.items()}
            ),
            roles=frozenset(self.roles),
            except_roles=frozenset(self.except_roles),
            needs=frozenset(self.needs),
            mechanical=MappingProxyType(dict(self.mechanical)),
            source=self.source,
            basis=self.basis,
            acts_as=self.acts_as or "",
            triggers=MappingProxyType(dict(self.triggers)),
            reacts=MappingProxyType(dict(self.reacts)),
        )


class FaultModesFile(KnowledgeEntry):
    """``fault-modes.yaml``."""

    mechanical: dict[Identifier, Text]
    modes: list[ModeEntry]
