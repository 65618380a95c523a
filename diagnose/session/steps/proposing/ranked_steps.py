"""The best steps: every reading and symptom still open, the best few looked at twice.

Nothing is read in a state that the car hardly gets into, nor where something likely
chatters: the meter jumps there. Points that follow from one already read are left out,
unless that reading may well have been a slip: they share what made the first stray, but
not its slip. Leaves the words to `proposals`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.inference.choice.information import SharedInformation
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.outcomes import (
    LEAST_STATE_CHANCE,
    Outcomes,
    reached_chances,
    resting_chances,
)
from diagnose.session.steps.priced import MOST_PRICED, Priced, Pricing, point_of
from diagnose.session.steps.proposing.open_looks import OpenLooks
from diagnose.session.steps.proposing.second_readings import SecondReadings
from diagnose.session.steps.series_amps import takeable

# How many of the best steps are looked at twice. Measured on 600 small problems
# (tests/benchmarks/bench_choice.py): looking twice at the best three takes the worst
# case from 1.12 to 1.07 of the optimum.
BEST_FEW = 3

# How many second readings are weighed after each of them. Own choice: a quarter more
# time an answer.
MOST_SECONDS = 16

# Steps that save as much but for this share are as good. [1] Own choice: two in a
# hundred, what a few hundred particles are off by; the quicker one is taken first.
SAME_WORTH = 0.02

# Points closer than this in all that is believed tell the same. [V] Derived: under the
# spread of a reading on a 12 V car.
SAME_POINT_VOLTS = 0.08

# The same while cranking, beside it, as a share of the reading. [1] Rule of the trade:
# compression by compression a meter moves by a few tenths of 10 V.
CRANKING_JUMPS = 0.025

# Two points closer than this in ohms tell the same, whatever they are and as a share of
# them. [Ω, 1] Derived: under the spread of ohms, which moves both points alike.
SAME_POINT_OHMS, SAME_POINT_OHMS_SHARE = 0.2, 0.1

# The kinds of reading of which one may follow from another.
FOLLOWING_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.OHMS})

# Ohms further than this share of them off what a particle shows were a slip under it.
# [1] Derived: five times the spread of a reading.
SLIPPED_OHMS_SHARE = 0.5

# A reading further than this off what a particle shows was a slip under it. [V on a
# 12 V car] Derived: five times the spread of a reading.
SLIPPED_VOLTS = 1.0

# Above this chance of a slip a point next to the reading is worth reading too. [1]
# Derived: half a percent of an hour or two is what a reading costs.
LEAST_SLIPPED = 0.005

# Particles with less of the largest share than this don't keep two points apart. [1]
# Own choice: a fiftieth moves no choice.
LIGHT_SHARE = 0.02

# Behind how many steps that save most stands one that tells most a minute. [1] Own
# choice: a person looks at three. What is saved looks one repair ahead, and misses what
# points the way: that there is a drain, before it is known whose.
TELLS_MOST = 2

# What any step takes besides its own minutes, where one is chosen for what it tells.
# [min] From memory: the page is read, the point looked up, the answer typed and read.
# Without it a glance that tells a fifth of a bit went before the amps of a drain.
BESIDE_MINUTES = 1.0

# A step that leaves no more than this share untold of what to mend tells all of it:
# then other ways to tell the same stand beside it, ohms or a part taken off. [1] Own
# choice: a twentieth, what the estimates are off by.
UNTOLD = 0.05

# How many of the best steps are compared for that. [1] Own choice: those that are
# priced to the end, and the best of each way of measuring.
MOST_COMPARED = 100

# How many steps of each way of measuring in each state are kept behind the best. [1]
# Own choice: enough that one of them is not told by another.
OF_EACH_WAY = 2

# The same of tests that bring a fault. [1] Own choice: the places of a car.
OF_TESTS = 12


class RankedSteps:
    """Ranks what could be done next on one car.

    Parameters
    ----------
    model : Model
    outcomes : Outcomes
        What particles give for a step.
    pricing : Pricing
        What a step takes and saves.

    Attributes
    ----------
    looks : OpenLooks
        What can be looked for besides readings.
    """

    def __init__(self, model: Model, outcomes: Outcomes, pricing: Pricing) -> None:
        self._model = model
        self._outcomes = outcomes
        self._pricing = pricing
        self.looks = OpenLooks(model, outcomes)

    def ranked(
        self,
        moment: Moment,
        *,
        excluded: frozenset[Step],
        most: int = MOST_PRICED,
        allowance: Allowance | None = None,
    ) -> list[Priced]:
        """Return the best steps, best first.

        Parameters
        ----------
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.
        most : int
            How many at most.
        allowance : Allowance or None
            Whether tests with the circuit changed are solved where they are not yet;
            those that are not are left out. None: all are solved.

        Returns
        -------
        list[Priced]
            In the order of `Priced.rank`, but for the best few, which are in the order
            of what they save together with the reading after them.
        """
        reached = reached_chances(moment, self._model)
        priced = self._pricing.symptoms(
            self.looks.symptoms(moment, excluded, reached), moment
        )
        solved = self.looks.tests(moment, excluded, allowance)
        priced += self._pricing.tests(solved, moment)
        state_index = self._model.compiled.predictor.state_index
        can_be = reached * resting_chances(moment) >= LEAST_STATE_CHANCE
        for candidates, costs in moment.candidates:
            is_open = candidates.is_open(excluded)
            can_take = takeable(candidates, costs, moment, self._model.compiled)
            some = np.flatnonzero(can_be[candidates.states] & can_take & is_open)
            shown = candidates.shown(moment.believed.sight, some)
            is_telling = ~self._follows(moment, candidates, some, shown)
            for then, is_seen in moment.by_state(candidates.states[some], state_index):
                telling = np.flatnonzero(is_telling & is_seen)
                if not len(telling):
                    continue
                priced += self._pricing.readings(
                    candidates,
                    some[telling],
                    shown[telling],
                    then,
                    minutes=costs.minutes(moment.here)[some[telling]],
                    most=most,
                )
        priced.sort(key=Priced.rank)
        best = priced[:most]
        left = self._best_of_each_way(priced[most:])
        return [*self._twice_looked(best, moment), *left]

    def _best_of_each_way(self, priced: Sequence[Priced]) -> list[Priced]:
        """Return the best few of each way of looking: volts crowd none of them out."""
        count: dict[tuple[str, str], int] = {}
        found = []
        for one in priced:
            step = one.step
            if isinstance(step, Reading):
                way = step.kind.value, step.state
            else:
                way = type(step).__name__, "test" if self._is_test(step) else ""
            count[way] = count.get(way, 0) + 1
            if count[way] <= (OF_TESTS if self._is_test(step) else OF_EACH_WAY):
                found.append(one)
        return found

    def told_apart(
        self, priced: Sequence[Priced], moment: Moment, *, most: int
    ) -> list[Priced]:
        """Return steps with those first that do not tell the same in other words.

        Parameters
        ----------
        priced : Sequence[Priced]
            Best first; the first stays there.
        moment : Moment
        most : int
            How many are shown beside each other. [1]

        Returns
        -------
        list[Priced]
            The same steps: up to `most`, no two at one point, of which each saves most
            a minute of what those before it leave untold, and one tells most; where
            the first tells all, other ways to tell it. Then the others in their order.
        """
        compared = priced[:MOST_COMPARED]
        if len(compared) < 2:
            return list(priced)
        chances = self._chances([one.step for one in compared], moment)
        shared = SharedInformation(chances, moment.believed.particles.share)
        minutes = np.array([o.minutes if o.pays else np.inf for o in compared])
        worth = np.array([one.worth_minutes for one in compared]) / minutes
        bits = np.array([one.bits for one in compared]) / (minutes + BESIDE_MINUTES)
        points = [point_of(one) for one in compared]
        ways = np.array([_way_of(one.step) for one in compared])
        all_bits = _unsure_bits(moment.lines.probabilities)
        is_all_told = compared[0].bits > (1.0 - UNTOLD) * all_bits
        told = np.zeros(len(compared))
        chosen = [0]
        while len(chosen) < min(most, len(compared)):
            told = np.maximum(told, shared.told_by(chosen[-1]))
            told[_at_same_point(points, chosen[-1])] = 1.0
            told[chosen] = 1.0
            value = bits if len(chosen) == TELLS_MOST else worth
            left = value * (1.0 - told)
            if is_all_told:
                left = np.where(np.isin(ways, ways[chosen]), 0.0, value)
            if left.max() <= 0.0:
                break
            chosen.append(int(left.argmax()))
        others = (one for place, one in enumerate(priced) if place not in chosen)
        return [*(compared[place] for place in chosen), *others]

    def _chances(self, steps: Sequence[Step], moment: Moment) -> list[FloatArray]:
        """Return the chance of each outcome of steps; many readings at once."""
        found: dict[Step, FloatArray] = {}
        for candidates, _ in moment.candidates:
            some = candidates.among(steps)
            shown = candidates.shown(moment.believed.sight, some)
            for place, values in zip(some.tolist(), shown, strict=True):
                reading = candidates.readings[place]
                found[reading] = self._outcomes.chances_of(values, reading.kind)
        return [
            found[step] if step in found else self._outcomes.chances(step, moment)
            for step in steps
        ]

    def _is_test(self, step: Step) -> bool:
        if not isinstance(step, SymptomCheck):
            return False
        return step.symptom in self._model.provocations

    def _follows(
        self,
        moment: Moment,
        candidates: Candidates,
        some: IntArray,
        shown: StoredArray,
    ) -> BoolArray:
        """Return which readings follow from one already taken, shape (n_some,).

        Two points that keep their distance, whatever the fault and the draw, tell the
        same; what made the first reading stray from the model makes the second stray.
        Unless the first may well have been a slip: then the second tells that. Two
        that follow from one another and agree were no slips.
        """
        result = np.zeros(len(some), dtype=np.bool_)
        if candidates.kind not in FOLLOWING_KINDS:
            return result
        share = moment.believed.particles.share
        heavy = share > LIGHT_SHARE * share.max()
        states = candidates.states[some]
        read = [
            self._read(fact, times, moment)
            for fact, times in _read_since_repair(moment, candidates.kind)
        ]
        for fact, times, state, known in read:
            off = np.abs(np.abs(known) - abs(fact.value)) > self._slipped(fact)
            may_be_slip = times == 1 and share @ off > LEAST_SLIPPED
            if may_be_slip and not any(
                other is not fact
                and at == state
                and self._agree(fact, other, known[heavy], its[heavy])
                for other, _, at, its in read
            ):
                continue
            same = np.flatnonzero(states == state)
            values = shown[same][:, heavy]
            ways = (1.0, -1.0) if candidates.kind is ReadingKind.DC_VOLTS else (1.0,)
            for sign in ways:
                apart = _range_apart(values, sign * known[heavy])
                result[same] |= apart < self._same_point(fact)
        return result

    def _read(
        self, fact: ReadingFact, times: int, moment: Moment
    ) -> tuple[ReadingFact, int, int, StoredArray]:
        """Return a reading, how often, its state, and what each particle shows."""
        taken = self._outcomes.single(fact.reading)
        known = taken.shown(moment.believed.sight, np.array([0]))[0]
        return fact, times, int(taken.states[0]), known

    def _agree(
        self,
        one: ReadingFact,
        other: ReadingFact,
        known: StoredArray,
        its: StoredArray,
    ) -> bool:
        """Return whether two readings follow from one another, and are read so."""
        same_point = self._same_point(one)
        apart = _range_apart(known[None], its)
        if not apart[0] < same_point:
            return False
        expected = float(known[0]) - float(its[0])
        return abs(one.value - other.value - expected) < 2.0 * same_point

    def _slipped(self, fact: ReadingFact) -> float:
        """Return how far off a reading was a slip. [its unit]."""
        if fact.reading.kind is ReadingKind.OHMS:
            return SLIPPED_OHMS_SHARE * fact.value
        return SLIPPED_VOLTS * self._model.car.system_volts / 12.0

    def _same_point(self, fact: ReadingFact) -> float:
        """Return how close two points are that tell the same. [the reading's unit]."""
        if fact.reading.kind is ReadingKind.OHMS:
            return math.hypot(SAME_POINT_OHMS, SAME_POINT_OHMS_SHARE * fact.value)
        is_cranking = self._model.car.state(fact.reading.state).is_cranking
        jumps = CRANKING_JUMPS * abs(fact.value) if is_cranking else 0.0
        return math.hypot(SAME_POINT_VOLTS, jumps)

    def _twice_looked(self, priced: list[Priced], moment: Moment) -> list[Priced]:
        """Return steps with the best few in the order of two steps ahead."""
        few = [one for one in priced[:BEST_FEW] if one.pays]
        if len(few) < 2:
            return priced
        readings = [one.step for one in priced if isinstance(one.step, Reading)]
        seconds = SecondReadings(
            self._model, self._outcomes, moment, readings[:MOST_SECONDS]
        )
        further = {one.step: seconds.save_after(one.step) for one in few}
        worth = {one.step: one.net_minutes + further[one.step] for one in few}
        few.sort(key=lambda one: -worth[one.step])
        # what differs by less than the estimate is off by goes by its own minutes
        least = (1.0 - SAME_WORTH) * worth[few[0].step]
        few.sort(key=lambda one: (worth[one.step] < least, one.minutes))
        few.sort(key=lambda one: worth[one.step] < least)
        return [*few, *priced[len(few) :]]


def _unsure_bits(probabilities: FloatArray) -> float:
    """Return how unsure it is what to mend. [bit]."""
    some = probabilities[probabilities > 0.0]
    return float(-(some * np.log2(some)).sum())


def _way_of(step: Step) -> str:
    """Return by what a step tells: a function of the meter, a question, a change."""
    return step.kind.value if isinstance(step, Reading) else type(step).__name__


def _range_apart(values: StoredArray, known: StoredArray) -> FloatArray:
    """Return over what range rows lie from known values, OL at both counting as 0.

    Shape (n_rows,) of (n_rows, n_particles). [unit of the values]
    """
    is_over = np.isinf(values) & np.isinf(known)
    with np.errstate(invalid="ignore"):
        apart = np.where(is_over, 0.0, values - known)
    high, low = apart.max(axis=1), apart.min(axis=1)
    return np.where(np.isinf(high) | np.isinf(low), np.inf, high - low)


def _read_since_repair(
    moment: Moment, kind: ReadingKind
) -> list[tuple[ReadingFact, int]]:
    """Return the values of one kind read since the latest repair, OL left out.

    Each with how many readings that agree it stands for.
    """
    return [
        (noted.observation, noted.times)
        for noted in moment.conclusion.observations
        if isinstance(noted.observation, ReadingFact)
        and noted.observation.reading.kind is kind
        and math.isfinite(noted.observation.value)
        and noted.observation.while_it_shows is not False
        and noted.epoch >= len(moment.conclusion.repairs)
    ]


def _at_same_point(points: Sequence[str], number: int) -> BoolArray:
    """Return which steps are read at the point of one of them, shape (n_steps,)."""
    return np.array([bool(point) and point == points[number] for point in points])
