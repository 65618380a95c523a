"""What a batch of games amounts to, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.session.answer import Verdict
from diagnose.trial.claims import calibration, expected_calibration_error
from diagnose.trial.playing import Game
from diagnose.trial.scoring import WeakSpot, doubt, robustness, score, weak_spots


def make_game(
    *faults: str,
    first_rank: int = 1,
    last_rank: int = 1,
    is_fixed: bool = True,
    complaint: str = "no-crank",
    seed: int = 0,
    verdicts: tuple[Verdict, ...] = (),
) -> Game:
    return Game(
        seed=seed,
        complaint=complaint,
        faults=faults or ("starter:worn",),
        first_rank=first_rank,
        last_rank=last_rank,
        claims=(),
        readings=4,
        wrong_repairs=int(first_rank != 1),
        minutes=20.0,
        is_fixed=is_fixed,
        facts=(),
        verdicts=verdicts,
    )


def test_rank_counts_only_where_it_came_to_a_repair() -> None:
    # Rank 0 stands for a game that never came to a repair.
    found = score("all", [make_game(first_rank=r, last_rank=r) for r in (0, 1, 2, 4)])

    assert (found.first_right, found.first_three, found.all_in_three) == (
        0.25,
        0.5,
        0.5,
    )


def test_double_fault_is_named_when_both_are_in_three() -> None:
    games = [make_game(first_rank=1, last_rank=last) for last in (2, 3, 4, 5)]

    assert score("double", games).all_in_three == 0.5


def test_no_game_has_no_score() -> None:
    with pytest.raises(ValueError, match="no games"):
        score("none", [])


def test_claims_are_sorted_by_size() -> None:
    claims = np.array([0.05, 0.55, 0.65, 1.0])
    held = np.array([0.0, 1.0, 0.0, 1.0])

    found = [(b.low, b.count, b.held) for b in calibration(claims, held)]

    assert found == [(0.0, 1, 0.0), (0.5, 2, 0.5), (0.95, 1, 1.0)]


def test_calibration_error_weighs_buckets_by_their_claims() -> None:
    # By hand: one claim of .05 off by .05, two of mean .6 off by .1, one of 1 right.
    claims = np.array([0.05, 0.55, 0.65, 1.0])
    held = np.array([0.0, 1.0, 0.0, 1.0])

    found = expected_calibration_error(calibration(claims, held))

    assert found == pytest.approx((0.05 + 2 * 0.1) / 4, abs=1e-12)


def test_weak_spots_are_those_with_most_failures() -> None:
    games = [
        make_game(complaint="no-crank"),
        make_game(complaint="no-crank", first_rank=2),
        make_game(complaint="dim-lights", is_fixed=False),
        make_game(complaint="dim-lights", first_rank=0),
        make_game(complaint="flat-battery"),
    ]

    found = weak_spots(games, lambda game: (game.complaint,))

    assert found == (
        WeakSpot(name="dim-lights", games=2, failed=2),
        WeakSpot(name="no-crank", games=2, failed=1),
    )


def test_double_fault_counts_for_each_of_its_causes() -> None:
    games = [make_game("a:open", "b:short", first_rank=2)]

    found = weak_spots(games, lambda game: [f.split(":")[1] for f in game.faults])

    assert [spot.name for spot in found] == ["open", "short"]


def test_doubt_counts_what_was_said_and_when() -> None:
    games = [
        make_game(verdicts=(Verdict.OPEN, Verdict.NOTHING_FITS, Verdict.REPAIR)),
        make_game(first_rank=2, verdicts=(Verdict.REPAIR, Verdict.STOP)),
        make_game(verdicts=(Verdict.REPAIR, Verdict.FIXED)),
        make_game(verdicts=(Verdict.STOP,)),
    ]

    # Counted by hand: 3, 2, 2 of four games; one wrong repair in three games.
    found = doubt(games)

    assert (found.said, found.stopped, found.before_repair) == (0.75, 0.5, 0.5)
    assert found.wrong_repairs == pytest.approx(1.0 / 3.0, abs=1e-12)


def test_no_game_has_no_doubt() -> None:
    with pytest.raises(ValueError, match="no games"):
        doubt([])


def test_sure_claims_and_doubles_are_counted() -> None:
    games = [
        replace(make_game(), claims=((0.995, True), (0.99, False), (0.98, False))),
        replace(make_game("a:open", "b:short"), left=("b:short",)),
        make_game("a:open", "b:short", first_rank=2, verdicts=(Verdict.STOP,)),
    ]

    found = robustness(games)

    # Counted by hand: one of two sure claims held; of two doubles the first repair of
    # one was right, and of the other nothing is left.
    assert (found.sure_claims, found.sure_held) == (2, 0.5)
    assert found.nothing_fits == pytest.approx(1.0 / 3.0, abs=1e-12)
    assert (found.doubles, found.doubles_first_right) == (2, 0.5)
    assert found.doubles_mended == 0.5


def test_no_game_tells_nothing_of_robustness() -> None:
    with pytest.raises(ValueError, match="no games"):
        robustness([])
