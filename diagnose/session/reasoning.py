"""From standing facts to beliefs: likelihoods, double faults, repairs.

Pure in the facts: the same facts in any order between repairs give the same beliefs.
What was solved for a pair of causes is kept for the next fact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import IntArray
from diagnose.errors import ImpossibleEvidenceError
from diagnose.faults.causes import (
    LADDER_LEVELS,
    FaultSet,
    effect_signature,
    has_severity,
)
from diagnose.faults.predicted import StoredArray
from diagnose.inference.bank import REDRAWN_ROWS
from diagnose.inference.beliefs import (
    Beliefs,
    RepairStep,
    Step,
    promising_companions,
    promising_pairs,
    update,
)
from diagnose.inference.compiled import OVER_RANGE_OHMS, Compiled
from diagnose.inference.hypotheses import Hypotheses
from diagnose.inference.redraw import (
    choose_severities,
    chosen_row,
    effective_draws,
    n_steps,
)
from diagnose.measurement.readings import (
    ReadingKind,
)
from diagnose.session.facts import ContextFact, Fact, ReadingFact, SymptomFact
from diagnose.session.model import Model
from diagnose.session.observing import (
    Noted,
    Observation,
    observations_of,
    reading_of,
)
from diagnose.session.weighing import Rows, Weigher, is_yes

LINEAR_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.LAMP, ReadingKind.LOOK})
MOST_PAIRS = 48
MOST_COMPANIONS = 24
LEAST_REDRAWN = 0.01
FEW_DRAWS = 0.5
KEPT_LADDERS = 32
SECOND_CURE = 0.97
# From memory: a repair checked and done again rarely fails again, one time in thirty. A
# higher figure makes the second failure a proof that no known cause is there.
PAIR_STRIDE = 4
# Derived: every fourth draw stands for four; pairs need order, not the last decimal.
LADDER_STRIDE = 2
# Derived: every second tolerance stands for two; a ladder is about the severity.
LEAST_BELIEVED = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Conclusion:
    """What the facts amount to.

    Parameters
    ----------
    hypotheses : Hypotheses
        The rows of the bank: singles, then the pairs looked at and the sets redrawn;
        rows not in use have no prior.
    beliefs : Beliefs
        As things are now, after the repairs.
    observations : tuple[Noted, ...]
    likelihoods : tuple[FloatArray, ...]
        One per observation, shape (n_sets, n_draws).
    repairs : tuple[RepairStep, ...]
    prior : FloatArray
        Of each set and draw, shape (n_sets, n_draws).
    left_out_probability : float
        Share of the evidence that pairs not looked at could add. Pairs with a fault
        that comes and goes are not in it.
    shown_by : IntArray
        The row of `hypotheses` that holds what each set shows: its own, but of faults
        that come and go that of the lasting fault they act as, shape (n_sets,).
    first_fleeting : int
        The first row of faults that come and go; they are the last ones.
    """

    hypotheses: Hypotheses
    beliefs: Beliefs
    observations: tuple[Noted, ...]
    likelihoods: tuple[FloatArray, ...]
    repairs: tuple[RepairStep, ...]
    prior: FloatArray
    left_out_probability: float
    shown_by: IntArray
    first_fleeting: int

    def steps(self) -> list[Step]:
        """Return likelihoods and repairs in order."""
        result: list[Step] = []
        done = 0
        for noted, likelihood in zip(self.observations, self.likelihoods, strict=True):
            while done < noted.epoch:
                result.append(self.repairs[done])
                done += 1
            result.append(likelihood)
        return [*result, *self.repairs[done:]]


@dataclass(frozen=True, slots=True)
class _Weighed:
    """What one observation says of every row of the bank.

    Parameters
    ----------
    likelihood : FloatArray
        Shape (n_rows, n_draws).
    version : IntArray
        Of each row in the bank when it was worked out, -1 where it never was.
    """

    likelihood: FloatArray
    version: IntArray


@dataclass(frozen=True, slots=True)
class _Ladder:
    """A fault set on a ladder of severities, and what observations say of its steps.

    `grid` has one row per solved severity; the steps between are interpolated.
    """

    grid: Hypotheses
    likelihoods: dict[Noted, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answered:
    """Priors under the answers about the car's history.

    Parameters
    ----------
    answers : tuple[tuple[str, str], ...]
    singles : FloatArray
        Of none and of every single cause, shape (1 + n_causes,).
    odds : FloatArray
        Of every lasting cause alone against none, shape (n_lasting,).
    lift : StoredArray
        Of pairs of them, see `Priors.pair_lift`.
    """

    answers: tuple[tuple[str, str], ...]
    singles: FloatArray
    odds: FloatArray
    lift: StoredArray


class Reasoner:
    """Draws conclusions from facts about one car.

    Parameters
    ----------
    model : Model

    Attributes
    ----------
    weigher : Weigher
        What one observation says of rows.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled
        self.weigher = Weigher(model)
        self._weighed: dict[Noted, _Weighed] = {}
        self._deviations: dict[Observation, FloatArray] = {}
        self._ladders: dict[FaultSet, _Ladder] = {}
        self._answered: _Answered | None = None
        first: dict[tuple[object, ...], int] = {}
        self._stands_for = {
            number: first.setdefault(effect_signature(cause), number)
            for number, cause in enumerate(self._compiled.causes)
        }

    def conclude(self, facts: Sequence[Fact]) -> Conclusion:
        """Return what standing facts amount to.

        Raises
        ------
        ImpossibleEvidenceError
            If no fault set can give the facts, not even with a slip of the meter.
        """
        compiled, bank = self._compiled, self._compiled.bank
        bank.written_for = None
        observations, repaired = observations_of(facts, self._model)
        answers = {f.context: f.answer for f in facts if isinstance(f, ContextFact)}
        singles = range(bank.n_singles)
        front = self._likelihoods(observations, bank.all, singles)
        repairs = self._repair_steps(repaired)
        pairs, left_out = self._promising(
            observations,
            [one[: bank.n_singles] for one in front],
            answers,
            repairs,
        )
        missing = bank.missing(pairs)
        if missing:
            bank.keep_pairs(self._solved_pairs(missing), pairs)
        n_bank, fleeting = len(bank.all.sets), compiled.presence.numbers.tolist()
        sets: list[FaultSet] = [*compiled.singles.sets]
        sets += [()] * (n_bank - bank.n_singles)
        sets += [(cause,) for cause in fleeting]
        rows = {s: row for row, s in enumerate(compiled.singles.sets)}
        rows.update(((cause,), n_bank + n) for n, cause in enumerate(fleeting))
        for pair in pairs:
            rows[pair] = bank.pair_rows[pair]
            sets[rows[pair]] = pair
        prior = np.zeros((len(sets), compiled.n_draws))
        alone = self._under(answers).singles[:, None]
        prior[: bank.n_singles] = alone[: bank.n_singles]
        prior[n_bank:] = alone[bank.n_singles :]
        if pairs:
            chances = compiled.priors.set_probabilities(pairs, answers)
            prior[[rows[pair] for pair in pairs]] = chances[:, None]
        prior /= compiled.n_draws
        hypotheses = replace(bank.all, sets=tuple(sets))
        in_pairs = [rows[pair] for pair in pairs]
        draft = Conclusion(
            hypotheses=hypotheses,
            beliefs=Beliefs(sets=(), weights=np.empty((0, 0)), log_evidence=0.0),
            observations=observations,
            likelihoods=self._likelihoods(observations, hypotheses, in_pairs),
            repairs=repairs,
            prior=prior,
            left_out_probability=left_out,
            shown_by=np.append(np.arange(n_bank), 1 + compiled.presence.acts_as),
            first_fleeting=n_bank,
        )
        conclusion = _believing(draft)
        redrawn = self._redrawn(conclusion, rows)
        if redrawn is not None:
            conclusion = _believing(redrawn)
        bank.written_for = tuple(facts)
        return conclusion

    def _under(self, answers: Mapping[str, str]) -> _Answered:
        """Return what does not change within a case, worked out once."""
        key = tuple(sorted(answers.items()))
        if self._answered is None or self._answered.answers != key:
            priors, n_lasting = self._compiled.priors, self._compiled.n_lasting
            odds = priors.odds() @ priors.given(answers)
            lift = priors.pair_lift(answers)
            alone = ((), *((cause,) for cause in range(len(self._compiled.causes))))
            self._answered = _Answered(
                answers=key,
                singles=priors.set_probabilities(alone, answers),
                odds=odds[:n_lasting],
                lift=lift[:n_lasting, :n_lasting],
            )
        return self._answered

    def _solved_pairs(self, pairs: Sequence[FaultSet]) -> Hypotheses:
        """Return pairs with what they show; those that act alike are solved once."""
        alike = [self._standing_in(pair) for pair in pairs]
        place = {pair: number for number, pair in enumerate(dict.fromkeys(alike))}
        solved = self._compiled.hypotheses(list(place), every=PAIR_STRIDE)
        rows = np.array([place[pair] for pair in alike])
        return replace(solved.kept(rows), sets=tuple(pairs))

    def _standing_in(self, fault_set: FaultSet) -> FaultSet:
        """Return the fault set that acts like this one and stands for all such."""
        return tuple(sorted(self._stands_for[cause] for cause in fault_set))

    def _likelihoods(
        self,
        observations: Sequence[Noted],
        hypotheses: Hypotheses,
        rows: Sequence[int],
    ) -> tuple[FloatArray, ...]:
        """Return the likelihoods of all rows of the bank, some of them brought up.

        A row is worked out once per observation, until the bank writes it anew.
        """
        bank, wanted = self._compiled.bank, np.sort(np.array(rows, dtype=np.int64))
        result = []
        for noted in observations:
            weighed = self._weighed_of(noted)
            is_stale = weighed.version[wanted] != bank.versions[wanted]
            if is_stale.any():
                stale = wanted[is_stale]
                some = _as_slice(stale)
                fresh = self.weigher.likelihood(hypotheses, noted, rows=some)
                weighed.likelihood[some] = fresh
                weighed.version[some] = bank.versions[some]
            self._weigh_fleeting(weighed, noted, hypotheses)
            result.append(weighed.likelihood)
        return tuple(result)

    def _weigh_fleeting(
        self, weighed: _Weighed, noted: Noted, hypotheses: Hypotheses
    ) -> None:
        """Work out, once, what an observation says of faults that come and go."""
        presence = self._compiled.presence
        first = len(self._compiled.bank.all.sets)
        if not len(presence.numbers) or weighed.version[first] >= 0:
            return
        weighed.version[first:] = 0
        test = self.weigher.provocation(noted.observation)
        if test is not None:
            reacts = presence.reaction(test.trigger, test.at_target)
            is_there = is_yes(noted.observation)
            weighed.likelihood[first:] = reacts if is_there else 1.0 - reacts
            return
        chance = presence.chance(
            self.weigher.state_of(noted.observation), is_complaint=noted.is_complaint
        )
        there, away = 1 + presence.acts_as, np.array([0])
        looks = [
            [*self._fewer_times(noted, hypotheses, rows), weighed.likelihood[rows]]
            for rows in (there, away)
        ]
        weighed.likelihood[first:] = presence.looked_at(looks[0], looks[1], chance)

    def _fewer_times(
        self, noted: Noted, hypotheses: Hypotheses, rows: IntArray
    ) -> list[FloatArray]:
        """Return the likelihood of some rows had a reading been taken less often."""
        shape = len(rows), self._compiled.n_draws
        return [np.ones(shape)] + [
            self.weigher.likelihood(hypotheses, noted._replace(times=times), rows=rows)
            for times in range(1, noted.times)
        ]

    def yes_chance(
        self,
        conclusion: Conclusion,
        name: str,
        rows: IntArray,
        *,
        is_complaint: bool = False,
    ) -> FloatArray:
        """Return the chance that a symptom is there, or that a provocation reacts.

        Parameters
        ----------
        name : str
            Of either.
        rows : IntArray
            Rows of the conclusion.
        is_complaint : bool
            It is what the owner came with.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws).
        """
        presence, first = self._compiled.presence, conclusion.first_fleeting
        is_fleeting = rows >= first
        own = rows[is_fleeting] - first
        test = self._model.provocations.get(name)
        if test is not None:
            shape = (len(rows), self._compiled.n_draws)
            result = np.full(shape, test.symptom.imagined_probability)
            reacts = presence.reaction(test.trigger, test.at_target)
            result[is_fleeting] = reacts[own]
            return result
        column = self._compiled.symptom_index[name]
        symptoms, shown = conclusion.hypotheses.symptoms, conclusion.shown_by[rows]
        result = symptoms[shown, :, column].astype(np.float64)
        state = self._model.asked(name).state
        chance = presence.chance(state, is_complaint=is_complaint)[own]
        sound = symptoms[0, :, column].astype(np.float64)
        result[is_fleeting] = presence.mixed(result[is_fleeting], sound, chance)
        return result

    def presence_of(self, observation: Observation, row: int) -> FloatArray:
        """Return the chance that a fault that comes and goes was there, (n_draws,).

        Parameters
        ----------
        row : int
            Its place among such faults.
        """
        return np.asarray(
            self._compiled.presence.chance(self.weigher.state_of(observation))[row]
        )

    def _weighed_of(self, noted: Noted) -> _Weighed:
        key = noted._replace(epoch=0)
        if key not in self._weighed:
            n_fleeting = len(self._compiled.presence.numbers)
            n_rows = len(self._compiled.bank.all.sets) + n_fleeting
            self._weighed[key] = _Weighed(
                np.ones((n_rows, self._compiled.n_draws)),
                np.full(n_rows, -1, dtype=np.int64),
            )
        return self._weighed[key]

    def _redrawn(
        self, conclusion: Conclusion, rows: Mapping[FaultSet, int]
    ) -> Conclusion | None:
        """Give the leading fault sets severities that suit the facts."""
        if not any(
            isinstance(n.observation, ReadingFact) for n in conclusion.observations
        ):
            return None
        weights = conclusion.beliefs.weights
        chances = weights.sum(axis=1)
        few = effective_draws(weights) < FEW_DRAWS * weights.shape[1]
        causes, bank = self._compiled.causes, self._compiled.bank
        leading = [
            fault_set
            for fault_set, row in rows.items()
            if chances[row] >= LEAST_REDRAWN
            and few[row]
            and any(has_severity(causes[c]) for c in fault_set)
        ]
        leading.sort(key=lambda fault_set: -chances[rows[fault_set]])
        if not leading:
            return None
        sets, prior = list(conclusion.hypotheses.sets), conclusion.prior.copy()
        each_draw = np.arange(self._compiled.n_draws)
        leading = leading[:REDRAWN_ROWS]
        self._solve_ladders(leading)
        for place, fault_set in enumerate(leading):
            row, old = bank.first_redrawn + place, rows[fault_set]
            ladder = self._ladders[self._standing_in(fault_set)]
            redrawn = choose_severities(
                self._ladder_likelihood(ladder, conclusion, fault_set)
            )
            bank.put(row, chosen_row(ladder.grid, redrawn.choice), 0)
            for noted in conclusion.observations:
                weighed = self._weighed_of(noted)
                steps = self._on_ladder(ladder, noted)
                weighed.likelihood[row] = steps[redrawn.choice, each_draw]
                weighed.version[row] = bank.versions[row]
            sets[row], sets[old] = fault_set, ()
            prior[row] = prior[old] * redrawn.correction
            prior[old] = 0.0
        return replace(
            conclusion,
            hypotheses=replace(bank.all, sets=tuple(sets)),
            prior=prior,
        )

    def _solve_ladders(self, fault_sets: Sequence[FaultSet]) -> None:
        """Solve fault sets with every severity of a ladder, all of them together.

        Those that act alike share one; ladders are kept.
        """
        wanted = list(dict.fromkeys(self._standing_in(one) for one in fault_sets))
        missing = [fault_set for fault_set in wanted if fault_set not in self._ladders]
        if not missing:
            return
        for fault_set in list(self._ladders):
            if len(self._ladders) + len(missing) <= KEPT_LADDERS:
                break
            if fault_set not in wanted:
                del self._ladders[fault_set]
        n_levels = len(LADDER_LEVELS)
        solved = self._compiled.hypotheses(
            [fault_set for fault_set in missing for _ in LADDER_LEVELS],
            levels=LADDER_LEVELS * len(missing),
            every=LADDER_STRIDE,
        )
        for number, fault_set in enumerate(missing):
            rows = np.arange(number * n_levels, (number + 1) * n_levels)
            self._ladders[fault_set] = _Ladder(solved.kept(rows), {})

    def _on_ladder(self, ladder: _Ladder, noted: Noted) -> FloatArray:
        """Return the likelihood of an observation on every step, worked out once."""
        key = noted._replace(epoch=0)
        if key not in ladder.likelihoods:
            ladder.likelihoods[key] = self.weigher.likelihood(
                ladder.grid, noted, is_ladder=True
            )
        return ladder.likelihoods[key]

    def _ladder_likelihood(
        self, ladder: _Ladder, conclusion: Conclusion, fault_set: FaultSet
    ) -> FloatArray:
        """Return the likelihood of the facts while the whole set was present."""
        touched = [
            number
            for number, repair in enumerate(conclusion.repairs)
            if repair.causes & set(fault_set)
        ]
        last = touched[0] if touched else len(conclusion.repairs)
        result = np.ones((n_steps(len(ladder.grid.sets)), self._compiled.n_draws))
        for noted in conclusion.observations:
            if noted.epoch <= last:
                result *= self._on_ladder(ladder, noted)
        return result

    def slip_chance(self, conclusion: Conclusion, number: int) -> float:
        """Return how likely a reading taken once was a slip, as things are believed.

        Parameters
        ----------
        number : int
            Place of the observation; 0 for one that was repeated, and for what is no
            reading: whoever looks at a fuse again sees the same.
        """
        noted = conclusion.observations[number]
        fact, weights = noted.observation, conclusion.beliefs.weights
        if isinstance(fact, SymptomFact) or fact.kind is ReadingKind.LOOK:
            return 0.0
        if noted.times > 1:
            return 0.0
        rows = np.flatnonzero(weights.sum(axis=1) > LEAST_BELIEVED)
        share = self.weigher.slip_share(
            conclusion.hypotheses,
            noted,
            conclusion.likelihoods[number][rows],
            rows=conclusion.shown_by[rows],
        )
        believed = weights[rows]
        return float((share * believed).sum() / believed.sum())

    def _promising(
        self,
        observations: Sequence[Noted],
        likelihoods: Sequence[FloatArray],
        answers: dict[str, str],
        repairs: Sequence[RepairStep],
    ) -> tuple[tuple[FaultSet, ...], float]:
        """Return the pairs worth solving, and what the others could add."""
        before = [k for k, noted in enumerate(observations) if noted.epoch == 0]
        if not before:
            return (), 0.0
        priors = self._compiled.priors
        odds, lift = self._under(answers).odds, self._under(answers).lift
        part_of = priors.part_of[: len(odds)]
        deviations = np.stack(
            [self._deviation(noted.observation) for noted in observations], axis=1
        )
        pairs, left_out = promising_pairs(
            odds,
            part_of,
            [likelihoods[k] for k in before],
            deviations[:, before],
            most=MOST_PAIRS,
            lift=lift,
        )
        if not repairs:
            return pairs, left_out
        mended = sorted(
            cause
            for cause in {one for repair in repairs for one in repair.causes}
            if cause < len(odds)
        )
        after = [k for k, noted in enumerate(observations) if noted.epoch > 0]
        seen_after = [likelihoods[k].mean(axis=1) for k in after]
        told = np.prod([np.ones(1 + len(odds)), *seen_after], axis=0)
        companions = promising_companions(
            odds * told[1:],
            part_of,
            sound=float(told[0]),
            mended=mended,
            most=MOST_COMPANIONS,
        )
        known = set(pairs)
        return (*pairs, *(pair for pair in companions if pair not in known)), left_out

    def _deviation(self, observation: Observation) -> FloatArray:
        """Return how far each single cause moves what a fact looks at, (n_causes,).

        A symptom in probability; volts over one volt, other readings as a share.
        """
        if observation in self._deviations:
            return self._deviations[observation]
        singles = self._compiled.singles
        if self.weigher.provocation(observation) is not None:
            return np.zeros(self._compiled.n_lasting)
        if isinstance(observation, SymptomFact):
            column = self._compiled.symptom_index[observation.symptom]
            shown = singles.symptoms[:, :, column].mean(axis=1).astype(np.float64)
        else:
            shown = self._compiled.predicted(singles, reading_of(observation))
            shown = np.where(np.isinf(shown), OVER_RANGE_OHMS, shown).mean(axis=1)
            if observation.kind not in LINEAR_KINDS:
                least = 1e-5 if observation.kind is ReadingKind.FUSE else 1e-3
                shown = np.log(np.maximum(shown, least))
        moved: FloatArray = np.abs(shown[1:] - shown[0])
        self._deviations[observation] = moved
        return moved

    def _repair_steps(self, names: Sequence[str]) -> tuple[RepairStep, ...]:
        """Return the repairs; one done again is taken to be done right."""
        causes = self._compiled.causes
        steps: list[RepairStep] = []
        for name in names:
            index = next(i for i, cause in enumerate(causes) if cause.name == name)
            line = next(line for line in self._model.lines if index in line)
            is_again = any(step.causes == frozenset(line) for step in steps)
            cure = causes[index].mode.repair.cure_probability
            steps.append(
                RepairStep(
                    causes=frozenset(line),
                    cure_probability=SECOND_CURE if is_again else cure,
                )
            )
        return tuple(steps)


def _believing(draft: Conclusion) -> Conclusion:
    """Return a conclusion with its beliefs worked out.

    Raises
    ------
    ImpossibleEvidenceError
        If the facts are impossible together.
    """
    beliefs = update(draft.hypotheses.sets, draft.prior, draft.steps())
    if beliefs is None:
        raise ImpossibleEvidenceError(
            "no cause can give these facts together; take the doubtful one back"
        )
    return replace(draft, beliefs=beliefs)


def _as_slice(rows: IntArray) -> Rows:
    """Return rising row numbers as a slice where they have no gaps: it copies less."""
    if rows[-1] - rows[0] == len(rows) - 1:
        return slice(int(rows[0]), int(rows[-1]) + 1)
    return rows
