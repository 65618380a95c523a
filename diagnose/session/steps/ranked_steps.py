"""Proposed steps: every reading and symptom still open, priced and ranked.

Prices come from where the person is and what state the car is in; worth from
`inference.choice.reading_worth`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.inference.choice.information import mutual_bits, told_bits
from diagnose.inference.choice.joints import (
    binned_joint,
    edges_for,
    graded_joint,
    yes_no_joint,
)
from diagnose.inference.choice.look_ahead import binned_outcomes, further_minutes
from diagnose.inference.choice.particles import Particles, common_particles
from diagnose.inference.choice.reading_worth import RepairPlan, saved_minutes
from diagnose.inference.choice.volts_outcomes import VoltsOutcomes
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.measurement.where_to_measure import proposable_readings
from diagnose.session.answer import ExpectedValue, ProposedStep
from diagnose.session.cautions import cautions_for, symptom_cautions
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    LimitFact,
    ReadingFact,
    SymptomFact,
    TakesFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates, Costs, Sight
from diagnose.session.steps.prices import Prices, Whereabouts
from diagnose.session.steps.series_amps import bears_series
from diagnose.session.wording import (
    instruction,
    places_of,
    range_words,
    step_words,
)
from diagnose.units import format_minutes

MOST_SETS = 40
SET_DRAWS = 16
MOST_GROUPS = 24
LEAST_SAVING = 0.5
# Derived: half a minute is within what the estimate of a saving is off by. [min]
GIVE_UP_MINUTES = 480.0
# From memory: a day lost, or a workshop with the way there and four hours of pay. At
# three hours, two faults or a flat ranking cost no more than giving up whatever was
# measured, so that no reading seemed to pay and the likeliest was mended on a guess.
BEST_FEW = 3
MOST_SECONDS = 16
# Computed on 600 small problems (tests/benchmarks/bench_choice.py): looking twice at
# the best three takes the worst case from 1.12 to 1.07 of the optimum.
MOST_PRICED = 60
# Derived: many times what is shown.
SAME_POINT_VOLTS = 0.08
SLIPPED_VOLTS = 1.0
LEAST_SLIPPED = 0.005
# Derived: five times the spread of a reading on a 12 V car; half a percent of an hour
# or two is what a reading costs.
LIGHT_SHARE = 0.02
# Derived: under the spread of a reading on a 12 V car; light draws don't count.
TURN_MINUTES = 0.3
LEAST_STATE_CHANCE = 0.5
LEAST_FLEETING = 0.02
# Own choice: below this chance of a fault that comes and goes, no test for one is
# looked at.
SHOWN_CAUSES = 4
SEARCHED_CAUSES = 16
LEAST_EXPECTED = 0.005
LEAST_APART, SHARE_APART = 0.1, 0.05
# Own choice: values closer than that need the same solved.
PROOF_BITS_PER_MINUTE = 0.03
# Derived: a reading ten minutes away must tell a third of a bit more than one at hand.
LEAST_PROOF_BITS = 0.3
LEAST_SETTLING_BITS = 0.05
# Own choice: a twentieth of a yes or no; less is not worth naming.
ABOUT_AS_MUCH = 0.9
# Own choice: a tenth of a bit more is no reason to crawl under the car.
EXPECTED_TAILS = (0.05, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Priced:
    """A candidate with its price and its worth."""

    step: Step
    minutes: float
    saves_minutes: float
    bits: float

    def rank(self) -> tuple[bool, float]:
        """Return the key that sorts candidates, best first.

        Those that pay for themselves come first, by minutes saved per minute spent:
        more readings follow, so a cheap one that saves most goes before a dear one.
        """
        net = self.saves_minutes - self.minutes
        pays = net > LEAST_SAVING
        return (not pays, -self.saves_minutes / self.minutes if pays else -net)


class Adviser:
    """Ranks what could be done next.

    Parameters
    ----------
    model : Model
    reasoner : Reasoner
    """

    def __init__(self, model: Model, reasoner: Reasoner) -> None:
        self._model = model
        self._reasoner = reasoner
        readings = proposable_readings(model.car)
        self._candidates = tuple(
            self._of_kind(kind, [r for r in readings if r.kind is kind])
            for kind in ReadingKind
            if any(r.kind is kind for r in readings)
        )
        self._line_of = np.empty(len(model.compiled.causes), dtype=np.int64)
        for number, line in enumerate(model.lines):
            self._line_of[list(line)] = number
        self._scale, meter = 12.0 / model.car.system_volts, model.knowledge.meter
        self._volts_outcomes = VoltsOutcomes.of(
            meter.model_volts * self._scale, meter.model_fraction
        )
        self._asked: dict[Reading, Candidates] = {}
        self._members: tuple[Conclusion, IntArray, IntArray] | None = None
        self._seen: tuple[Conclusion, Particles, Sight] | None = None
        self._believed: tuple[Conclusion, FloatArray, Particles, RepairPlan] | None = (
            None
        )
        self._priced_for: tuple[tuple[Fact, ...], tuple[Fact, ...]] | None = None
        self.price_for(())

    def price_for(self, facts: Sequence[Fact]) -> None:
        """Price every step for the owner that facts tell of."""
        owner = tuple(f for f in facts if isinstance(f, LimitFact | TakesFact))
        complaints = tuple(f for f in facts if isinstance(f, ComplaintFact))
        if (owner, complaints) == self._priced_for:
            return
        if self._priced_for is None or owner != self._priced_for[0]:
            self.prices = Prices(self._model, owner)
            self._costs = tuple(
                Costs(one.readings, self.prices) for one in self._candidates
            )
        self._priced_for = owner, complaints
        self._line_minutes = self._priced_lines(complaints)

    def _priced_lines(self, complaints: Sequence[ComplaintFact]) -> FloatArray:
        """Return what each line of causes counts as, shape (n_lines,). [min]."""
        causes = self._model.compiled.causes
        repaired = [[causes[cause] for cause in line] for line in self._model.lines]
        self._repair_minutes = [
            max(self.prices.repair_minutes(cause) for cause in line)
            for line in repaired
        ]
        bought = [
            max(self.prices.price_minutes(cause) for cause in line) for line in repaired
        ]
        # One that is right ends the search, so that what it counts as is the same for
        # all orders of repairs; each before it was needless.
        proof = self.prices.proof_minutes(complaints)
        needless = self._model.knowledge.effort.needless_minutes
        return np.add(self._repair_minutes, bought) + proof + needless

    def _can_take(
        self, candidates: Candidates, costs: Costs, conclusion: Conclusion
    ) -> BoolArray:
        """Return which readings this owner can take, shape (n_readings,).

        Those in series only while the meter bears what is believed.
        """
        if candidates.kind is not ReadingKind.AMPS:
            return costs.can_take
        is_borne = [
            not self.prices.needs_series(reading)
            or bears_series(conclusion, reading, self._model.compiled)
            for reading in candidates.readings
        ]
        return np.logical_and(costs.can_take, is_borne)

    def _of_kind(self, kind: ReadingKind, readings: Sequence[Reading]) -> Candidates:
        return Candidates(kind, readings, self._model.compiled)

    def repair_minutes(self, line: int) -> float:
        """Return what mending a line of causes takes, getting there included. [min]."""
        return self._repair_minutes[line]

    def line_of(self, cause: int) -> int:
        """Return the line a cause is on."""
        return int(self._line_of[cause])

    def line_probabilities(self, conclusion: Conclusion) -> FloatArray:
        """Return the chance that a line has a cause present, shape (n_lines,)."""
        lines, rows = self._membership(conclusion)
        chances = conclusion.beliefs.set_probabilities()[rows]
        found = np.bincount(lines, chances, minlength=len(self._model.lines))
        return np.asarray(found)

    def line_rows(self, conclusion: Conclusion, line: int) -> IntArray:
        """Return the rows of the fault sets with a cause of a line."""
        lines, rows = self._membership(conclusion)
        return np.asarray(rows[lines == line])

    def likeliest(self, conclusion: Conclusion, line: int) -> int:
        """Return the likeliest cause of a line, the first of those equally likely."""
        members = self._model.lines[line]
        if len(members) == 1:
            return members[0]
        chances = conclusion.beliefs.set_probabilities()
        mass = dict.fromkeys(members, 0.0)
        for row in self.line_rows(conclusion, line).tolist():
            for cause in conclusion.hypotheses.sets[row]:
                if cause in mass:
                    mass[cause] += chances[row]
        return max(members, key=lambda cause: mass[cause])

    def _membership(self, conclusion: Conclusion) -> tuple[IntArray, IntArray]:
        """Return lines and rows side by side: this row's set has a cause of this line.

        Rows rise.
        """
        if self._members is None or self._members[0] is not conclusion:
            line_of = self._line_of.tolist()
            found = [
                (line, row)
                for row, fault_set in enumerate(conclusion.hypotheses.sets)
                for line in {line_of[cause] for cause in fault_set}
            ]
            lines, rows = np.array(found, dtype=np.int64).reshape(-1, 2).T
            self._members = conclusion, lines, rows
        return self._members[1:]

    def _sight(self, conclusion: Conclusion, particles: Particles) -> Sight:
        """Return what particles have at every node, gathered once."""
        held = self._seen
        if held is None or held[0] is not conclusion or held[1] is not particles:
            held = conclusion, particles, Sight(conclusion.hypotheses, particles)
            self._seen = held
        return held[2]

    def ranked(
        self,
        conclusion: Conclusion,
        *,
        excluded: frozenset[Step],
        here: Whereabouts,
        most: int = MOST_PRICED,
    ) -> list[Priced]:
        """Return the best candidates, see `Priced.rank`.

        Parameters
        ----------
        excluded : frozenset[str]
            Steps already taken or skipped.
        here : Whereabouts
        most : int
            How many at most.
        """
        particles, plan = self._particles(conclusion)
        chance = self._state_chances(conclusion, particles)
        priced = self._priced_symptoms(
            conclusion,
            particles,
            plan=plan,
            here=here,
            excluded=excluded,
            chance=chance,
        )
        rests = self._resting_chances(conclusion, particles)
        can_be = np.array(list(chance.values())) * rests >= LEAST_STATE_CHANCE
        for candidates, costs in zip(self._candidates, self._costs, strict=True):
            is_open = np.array([one not in excluded for one in candidates.readings])
            can_take = can_be[candidates.states] & self._can_take(
                candidates, costs, conclusion
            )
            some = np.flatnonzero(can_take & is_open)
            shown = candidates.shown(self._sight(conclusion, particles), some)
            follows = self._follows(conclusion, candidates, some, shown, particles)
            telling = np.flatnonzero(~follows)
            priced += self._priced_readings(
                candidates,
                some[telling],
                shown[telling],
                particles,
                plan=plan,
                minutes=costs.minutes(here)[some[telling]],
                most=most,
            )
        priced.sort(key=Priced.rank)
        return self._twice_looked(priced[:most], conclusion, particles, plan)

    def _twice_looked(
        self,
        priced: list[Priced],
        conclusion: Conclusion,
        particles: Particles,
        plan: RepairPlan,
    ) -> list[Priced]:
        """Return candidates with the best few in the order of two steps ahead."""
        few = [one for one in priced[:BEST_FEW] if not one.rank()[0]]
        if len(few) < 2:
            return priced
        seconds = [one.step for one in priced if isinstance(one.step, Reading)]
        ahead = _Ahead(self, conclusion, particles, plan, seconds[:MOST_SECONDS])
        further = {one.step: ahead.further(one) for one in few}
        few.sort(key=lambda one: one.minutes - one.saves_minutes - further[one.step])
        return [*few, *priced[len(few) :]]

    def _particles(self, conclusion: Conclusion) -> tuple[Particles, RepairPlan]:
        """Return particles and what each group of them needs, worked out once."""
        held, minutes = self._believed, self._line_minutes
        if held is None or held[0] is not conclusion or held[1] is not minutes:
            held = conclusion, minutes, *self._drawn_particles(conclusion)
            self._believed = held
        return held[2], held[3]

    def _drawn_particles(self, conclusion: Conclusion) -> tuple[Particles, RepairPlan]:
        """Return particles and what each group of them needs.

        The last group is "nothing to mend, or too unlikely to list".
        """
        weights = conclusion.beliefs.weights
        if not conclusion.repairs and weights[1:].any():
            # whether the complaint is real is not what the owner wants to measure
            weights = weights.copy()
            weights[0] = 0.0
            weights /= weights.sum()
        rows, draws, share = common_particles(
            weights, most_sets=MOST_SETS, n_draws=SET_DRAWS
        )
        sets, line_of = conclusion.beliefs.sets, self._line_of.tolist()
        keys = [
            tuple(sorted({line_of[cause] for cause in sets[row]}))
            for row in rows.tolist()
        ]
        mass: dict[tuple[int, ...], float] = {}
        for key, part in zip(keys, share.tolist(), strict=True):
            if key:
                mass[key] = mass.get(key, 0.0) + part
        common = sorted(mass, key=lambda key: (-mass[key], key))[:MOST_GROUPS]
        index = {key: number for number, key in enumerate(common)}
        group = np.array([index.get(key, len(common)) for key in keys], dtype=np.int64)
        minutes = [float(self._line_minutes[list(key)].sum()) for key in common]
        plan = RepairPlan(
            minutes=np.array(minutes, dtype=np.float64),
            give_up_minutes=GIVE_UP_MINUTES,
        )
        particles = Particles(row=rows, draw=draws, share=share, group=group)
        return self._there_or_not(particles, conclusion), plan

    def _there_or_not(self, particles: Particles, conclusion: Conclusion) -> Particles:
        """Return particles with each fault that comes and goes there, and not there.

        A reading to come finds it there as often as it is on average over the states.
        """
        presence = self._model.compiled.presence
        fault = conclusion.comes_and_goes[particles.row]
        away = np.flatnonzero(fault >= 0)
        states = [s.name for s in self._model.car.states if s.is_battery_connected]
        there = presence.mean_chance(states)[fault[away], particles.draw[away]]
        share = particles.share.copy()
        share[away] *= there
        return Particles(
            row=np.append(
                conclusion.shown_by[particles.row],
                conclusion.away[particles.row[away]],
            ),
            draw=np.append(particles.draw, particles.draw[away]),
            share=np.append(share, particles.share[away] * (1.0 - there)),
            group=np.append(particles.group, particles.group[away]),
            told_of=np.append(particles.row, particles.row[away]),
        )

    def _follows(
        self,
        conclusion: Conclusion,
        candidates: Candidates,
        some: IntArray,
        shown: StoredArray,
        particles: Particles,
    ) -> BoolArray:
        """Return which readings follow from one already taken, shape (n_some,).

        Two points that keep their distance, whatever the fault and the draw, tell the
        same; what made the first reading stray from the model makes the second stray.
        Unless the first may well have been a slip: then the second tells that.
        """
        result = np.zeros(len(some), dtype=np.bool_)
        if candidates.kind is not ReadingKind.DC_VOLTS:
            return result
        heavy = particles.share > LIGHT_SHARE * particles.share.max()
        states = candidates.states[some]
        scale = self._model.car.system_volts / 12.0
        for noted in conclusion.observations:
            fact = noted.observation
            if not isinstance(fact, ReadingFact):
                continue
            if fact.reading.kind is not candidates.kind:
                continue
            if noted.epoch < len(conclusion.repairs):
                continue
            taken = self._single(fact.reading)
            sight = self._sight(conclusion, particles)
            known = taken.shown(sight, np.array([0]))[0]
            apart = np.abs(np.abs(known) - abs(fact.value)) > SLIPPED_VOLTS * scale
            if particles.share @ apart > LEAST_SLIPPED:
                continue
            same = np.flatnonzero(states == taken.states[0])
            values = shown[same][:, heavy]
            for other in (known[heavy], -known[heavy]):
                apart = np.ptp(values - other, axis=1)
                result[same] |= apart < SAME_POINT_VOLTS
        return result

    def _single(self, reading: Reading) -> Candidates:
        """Return one reading as candidates."""
        if reading not in self._asked:
            self._asked[reading] = self._of_kind(reading.kind, [reading])
        return self._asked[reading]

    def _state_chances(
        self, conclusion: Conclusion, particles: Particles
    ) -> Mapping[str, float]:
        index = self._model.compiled.symptom_index
        there = conclusion.hypotheses.symptoms[particles.row, particles.draw]
        likely = particles.share @ there
        columns = {s.name: index.get(s.exists_when) for s in self._model.car.states}
        return {
            name: 1.0 if column is None else float(likely[column])
            for name, column in columns.items()
        }

    def _resting_chances(
        self, conclusion: Conclusion, particles: Particles
    ) -> FloatArray:
        """Return how likely nothing chatters, shape (n_states,).

        Where something does, the meter jumps, and what is noted tells little.
        """
        settled = conclusion.hypotheses.prediction.is_settled
        rests = settled[:, particles.row, particles.draw] > 0.0
        return np.asarray(rests @ particles.share)

    def _priced_readings(
        self,
        candidates: Candidates,
        some: IntArray,
        shown: StoredArray,
        particles: Particles,
        *,
        plan: RepairPlan,
        minutes: FloatArray,
        most: int = MOST_PRICED,
    ) -> list[Priced]:
        """Return the best of some readings, given what each particle would show."""
        saves, place_of = np.zeros(len(some)), np.full(len(some), -1)
        telling = np.flatnonzero(candidates.may_tell(shown))
        values, same = candidates.without_repeats(shown[telling])
        joint = self.joint(values, candidates.kind, particles, len(plan.minutes) + 1)
        saves[telling], place_of[telling] = saved_minutes([joint], plan)[same], same
        best = np.argsort(_rank_key(saves, minutes), kind="stable")[:most]
        told = best[place_of[best] >= 0]
        bits = np.zeros(len(some))
        bits[told] = told_bits(joint[place_of[told]])
        return [
            Priced(
                step=candidates.readings[some[place]],
                minutes=float(minutes[place]),
                saves_minutes=float(saves[place]),
                bits=float(bits[place]),
            )
            for place in best.tolist()
        ]

    def shown(
        self,
        readings: Sequence[Reading],
        conclusion: Conclusion,
        particles: Particles,
    ) -> StoredArray:
        """Return what readings of one kind show, shape (n_readings, n_particles)."""
        every = np.arange(len(readings))
        candidates = self._of_kind(readings[0].kind, readings)
        return candidates.shown(self._sight(conclusion, particles), every)

    def outcomes(
        self, step: Step, conclusion: Conclusion, particles: Particles
    ) -> FloatArray:
        """Return the chance of each outcome, shape (n_outcomes, n_particles)."""
        if isinstance(step, SymptomCheck):
            yes = self._yes([step.symptom], conclusion, particles)[0]
            return np.stack([yes, 1.0 - yes])
        values = self.shown([step], conclusion, particles)[0].astype(np.float64)
        if step.kind is ReadingKind.LAMP:
            return np.stack([answer_chance(one, values) for one in GRADES.values()])
        if step.kind is ReadingKind.DC_VOLTS:
            return self._volts_outcomes.chances(values * self._scale)
        return binned_outcomes(values, edges_for(step.kind.value))

    def whereabouts_after(self, step: Step) -> Whereabouts:
        """Return where a step leaves the person."""
        if isinstance(step, SymptomCheck):
            return Whereabouts(state=self._model.asked(step.symptom).state)
        places = frozenset(places_of(step, self._model.car))
        return Whereabouts(state=step.state, places=places)

    def joint(
        self,
        values: StoredArray,
        kind: ReadingKind,
        particles: Particles,
        n_groups: int,
    ) -> FloatArray:
        """Return the joint of outcome and group, spread of meter and model in it."""
        if kind is ReadingKind.LAMP:
            return graded_joint(values, particles, n_groups=n_groups)
        if kind is not ReadingKind.DC_VOLTS:
            edges = edges_for(kind.value)
            size = np.abs(values)
            return binned_joint(size, particles, edges=edges, n_groups=n_groups)
        return self._volts_outcomes.joint(
            values * np.float32(self._scale), particles, n_groups=n_groups
        )

    def _priced_symptoms(
        self,
        conclusion: Conclusion,
        particles: Particles,
        *,
        plan: RepairPlan,
        here: Whereabouts,
        excluded: frozenset[Step],
        chance: Mapping[str, float],
    ) -> list[Priced]:
        every = (
            *self._model.compiled.symptom_names,
            *self._telling_tests(conclusion, particles),
        )
        names = [
            name
            for name in every
            if SymptomCheck(symptom=name) not in excluded
            and chance[self._model.asked(name).state] >= LEAST_STATE_CHANCE
        ]
        return self._priced_yes_no(names, conclusion, particles, plan=plan, here=here)

    def _telling_tests(
        self, conclusion: Conclusion, particles: Particles
    ) -> tuple[str, ...]:
        """Return the tests that bring faults, where some such fault is likely."""
        told_of = particles.row if particles.told_of is None else particles.told_of
        fault = conclusion.comes_and_goes[told_of]
        if float(particles.share[fault >= 0].sum()) < LEAST_FLEETING:
            return ()
        n_fleeting = len(self._model.compiled.presence.numbers)
        likely = np.zeros(n_fleeting, dtype=np.bool_)
        likely[fault[fault >= 0]] = True
        return tuple(
            name
            for name, test in self._model.provocations.items()
            if (test.at_target & likely).any()
        )

    def _priced_yes_no(
        self,
        names: Sequence[str],
        conclusion: Conclusion,
        particles: Particles,
        *,
        plan: RepairPlan,
        here: Whereabouts,
    ) -> list[Priced]:
        if not names:
            return []
        yes = self._yes(names, conclusion, particles)
        joint = yes_no_joint(yes, particles, n_groups=len(plan.minutes) + 1)
        worth = zip(names, saved_minutes([joint], plan), told_bits(joint), strict=True)
        return [
            Priced(
                step=SymptomCheck(symptom=name),
                minutes=self.prices.symptom_minutes(name, here),
                saves_minutes=float(saves),
                bits=float(bits),
            )
            for name, saves, bits in worth
        ]

    def _yes(
        self, names: Sequence[str], conclusion: Conclusion, particles: Particles
    ) -> FloatArray:
        """Return the chance that a yes is told, shape (n_names, n_particles)."""
        index, symptoms = self._model.compiled.symptom_index, self._model.knowledge
        result = np.empty((len(names), len(particles.row)))
        seen = [(n, name) for n, name in enumerate(names) if name in index]
        if seen:
            of_car = [symptoms.symptoms[name] for _, name in seen]
            there = conclusion.hypotheses.symptoms[particles.row, particles.draw]
            there = there[:, [index[name] for _, name in seen]].T
            missed = np.array([one.missed_probability for one in of_car])[:, None]
            imagined = np.array([one.imagined_probability for one in of_car])[:, None]
            result[[n for n, _ in seen]] = (
                there * (1.0 - missed) + (1.0 - there) * imagined
            )
        for number, name in enumerate(names):
            if name not in index:
                result[number] = self._reaction(name, conclusion, particles)
        return result

    def _reaction(
        self, name: str, conclusion: Conclusion, particles: Particles
    ) -> FloatArray:
        """Return the chance that a test brings or clears a fault, (n_particles,)."""
        test = self._model.provocations[name]
        told_of = particles.row if particles.told_of is None else particles.told_of
        reacts = self._model.compiled.presence.reaction(test.trigger, test.at_target)
        result = np.full(len(told_of), test.symptom.imagined_probability)
        fault = conclusion.comes_and_goes[told_of]
        is_fleeting = fault >= 0
        result[is_fleeting] = reacts[fault[is_fleeting], particles.draw[is_fleeting]]
        return result

    def asked(
        self,
        step: Step,
        conclusion: Conclusion,
        here: Whereabouts,
        *,
        reason: str = "asked for",
    ) -> ProposedStep:
        """Return one step with its worth, proposed or not."""
        particles, plan = self._particles(conclusion)
        if isinstance(step, SymptomCheck):
            (priced,) = self._priced_yes_no(
                [step.symptom], conclusion, particles, plan=plan, here=here
            )
        else:
            candidates, only = self._single(step), np.array([0])
            shown = candidates.shown(self._sight(conclusion, particles), only)
            (priced,) = self._priced_readings(
                candidates,
                only,
                shown,
                particles,
                plan=plan,
                minutes=np.array([self.prices.minutes(step, here)]),
            )
        return self.proposed(priced, conclusion, reason=reason)

    def bits(
        self, readings: Sequence[Reading], conclusion: Conclusion
    ) -> Sequence[float]:
        """Return what readings of one kind would tell about what to mend. [bit]."""
        particles, plan = self._particles(conclusion)
        candidates = self._of_kind(readings[0].kind, readings)
        every = np.arange(len(readings))
        shown = candidates.shown(self._sight(conclusion, particles), every)
        n_groups = len(plan.minutes) + 1
        joint = self.joint(shown, candidates.kind, particles, n_groups)
        tells: list[float] = told_bits(joint).tolist()
        return tells

    def live_shares(
        self, readings: Sequence[Reading], conclusion: Conclusion
    ) -> FloatArray:
        """Return how likely DC volts are more than half the supply, (n_readings,)."""
        particles, _ = self._particles(conclusion)
        candidates = self._of_kind(ReadingKind.DC_VOLTS, readings)
        every = np.arange(len(readings))
        values = candidates.shown(self._sight(conclusion, particles), every)
        half = 0.5 * self._model.car.system_volts
        return np.asarray((np.abs(values) > half) @ particles.share)

    def likely_values(self, reading: Reading, *, conclusion: Conclusion) -> list[float]:
        """Return values that a reading may well show, the likeliest first."""
        particles, _ = self._particles(conclusion)
        values = self.shown([reading], conclusion, particles)[0].astype(np.float64)
        order = np.argsort(values)
        values, share = values[order], particles.share[order]
        apart = np.diff(values) > LEAST_APART + SHARE_APART * np.abs(values[1:])
        number = np.concatenate([[0], np.cumsum(apart)])
        mass = np.bincount(number, share)
        middle = np.bincount(number, share * values) / np.maximum(mass, 1e-300)
        likely = np.argsort(-mass, kind="stable")
        found: list[float] = middle[likely[mass[likely] > LEAST_EXPECTED]].tolist()
        return found

    def settling(
        self,
        cause: int,
        conclusion: Conclusion,
        *,
        excluded: frozenset[Step],
        here: Whereabouts,
    ) -> str:
        """Return in words the step that would say most about a cause.

        Of those that say about as much the cheapest; empty where none would say much.

        Parameters
        ----------
        cause : int
            Its number; what one repair mends counts as one.
        excluded : frozenset[str]
            Steps already taken or skipped.
        """
        particles, _ = self._particles(conclusion)
        told_of = particles.row if particles.told_of is None else particles.told_of
        is_meant = np.zeros(len(conclusion.shown_by), dtype=np.int64)
        is_meant[self.line_rows(conclusion, self.line_of(cause))] = 1
        either = replace(particles, group=is_meant[told_of])
        if not 0.0 < float(either.share @ either.group) < 1.0:
            return ""
        chance = self._state_chances(conclusion, particles)
        can_be = np.array(list(chance.values())) >= LEAST_STATE_CHANCE
        found: list[tuple[float, float, Reading]] = []
        for candidates, costs in zip(self._candidates, self._costs, strict=True):
            is_open = np.array([one not in excluded for one in candidates.readings])
            some = np.flatnonzero(
                can_be[candidates.states]
                & self._can_take(candidates, costs, conclusion)
                & is_open
            )
            shown = candidates.shown(self._sight(conclusion, particles), some)
            some, shown = some[(tells := candidates.may_tell(shown))], shown[tells]
            if len(some):
                tell = mutual_bits(self.joint(shown, candidates.kind, either, 2))
                for place in np.flatnonzero(
                    tell >= ABOUT_AS_MUCH * tell.max()
                ).tolist():
                    best = int(some[place])
                    price = float(costs.minutes(here)[best])
                    found.append((float(tell[place]), price, candidates.readings[best]))
        most = max((bits for bits, _, _ in found), default=0.0)
        if most < LEAST_SETTLING_BITS:
            return ""
        bits, minutes, reading = min(
            (one for one in found if one[0] >= ABOUT_AS_MUCH * most),
            key=lambda one: (one[1], -one[0], one[2].name),
        )
        words = step_words(reading, self._model.car)
        return f"{words} ({format_minutes(minutes)}; tells {bits:.1f} bit about it)"

    def proving(
        self, cause: str, conclusion: Conclusion, here: Whereabouts
    ) -> ProposedStep | None:
        """Return the reading that tells best whether a repair took, or None.

        The two cases weighed are the healthy car and the car in which the part is still
        bad in some way: a joint half mended has to show too.
        """
        compiled = self._model.compiled
        index = next(i for i, c in enumerate(compiled.causes) if c.name == cause)
        mended = self._model.lines[self._line_of[index]]
        parts = {compiled.causes[one].part.name for one in mended}
        still = [i for i, c in enumerate(compiled.causes) if c.part.name in parts]
        n_draws = compiled.n_draws
        rows = np.repeat([0, *map(compiled.shown_by, still)], n_draws)
        draws = np.tile(np.arange(n_draws), 1 + len(still))
        is_faulty = (rows > 0).astype(np.int64)
        share = np.where(is_faulty, 0.5 / len(still), 0.5) / n_draws
        particles = Particles(row=rows, draw=draws, share=share, group=is_faulty)
        now, _ = self._particles(conclusion)
        chance = self._state_chances(conclusion, now)
        can_be = np.array(list(chance.values())) >= LEAST_STATE_CHANCE
        best: tuple[float, Priced] | None = None
        for candidates, costs in zip(self._candidates, self._costs, strict=True):
            some = np.flatnonzero(
                can_be[candidates.states]
                & self._can_take(candidates, costs, conclusion)
            )
            if not len(some):
                continue
            shown = candidates.shown(self._sight(conclusion, particles), some)
            some, shown = some[(tells := candidates.may_tell(shown))], shown[tells]
            if not len(some):
                continue
            bits = mutual_bits(self.joint(shown, candidates.kind, particles, 2))
            minutes = costs.minutes(here)[some]
            rate = bits - PROOF_BITS_PER_MINUTE * minutes
            top = int(rate.argmax())
            if best is None or rate[top] > best[0]:
                best = (
                    float(rate[top]),
                    Priced(
                        step=candidates.readings[some[top]],
                        minutes=float(minutes[top]),
                        saves_minutes=0.0,
                        bits=float(bits[top]),
                    ),
                )
        if best is None or best[1].bits < LEAST_PROOF_BITS:
            return None
        return self.proposed(
            best[1], conclusion, reason="tells whether the repair took"
        )

    def proposed(
        self, priced: Priced, conclusion: Conclusion, *, reason: str
    ) -> ProposedStep:
        """Return a candidate with everything a person needs to do it."""
        reading = priced.step
        if isinstance(reading, SymptomCheck):
            return self._proposed_symptom(reading, priced, conclusion, reason)
        car, knowledge = self._model.car, self._model.knowledge
        in_series = bears_series(conclusion, reading, self._model.compiled)
        return ProposedStep(
            step=reading,
            state=reading.state,
            instruction=instruction(reading, car, in_series=in_series),
            cautions=cautions_for(reading, car, knowledge, in_series=in_series),
            minutes=priced.minutes,
            saves_minutes=priced.saves_minutes - priced.minutes,
            bits=priced.bits,
            expected=self._expected(
                conclusion,
                lambda rows: self._model.compiled.predicted(
                    conclusion.hypotheses, reading, rows=conclusion.shown_by[rows]
                ),
                lambda low, high: range_words(low, high, reading.kind),
            ),
            reason=reason,
        )

    def _proposed_symptom(
        self,
        check: SymptomCheck,
        priced: Priced,
        conclusion: Conclusion,
        reason: str,
    ) -> ProposedStep:
        name = check.symptom
        symptom = self._model.asked(name)
        car = self._model.car
        state, test = car.state(symptom.state), self._model.provocations.get(name)
        place = car.places.get(test.place) if test is not None else None

        def mean_chance(rows: IntArray) -> FloatArray:
            chance = self._reasoner.yes_chance(conclusion, name, rows)
            mean = chance.mean(axis=1, keepdims=True)
            return np.asarray(np.broadcast_to(mean, chance.shape))

        return ProposedStep(
            step=check,
            state=symptom.state,
            instruction=f"{symptom.question} Car: {state.label}.",
            cautions=symptom_cautions(symptom, place, car, self._model.knowledge),
            minutes=priced.minutes,
            saves_minutes=priced.saves_minutes - priced.minutes,
            bits=priced.bits,
            expected=self._expected(conclusion, mean_chance, _yes_words),
            reason=reason,
        )

    def _expected(
        self,
        conclusion: Conclusion,
        predicted: Callable[[IntArray], FloatArray],
        words: Callable[[float, float], str],
    ) -> tuple[ExpectedValue, ...]:
        causes = self._model.compiled.causes
        sound = np.sort(predicted(np.array([0]))[0])
        margin = len(sound) // 20
        low, high = float(sound[margin]), float(sound[-1 - margin])
        healthy = ExpectedValue(
            cause="", says="healthy car", low=low, high=high, words=words(low, high)
        )
        chances = self.line_probabilities(conclusion)
        leading = np.argsort(-chances)[:SEARCHED_CAUSES]
        lines = leading[chances[leading] >= LEAST_EXPECTED].tolist()
        if not lines:
            return (healthy,)
        rows_of = [self.line_rows(conclusion, line) for line in lines]
        ends = np.cumsum([len(some) for some in rows_of])[:-1]
        rows = np.concatenate(rows_of)
        values = np.split(predicted(rows), ends)
        weights = np.split(conclusion.beliefs.weights[rows], ends)
        shown: list[ExpectedValue] = []
        for line, of_line, shares in zip(lines, values, weights, strict=True):
            low, high = weighted_range(of_line, shares)
            cause = causes[self.likeliest(conclusion, line)]
            shown.append(
                ExpectedValue(
                    cause=cause.name,
                    says=cause.says,
                    low=low,
                    high=high,
                    words=words(low, high),
                )
            )
        return (healthy, *_telling_causes(healthy, shown))


def _rank_key(saves: FloatArray, minutes: FloatArray) -> FloatArray:
    """Return `Priced.rank` as one number per candidate, low for the best."""
    net = saves - minutes
    return np.where(net > LEAST_SAVING, -1e6 - saves / minutes, -net)


class _Ahead:
    """What a second reading saves after a first, with the same few seconds for each."""

    def __init__(
        self,
        adviser: Adviser,
        conclusion: Conclusion,
        particles: Particles,
        plan: RepairPlan,
        seconds: Sequence[Reading],
    ) -> None:
        self._adviser, self._particles, self._plan = adviser, particles, plan
        self._conclusion = conclusion
        kinds = dict.fromkeys(reading.kind for reading in seconds)
        self._seconds = [
            (kind, [reading for reading in seconds if reading.kind is kind])
            for kind in kinds
        ]
        self._shown = [
            adviser.shown(readings, conclusion, particles)
            for _, readings in self._seconds
        ]

    def further(self, first: Priced) -> float:
        """Return what a second reading saves after a first, net of its own. [min]."""
        here = self._adviser.whereabouts_after(first.step)
        prices = self._adviser.prices
        minutes = [
            prices.minutes(reading, here)
            for _, readings in self._seconds
            for reading in readings
        ]
        return further_minutes(
            self._adviser.outcomes(first.step, self._conclusion, self._particles),
            self._particles,
            self._plan,
            joints=self._joints,
            minutes=np.array(minutes),
        )

    def _joints(self, some: IntArray, after: Particles) -> list[FloatArray]:
        n_groups = len(self._plan.minutes) + 1
        return [
            self._adviser.joint(shown[:, some], kind, after, n_groups)
            for (kind, _), shown in zip(self._seconds, self._shown, strict=True)
        ]


def _telling_causes(
    healthy: ExpectedValue, causes: Sequence[ExpectedValue]
) -> tuple[ExpectedValue, ...]:
    """Return the likeliest cause and those that would show something else, in order."""
    others = [
        cause
        for cause in causes[1:]
        if cause.high < healthy.low or cause.low > healthy.high
    ]
    alike = [cause for cause in causes[1:] if cause not in others]
    chosen = [*causes[:1], *[*others, *alike][: SHOWN_CAUSES - 1]]
    return tuple(cause for cause in causes if cause in chosen)


def _yes_words(low: float, high: float) -> str:
    chance = 0.5 * (low + high)
    if chance > 0.9:
        return "yes"
    if chance < 0.1:
        return "no"
    return f"yes in {round(100 * chance)} of 100"


def weighted_range(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Return the middle 90 % of weighted values."""
    order = np.argsort(values, axis=None)
    flat = values.ravel()[order]
    share = np.cumsum(weights.ravel()[order])
    if share[-1] <= 0.0:
        share = np.arange(1.0, len(flat) + 1.0)
    share = share / share[-1]
    low, high = np.searchsorted(share, EXPECTED_TAILS)
    return float(flat[low]), float(flat[min(high, len(flat) - 1)])


def whereabouts(fact: ReadingFact | SymptomFact | None, model: Model) -> Whereabouts:
    """Return where the latest observation leaves the person."""
    if fact is None:
        return Whereabouts()
    if isinstance(fact, SymptomFact):
        return Whereabouts(state=model.asked(fact.symptom).state)
    reading = fact.reading
    return Whereabouts(
        state=reading.state, places=frozenset(places_of(reading, model.car))
    )
