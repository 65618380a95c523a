"""What a diagnosis answers after each fact: plain records, no screen.

The faces print them, the JSON face writes them out one to one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step, SubstitutionTest

# From here on something is likelier than not. [1]
LIKELIER_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """What one fact says about one cause.

    Parameters
    ----------
    fact : str
        The fact in words, e.g. ``14.1 V at alternator.output, idle``.
    decibans : float
        10 log10 of the odds factor for the cause: positive speaks for it. [dB]
    expected : str
        What the cause would have given, in words, e.g. ``11.2 to 12.0 V``.
    """

    fact: str
    decibans: float
    expected: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """What may have brought a suspect about.

    Parameters
    ----------
    cause : str
        Key of the cause; empty where nothing is found that would.
    says : str
        One sentence for the screen.
    probability : float
        That it was this, if the part is found as the suspect says.
    """

    cause: str
    says: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedCause:
    """One line of the ranking: causes no reading tells apart that share a repair.

    Parameters
    ----------
    name : str
        Key of the leading cause, e.g. ``pump-wire:open_circuit``; use it in
        `RepairFact`.
    members : tuple[str, ...]
        All causes on the line.
    says : str
        One sentence for the screen.
    probability : float
        The model's probability that this cause (or one of the members) is present.
    evidence : tuple[Weight, ...]
        The facts that weigh most, strongest first.
    origins : tuple[Origin, ...]
        What may have brought it about, likeliest first, nothing found last; empty for
        faults that follow from no other.
    settled_by : str
        The step that would say most about it, in words; empty where none would say
        much, and in a ranking, where it is not looked for.
    """

    name: str
    members: tuple[str, ...]
    says: str
    probability: float
    repair: str
    repair_minutes: float
    evidence: tuple[Weight, ...]
    origins: tuple[Origin, ...] = ()
    settled_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedValue:
    """What a step would show if one cause were the fault.

    Parameters
    ----------
    says : str
        The cause in words; ``healthy car`` for none.
    low, high : float
        The middle 90 % of the predicted values, in the reading's unit; for a symptom
        both are the probability of a yes.
    words : str
        The same for the screen, e.g. ``0.1 to 0.4 V``.
    """

    cause: str
    says: str
    low: float
    high: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One line of a job card: what it is about (``red``), and what it says of it."""

    name: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepCard:
    """How a step is done, line by line, to be read at a glance.

    Parameters
    ----------
    act : str
        What is done: what the meter is set to, or the question.
    lines : tuple[CardLine, ...]
        Where, which lead on what, what the car must be doing, what else to mind.
    """

    act: str
    lines: tuple[CardLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedStep:
    """A reading to take, a symptom to look for or a test, with all it takes to do it.

    Parameters
    ----------
    step : Step
        What is to be done.
    state : str
        Operating state the car has to be in.
    instruction : str
        Where the red lead, where the black, which state, with what on.
    cautions : tuple[str, ...]
        Shown before the instruction.
    minutes : float
        What it costs. [min]
    saves_minutes : float
        Expected minutes to a finished repair saved, net of its own. [min]
    bits : float
        Expected information about the cause. [bit]
    expected : tuple[ExpectedValue, ...]
        Healthy car first, then the leading causes.
    reason : str
        One line: why this one.
    card : StepCard
        The instruction line by line.
    is_for_worth : bool
        The reason is what it is worth, in minutes and bits.
    """

    step: Step
    state: str
    instruction: str
    cautions: tuple[str, ...]
    minutes: float
    saves_minutes: float
    bits: float
    expected: tuple[ExpectedValue, ...]
    reason: str
    card: StepCard
    is_for_worth: bool = False

    @property
    def reading(self) -> Reading | None:
        """The reading to take, in a test or without; None for a symptom."""
        look = self.step.look if isinstance(self.step, SubstitutionTest) else self.step
        return look if isinstance(look, Reading) else None


class Verdict(Enum):
    """Where the diagnosis stands."""

    OPEN = "open"  # go on measuring
    REPAIR = "repair"  # a repair now is cheaper than another reading
    PROVE = "prove"  # a repair was done: prove it
    FIXED = "fixed"  # proven: the complaint's own symptom was re-tested
    NOTHING_FITS = "nothing fits"  # no cause explains the facts
    STOP = "stop"  # unsafe, or out of readings: get help


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How well the best explanation accounts for the facts.

    Parameters
    ----------
    tail_probability : float
        Chance that the best explanation gives facts at least this odd.
    disagrees : str
        The fact that fits worst, in words; empty when all fit.
    check : str
        The wire or terminal of the car file to check; empty when all fit.
    outside_probability : float
        How likely it is that no cause of the model is behind the facts.
    """

    tail_probability: float
    disagrees: str
    check: str
    outside_probability: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The one thing to do now.

    Parameters
    ----------
    says : str
        One sentence.
    cautions : tuple[str, ...]
        Shown before it.
    cause : str
        For a repair: the cause to mend; else empty.
    where : str
        For a repair: where that part is, or runs; empty where it is no one place.
    """

    verdict: Verdict
    says: str
    cautions: tuple[str, ...]
    cause: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advised:
    """The one thing to do now, with the steps that belong to it.

    Parameters
    ----------
    steps : tuple[ProposedStep, ...]
        Best first.
    advice : Advice
    """

    steps: tuple[ProposedStep, ...]
    advice: Advice


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Everything known after the latest fact.

    Parameters
    ----------
    facts : tuple[str, ...]
        The facts that count (not undone), in words, oldest first.
    causes : tuple[RankedCause, ...]
        Most probable first.
    next_steps : tuple[ProposedStep, ...]
        Best first; after a repair, the proving reading first.
    sound_probability : float
        Probability that nothing is wrong any more (or ever was).
    left_out_probability : float
        Estimate of the mass of the fault sets not looked at.
    notes : tuple[str, ...]
        Doubts to show: an uninformative reading, readings that clash.
    contexts_open : Mapping[str, str]
        Questions about the history, not yet answered, that would tell enough of what
        was told to be asked, the most telling first.
    """

    facts: tuple[str, ...]
    causes: tuple[RankedCause, ...]
    next_steps: tuple[ProposedStep, ...]
    advice: Advice
    fit: Fit
    sound_probability: float
    left_out_probability: float
    notes: tuple[str, ...]
    contexts_open: Mapping[str, str]
