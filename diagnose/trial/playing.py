"""One diagnosis played to its end against a hidden car.

The simulated owner does what the program advises: takes the reading, answers the
question, makes the repair, proves it. Leaves other ways to choose the reading to
`policies` and the figures to `scoring`.

Decision that binds it: he is answered at once, and the answer is completed before his
next fact. The figures are then those of what a person at a screen is shown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.faults.causes import FaultSet
from diagnose.faults.signatures import mended_along
from diagnose.inference.prior.drawn_faults import drawn_fault_set
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.session.answer import Answer, ProposedStep, RankedCause, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.prices import Prices
from diagnose.trial.hidden.complaints import complaint_of, further_complaints
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.policies import (
    POLICIES,
    PROGRAM,
    Policy,
    Situation,
    bits_missing,
    goes_on,
)

# After how many steps a diagnosis that goes on is given up. [1] Own choice: more than
# anyone would take in an evening.
MOST_STEPS = 60

# How many faults a car has at most. [1] Own choice: three at once are rarer than what a
# trial of a thousand games can count.
MOST_FAULTS = 2

# What keeps the random numbers that draw a car, and those that choose a reading, apart
# from others of the same seed. [1] Own choice: any two numbers.
CAR_STREAM, CHOICE_STREAM = 7, 11


@dataclass(frozen=True, slots=True, kw_only=True)
class Game:
    """How one diagnosis went.

    Parameters
    ----------
    seed : int
        Repeats the game.
    complaint : str
        What the owner came with.
    faults : tuple[str, ...]
        `Cause.name` of the hidden causes.
    first_rank, last_rank : int
        Best and worst rank of the lines whose repair mends the hidden causes when the
        first repair was advised; 0 when it never came to a repair.
    named_rank : int
        Worst rank that a hidden cause's line had when the first repair was advised with
        that cause the best placed of those still there; 0 when it never came to that.
    claims : tuple[tuple[float, bool], ...]
        Every line shown before the first repair: its probability, and whether it holds
        a hidden cause.
    readings : int
        How many readings and answers were asked for. [1]
    wrong_repairs : int
        How many repairs mended no hidden cause. [1]
    minutes : float
        Spent on readings, symptoms and repairs. [min]
    is_fixed : bool
        The program says that the complaint is gone.
    facts : tuple[Fact, ...]
        All that was told.
    best_minutes : float
        What mending the hidden causes and testing the complaint again takes one who
        knows them. [min]
    missing_bits : float
        How unsure the ranking was after the complaint. [bit]
    named_first : str
        The cause that the first repair was advised for; empty when it never came to
        one.
    policy : str
        Who chose the readings.
    outside : str
        What was wrong that is no cause of the model; empty in an ordinary game.
    verdicts : tuple[Verdict, ...]
        What was advised, step by step.
    left : tuple[str, ...]
        The hidden causes that are there in the end.
    """

    seed: int
    complaint: str
    faults: tuple[str, ...]
    first_rank: int
    last_rank: int
    claims: tuple[tuple[float, bool], ...]
    readings: int
    wrong_repairs: int
    minutes: float
    is_fixed: bool
    facts: tuple[Fact, ...]
    best_minutes: float = 0.0
    missing_bits: float = 0.0
    named_rank: int = 0
    named_first: str = ""
    policy: str = PROGRAM
    outside: str = ""
    verdicts: tuple[Verdict, ...] = ()
    left: tuple[str, ...] = ()


def drawn_faults(model: Model, random: np.random.Generator) -> FaultSet:
    """Return one fault or two of different parts, drawn from the priors."""
    priors = model.compiled.priors
    while True:
        hit = drawn_fault_set(priors, random)
        parts = set(priors.part_of[list(hit)].tolist())
        if hit and len(parts) == len(hit) <= MOST_FAULTS:
            return hit


def told(step: ProposedStep, car: HiddenCar) -> Fact:
    """Return the owner's answer to a proposed step.

    Where a reading needs a state that the car can't get into, he says that.
    """
    reading = step.step
    if isinstance(reading, SubstitutionTest):
        return told_of_test(reading, car)
    if isinstance(reading, SymptomCheck):
        name = reading.symptom
        return SymptomFact(symptom=name, is_present=car.sees(name))
    is_look = reading.kind is ReadingKind.LOOK
    missing = "" if is_look else car.missing_for(step.state)
    if missing:
        return SymptomFact(symptom=missing, is_present=False)
    return ReadingFact(reading=reading, value=car.measures(reading))


def told_of_test(test: SubstitutionTest, car: HiddenCar) -> Fact:
    """Return what the owner sees in a test with the circuit changed.

    Where what he would read needs a state that the changed car can't get into, he says
    that.
    """
    look, changed = test.look, car.changed(test)
    seen: SymptomFact | ReadingFact
    if isinstance(look, SymptomCheck):
        seen = SymptomFact(symptom=look.symptom, is_present=changed.sees(look.symptom))
    else:
        is_look = look.kind is ReadingKind.LOOK
        missing = "" if is_look else changed.missing_for(look.state)
        seen = (
            SymptomFact(symptom=missing, is_present=False)
            if missing
            else ReadingFact(reading=look, value=changed.measures(look))
        )
    return SubstitutionFact(substitution=test.substitution, seen=seen)


def draw_car(
    model: Model, stock: HiddenCars, *, number: int, seed: int, errors: Errors
) -> tuple[HiddenCar, str]:
    """Return a car with a hidden fault that causes a complaint, and the complaint.

    Of two faults each has to show beside the other, see `further_complaints`.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    stock : HiddenCars
        Cars with tolerances of their own.
    number : int
        Which of them.
    seed : int
        Seeds the faults, the complaint and the errors.
    errors : Errors
        How the owner errs.
    """
    random = np.random.default_rng((seed, CAR_STREAM))
    while True:
        faults = drawn_faults(model, random)
        car = HiddenCar(stock, number, faults, errors=errors, seed=seed)
        complaint = complaint_of(car, model, lambda n: int(random.integers(n)))
        if complaint and further_complaints(car, model, complaint) is not None:
            return car, complaint


def play(
    model: Model,
    car: HiddenCar,
    complaint: str,
    *,
    seed: int,
    policy: str = PROGRAM,
) -> Game:
    """Return how one diagnosis went, played to its end.

    Parameters
    ----------
    model : Model
        What the diagnosis works with.
    car : HiddenCar
        What the owner has in front of him; mended on the way.
    complaint : str
        What he came with.
    seed : int
        Seeds the choices of a policy.
    policy : str
        Who chooses the readings, a key of `POLICIES`.
    """
    # a game is the same to the last digit whatever was played before it
    model.compiled.bank.forget_pairs()
    model.substituted.forget_sets()
    diagnosis = Diagnosis(model)
    hidden = car.faults

    def tell(fact: Fact) -> Answer:
        # as at the car: answered at once, completed while the next step is done
        diagnosis.complete()
        return diagnosis.tell(fact, at_once=True)

    answer = tell(ComplaintFact(complaint=complaint))
    for further in further_complaints(car, model, complaint) or ():
        answer = tell(ComplaintFact(complaint=further))
    missing_bits = bits_missing([cause.probability for cause in answer.causes])
    best_minutes = _best_minutes(model, hidden, diagnosis, complaint)
    chooser = _Chooser(diagnosis, model, complaint, policy=policy, seed=seed)
    minutes, readings, wrong = 0.0, 0, 0
    ranks: list[int] = []
    named: dict[int, int] = {}
    named_first = ""
    claims: list[tuple[float, bool]] = []
    verdicts: list[Verdict] = []
    for _ in range(MOST_STEPS):
        verdicts.append(answer.advice.verdict)
        if not ranks:
            claims += _claims(answer, hidden, model)
        if answer.advice.verdict is Verdict.FIXED:
            break
        step = chooser.next_step(answer)
        if isinstance(step, RankedCause):
            ranks = ranks or _ranks(answer, hidden, model)
            named_first = named_first or step.name
            named.setdefault(
                len(car.faults), min(_ranks(answer, car.faults, model), default=0)
            )
            wrong += not _mend(step, car, model)
            minutes += step.repair_minutes
            answer = tell(RepairFact(cause=step.name))
            continue
        if step is None:
            break
        minutes += step.minutes
        readings += 1
        answer = tell(told(step, car))
    return Game(
        seed=seed,
        complaint=complaint,
        faults=tuple(model.compiled.causes[c].name for c in hidden),
        first_rank=min(ranks, default=0),
        last_rank=max(ranks, default=0),
        claims=tuple(claims),
        readings=readings,
        wrong_repairs=wrong,
        minutes=minutes,
        is_fixed=answer.advice.verdict is Verdict.FIXED,
        facts=diagnosis.facts,
        best_minutes=best_minutes,
        missing_bits=missing_bits,
        named_rank=_named_rank(named, len(hidden)),
        named_first=named_first,
        policy=policy,
        outside=car.outside,
        verdicts=tuple(verdicts),
        left=tuple(model.compiled.causes[c].name for c in car.faults),
    )


class _Chooser:
    """Says what the simulated owner does next: the program's advice, or a policy's."""

    def __init__(
        self,
        diagnosis: Diagnosis,
        model: Model,
        complaint: str,
        *,
        policy: str,
        seed: int,
    ) -> None:
        self._diagnosis = diagnosis
        self._model = model
        self._complaint = complaint
        self._name, self._policy = policy, POLICIES[policy]
        self._random = np.random.default_rng((seed, CHOICE_STREAM))
        self._taken: set[Step] = set()

    def next_step(self, answer: Answer) -> ProposedStep | RankedCause | None:
        """Return the step to take next, the cause to mend, or None to stop."""
        verdict = answer.advice.verdict
        is_measuring = verdict is Verdict.OPEN or (
            verdict is Verdict.REPAIR and goes_on(self._name, answer)
        )
        if self._policy is not None and is_measuring and answer.causes:
            return self._chosen(self._policy, answer)
        if verdict is Verdict.REPAIR:
            wanted = answer.advice.cause
            return next(one for one in answer.causes if one.name == wanted)
        if not answer.next_steps or verdict is Verdict.STOP:
            return None
        self._taken.add(answer.next_steps[0].step)
        return answer.next_steps[0]

    def _chosen(
        self, policy: Policy, answer: Answer
    ) -> ProposedStep | RankedCause | None:
        step = policy(
            Situation(
                diagnosis=self._diagnosis,
                model=self._model,
                answer=answer,
                complaint=self._complaint,
                taken=frozenset(self._taken),
                random=self._random,
            )
        )
        if step is None:
            return answer.causes[0]
        self._taken.add(step)
        return self._diagnosis.expect(step)


def _named_rank(named: Mapping[int, int], n_hidden: int) -> int:
    """Return the worst rank at which a cause came up, 0 if one never did.

    Parameters
    ----------
    named : Mapping[int, int]
        Number of hidden causes left to the best rank of them when the first repair was
        advised with so many left.
    """
    if set(named) - {0} != set(range(1, n_hidden + 1)):
        return 0
    return max((named[left] for left in range(1, n_hidden + 1)), default=0)


def _best_minutes(
    model: Model, hidden: Sequence[int], diagnosis: Diagnosis, complaint: str
) -> float:
    """Return what mending known causes and testing the complaint takes. [min]."""
    prices = Prices(model)
    repairs = sum(prices.repair_minutes(model.compiled.causes[c]) for c in hidden)
    retest = model.knowledge.complaints[complaint].retest
    return repairs + diagnosis.expect(SymptomCheck(symptom=retest)).minutes


def _mend(best: RankedCause, car: HiddenCar, model: Model) -> bool:
    """Make a repair and return whether one of the causes it mends was there."""
    mended = _mended_by(best, model)
    was_there = bool(mended & set(car.faults))
    named = model.compiled.causes[_index(model, best.name)]
    car.repair(sorted(mended), named.mode.repair.cure_probability)
    return was_there


def _mended_by(line: RankedCause, model: Model) -> set[int]:
    """Return the causes that the repair of a line mends, lesser ones with them."""
    causes = model.compiled.causes
    named = causes[_index(model, line.name)]
    own = {_index(model, name) for name in line.members}
    return own | mended_along(named, causes)


def _claims(
    answer: Answer, hidden: Sequence[int], model: Model
) -> list[tuple[float, bool]]:
    """Return the probability of each line, and whether it holds a hidden cause."""
    names = {model.compiled.causes[c].name for c in hidden}
    return [(c.probability, bool(names & set(c.members))) for c in answer.causes]


def _index(model: Model, name: str) -> int:
    return next(i for i, c in enumerate(model.compiled.causes) if c.name == name)


def _ranks(answer: Answer, hidden: Sequence[int], model: Model) -> list[int]:
    """Return which line's repair mends each hidden cause, one past the last if none."""
    mended = [_mended_by(line, model) for line in answer.causes]
    return [
        next((rank for rank, line in enumerate(mended, start=1) if cause in line), 0)
        or len(mended) + 1
        for cause in hidden
    ]
