"""Severities solved more closely where facts pin them down."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.faults.causes import LADDER_LEVELS
from diagnose.inference.belief.severity_steps import STEPS_BETWEEN, n_steps
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.several_faults.severity_ladders import (
    CLOSER_LEVELS,
    LADDER_SHARES,
    Ladders,
    VariedSet,
    pinned_between,
)
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ComplaintFact, ReadingFact
from diagnose.session.ready_car import Model

N_STEPS = n_steps(len(LADDER_LEVELS))


def weight_at(*steps: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Return likelihoods of facts that only some steps explain, (n_steps, 2)."""
    found = np.zeros((N_STEPS, 2))
    found[list(steps)] = 1.0
    return found


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        # between the third and the fourth solved severity, and on either of them
        ((10,), (2, 3)),
        ((9, 10, 11), (2, 3)),
        ((8,), (2, 3)),
        # across one of them
        ((11, 13), (2, 4)),
        # at both ends of the ladder
        ((0,), (0, 1)),
        ((N_STEPS - 1,), (len(LADDER_LEVELS) - 2, len(LADDER_LEVELS) - 1)),
        # too far apart to be pinned down
        ((2, 13), None),
    ],
)
def test_severity_is_pinned_between_two_that_are_solved(
    steps: tuple[int, ...], expected: tuple[int, int] | None
) -> None:
    assert pinned_between(weight_at(*steps), LADDER_SHARES) == expected


def test_closer_ladder_has_more_severities_there_and_keeps_the_others() -> None:
    # By hand: between .2 and .4 five more, a thirtieth apart.
    closer = VariedSet.alone(3).closer(weight_at(2 * STEPS_BETWEEN + 2))

    assert closer is not None
    assert set(LADDER_LEVELS) <= set(closer.levels)
    more = sorted(set(closer.levels) - set(LADDER_LEVELS))
    assert more == pytest.approx([0.2 + n / 30 for n in range(1, CLOSER_LEVELS + 1)])
    assert list(closer.levels) == sorted(closer.levels)
    assert closer.shares.sum() == pytest.approx(1.0)
    assert len(closer.shares) == n_steps(len(closer.levels))


def test_impossible_facts_pin_nothing_down() -> None:
    assert VariedSet.alone(3).closer(np.zeros((N_STEPS, 2))) is None


def test_a_joint_that_no_draw_has_so_bad_is_weighed_beside_its_wire(
    sedan_model: Model,
) -> None:
    # Half of the volts are left at a relay's coil that holds nothing. By hand: a joint
    # lets it go from some 30 ohm on, as one in forty does, and none of the draws; one
    # wired behind another load does as a rule.
    names = [cause.name for cause in sedan_model.compiled.causes]
    across = Reading(
        kind=ReadingKind.DC_VOLTS,
        state="idle-loaded",
        red="fan-relay.86",
        black="engine-controller-feed-fuse.out",
    )
    told = (
        ComplaintFact(complaint="fan-does-not-run"),
        ReadingFact(reading=across, value=-6.4),
    )

    conclusion = Reasoner(sedan_model).conclude(told)

    wire = "fan-relay-86-wire"
    shares = {
        names[fault_set[0]]: float(conclusion.beliefs.weights[row].sum())
        for row, fault_set in enumerate(conclusion.hypotheses.sets)
        if len(fault_set) == 1 and conclusion.prior[row].any()
    }
    assert shares[f"{wire}:fed_through_load"] > 0.8
    assert shares[f"{wire}:high_resistance_a"] > 0.002


def test_nothing_lies_between_a_blown_fuse_and_a_whole_one(sedan_model: Model) -> None:
    # A relay that lets go has volts between on its coil; half of the supply behind a
    # fuse is no mixture of blown and whole.
    compiled, weigher = sedan_model.compiled, Weigher(sedan_model)
    ladders = Ladders(compiled, weigher)
    names = [cause.name for cause in compiled.causes]
    varied = VariedSet.alone(names.index("fan-fuse:too_small"))
    ladders.solve([varied])
    reading = Reading(
        kind=ReadingKind.DC_VOLTS,
        state="idle-loaded",
        red="fan-fuse.out",
        black="battery.minus",
    )

    half = Noted(0, ReadingFact(reading=reading, value=6.0), is_complaint=False)
    none = Noted(0, ReadingFact(reading=reading, value=0.0), is_complaint=False)

    assert ladders.of(varied).grid.opens["idle-loaded"].any()
    assert ladders.likelihood(varied, none).max() > 1.0
    assert ladders.likelihood(varied, half).max() < 1e-3
