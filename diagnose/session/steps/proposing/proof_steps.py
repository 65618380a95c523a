"""The reading that proves a repair, and the one that would settle a suspect.

Both tell two cases apart, whatever they save: mended or still bad, guilty or not.
Leaves when a proof is due to `advice`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.inference.choice.information import mutual_bits
from diagnose.inference.choice.particles import Particles
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step
from diagnose.session.answer import ProposedStep
from diagnose.session.evidence.implied.failed_repairs import PROVING_ODDS
from diagnose.session.facts import ComplaintFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Candidates, Sight
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.outcomes import (
    LEAST_STATE_CHANCE,
    Outcomes,
    reached_chances,
)
from diagnose.session.steps.particles import regrouped
from diagnose.session.steps.priced import Priced
from diagnose.session.steps.proposing.proposals import Proposals
from diagnose.session.steps.series_amps import takeable
from diagnose.session.words.wording import step_words
from diagnose.units import format_minutes

# What a minute of a proof must tell. [bit/min] Derived: a reading ten minutes away must
# tell a third of a bit more than one at hand.
PROOF_BITS_PER_MINUTE = 0.03

# A reading that would be taken for the wrong one of two equally likely cases more often
# than this proves nothing. [1] Derived: what is right ten times for each time that it
# is wrong.
MOST_MISTAKEN = 1.0 / (1.0 + PROVING_ODDS)

# A reading that tells less about a suspect is not named. [bit] Own choice: a twentieth
# of a yes or no.
LEAST_SETTLING_BITS = 0.05

# Of readings that tell at least this share of the most, the cheapest is named. [1] Own
# choice: a tenth of a bit more is no reason to crawl under the car.
ABOUT_AS_MUCH = 0.9


@dataclass(frozen=True, slots=True)
class _Telling:
    """Readings of one kind with what they tell of two cases, and what they cost.

    Parameters
    ----------
    readings : tuple[Reading, ...]
    bits, minutes : FloatArray
        Shape (n_readings,). [bit, min]
    mistaken : FloatArray
        How often the likelier case after the reading is the wrong one, shape
        (n_readings,). [1]
    """

    readings: tuple[Reading, ...]
    bits: FloatArray
    mistaken: FloatArray
    minutes: FloatArray


class ProofSteps:
    """Finds the readings that tell two cases apart on one car.

    Parameters
    ----------
    model : Model
    outcomes : Outcomes
        What particles give for a step.
    proposals : Proposals
        Steps in words.
    """

    def __init__(self, model: Model, outcomes: Outcomes, proposals: Proposals) -> None:
        self._model = model
        self._outcomes = outcomes
        self._proposals = proposals

    def proving(
        self, cause: str, moment: Moment, *, excluded: frozenset[Step] = frozenset()
    ) -> ProposedStep | None:
        """Return the reading that tells best whether a repair took.

        The two cases weighed are the healthy car and the car in which the part is still
        bad in some way that gives the complaint: a joint half mended has to show too.
        Bands that overlap prove nothing: cured is told from not cured by ten to one.

        Parameters
        ----------
        cause : str
            The name of what was mended.
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.

        Returns
        -------
        ProposedStep or None
            None where no reading tells the two cases apart by ten to one.
        """
        particles = self._mended_or_not(self._number(cause), moment)
        beyond = self._beyond_the_complaint(moment)
        best = self._best(particles, moment, excluded=excluded, barred=beyond)
        if best is None:
            return None
        return self._proposals.proposed(
            best, moment, reason="tells whether the repair took"
        )

    def _beyond_the_complaint(self, moment: Moment) -> frozenset[str]:
        """Return the states that the car only gets into once a complaint is gone.

        An engine that idles has started: nothing need be read to prove that it does.
        """
        states, complaints = self._model.car.states, self._model.knowledge.complaints
        place = {state.name: number for number, state in enumerate(states)}
        tested = [
            place[self._model.asked(complaints[fact.complaint].retest).state]
            for fact in moment.facts
            if isinstance(fact, ComplaintFact)
        ]
        first = min(tested, default=len(states))
        return frozenset(
            state.name for state in states[first + 1 :] if state.exists_when
        )

    def telling_apart(
        self, either: Particles, moment: Moment, *, excluded: frozenset[Step]
    ) -> ProposedStep | None:
        """Return the reading that tells a suspect best from another one.

        Parameters
        ----------
        either : Particles
            The suspect in group 0, the other in group 1, either as likely.
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.

        Returns
        -------
        ProposedStep or None
            None where no reading tells the two apart by ten to one.
        """
        best = self._best(either, moment, excluded=excluded)
        if best is None:
            return None
        reason = "tells the suspect from the part beside it"
        return self._proposals.proposed(best, moment, reason=reason)

    def _best(
        self,
        particles: Particles,
        moment: Moment,
        *,
        excluded: frozenset[Step],
        barred: frozenset[str] = frozenset(),
    ) -> Priced | None:
        """Return the best reading that tells two groups apart by ten to one."""
        sight = Sight(moment.conclusion.hypotheses, particles)
        best: tuple[float, Priced] | None = None
        for told in self._telling(particles, sight, moment, excluded=excluded):
            rate = told.bits - PROOF_BITS_PER_MINUTE * told.minutes
            rate[told.mistaken > MOST_MISTAKEN] = -np.inf
            rate[[one.state in barred for one in told.readings]] = -np.inf
            top = int(rate.argmax())
            if not np.isfinite(rate[top]):
                continue
            if best is None or rate[top] > best[0]:
                priced = Priced(
                    step=told.readings[top],
                    minutes=float(told.minutes[top]),
                    saves_minutes=0.0,
                    bits=float(told.bits[top]),
                    worth_minutes=0.0,
                )
                best = float(rate[top]), priced
        return None if best is None else best[1]

    def settling(self, cause: str, moment: Moment, *, excluded: frozenset[Step]) -> str:
        """Return in words the reading that would say most about a cause.

        Of those that say about as much the cheapest. What one repair mends counts as
        one.

        Parameters
        ----------
        cause : str
            Its name.
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.

        Returns
        -------
        str
            Empty where none would say much.
        """
        held, lines = moment.believed, moment.lines
        rows = lines.rows(int(lines.line_of[self._number(cause)]))
        either = regrouped(held, rows, len(moment.conclusion.shown_by))
        if not 0.0 < float(either.share @ either.group) < 1.0:
            return ""
        found = [
            (float(told.bits[place]), float(told.minutes[place]), told.readings[place])
            for told in self._telling(either, held.sight, moment, excluded=excluded)
            for place in range(len(told.readings))
        ]
        most = max((bits for bits, _, _ in found), default=0.0)
        if most < LEAST_SETTLING_BITS:
            return ""
        bits, minutes, reading = min(
            (one for one in found if one[0] >= ABOUT_AS_MUCH * most),
            key=lambda one: (one[1], -one[0], one[2].name),
        )
        words = step_words(reading, self._model.car)
        return f"{words} ({format_minutes(minutes)}; tells {bits:.1f} bit about it)"

    def _number(self, cause: str) -> int:
        causes = self._model.compiled.causes
        return next(n for n, one in enumerate(causes) if one.name == cause)

    def _mended_or_not(self, cause: int, moment: Moment) -> Particles:
        """Return every draw of the sound car, and of the part still bad in some way."""
        compiled = self._model.compiled
        line = moment.lines.members[int(moment.lines.line_of[cause])]
        parts = {compiled.causes[one].part.name for one in line}
        still = [n for n, one in enumerate(compiled.causes) if one.part.name in parts]
        n_draws = compiled.n_draws
        rows = np.repeat([0, *map(compiled.shown_by, still)], n_draws)
        is_bad = (rows > 0).astype(np.int64)
        draws = np.tile(np.arange(n_draws), 1 + len(still))
        share = np.where(is_bad, 1.0, 1.0 / n_draws)
        complained = _complained(moment)
        if complained is not None:
            causes = np.repeat(np.arange(len(still)), n_draws)
            own = [moment.conclusion.hypotheses.sets.index((one,)) for one in still]
            gives = complained[np.array(own)[causes], draws[n_draws:]]
            if gives.any():
                share[n_draws:] = gives
        share[n_draws:] /= share[n_draws:].sum()
        return Particles(row=rows, draw=draws, share=0.5 * share, group=is_bad)

    def _telling(
        self,
        particles: Particles,
        sight: Sight,
        moment: Moment,
        *,
        excluded: frozenset[Step],
    ) -> Iterator[_Telling]:
        """Yield the readings that can be taken and tell groups of particles apart."""
        can_be = reached_chances(moment, self._model) >= LEAST_STATE_CHANCE
        for candidates, costs in moment.candidates:
            can_take = takeable(candidates, costs, moment, self._model.compiled)
            can_take &= can_be[candidates.states]
            some = _open(candidates, can_take, excluded)
            shown = candidates.shown(sight, some)
            tells = candidates.may_tell(shown)
            some, shown = some[tells], shown[tells]
            if len(some):
                joint = self._outcomes.joint(shown, candidates.kind, particles, 2)
                yield _Telling(
                    tuple(candidates.readings[place] for place in some.tolist()),
                    mutual_bits(joint),
                    joint.min(axis=2).sum(axis=1),
                    costs.minutes(moment.here)[some],
                )


def _complained(moment: Moment) -> FloatArray | None:
    """Return how likely the complaints are under each fault set and draw, if any."""
    conclusion = moment.conclusion
    told = [
        likelihood
        for noted, likelihood in zip(
            conclusion.observations, conclusion.likelihoods, strict=True
        )
        if noted.is_complaint
    ]
    return np.prod(told, axis=0) if told else None


def _open(
    candidates: Candidates, can_take: BoolArray, excluded: frozenset[Step]
) -> IntArray:
    """Return the numbers of readings that can be taken and were not yet."""
    is_open = np.array([one not in excluded for one in candidates.readings])
    return np.flatnonzero(can_take & is_open)
