"""Which steps are done with: taken since the latest repair, or skipped.

A reading that may well have been a slip can be asked for again, once: the same leads in
the same state tell a slip from a cause for the price of a probe, and more than once it
would be asked for without end where a fault comes and goes. So can an answer that may
well be wrong. Leaves how likely a mistake is to `mistakes`.
"""

from __future__ import annotations

from diagnose.measurement.steps import Step
from diagnose.session.evidence.mistakes import Mistakes
from diagnose.session.facts import SkipFact
from diagnose.session.steps.moment import Moment

# A reading likelier than this to have been a slip, or an answer wrong, may be worth
# repeating. [1] Own choice: one reading in fifty is a slip before anything is known
# of it.
DOUBTFUL = 0.03


def taken_steps(moment: Moment, mistakes: Mistakes) -> frozenset[Step]:
    """Return the steps already taken since the latest repair, or skipped.

    Parameters
    ----------
    moment : Moment
    mistakes : Mistakes
        How likely a fact was a mistake.

    Returns
    -------
    frozenset[Step]
    """
    taken = {fact.step for fact in moment.facts if isinstance(fact, SkipFact)}
    seen: set[Step] = set()
    conclusion = moment.conclusion
    for number, noted in enumerate(conclusion.observations):
        if noted.epoch < len(conclusion.repairs):
            continue
        step = noted.observation.step
        if step in seen or mistakes.chance(conclusion, number) < DOUBTFUL:
            taken.add(step)
        seen.add(step)
    return frozenset(taken)
