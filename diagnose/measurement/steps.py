"""Steps: what a person can be asked to do next, and what an observation answers.

A step is a reading to take or a symptom to look for, on the car as it stands or with a
lead added, a part exchanged or taken off. Leaves its worth to `inference`,
its price and its words to `session`.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.substitutions import Substitution, split_substitution

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


# What is seen of a car: read off a meter, or answered by yes or no.
Look = Reading | SymptomCheck


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstitutionTest:
    """A look at the car while its circuit is changed on purpose.

    Parameters
    ----------
    substitution : Substitution
        What is changed.
    look : Reading or SymptomCheck
        What is read or looked for meanwhile.
    """

    substitution: Substitution
    look: Look

    @property
    def name(self) -> str:
        """Key, e.g. ``swap|pump-relay|symptom|pump-primes``."""
        return f"{self.substitution.name}|{self.look.name}"


Step = Look | SubstitutionTest


def step_of_name(name: str) -> Step:
    """Return the step that a key stands for.

    Parameters
    ----------
    name : str
        ``kind|state|red|black`` for a reading, where kind is volts, ac, ohms, amps,
        fuse, lamp or look; ``symptom|name`` for a symptom; either of them behind
        ``bridge|node|node``, ``swap|part`` or ``unplug|part``.

    Returns
    -------
    Step
        The reading, the symptom or the test; whether the car has it is not asked here.

    Raises
    ------
    ReadingError
        If it is none of them.

    Examples
    --------
    >>> step_of_name("symptom|engine-cranks")
    SymptomCheck(symptom='engine-cranks')
    """
    substitution, words = split_substitution(name.split("|"))
    look = _look_of(words, name)
    if substitution is None:
        return look
    return SubstitutionTest(substitution=substitution, look=look)


def _look_of(words: list[str], name: str) -> Look:
    """Return the reading or symptom that the words of a key stand for."""
    if not words:
        raise ReadingError(f'"{name}" says nothing of what is read or looked for')
    if words[0] == SYMPTOM_KEY and len(words) == 2:
        return SymptomCheck(symptom=words[1])
    kinds = {kind.value: kind for kind in ReadingKind}
    if words[0] not in kinds or len(words) != 4:
        raise ReadingError(f'"{name}" is not a step; expected kind|state|red|black')
    kind, state, red, black = words
    return Reading(kind=kinds[kind], state=state, red=red, black=black)
