"""The grammar of the knowledge files: one model per kind of entry.

Each model checks what can be seen in one entry alone and turns itself into a record.
Leaves to `knowledge_files` reading, positions and what one file says about another.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

from diagnose.circuit.car import Distribution, OperatingState, Origin, Shape, Value
from diagnose.circuit.temperature_and_age import USUAL_CELSIUS, Condition, FactorTable
from diagnose.faults.links import LinkRule, LinkRules, Relation, SpotRule
from diagnose.faults.modes import (
    Change,
    FaultMode,
    Operation,
    Repair,
    Trigger,
    TriggerTest,
)
from diagnose.faults.owner_limits import Effort, OwnerLimit
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.probe_lamp import ProbeLamp
from diagnose.measurement.symptoms import (
    Claim,
    Complaint,
    Context,
    Group,
    Join,
    Quantity,
    Symptom,
)

LARGEST_RATE = 0.2  # above this a fault mode would be the normal condition of the part

SUM_TOLERANCE = 1e-9  # rounding of a few decimal fractions, far below any real mistake

Basis = Literal["read", "copy", "rule", "memory", "derived"]
ReadingWord = Literal["volts", "ac", "ohms", "amps", "fuse", "lamp", "look"]
OperationWord = Literal["set", "times", "plus"]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
# Names in the Bayesian network must be plain identifiers to be readable elsewhere.
IDENTIFIER_PATTERN = "^[a-z][a-z0-9_]*$"
MODES_PATTERN = r"^[a-z*][a-z*-]*\.[a-z*][a-z0-9_*]*$"
KEY_PATTERN = "^[a-z][a-z0-9-]*$"
Identifier = Annotated[str, StringConstraints(pattern=IDENTIFIER_PATTERN)]
Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN)]
ModePatterns = Annotated[
    list[Annotated[str, StringConstraints(pattern=MODES_PATTERN)]], Field(min_length=1)
]
Number = Annotated[float, Field(allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Chance = Annotated[float, Field(ge=0, lt=1)]


def _only_in_braces(*placeholders: str) -> Callable[[str], str]:
    """Return what refuses a text with any other placeholder."""

    def checked(text: str) -> str:
        for found in re.findall(r"\{[^}]*\}?|\}", text):
            if found not in placeholders:
                known = " or ".join(placeholders)
                raise ValueError(f"has {found!r}; the only placeholder is {known}")
        return text

    return checked


Template = Annotated[Text, AfterValidator(_only_in_braces("{part}"))]
ActionTemplate = Annotated[
    Text, AfterValidator(_only_in_braces("{part}", "{assembly}"))
]


class Entry(BaseModel):
    """Any entry: nothing unknown, nothing guessed from another type."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SourcedEntry(Entry):
    """An entry that says where it comes from and how sure that is."""

    source: Text
    basis: Basis


def _one_of(entry: BaseModel, names: tuple[str, ...]) -> str:
    """Return the one field of `names` that is given; refuse none and several."""
    given = [name for name in names if getattr(entry, name) is not None]
    if len(given) != 1:
        found = " and ".join(given) or "none of them"
        raise ValueError(f"give one of {', '.join(names)}; found {found}")
    return given[0]


SHAPES = tuple(shape.value for shape in Shape)
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]


class DistributionEntry(Entry):
    """A quantity, sure or not: exactly one shape."""

    fixed: Number | None = None
    lognormal: Pair | None = None
    normal: Pair | None = None
    uniform: Pair | None = None
    loguniform: Pair | None = None

    @model_validator(mode="after")
    def _check_numbers(self) -> Self:
        shape = _one_of(self, SHAPES)
        if shape == "fixed":
            return self
        first, second = getattr(self, shape)
        if shape in ("lognormal", "loguniform") and first <= 0:
            raise ValueError(f"{shape}: {first:g} must be greater than 0")
        if shape in ("lognormal", "normal") and second < 0:
            raise ValueError(f"{shape}: the spread {second:g} must not be negative")
        if shape in ("uniform", "loguniform") and not first < second:
            raise ValueError(f"{shape}: {first:g} must be less than {second:g}")
        return self

    def distribution(self) -> Distribution:
        """Return the record."""
        shape = _one_of(self, SHAPES)
        numbers = getattr(self, shape)
        first, second = (numbers, 0.0) if shape == "fixed" else numbers
        return Distribution(
            shape=Shape(shape), first=float(first), second=float(second)
        )


class ValueEntry(DistributionEntry, SourcedEntry):
    """The default of one parameter."""

    def value(self) -> Value:
        """Return the record."""
        return Value(
            distribution=self.distribution(),
            origin=Origin.DEFAULT,
            source=f"{self.source} ({self.basis})",
        )


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
        """Return the record."""
        return Condition(
            celsius=None if self.celsius is None else _table(self.celsius),
            years=None if self.years is None else _table(self.years),
            source=f"{self.source} ({self.basis})",
        )


class ConditionsFile(Entry):
    """``conditions.yaml``."""

    conditions: dict[Key, dict[Identifier, ConditionEntry]]


class RoleEntry(SourcedEntry):
    """A role and the kinds of part that can have it."""

    kinds: Annotated[list[Key], Field(min_length=1)]
    says: Text


class PartKindsFile(Entry):
    """``part-kinds.yaml``."""

    roles: dict[Key, RoleEntry]
    kinds: dict[Key, dict[Identifier, ValueEntry]]


class ChangeEntry(DistributionEntry):
    """One parameter, changed."""

    parameter: Identifier
    operation: OperationWord
    role: Key | None = None

    def change(self) -> Change:
        """Return the record."""
        return Change(
            parameter=self.parameter,
            operation=Operation(self.operation),
            amount=self.distribution(),
            role=self.role,
        )


class RepairEntry(Entry):
    """What mends a fault."""

    action: ActionTemplate
    minutes: Positive
    cure_probability: Annotated[float, Field(gt=0, le=1)]
    caution: str = ""
    price: Key = "nothing"
    renews: Key | None = None

    def repair(self) -> Repair:
        """Return the record."""
        return Repair(
            action=self.action,
            minutes=self.minutes,
            cure_probability=self.cure_probability,
            caution=self.caution,
            price=self.price,
            renews=self.renews or "",
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
    mechanical: dict[Identifier, Annotated[float, Field(ge=0, lt=1)]] = Field(
        default_factory=dict
    )
    roles: list[Key] = Field(default_factory=list)
    except_roles: list[Key] = Field(default_factory=list)
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
        if self.roles and self.except_roles:
            raise ValueError("has roles and except_roles; give at most one of them")
        return self

    def mode(self) -> FaultMode:
        """Return the record."""
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
            mechanical=MappingProxyType(dict(self.mechanical)),
            source=self.source,
            basis=self.basis,
            acts_as=self.acts_as or "",
            triggers=MappingProxyType(dict(self.triggers)),
        )


class FaultModesFile(Entry):
    """``fault-modes.yaml``."""

    mechanical: dict[Identifier, Text]
    modes: list[ModeEntry]


def _sum_to_one(states: dict[str, float]) -> dict[str, float]:
    """Refuse probabilities that do not sum to 1."""
    total = math.fsum(states.values())
    if abs(total - 1.0) > SUM_TOLERANCE:
        raise ValueError(f"the states sum to {total:g}; they must sum to 1")
    return states


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
    shifts: list[ShiftEntry] = []
    states: Annotated[
        dict[Identifier, Annotated[float, Field(gt=0, lt=1)]],
        Field(min_length=2),
        AfterValidator(_sum_to_one),
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
        """Return answer to factor for a mode, ``kind.name``; their mean is 1.

        The first of the shifts that names the mode holds.
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
        """Return the record."""
        return Context(
            name=name,
            question=self.question,
            states=MappingProxyType(dict(self.states)),
            source=self.source,
            basis=self.basis,
        )


class ContextsFile(Entry):
    """``contexts.yaml``."""

    contexts: dict[Identifier, ContextEntry]


RelationWord = Literal[
    "grounds-its-coil", "is-fed-through-it", "is-driven-by-it", "anywhere"
]


Probability = Annotated[float, Field(gt=0, lt=1)]


class TriggerTestEntry(Entry):
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
    test: TriggerTestEntry

    def trigger(self, name: str) -> Trigger:
        """Return the record."""
        return Trigger(
            name=name,
            says=self.says,
            present=MappingProxyType(dict(self.present)),
            otherwise=self.otherwise,
            in_complaint=self.in_complaint,
            test=TriggerTest(**self.test.model_dump()),
            source=self.source,
            basis=self.basis,
        )


class TriggersFile(Entry):
    """``triggers.yaml``."""

    triggers: dict[Identifier, TriggerEntry]


class LinkEntry(SourcedEntry):
    """A fault that makes another likelier."""

    parents: ModePatterns
    children: ModePatterns
    where: RelationWord
    factor: Annotated[float, Field(gt=1, lt=1000)]
    says: Text

    def link(self, name: str) -> LinkRule:
        """Return the record."""
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


class SpotWeightEntry(Entry):
    """How much likelier some modes are at a place in a condition."""

    modes: ModePatterns
    weight: Positive


class SpotEntry(SourcedEntry):
    """A condition each place of a car is in or not."""

    follows: Identifier
    chances: dict[Identifier, Annotated[float, Field(gt=0, lt=1)]]
    weights: Annotated[list[SpotWeightEntry], Field(min_length=1)]

    def spot(self, name: str) -> SpotRule:
        """Return the record."""
        return SpotRule(
            name=name,
            context=self.follows,
            chances=MappingProxyType(dict(self.chances)),
            weights=tuple((tuple(one.modes), one.weight) for one in self.weights),
            source=self.source,
            basis=self.basis,
        )


class LinksFile(Entry):
    """``links.yaml``."""

    links: dict[Identifier, LinkEntry]
    spots: dict[Identifier, SpotEntry]

    def rules(self) -> LinkRules:
        """Return the record."""
        return LinkRules(
            links=tuple(entry.link(name) for name, entry in self.links.items()),
            spots=tuple(entry.spot(name) for name, entry in self.spots.items()),
        )


QUANTITIES = tuple(quantity.value for quantity in Quantity)
JOINS = tuple(join.value for join in Join)


class MemberEntry(Entry):
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
    mechanical: Identifier | None = None
    state: Key | None = None
    at_least: Number | None = None
    below: Number | None = None
    blur: NotNegative | None = None
    relative_to: Key | None = None

    @model_validator(mode="after")
    def _check_sort(self) -> Self:
        sort = _one_of(self, ("symptom", *JOINS, *QUANTITIES))
        rest = self.model_fields_set - {sort}
        if sort not in QUANTITIES:
            if rest:
                raise ValueError(
                    f"{sort} stands alone; found {', '.join(sorted(rest))}"
                )
            return self
        for name in ("state", "blur"):
            if name not in rest:
                raise ValueError(f"the claim on {sort} needs {name}")
        _one_of(self, ("at_least", "below"))
        return self

    @property
    def sort(self) -> str:
        """The field that says what this member is."""
        return _one_of(self, ("symptom", *JOINS, *QUANTITIES))

    def member(self) -> Claim | Group | str:
        """Return the record, or the other symptom's name."""
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
    when: MemberEntry
    minutes: Positive
    missed_probability: Chance
    imagined_probability: Chance
    caution: str = ""

    @model_validator(mode="after")
    def _check_report(self) -> Self:
        if self.missed_probability + self.imagined_probability >= 1:
            raise ValueError(
                "missed_probability and imagined_probability sum to 1 or more; "
                "the answer would say nothing, or the opposite"
            )
        return self

    def symptom(self, name: str) -> Symptom:
        """Return the record."""
        member = self.when.member()
        when = (
            member
            if isinstance(member, Group)
            else Group(join=Join.ALL, members=(member,))
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
            source=self.source,
            basis=self.basis,
        )


class SymptomsFile(Entry):
    """``symptoms.yaml``."""

    symptoms: dict[Key, SymptomEntry]


class ComplaintEntry(SourcedEntry):
    """What the owner came with."""

    says: Text
    answers: Annotated[dict[Key, bool], Field(min_length=1)]
    retest: Key
    cured_answer: bool

    def complaint(self, name: str) -> Complaint:
        """Return the record."""
        return Complaint(
            name=name,
            says=self.says,
            answers=MappingProxyType(dict(self.answers)),
            retest=self.retest,
            cured_answer=self.cured_answer,
        )


class ComplaintsFile(Entry):
    """``complaints.yaml``."""

    complaints: dict[Key, ComplaintEntry]


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
    is_optional: bool = False
    exists_when: Key | None = None

    def state(self, name: str) -> OperatingState:
        """Return the record; switches and commands are the car's."""
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
            is_optional=self.is_optional,
            exists_when=self.exists_when or "",
        )


class StatesFile(Entry):
    """``states.yaml``."""

    states: dict[Key, StateEntry]


class CautionEntry(SourcedEntry):
    """The words that stand before a step."""

    says: Text


class CautionsFile(Entry):
    """``cautions.yaml``."""

    safety_note: CautionEntry
    cautions: dict[Key, CautionEntry]


class LimitEntry(SourcedEntry):
    """Something an owner may lack."""

    says: Text
    readings: list[ReadingWord] = Field(default_factory=list)
    states: list[Key] = Field(default_factory=list)
    cautions: list[Key] = Field(default_factory=list)
    is_impossible: bool = False
    extra_minutes: NotNegative = 0.0
    repair_extra_minutes: NotNegative = 0.0
    in_series_minutes: NotNegative = 0.0

    @model_validator(mode="after")
    def _check_effect(self) -> Self:
        if not (self.readings or self.states or self.cautions):
            raise ValueError("needs readings, states or cautions that it is needed for")
        if self.is_impossible == (self.extra_minutes > 0.0):
            raise ValueError("needs either is_impossible: true or extra_minutes")
        return self

    def limit(self, name: str) -> OwnerLimit:
        """Return the record."""
        return OwnerLimit(
            name=name,
            says=self.says,
            readings=frozenset(self.readings),
            states=frozenset(self.states),
            cautions=frozenset(self.cautions),
            is_impossible=self.is_impossible,
            extra_minutes=self.extra_minutes,
            repair_extra_minutes=self.repair_extra_minutes,
            in_series_minutes=self.in_series_minutes,
        )


class PriceEntry(SourcedEntry):
    """What one price class counts as."""

    minutes: NotNegative


class EffortFile(Entry):
    """``effort.yaml``."""

    limits: dict[Key, LimitEntry]
    prices: dict[Key, PriceEntry]
    needless_repair: PriceEntry

    def effort(self) -> Effort:
        """Return the record."""
        return Effort(
            limits=MappingProxyType(
                {name: entry.limit(name) for name, entry in self.limits.items()}
            ),
            price_minutes=MappingProxyType(
                {name: entry.minutes for name, entry in self.prices.items()}
            ),
            needless_minutes=self.needless_repair.minutes,
        )


class RangeEntry(SourcedEntry):
    """Accuracy of one function of the meter."""

    percent: NotNegative
    counts: NotNegative
    resolution: Positive

    def meter_range(self) -> MeterRange:
        """Return the record."""
        return MeterRange(
            percent=self.percent, counts=self.counts, resolution=self.resolution
        )


class NumberEntry(SourcedEntry):
    """One number with its origin."""

    value: NotNegative


class LampEntry(SourcedEntry):
    """The test lamp."""

    watts: Positive
    volts: Positive
    lit_light: Positive
    dark_light: Positive
    lit_blur: Positive
    dark_blur: Positive
    caution: Key

    def probe_lamp(self) -> ProbeLamp:
        """Return the record."""
        return ProbeLamp(
            watts=self.watts,
            volts=self.volts,
            lit_light=self.lit_light,
            dark_light=self.dark_light,
            lit_blur=self.lit_blur,
            dark_blur=self.dark_blur,
            caution=self.caution,
        )


class SeriesEntry(SourcedEntry):
    """Amps with the meter in series."""

    caution: Key


class MeterFile(Entry):
    """``meter.yaml``."""

    volts: RangeEntry
    ohms: RangeEntry
    amps: RangeEntry
    ac_volts: RangeEntry
    millivolts: RangeEntry
    test_lamp: LampEntry
    in_series: SeriesEntry
    input_ohms: NumberEntry
    lead_ohms: NumberEntry
    slip_probability: NumberEntry
    model_volts: NumberEntry
    model_fraction: NumberEntry

    def meter(self) -> Meter:
        """Return the record."""
        return Meter(
            volts=self.volts.meter_range(),
            ohms=self.ohms.meter_range(),
            amps=self.amps.meter_range(),
            ac_volts=self.ac_volts.meter_range(),
            millivolts=self.millivolts.meter_range(),
            test_lamp=self.test_lamp.probe_lamp(),
            input_ohms=self.input_ohms.value,
            lead_ohms=self.lead_ohms.value,
            slip_probability=self.slip_probability.value,
            model_volts=self.model_volts.value,
            model_fraction=self.model_fraction.value,
            series_caution=self.in_series.caution,
        )
