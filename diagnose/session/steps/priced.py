"""Steps with their price and their worth, and which of them is the better one.

Readings that pay are ranked by what a minute of them is worth: more readings follow, so
a cheap one that is worth most goes before a dear one. On 60 simulated diagnoses the
minutes to the repair fell from 59 to 50 against ranking by net saving. That one may
read on is part of the worth: without it a dozen readings that each find one rare cause
went before the one that halves what is left. Leaves which steps are open to `advice`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.inference.choice.information import told_bits
from diagnose.inference.choice.joints import yes_no_joint
from diagnose.inference.choice.reading_worth import RepairPlan, saved_minutes
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.outcomes import Outcomes
from diagnose.session.steps.particles import Believed

# A step pays when it saves more than this beyond its own minutes. [min] Derived: half a
# minute is within what the estimate of a saving is off by.
LEAST_SAVING = 0.5

# How many steps are priced to the end. Derived: many times what is shown.
MOST_PRICED = 60

# What it takes to learn a bit by readings. [min] Derived: the first readings on the
# shipped car tell a third to half a bit a minute. On 600 small problems solved exactly
# two to eight come to the same.
BIT_MINUTES = 3.0

# From this chance on that the fault comes and goes, reading on is no way to go. [1] Own
# choice: one in ten, from where a test that brings it is among the first steps.
LIKELY_FLEETING = 0.1

# How many readings that show the same are kept, the quickest. [1] Own choice: the
# outputs of a dozen fuses on one bus would crowd out whatever tells something else; two
# leave a choice of the easier point.
MOST_ALIKE = 2

# What keeps the keys of all that pays below those of all that does not. Derived: no
# step costs or saves a million minutes.
PAYS_KEY = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Priced:
    """A step with its price and its worth.

    Parameters
    ----------
    step : Step
    minutes : float
        What it takes. [min]
    saves_minutes : float
        Expected minutes to a finished repair that it saves, before its own; what it is
        worth where that is more. [min]
    bits : float
        Expected information about what to mend. [bit]
    worth_minutes : float
        What it saves where one may read on, after it and instead of it. [min]
    """

    step: Step
    minutes: float
    saves_minutes: float
    bits: float
    worth_minutes: float

    @property
    def net_minutes(self) -> float:
        """What it saves beyond its own minutes. [min]."""
        return self.saves_minutes - self.minutes

    @property
    def pays(self) -> bool:
        """Whether it saves more than it takes, beyond what the estimate is off by."""
        return self.net_minutes > LEAST_SAVING

    def rank(self) -> tuple[bool, float]:
        """Return the key that sorts steps, best first.

        Returns
        -------
        tuple[bool, float]
            Those that pay come first, by what a minute of them is worth; the others by
            what they lose.
        """
        net = self.net_minutes
        return (
            not self.pays,
            -self.worth_minutes / self.minutes if self.pays else -net,
        )


def point_of(one: Priced) -> str:
    """Return the point of the red lead; empty for what has none.

    Parameters
    ----------
    one : Priced

    Returns
    -------
    str
    """
    step = one.step
    return step.red if isinstance(step, Reading) and step.black else ""


def rank_keys(
    saves_minutes: FloatArray, minutes: FloatArray, worth_minutes: FloatArray
) -> FloatArray:
    """Return `Priced.rank` of many steps as one number each, low for the best.

    Parameters
    ----------
    saves_minutes, minutes, worth_minutes : FloatArray
        As in `Priced`, shape (n_steps,). [min]

    Returns
    -------
    FloatArray
        Shape (n_steps,).
    """
    net = saves_minutes - minutes
    return np.where(net > LEAST_SAVING, -PAYS_KEY - worth_minutes / minutes, -net)


def saved_and_worth(
    joint: FloatArray, plan: RepairPlan
) -> tuple[FloatArray, FloatArray]:
    """Return what readings save, and what they are worth where one may read on.

    Where many causes are left, trying repairs is no way to go on before a reading nor
    after it, so that one which halves them would seem to save nothing.

    Parameters
    ----------
    joint : FloatArray
        As `saved_minutes` takes it, shape (n_readings, n_outcomes, n_groups). [1]
    plan : RepairPlan
        With what a bit takes, or without end: then both are the same.

    Returns
    -------
    saves_minutes, worth_minutes : FloatArray
        As in `Priced`, shape (n_readings,). [min]
    """
    worth = saved_minutes([joint], plan)
    if not math.isfinite(plan.bit_minutes):
        return worth, worth
    alone = saved_minutes([joint], replace(plan, bit_minutes=math.inf))
    return np.maximum(alone, worth), worth


class Pricing:
    """Prices steps on one car.

    Parameters
    ----------
    model : Model
    outcomes : Outcomes
        What particles give for a step.
    """

    def __init__(self, model: Model, outcomes: Outcomes) -> None:
        self._model = model
        self._outcomes = outcomes

    def readings(
        self,
        candidates: Candidates,
        some: IntArray,
        shown: StoredArray,
        moment: Moment,
        *,
        minutes: FloatArray,
        most: int = MOST_PRICED,
    ) -> list[Priced]:
        """Return the best of some readings of one kind, best first.

        Parameters
        ----------
        candidates : Candidates
        some : IntArray
            Their numbers, shape (n_some,).
        shown : StoredArray
            What each particle shows of them, shape (n_some, n_particles).
        moment : Moment
        minutes : FloatArray
            What they take, shape (n_some,). [min]
        most : int
            How many at most.

        Returns
        -------
        list[Priced]
        """
        held = moment.believed
        saves, worth = np.zeros(len(some)), np.zeros(len(some))
        place_of = np.full(len(some), -1)
        telling = np.flatnonzero(candidates.may_tell(shown))
        values, first, same = candidates.without_repeats(shown[telling])
        unmoved = None
        if not held.has_common_draws:
            unmoved = candidates.unmoved(held.sight, some[telling][first], values)
        joint = self._outcomes.joint(
            values, candidates.kind, held.particles, held.n_groups, unmoved=unmoved
        )
        saved, worth_of = saved_and_worth(joint, _read_on(held))
        saves[telling], worth[telling] = saved[same], worth_of[same]
        place_of[telling] = same
        best = _few_alike(
            np.argsort(rank_keys(saves, minutes, worth), kind="stable"), place_of
        )
        best = best[:most]
        told = best[place_of[best] >= 0]
        bits = np.zeros(len(some))
        bits[told] = told_bits(joint[place_of[told]])
        return [
            Priced(
                step=candidates.readings[some[place]],
                minutes=float(minutes[place]),
                saves_minutes=float(saves[place]),
                bits=float(bits[place]),
                worth_minutes=float(worth[place]),
            )
            for place in best.tolist()
        ]

    def symptoms(self, names: Sequence[str], moment: Moment) -> list[Priced]:
        """Return symptoms, or tests that bring a fault, in the order given.

        Parameters
        ----------
        names : Sequence[str]
        moment : Moment

        Returns
        -------
        list[Priced]
        """
        if not names:
            return []
        held = moment.believed
        yes = self._outcomes.yes(names, moment)
        joint = yes_no_joint(yes, held.particles, n_groups=held.n_groups)
        (saved, worth), told = saved_and_worth(joint, _read_on(held)), told_bits(joint)
        return [
            Priced(
                step=SymptomCheck(symptom=name),
                minutes=moment.prices.symptom_minutes(name, moment.here),
                saves_minutes=float(saves),
                bits=float(bits),
                worth_minutes=float(worths),
            )
            for name, saves, bits, worths in zip(names, saved, told, worth, strict=True)
        ]

    def tests(self, tests: Sequence[SubstitutionTest], moment: Moment) -> list[Priced]:
        """Return tests with the circuit changed, in the order given.

        Parameters
        ----------
        tests : Sequence[SubstitutionTest]
        moment : Moment

        Returns
        -------
        list[Priced]
        """
        held = moment.believed
        priced = []
        for test in tests:
            seen, look = self._outcomes.in_test(test, moment)[None], test.look
            joint = (
                self._outcomes.joint(
                    seen.astype(np.float32), look.kind, held.particles, held.n_groups
                )
                if isinstance(look, Reading)
                else yes_no_joint(seen, held.particles, n_groups=held.n_groups)
            )
            saved, worth = saved_and_worth(joint, _read_on(held))
            priced.append(
                Priced(
                    step=test,
                    minutes=moment.prices.test_minutes(test, moment.here),
                    saves_minutes=float(saved[0]),
                    bits=float(told_bits(joint)[0]),
                    worth_minutes=float(worth[0]),
                )
            )
        return priced

    def step(self, step: Step, moment: Moment) -> Priced:
        """Return one step, proposed or not.

        Parameters
        ----------
        step : Step
        moment : Moment

        Returns
        -------
        Priced
        """
        if isinstance(step, SymptomCheck):
            return self.symptoms([step.symptom], moment)[0]
        if isinstance(step, SubstitutionTest):
            return self.tests([step], moment)[0]
        candidates, only = self._outcomes.single(step), np.array([0])
        return self.readings(
            candidates,
            only,
            candidates.shown(moment.believed.sight, only),
            moment.in_state(step.state),
            minutes=np.array([moment.prices.minutes(step, moment.here)]),
        )[0]

    def bits(self, readings: Sequence[Reading], moment: Moment) -> list[float]:
        """Return what readings of one kind would tell about what to mend.

        Parameters
        ----------
        readings : Sequence[Reading]
            At least one.
        moment : Moment

        Returns
        -------
        list[float]
            One for each. [bit]
        """
        held, shown = moment.believed, self._outcomes.shown(readings, moment)
        joint = self._outcomes.joint(
            shown, readings[0].kind, held.particles, held.n_groups
        )
        told: list[float] = told_bits(joint).tolist()
        return told


def _read_on(held: Believed) -> RepairPlan:
    """Return the plan of repairs, with what a bit takes by reading on.

    Not where the fault likely comes and goes: a reading tells nothing while it is away,
    and reading on would have no end.
    """
    fleeting = float(held.particles.share[held.comes_and_goes >= 0].sum())
    if fleeting > LIKELY_FLEETING:
        return held.plan
    return replace(held.plan, bit_minutes=BIT_MINUTES)


def _few_alike(order: IntArray, place_of: IntArray) -> IntArray:
    """Return an order of readings with few of those that show the same.

    Parameters
    ----------
    order : IntArray
        Numbers of readings, best first.
    place_of : IntArray
        What each reading shows: readings with the same number show the same, and -1
        shows nothing; shape (n_readings,).
    """
    count: dict[int, int] = {}
    kept = []
    for reading in order.tolist():
        place = int(place_of[reading])
        count[place] = count.get(place, 0) + 1
        if place < 0 or count[place] <= MOST_ALIKE:
            kept.append(reading)
    return np.array(kept, dtype=np.int64)
