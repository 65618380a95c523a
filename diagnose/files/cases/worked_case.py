"""Worked cases as records: an evening with a known fault, step by step.

Leaves reading and writing them to `case_file` and `case_text`, and going through them
to `trial`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from diagnose.measurement.readings import Reading
from diagnose.measurement.substitutions import Substitution


@dataclass(frozen=True, slots=True, kw_only=True)
class Must:
    """What the program must say after a step; what is not given is free.

    Parameters
    ----------
    advice : str
        Value of `Verdict`; empty when free.
    rank : int
        A true cause stands at this place of the ranking or above; 0 when free.
    probability : float
        That place has at least this probability; 0 when free.
    """

    advice: str = ""
    rank: int = 0
    probability: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A symptom that was looked for."""

    symptom: str
    is_present: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A reading, or a look at a fuse, with its value.

    Parameters
    ----------
    value : float
        In volts, ohms (inf for over-range) or amps; 1 for blown, 0 for sound.
    """

    reading: Reading
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What was seen with a lead added, a part exchanged or taken off."""

    substitution: Substitution
    seen: Seen | Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """A repair.

    Parameters
    ----------
    cause : str
        `Cause.name` of what was mended.
    is_cured : bool
        Whether a true cause went away by it.
    """

    cause: str
    is_cured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseStep:
    """One step of a worked case.

    Parameters
    ----------
    remarks : tuple[str, ...]
        Comments written before it; not read back.
    line, column : int
        Where it stands in its file; 0 when it has none.
    """

    event: Seen | Measured | Tried | Repaired
    must: Must
    remarks: tuple[str, ...] = ()
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """How the readings of a case were made: by solving a car with a hidden fault.

    Parameters
    ----------
    faults : tuple[str, ...]
        `Cause.name` of the true causes.
    seed : int
        Seeds the tolerances, the fault's severity, and the errors of the meter.
    cars : int
        How many cars with other tolerances were drawn.
    car : int
        Which of them was measured, counted from 0.
    """

    faults: tuple[str, ...]
    seed: int
    cars: int
    car: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkedCase:
    """An invented evening at an invented car.

    Parameters
    ----------
    car : str
        Name of a shipped car, or a path from the case file's folder.
    complaint, owner : str
        Key of the complaint, and the owner's words.
    history : Mapping[str, str]
        Context to its answer.
    start : Must
        What must hold before the first step.
    final_advice : str
        The verdict after the last step; empty when free.
    most_wrong_repairs : int
        How often a repair may be advised that mends no true cause.
    path : str
        Its file; empty when it has none.
    """

    title: str
    car: str
    complaint: str
    owner: str
    making: Making
    steps: tuple[CaseStep, ...]
    history: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    start: Must = field(default_factory=Must)
    final_advice: str = ""
    most_wrong_repairs: int = 0
    path: str = ""
