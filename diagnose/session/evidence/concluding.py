"""From standing facts to beliefs: likelihoods, double faults, repairs.

Pure in the facts: the same facts in any order between repairs give the same beliefs,
once all that they call for is solved. What was solved for a pair of causes is kept for
the next fact.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.belief.beliefs import Beliefs, RepairStep
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.hypotheses import Hypotheses, joined
from diagnose.inference.search.found_sets import Combined
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.conclusion import Conclusion, before_repairs, believing
from diagnose.session.evidence.fitted_severities import Severities
from diagnose.session.evidence.likelihoods import Weigher, is_yes
from diagnose.session.evidence.observations import Noted, Observation, observations_of
from diagnose.session.evidence.pair_search import (
    MOST_FLEETING_PAIRS,
    Chances,
    Searcher,
)
from diagnose.session.evidence.severity_ladders import Ladders
from diagnose.session.evidence.solving_allowance import Effort
from diagnose.session.facts import ContextFact, Fact, SymptomFact
from diagnose.session.ready_car import Model

LEAST_EXTENDED = 0.05
# Derived: a pair less likely than that gains no third cause that counts.
SECOND_CURE = 0.97
# From memory: a repair checked and done again rarely fails again, one time in thirty. A
# higher figure makes the second failure a proof that no known cause is there.
PAIR_STRIDE = 4
# Derived: every fourth draw stands for four; pairs need order, not the last decimal,
# and those that lead get severities of their own.
KEPT_SETS = 800
# Derived: an evening's, those solved ahead included; 100 kB each.
LEAST_BELIEVED = 1e-3


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Which row holds which fault set.

    Parameters
    ----------
    of : Mapping[FaultSet, int]
    n_rows : int
        Those not in use included.
    singles : IntArray
        The sound car and every lasting cause.
    solved : IntArray
        What was solved beyond these.
    fleeting : IntArray
        Every cause that comes and goes.
    shown_by, away, comes_and_goes : IntArray
        As in `Conclusion`.
    """

    of: Mapping[FaultSet, int]
    n_rows: int
    singles: IntArray
    solved: IntArray
    fleeting: IntArray
    shown_by: IntArray
    away: IntArray
    comes_and_goes: IntArray

    @property
    def fleeting_pairs(self) -> IntArray:
        """Sets of a cause that comes and goes and one that lasts."""
        first = self.n_rows - MOST_FLEETING_PAIRS
        return first + np.flatnonzero(self.comes_and_goes[first:] >= 0)


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
        self._ladders = Ladders(self._compiled, self.weigher)
        self._searcher = Searcher(model, self.weigher, self._ladders)
        self._severities = Severities(
            self._compiled, self._ladders, self._searcher, mark=self._mark
        )
        self._chances: Chances | None = None
        self._known: dict[FaultSet, Hypotheses] = {}
        singles, first = self._compiled.singles.sets, self._compiled.n_lasting
        n_bank = len(self._compiled.bank.all.sets)
        fleeting = range(len(self._compiled.presence.acts_as))
        self._alone_rows: dict[FaultSet, int] = {
            **{one: row for row, one in enumerate(singles)},
            **{(first + number,): n_bank + number for number in fleeting},
        }

    def conclude(
        self, facts: Sequence[Fact], *, solves: Callable[[], bool] = lambda: True
    ) -> Conclusion:
        """Return what standing facts amount to.

        Parameters
        ----------
        solves : Callable
            Whether fault sets that facts call for are solved where they are missing;
            asked before each piece of work.

        Raises
        ------
        ImpossibleEvidenceError
            If no fault set can give the facts, not even with a slip of the meter.
        """
        bank = self._compiled.bank
        bank.written_for = None
        observations, repaired = observations_of(facts, self._model)
        answers = {f.context: f.answer for f in facts if isinstance(f, ContextFact)}
        chances, repairs = self._under(answers), self._repair_steps(repaired)
        effort = Effort(solves)
        drawn = partial(self._drawn, observations, answers, repairs, effort=effort)
        combined = self._combined(observations, chances, repairs, effort)
        conclusion = drawn(combined)
        triples = self._within(self._triples(conclusion, chances), effort)
        if triples.sets:
            combined = combined.and_also(triples.sets)
            conclusion = drawn(combined)
        left_out = combined.left_out_probability + triples.left_out_probability
        bank.written_for = tuple(facts)
        return replace(
            conclusion,
            left_out_probability=min(left_out, 1.0),
            is_complete=effort.is_complete,
        )

    def _drawn(
        self,
        observations: tuple[Noted, ...],
        answers: Mapping[str, str],
        repairs: tuple[RepairStep, ...],
        combined: Combined,
        *,
        effort: Effort,
    ) -> Conclusion:
        """Return what facts and repairs amount to under single causes and some sets."""
        rows, bank = self._rows(combined.sets), self._compiled.bank
        sets: list[FaultSet] = [()] * rows.n_rows
        prior = np.zeros((rows.n_rows, self._compiled.n_draws))
        for fault_set, row in rows.of.items():
            sets[row] = fault_set
        alone = np.concatenate([rows.singles, rows.fleeting])
        prior[alone] = self._under(answers).singles[:, None]
        if combined.sets:
            places = [rows.of[fault_set] for fault_set in combined.sets]
            likely = self._compiled.priors.set_probabilities(combined.sets, answers)
            prior[places] = likely[:, None]
        prior /= self._compiled.n_draws
        hypotheses = replace(bank.all, sets=tuple(sets))
        draft = Conclusion(
            hypotheses=hypotheses,
            beliefs=Beliefs(sets=(), weights=np.empty((0, 0)), log_evidence=0.0),
            observations=observations,
            likelihoods=self._likelihoods(observations, hypotheses, rows),
            repairs=repairs,
            prior=prior,
            left_out_probability=0.0,
            shown_by=rows.shown_by,
            away=rows.away,
            comes_and_goes=rows.comes_and_goes,
            first_fleeting=len(bank.all.sets),
        )
        conclusion = believing(draft)
        redrawn = self._severities.redrawn(conclusion, combined, rows.of, effort)
        return conclusion if redrawn is None else believing(redrawn)

    def _triples(self, conclusion: Conclusion, chances: Chances) -> Combined:
        """Return the sets of three that facts before any repair call for."""
        likely = before_repairs(conclusion)
        row_of: dict[FaultSet, int] = {
            fault_set: row
            for row, fault_set in enumerate(conclusion.hypotheses.sets)
            if len(fault_set) == 2
            and conclusion.prior[row].any()
            and conclusion.comes_and_goes[row] < 0
            and likely[row] > LEAST_EXTENDED
        }
        shares = {fault_set: float(likely[row]) for fault_set, row in row_of.items()}
        places = {noted: n for n, noted in enumerate(conclusion.observations)}

        def likelihood_of(fault_set: FaultSet, noted: Noted) -> FloatArray:
            row = row_of[fault_set]
            return np.asarray(conclusion.likelihoods[places[noted]][row])

        return self._searcher.triples(shares, likelihood_of, chances)

    def _under(self, answers: Mapping[str, str]) -> Chances:
        """Return what does not change within a case, worked out once."""
        key = tuple(sorted(answers.items()))
        if self._chances is None or self._chances.answers != key:
            self._chances = Chances.under(answers, self._compiled)
        return self._chances

    def _combined(
        self,
        observations: Sequence[Noted],
        chances: Chances,
        repairs: Sequence[RepairStep],
        effort: Effort,
    ) -> Combined:
        """Return the sets beyond single causes that facts and repairs call for."""
        rows = self._rows(())
        alone = np.concatenate([rows.singles, rows.fleeting])
        weighed = self._likelihoods(observations, self._compiled.bank.all, rows)

        def front_of(place: int) -> FloatArray:
            return np.asarray(weighed[place][alone])

        found = self._searcher.pairs(observations, front_of, chances, effort)
        if repairs:
            found = found.and_also(
                self._searcher.companions(observations, front_of, chances, repairs)
            )
        return self._within(found, effort)

    def _within(self, found: Combined, effort: Effort) -> Combined:
        """Return what of these can be had."""
        there = effort.within(found.sets, self._is_known)
        return found if len(there) == len(found.sets) else found.only(frozenset(there))

    def _is_known(self, fault_set: FaultSet) -> bool:
        """Return whether what a fault set shows was solved."""
        first, acts_as = self._compiled.n_lasting, self._compiled.presence.acts_as
        shown = (
            int(acts_as[one - first]) if one >= first else one for one in fault_set
        )
        return self._ladders.standing_in(tuple(sorted(shown))) in self._known

    def _rows(self, sets: Sequence[FaultSet]) -> _Rows:
        """Return the rows of fault sets, those beyond single causes solved now."""
        compiled, bank = self._compiled, self._compiled.bank
        first = compiled.n_lasting
        acts_as = dict(enumerate(compiled.presence.acts_as.tolist(), start=first))
        lasting = [s for s in sets if s[-1] < first]
        fleeting = [s for s in sets if s[-1] >= first]
        shown = {s: tuple(sorted((*s[:-1], acts_as[s[-1]]))) for s in fleeting}
        solved = tuple(dict.fromkeys([*lasting, *shown.values()]))
        missing = bank.missing(solved)
        if missing:
            bank.keep_pairs(self._solved(missing), solved)
        n_bank, n_fleeting = len(bank.all.sets), len(acts_as)
        rows = self._alone_rows.copy()
        rows.update((s, bank.pair_rows[s]) for s in lasting)
        n_rows = n_bank + n_fleeting + MOST_FLEETING_PAIRS
        shown_by, away = np.arange(n_rows), np.arange(n_rows)
        comes_and_goes = np.full(n_rows, -1)
        shown_by[n_bank:] = away[n_bank:] = 0
        alone = n_bank + np.arange(n_fleeting)
        shown_by[alone] = 1 + compiled.presence.acts_as
        comes_and_goes[alone] = np.arange(n_fleeting)
        for row, s in enumerate(fleeting, start=n_bank + n_fleeting):
            rows[s], shown_by[row] = row, bank.pair_rows[shown[s]]
            away[row], comes_and_goes[row] = rows[s[:-1]], s[-1] - first
        return _Rows(
            of=rows,
            n_rows=n_rows,
            singles=np.arange(bank.n_singles),
            solved=np.array([bank.pair_rows[s] for s in solved], dtype=np.int64),
            fleeting=alone,
            shown_by=shown_by,
            away=away,
            comes_and_goes=comes_and_goes,
        )

    def _solved(self, sets: Sequence[FaultSet]) -> Hypotheses:
        """Return fault sets with what they show; those that act alike solved once."""
        alike = [self._ladders.standing_in(one) for one in sets]
        missing = [one for one in dict.fromkeys(alike) if one not in self._known]
        if missing:
            if len(self._known) + len(missing) > KEPT_SETS:
                self._known = {
                    one: self._known[one] for one in alike if one in self._known
                }
            solved = self._compiled.hypotheses(
                missing, every=PAIR_STRIDE, is_compact=True
            )
            for number, one in enumerate(missing):
                self._known[one] = solved.kept(np.array([number]))
        found = joined([self._known[one] for one in alike])
        return replace(found.stretched(PAIR_STRIDE), sets=tuple(sets))

    def _likelihoods(
        self, observations: Sequence[Noted], hypotheses: Hypotheses, rows: _Rows
    ) -> tuple[FloatArray, ...]:
        """Return the likelihoods of all rows, those in use brought up to date.

        A row is worked out once per observation, until the bank writes it anew.
        """
        bank = self._compiled.bank
        groups = ((rows.singles, 1), (np.unique(rows.solved), PAIR_STRIDE))
        result = []
        for noted in observations:
            weighed = self._weighed_of(noted, rows)
            for wanted, stands_for in groups:
                is_stale = weighed.version[wanted] != bank.versions[wanted]
                if not is_stale.any():
                    continue
                some = _as_slice(wanted[is_stale])
                weighed.likelihood[some] = self.weigher.likelihood(
                    hypotheses, noted, rows=some, stands_for=stands_for
                )
                weighed.version[some] = bank.versions[some]
            coming = rows.fleeting_pairs
            if len(rows.fleeting) and weighed.version[rows.fleeting[0]] < 0:
                weighed.version[rows.fleeting] = 0
                coming = np.concatenate([rows.fleeting, coming])
            if len(coming):
                weighed.likelihood[coming] = self._while_coming(
                    noted, hypotheses, coming, rows=rows, likelihood=weighed.likelihood
                )
            result.append(weighed.likelihood)
        return tuple(result)

    def _while_coming(
        self,
        noted: Noted,
        hypotheses: Hypotheses,
        some: IntArray,
        *,
        rows: _Rows,
        likelihood: FloatArray,
    ) -> FloatArray:
        """Return what an observation says of sets with a fault that comes and goes.

        Parameters
        ----------
        some : IntArray
            Their rows, shape (n_some,).
        likelihood : FloatArray
            Of all rows that hold what they show, shape (n_rows, n_draws).
        """
        presence, fault = self._compiled.presence, rows.comes_and_goes[some]
        test = self.weigher.provocation(noted.observation)
        if test is not None:
            reacts = presence.reaction(test.trigger, test.at_target)[fault]
            return reacts if is_yes(noted.observation) else 1.0 - reacts
        chance = presence.chance(
            self.weigher.state_of(noted.observation), is_complaint=noted.is_complaint
        )
        looks = [
            [*self._fewer_times(noted, hypotheses, seen), likelihood[seen]]
            for seen in (rows.shown_by[some], rows.away[some])
        ]
        return presence.looked_at(looks[0], looks[1], chance[fault])

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
        presence, fault = self._compiled.presence, conclusion.comes_and_goes[rows]
        is_fleeting = fault >= 0
        own = fault[is_fleeting]
        test = self._model.provocations.get(name)
        if test is not None:
            shape = (len(rows), self._compiled.n_draws)
            result = np.full(shape, test.symptom.imagined_probability)
            reacts = presence.reaction(test.trigger, test.at_target)
            result[is_fleeting] = reacts[own]
            return result
        column = self._compiled.symptom_index[name]
        symptoms = conclusion.hypotheses.symptoms
        shown, away = conclusion.shown_by[rows], conclusion.away[rows][is_fleeting]
        result = symptoms[shown, :, column].astype(np.float64)
        state = self._model.asked(name).state
        chance = presence.chance(state, is_complaint=is_complaint)[own]
        sound = symptoms[away, :, column].astype(np.float64)
        result[is_fleeting] = presence.mixed(result[is_fleeting], sound, chance)
        return result

    def presence_of(self, observation: Observation, fault: int) -> FloatArray:
        """Return the chance that a fault that comes and goes was there, (n_draws,).

        Parameters
        ----------
        fault : int
            Its place among such faults.
        """
        return np.asarray(
            self._compiled.presence.chance(self.weigher.state_of(observation))[fault]
        )

    def _weighed_of(self, noted: Noted, rows: _Rows) -> _Weighed:
        key = noted._replace(epoch=0)
        if key not in self._weighed:
            self._weighed[key] = _Weighed(
                np.ones((rows.n_rows, self._compiled.n_draws)),
                np.full(rows.n_rows, -1, dtype=np.int64),
            )
        return self._weighed[key]

    def _mark(self, noted: Noted, row: int) -> None:
        """Note that the likelihood of a row is up to date."""
        weighed = self._weighed[noted._replace(epoch=0)]
        weighed.version[row] = self._compiled.bank.versions[row]

    def mistake_chance(self, conclusion: Conclusion, number: int) -> float:
        """Return how likely a reading was a slip, or an answer wrong, as is believed.

        Parameters
        ----------
        number : int
            Place of the observation; 0 for one that was repeated, for the complaint,
            and for what shows the same whoever looks again: a fuse, or a test that
            brings a fault.
        """
        noted = conclusion.observations[number]
        fact, weights = noted.observation, conclusion.beliefs.weights
        if noted.times > 1 or noted.is_complaint:
            return 0.0
        rows = np.flatnonzero(weights.sum(axis=1) > LEAST_BELIEVED)
        likelihood = conclusion.likelihoods[number][rows]
        if isinstance(fact, SymptomFact):
            if self.weigher.provocation(fact) is not None:
                return 0.0
            there = self.yes_chance(conclusion, fact.symptom, rows)
            share = self.weigher.wrong_share(fact, there, likelihood)
        elif fact.reading.kind is ReadingKind.LOOK:
            return 0.0
        else:
            share = self.weigher.slip_share(
                conclusion.hypotheses,
                noted,
                likelihood,
                rows=conclusion.shown_by[rows],
            )
        believed = weights[rows]
        return float((share * believed).sum() / believed.sum())

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


def _as_slice(rows: IntArray) -> IntArray | slice:
    """Return rising row numbers as a slice where they have no gaps: it copies less."""
    if rows[-1] - rows[0] == len(rows) - 1:
        return slice(int(rows[0]), int(rows[-1]) + 1)
    return rows
