"""Before a sure repair, the reading that tells the suspect from what is beside it.

A claim can be sure because readings spoke for it, or because nothing else was thought
likely. The second kind is tested before it is mended: by the reading that would tell
the suspect from its likeliest neighbour, which a sound suspect would fail. Leaves what
a reading saves in minutes to `steps`, and which to take next to `advice`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.choice.particles import Particles
from diagnose.measurement.steps import Step
from diagnose.session.answer import ProposedStep, RankedCause
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.failed_repairs import PROVING_ODDS
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.proposing.proof_steps import ProofSteps

# From this chance on a claim has to rest on a reading. [1] Own choice: what is said to
# hold 99 times in 100.
SURE_CLAIM = 0.99

# What share of the minutes of the repair the reading may take at most. [1] Own choice:
# a few minutes before a job of half an hour; above, it is refused for its price.
MOST_PRICE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Untested:
    """A sure suspect that no reading told from the part beside it.

    Parameters
    ----------
    step : ProposedStep
        The reading that would.
    neighbour : str
        What else it could be, in words.
    is_refused : bool
        The reading takes too long for the repair that it would save.
    """

    step: ProposedStep
    neighbour: str
    is_refused: bool


class SureClaims:
    """Finds out whether sure claims about one car rest on a reading.

    Parameters
    ----------
    model : Model
    proof_steps : ProofSteps
        The readings that tell two cases apart.
    """

    def __init__(self, model: Model, proof_steps: ProofSteps) -> None:
        self._model = model
        self._proof_steps = proof_steps
        nodes = {
            part.name: frozenset(part.terminals.values()) - {model.car.reference}
            for part in model.car.parts
        }
        of_line = [
            frozenset().union(
                *(nodes[model.compiled.causes[one].part.name] for one in line)
            )
            for line in model.lines
        ]
        at_node: dict[str, set[int]] = {}
        for line, own in enumerate(of_line):
            for node in own:
                at_node.setdefault(node, set()).add(line)
        self._beside = [
            sorted(set().union(*(at_node[node] for node in own)) - {line})
            for line, own in enumerate(of_line)
        ]

    def untested(
        self, best: RankedCause, moment: Moment, *, taken: frozenset[Step]
    ) -> Untested | None:
        """Return the reading that a sure claim still lacks.

        Parameters
        ----------
        best : RankedCause
            What is about to be mended.
        moment : Moment
        taken : frozenset[Step]
            Steps taken since the latest repair, or skipped.

        Returns
        -------
        Untested or None
            None where the claim is not sure, a reading told the suspect from its
            likeliest neighbour by ten to one, the best one was taken or skipped, or no
            reading can.
        """
        if best.probability < SURE_CLAIM:
            return None
        names = [cause.name for cause in self._model.compiled.causes]
        line = int(moment.lines.line_of[names.index(best.name)])
        told, seen = _told_and_seen(moment.conclusion)
        neighbour = self._neighbour(line, moment, told)
        if neighbour is None:
            return None
        rows = [_alone(one, moment) for one in (line, neighbour)]
        found = [_mean(seen[some], told[some]) for some in rows]
        if found[0] >= PROVING_ODDS * found[1]:
            return None
        either = _either(rows, told * seen, moment.conclusion)
        # once that reading was taken, or skipped, the next best one is not asked for:
        # beside a second fault neither of the two alone may ever fit
        step = self._proof_steps.telling_apart(either, moment, excluded=frozenset())
        if step is None or step.step in taken:
            return None
        return Untested(
            step=step,
            neighbour=self._model.compiled.causes[
                moment.lines.likeliest(neighbour)
            ].says,
            is_refused=step.minutes > MOST_PRICE * best.repair_minutes,
        )

    def _neighbour(self, line: int, moment: Moment, told: FloatArray) -> int | None:
        """Return the line beside a line that was likeliest before any reading."""
        mass = {
            other: float(told[_alone(other, moment)].sum())
            for other in self._beside[line]
        }
        return max(mass, key=lambda other: mass[other]) if any(mass.values()) else None


def _told_and_seen(conclusion: Conclusion) -> tuple[FloatArray, FloatArray]:
    """Return what was believed by the complaint alone, and what was seen since.

    Shape (n_sets, n_draws) each.
    """
    told, seen = conclusion.prior.copy(), np.ones(conclusion.prior.shape)
    for noted, likelihood in zip(
        conclusion.observations, conclusion.weighed, strict=True
    ):
        if noted.is_complaint:
            told *= likelihood
        else:
            seen *= likelihood
    return told, seen


def _alone(line: int, moment: Moment) -> IntArray:
    """Return the rows in which one cause of a line is the only fault."""
    rows = moment.lines.rows(line).tolist()
    return np.array([row for row in rows if len(moment.lines.sets[row]) == 1])


def _mean(seen: FloatArray, weights: FloatArray) -> float:
    """Return the mean of a likelihood over fault sets and draws; 0 over none."""
    total = float(weights.sum())
    return float((seen * weights).sum()) / total if total > 0.0 else 0.0


def _either(
    rows: list[IntArray], weights: FloatArray, conclusion: Conclusion
) -> Particles:
    """Return the draws of a suspect and of its neighbour, either as likely."""
    n_draws = weights.shape[1]
    shares = [weights[some].ravel() for some in rows]
    shares = [
        0.5 * (one / one.sum() if one.sum() > 0.0 else np.full(len(one), 1 / len(one)))
        for one in shares
    ]
    every = np.concatenate(rows)
    return Particles(
        row=np.repeat(conclusion.shown_by[every], n_draws),
        draw=np.tile(np.arange(n_draws), len(every)),
        share=np.concatenate(shares),
        group=np.repeat([0, 1], [len(one) for one in shares]),
    )
