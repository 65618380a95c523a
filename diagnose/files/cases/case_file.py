"""A case file as a worked case, or everything that is wrong with it at once.

Checks what can be seen in the file alone; whether its names are names of the car shows
when `trial` goes through it.
"""

from __future__ import annotations

import math
import pathlib
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)

from diagnose.errors import InvalidFileError
from diagnose.files.cases.worked_case import (
    CaseStep,
    Making,
    Measured,
    Must,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.files.grammar import Entry, Text, grammar_problems, keys_of
from diagnose.files.quantities import (
    CURRENT,
    RESISTANCE,
    VOLTAGE,
    Measure,
    parse_amount,
)
from diagnose.files.yaml_positions import Document, read_document
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.substitutions import Substitution, SubstitutionKind

# What a message calls such a file.
CASE_FILE = "case file"

# What stands for a resistance beyond the range of the meter.
OVER_RANGE = "OL"

# What each setting of the meter is read in.
MEASURES = MappingProxyType(
    {
        ReadingKind.DC_VOLTS: VOLTAGE,
        ReadingKind.OHMS: RESISTANCE,
        ReadingKind.AMPS: CURRENT,
        ReadingKind.AC_VOLTS: VOLTAGE,
        ReadingKind.FUSE: VOLTAGE,
    }
)

# A name of the car or of knowledge/: part, test point, cause, answer.
Name = Annotated[str, StringConstraints(pattern=r"^[a-z][\w.:/-]*$")]

# An answer to a symptom, or whether a repair cured.
YesOrNo = Literal["yes", "no"]

# The values of `Verdict`.
Advice = Literal["open", "repair", "prove", "fixed", "nothing fits", "stop"]


def _read_by(measure: Measure) -> BeforeValidator:
    def read(found: object) -> float:
        if measure is RESISTANCE and found == OVER_RANGE:
            return math.inf
        # without the last-digit noise of milli times a binary fraction
        return float(f"{parse_amount(found, measure):.12g}")

    return BeforeValidator(read)


# A voltage with its unit. [V]
Volts = Annotated[float, _read_by(VOLTAGE)]

# A resistance with its unit, or over-range. [Ω]
Ohms = Annotated[float, _read_by(RESISTANCE)]

# A current with its unit. [A]
Amps = Annotated[float, _read_by(CURRENT)]


class CaseEntry(Entry):
    """Any entry of a case file."""


class MustEntry(CaseEntry):
    """What the program must say."""

    advice: Advice | None = None
    rank: int = Field(default=0, ge=1)
    probability: float = Field(default=0.0, gt=0.0, le=1.0)

    def record(self) -> Must:
        """Return what the program must say."""
        advice: str = self.advice or ""
        return Must(advice=advice, rank=self.rank, probability=self.probability)


class StepEntry(CaseEntry):
    """One step: a symptom, a reading, a look at a fuse, or a repair.

    The first two with ``bridge``, ``swap`` or ``unplug`` where the circuit was changed
    for it.
    """

    symptom: Name | None = None
    answer: YesOrNo | None = None
    volts: Volts | None = None
    ac: Volts | None = None
    ohms: Ohms | None = None
    amps: Amps | None = None
    fuse: Volts | None = None
    lamp: Literal["lit", "dim", "dark"] | None = None
    red: Name | None = None
    black: Name | None = None
    at: Name | None = None
    state: Name | None = None
    look: Name | None = None
    found: Literal["blown", "sound"] | None = None
    bridge: Annotated[list[Name], Field(min_length=2, max_length=2)] | None = None
    swap: Name | None = None
    unplug: Name | None = None
    repair: Name | None = None
    cures: YesOrNo | None = None
    then: MustEntry = Field(default_factory=MustEntry)

    @model_validator(mode="after")
    def _check_fields(self) -> Self:
        """Require exactly the keys that one kind of step needs."""
        given = {name for name in self.model_fields_set if name != "then"}
        changes = given & CHANGE_KEYS
        if len(changes) > 1 or (changes and "repair" in given):
            raise ValueError(
                f"a reading or a symptom has one of {', '.join(sorted(CHANGE_KEYS))} "
                f"at most; found {', '.join(sorted(changes))}"
            )
        given -= changes
        kinds = [name for name in STEP_KEYS if name in given]
        if len(kinds) != 1:
            raise ValueError(
                f"a step has one of {', '.join(STEP_KEYS)}; "
                f"found {', '.join(kinds) or 'none of them'}"
            )
        wanted = {kinds[0], *STEP_KEYS[kinds[0]]}
        if given != wanted:
            missing, foreign = sorted(wanted - given), sorted(given - wanted)
            raise ValueError(
                f"a step with {kinds[0]} has the keys {', '.join(sorted(wanted))}"
                + (f"; missing: {', '.join(missing)}" if missing else "")
                + (f"; not wanted: {', '.join(foreign)}" if foreign else "")
            )
        return self

    def event(self) -> Seen | Measured | Tried | Repaired:
        """Return what was seen, measured, tried or mended in this step."""
        event = self._plain_event()
        if isinstance(event, Repaired):
            return event
        for kind in SubstitutionKind:
            where: str | list[str] | None = getattr(self, kind.value)
            if where is not None:
                ends = [where] if isinstance(where, str) else where
                at, to = ends[0], ends[1] if len(ends) > 1 else ""
                change = Substitution(kind=kind, at=at, to=to)
                return Tried(substitution=change, seen=event)
        return event

    def _plain_event(self) -> Seen | Measured | Repaired:
        """Return the step without what was changed for it."""
        if self.symptom is not None:
            return Seen(symptom=self.symptom, is_present=self.answer == "yes")
        if self.repair is not None:
            return Repaired(cause=self.repair, is_cured=self.cures == "yes")
        kind, value = self._measured()
        reading = Reading(
            kind=kind,
            state=self.state or "",
            red=self.red or self.at or self.look or "",
            black=self.black or "",
        )
        return Measured(reading=reading, value=value)

    def _measured(self) -> tuple[ReadingKind, float]:
        """Return what the meter was set to, and what it showed."""
        for kind in MEASURES:
            value: float | None = getattr(self, kind.value)
            if value is not None:
                return kind, value
        if self.lamp is not None:
            return ReadingKind.LAMP, GRADES[self.lamp]
        return ReadingKind.LOOK, float(self.found == "blown")


# Keys that say how the circuit was changed for a reading or a symptom.
CHANGE_KEYS = frozenset(kind.value for kind in SubstitutionKind)

# Key that makes a step what it is, and the keys that go with it.
STEP_KEYS = MappingProxyType(
    {
        "symptom": ("answer",),
        "volts": ("red", "black", "state"),
        "ac": ("red", "black", "state"),
        "ohms": ("red", "black", "state"),
        "amps": ("at", "state"),
        "fuse": ("at", "state"),
        "lamp": ("red", "black", "state"),
        "look": ("found", "state"),
        "repair": ("cures",),
    }
)


class MakingEntry(CaseEntry):
    """How the readings were made."""

    faults: Annotated[list[Name], Field(min_length=1)]
    seed: int = Field(ge=0)
    cars: int = Field(ge=1)
    car: int = Field(ge=0)

    @model_validator(mode="after")
    def _check_car(self) -> Self:
        """Require a car that was drawn."""
        if self.car >= self.cars:
            raise ValueError(f"car {self.car} of {self.cars}; they count from 0")
        return self


class EndEntry(CaseEntry):
    """What must hold at the end."""

    advice: Advice | None = None
    wrong_repairs: int = Field(default=0, ge=0, alias="wrong-repairs")


class CaseFileEntry(CaseEntry):
    """A whole case file."""

    case_file: Literal[1] = Field(alias="case-file")
    title: Text
    car: Text
    complaint: Name
    owner: Text
    history: dict[Name, Name] = Field(default_factory=dict)
    made: MakingEntry
    at_start: MustEntry = Field(default_factory=MustEntry, alias="at-start")
    steps: Annotated[list[StepEntry], Field(min_length=1)]
    at_the_end: EndEntry = Field(default_factory=EndEntry, alias="at-the-end")


def load_case(path: pathlib.Path) -> WorkedCase:
    """Read a case file.

    Parameters
    ----------
    path : pathlib.Path
        The file, YAML 1.2.

    Returns
    -------
    WorkedCase
        With the place of each step in the file.

    Raises
    ------
    InvalidFileError
        With every problem of the file, in the order of its lines.
    """
    document = read_document(path, wanted=CASE_FILE)
    problems = list(document.problems)
    try:
        entry = CaseFileEntry.model_validate(document.data)
    except ValidationError as error:
        problems.extend(grammar_problems(error, document, known=keys_of(CaseEntry)))
        raise InvalidFileError(
            tuple(sorted(problems, key=lambda found: (found.line, found.column)))
        ) from error
    if problems:
        raise InvalidFileError(tuple(problems))
    return _case(entry, document)


def _case(entry: CaseFileEntry, document: Document) -> WorkedCase:
    made = entry.made
    return WorkedCase(
        title=entry.title,
        car=entry.car,
        complaint=entry.complaint,
        owner=entry.owner,
        history=MappingProxyType(entry.history),
        making=Making(
            faults=tuple(made.faults), seed=made.seed, cars=made.cars, car=made.car
        ),
        start=entry.at_start.record(),
        steps=tuple(
            _step(step, number, document) for number, step in enumerate(entry.steps)
        ),
        final_advice=entry.at_the_end.advice or "",
        most_wrong_repairs=entry.at_the_end.wrong_repairs,
        path=document.path,
    )


def _step(entry: StepEntry, number: int, document: Document) -> CaseStep:
    position = document.position(("steps", number))
    return CaseStep(
        event=entry.event(),
        must=entry.then.record(),
        line=position.line,
        column=position.column,
    )
