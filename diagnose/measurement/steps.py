"""Steps: what a person can be asked to do next, and what an observation answers.

A step is a reading to take or a symptom to look for. Leaves its worth to `inference`,
its price and its words to `session`.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind

# What stands before the name of a symptom in the key of a step.
SYMPTOM_KEY = "symptom"


@dataclass(frozen=True, slots=True, kw_only=True)
class SymptomCheck:
    """One symptom to look for, or a test that brings a fault on purpose.

    Parameters
    ----------
    symptom : str
        Its name, as in knowledge/ (``engine-cranks``), or that of the test
        (``wiggle-fender``).
    """

    symptom: str

    @property
    def name(self) -> str:
        """Key, e.g. ``symptom|engine-cranks``."""
        return f"{SYMPTOM_KEY}|{self.symptom}"


Step = Reading | SymptomCheck


def step_of_name(name: str) -> Step:
    """Return the step that a key stands for.

    Parameters
    ----------
    name : str
        ``kind|state|red|black`` for a reading, where kind is volts, ac, ohms, amps,
        fuse, lamp or look; ``symptom|name`` for a symptom.

    Returns
    -------
    Step
        The reading or the symptom; whether the car has it is not asked here.

    Raises
    ------
    ReadingError
        If it is neither.

    Examples
    --------
    >>> step_of_name("symptom|engine-cranks")
    SymptomCheck(symptom='engine-cranks')
    """
    words = name.split("|")
    if words[0] == SYMPTOM_KEY and len(words) == 2:
        return SymptomCheck(symptom=words[1])
    kinds = {kind.value: kind for kind in ReadingKind}
    if words[0] not in kinds or len(words) != 4:
        raise ReadingError(f'"{name}" is not a step; expected kind|state|red|black')
    kind, state, red, black = words
    return Reading(kind=kinds[kind], state=state, red=red, black=black)
