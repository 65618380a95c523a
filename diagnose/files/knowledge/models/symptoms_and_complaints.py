"""What a person notices: symptoms as comparisons of quantities, and complaints."""

from __future__ import annotations

from types import MappingProxyType
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    Chance,
    Identifier,
    KnowledgeEntry,
    NotNegative,
    Number,
    Positive,
    SourcedEntry,
    one_of,
)
from diagnose.measurement.of_parts.part_complaints import ASPECTS
from diagnose.measurement.symptoms import (
    Claim,
    Complaint,
    Group,
    Join,
    Quantity,
    Symptom,
)

# The keys of a claim: what it looks at. That of a fuse is made for each, not written.
QUANTITIES = tuple(one.value for one in Quantity if one is not Quantity.OVERLOAD)

# The keys of a group: how its members are joined.
JOINS = tuple(join.value for join in Join)


class MemberEntry(KnowledgeEntry):
    """A claim, a group, or the name of another symptom."""

    symptom: Key | None = None
    all: list[MemberEntry] | None = Field(default=None, min_length=1)
    any: list[MemberEntry] | None = Field(default=None, min_length=1)
    none: list[MemberEntry] | None = Field(default=None, min_length=1)
    volts: Key | None = None
    amps: Key | None = None
    light: Key | None = None
    is_up: Key | None = None
    is_closed: Key | None = None
    is_blown: Key | None = None
    chatters: Key | None = None
    battery_amps: Key | None = None
    turns: Key | None = None
    mechanical: Identifier | None = None
    state: Key | None = None
    at_least: Number | None = None
    below: Number | None = None
    blur: NotNegative | None = None
    relative_to: Key | None = None

    @model_validator(mode="after")
    def _check_sort(self) -> Self:
        sort = one_of(self, ("symptom", *JOINS, *QUANTITIES))
        rest = self.model_fields_set - {sort}
        if sort not in QUANTITIES:
            if rest:
                raise ValueError(
                    f"{sort} stands alone; found {', '.join(sorted(rest))}"
                )
            return self
        for name in ("state", "blur"):
            # a name with nothing behind it gives as little as no name
            if getattr(self, name) is None:
                raise ValueError(f"the claim on {sort} needs {name}")
        one_of(self, ("at_least", "below"))
        return self

    @property
    def sort(self) -> str:
        """The field that says what this member is."""
        return one_of(self, ("symptom", *JOINS, *QUANTITIES))

    def member(self) -> Claim | Group | str:
        """Return the claim or the group, or the other symptom's name."""
        if self.symptom is not None:
            return self.symptom
        return self._group() if self.sort in JOINS else self._claim()

    def _group(self) -> Group:
        members: list[MemberEntry] = getattr(self, self.sort)
        return Group(
            join=Join(self.sort), members=tuple(member.member() for member in members)
        )

    def _claim(self) -> Claim:
        is_lower_limit = self.at_least is not None
        limit = self.at_least if is_lower_limit else self.below
        assert limit is not None
        assert self.state is not None
        assert self.blur is not None
        return Claim(
            role=getattr(self, self.sort),
            quantity=Quantity(self.sort),
            state=self.state,
            at_least=is_lower_limit,
            limit=limit,
            blur=self.blur,
            relative_to=self.relative_to,
        )


class SymptomEntry(SourcedEntry):
    """One observable yes or no."""

    question: Text
    state: Key
    when: MemberEntry | None = None
    any_part: Key | None = None
    is_only_told: bool = False
    shows_in_use: bool = False
    minutes: Positive
    missed_probability: Chance
    imagined_probability: Chance
    caution: str = ""
    needs: Key | None = None

    @model_validator(mode="after")
    def _check_report(self) -> Self:
        if self.missed_probability + self.imagined_probability >= 1:
            raise ValueError(
                "missed_probability and imagined_probability sum to 1 or more; "
                "the answer would say nothing, or the opposite"
            )
        if self.when is None and self.any_part is None:
            raise ValueError("give `when`, or `any_part`")
        return self

    def symptom(self, name: str) -> Symptom:
        """Return the symptom under its name."""
        member = None if self.when is None else self.when.member()
        when = (
            member
            if isinstance(member, Group)
            else Group(join=Join.ALL, members=() if member is None else (member,))
        )
        return Symptom(
            name=name,
            question=self.question,
            state=self.state,
            when=when,
            minutes=self.minutes,
            missed_probability=self.missed_probability,
            imagined_probability=self.imagined_probability,
            caution=self.caution,
            needs=self.needs or "",
            any_part=self.any_part or "",
            is_only_told=self.is_only_told,
            shows_in_use=self.shows_in_use,
            source=self.source,
            basis=self.basis,
        )


class SymptomsFile(KnowledgeEntry):
    """``symptoms.yaml``."""

    symptoms: dict[Key, SymptomEntry]


class ComplaintEntry(SourcedEntry):
    """What the owner came with."""

    says: Text
    also: list[Text] = Field(default_factory=list)
    answers: Annotated[dict[Key, bool], Field(min_length=1)]
    retest: Key
    cured_answer: bool
    group: Key | None = None
    stands_for: dict[Key, Key] = Field(default_factory=dict)
    without: dict[Key, Text] = Field(default_factory=dict)
    begins_at_posts: bool = False

    @field_validator("stands_for")
    @classmethod
    def _check_stands_for(cls, value: dict[str, str]) -> dict[str, str]:
        unknown = set(value) - set(ASPECTS)
        if unknown:
            raise ValueError(f"expected one of {', '.join(ASPECTS)}")
        return value

    def complaint(self, name: str) -> Complaint:
        """Return the complaint under its name."""
        return Complaint(
            name=name,
            says=self.says,
            also=tuple(self.also),
            answers=MappingProxyType(dict(self.answers)),
            retest=self.retest,
            cured_answer=self.cured_answer,
            group=self.group or "",
            stands_for=MappingProxyType(dict(self.stands_for)),
            without=MappingProxyType(dict(self.without)),
            begins_at_posts=self.begins_at_posts,
        )


class ComplaintsFile(KnowledgeEntry):
    """``complaints.yaml``."""

    complaints: dict[Key, ComplaintEntry]
    groups: dict[Key, Text] = Field(default_factory=dict)
