"""Operating states, tables by temperature and age, and the cautions before a step."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from diagnose.circuit.operating_states import ComesWith, OperatingState
from diagnose.circuit.temperature_and_age import USUAL_CELSIUS, Condition, FactorTable
from diagnose.faults.caution_rules import CautionRules
from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    Identifier,
    KnowledgeEntry,
    NotNegative,
    Pair,
    Positive,
    SourcedEntry,
)

# The longest line of a caution, in characters: what a screen of 80 columns has beside
# its margin.
BRIEF_CHARACTERS = 68

# The end of a sentence that another one follows.
_SENTENCE_END = re.compile(r"[.!?]\s")


def _rising_factors(rows: list[list[float]]) -> list[list[float]]:
    """Refuse a factor table that goes back, and factors that are none."""
    for (before, _), (after, _) in itertools.pairwise(rows):
        if not before < after:
            raise ValueError(f"the rows must rise; {after:g} comes after {before:g}")
    if any(factor <= 0 for _, factor in rows):
        raise ValueError("every factor must be greater than 0")
    return rows


def _one_at_usual_celsius(rows: list[list[float]]) -> list[list[float]]:
    """Refuse a table by temperature that changes the values meant for 20 °C."""
    if not math.isclose(_table(rows).factor(USUAL_CELSIUS), 1.0):
        raise ValueError(f"the factor at {USUAL_CELSIUS:g} must be 1")
    return rows


def _table(rows: list[list[float]]) -> FactorTable:
    return FactorTable(points=tuple((float(at), float(by)) for at, by in rows))


# A table of factors: rows of a point and its factor, by rising points.
FactorRows = Annotated[list[Pair], Field(min_length=2), AfterValidator(_rising_factors)]


class ConditionEntry(SourcedEntry):
    """What one parameter depends on."""

    celsius: Annotated[FactorRows, AfterValidator(_one_at_usual_celsius)] | None = None
    years: FactorRows | None = None

    @model_validator(mode="after")
    def _check_tables(self) -> Self:
        if self.celsius is None and self.years is None:
            raise ValueError("give celsius or years")
        return self

    def condition(self) -> Condition:
        """Return what the parameter depends on, as tables."""
        return Condition(
            celsius=None if self.celsius is None else _table(self.celsius),
            years=None if self.years is None else _table(self.years),
            source=f"{self.source} ({self.basis})",
        )


class ConditionsFile(KnowledgeEntry):
    """``conditions.yaml``."""

    conditions: dict[Key, dict[Identifier, ConditionEntry]]


class StateEntry(SourcedEntry):
    """A default operating state."""

    label: Text
    engine_rpm: NotNegative = 0.0
    is_cranking: bool = False
    is_engine_running: bool = False
    is_battery_connected: bool = True
    is_unplugged: bool = False
    lasts_seconds: Positive
    change_minutes: NotNegative
    needs_helper: bool = False
    caution: str = ""
    after: Key | None = None
    comes_with: Literal[
        "every-car", "file", "naming", "priming", "switches", "held-switches"
    ] = "every-car"
    like: Key | None = None
    otherwise: Key | None = None
    how: str = ""
    exists_when: Key | None = None

    def state(self, name: str) -> OperatingState:
        """Return the state under its name; switches and commands are the car's."""
        empty: Mapping[str, str] = MappingProxyType({})
        return OperatingState(
            name=name,
            label=self.label,
            switch_positions=empty,
            engine_rpm=self.engine_rpm,
            is_cranking=self.is_cranking,
            is_engine_running=self.is_engine_running,
            is_battery_connected=self.is_battery_connected,
            is_unplugged=self.is_unplugged,
            lasts_seconds=self.lasts_seconds,
            change_minutes=self.change_minutes,
            needs_helper=self.needs_helper,
            caution=self.caution,
            after=self.after or "",
            comes_with=ComesWith(self.comes_with),
            like=self.like or "",
            otherwise=self.otherwise or "",
            how=self.how,
            exists_when=self.exists_when or "",
        )


class OutputHowEntry(SourcedEntry):
    """How a person gets a controller to switch an output on."""

    how: Text


class StatesFile(KnowledgeEntry):
    """``states.yaml``."""

    states: dict[Key, StateEntry]
    outputs: dict[Key, OutputHowEntry]


class CautionEntry(SourcedEntry):
    """The words that stand before a step."""

    says: Text
    brief: str = ""
    every_time: bool = False

    @field_validator("brief")
    @classmethod
    def _check_length(cls, brief: str) -> str:
        if len(brief) > BRIEF_CHARACTERS:
            raise ValueError(
                f"it has {len(brief)} characters; {BRIEF_CHARACTERS} fit on a line"
            )
        return brief

    @model_validator(mode="after")
    def _check_sentence(self) -> Self:
        if self.every_time and _SENTENCE_END.search(self.says):
            raise ValueError("is said every time, so it needs to be one sentence")
        if self.every_time and self.brief:
            raise ValueError("is said every time, so it has no brief")
        return self


class OnTestsEntry(KnowledgeEntry):
    """Cautions of tests with the circuit changed, and of feeling what got hot."""

    lead: Key
    cable: Key
    lead_pumps: Key
    lead_cranks: Key
    swap: Key
    unplug: Key
    touch: Key


class StandingEntry(KnowledgeEntry):
    """Which cautions stand where."""

    at_electronics: Key
    clear_of_engine: Key
    clear_with: list[Key]
    needs_engine: list[Key]
    needs_part: dict[Key, Key]
    on_tests: OnTestsEntry
    stays_on: dict[Key, Key]
    work_on: dict[Key, list[Key]]

    def rules(self, every_time: frozenset[str]) -> CautionRules:
        """Return the rules, with the cautions that are said every time."""
        return CautionRules(
            at_electronics=self.at_electronics,
            clear_of_engine=self.clear_of_engine,
            clear_with=frozenset(self.clear_with),
            needs_engine=frozenset(self.needs_engine),
            needs_part=MappingProxyType(self.needs_part),
            stays_on=MappingProxyType(self.stays_on),
            work_on=MappingProxyType(
                {role: tuple(keys) for role, keys in self.work_on.items()}
            ),
            on_tests=MappingProxyType(self.on_tests.model_dump()),
            every_time=every_time,
        )


class CautionsFile(KnowledgeEntry):
    """``cautions.yaml``."""

    safety_note: CautionEntry
    cautions: dict[Key, CautionEntry]
    standing: StandingEntry

    def rules(self) -> CautionRules:
        """Return which cautions stand where."""
        return self.standing.rules(
            frozenset(key for key, one in self.cautions.items() if one.every_time)
        )
