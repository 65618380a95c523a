"""A trial for other programs, as plain data to be written as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from diagnose.terminal.reports.trials.trial_figures import claims, scores, spots
from diagnose.trial.claims import (
    brier_score,
    calibration,
    expected_calibration_error,
    log_loss,
)
from diagnose.trial.hidden.unlike_stock import InBands
from diagnose.trial.playing import Game
from diagnose.trial.scoring import SURE, doubt, robustness


def report(games: Sequence[Game]) -> dict[str, object]:
    """Return a trial as plain data."""
    claimed, held = claims(games)
    buckets = calibration(claimed, held)
    return {
        "scores": [asdict(one) for one in scores(games)],
        "calibration": [asdict(bucket) for bucket in buckets],
        "expected_calibration_error": expected_calibration_error(buckets),
        "false_alarms": asdict(doubt(games)),
        "brier": brier_score(claimed, held),
        "log_loss_nats": log_loss(claimed, held),
        "weak_spots": {
            name: [asdict(spot) for spot in found] for name, found in spots(games)
        },
        "games": [
            {
                "seed": game.seed,
                "complaint": game.complaint,
                "faults": list(game.faults),
                "first_rank": game.first_rank,
                "last_rank": game.last_rank,
                "named_rank": game.named_rank,
                "readings": game.readings,
                "wrong_repairs": game.wrong_repairs,
                "minutes": game.minutes,
                "is_fixed": game.is_fixed,
            }
            for game in games
        ],
    }


def outside_report(games: Sequence[Game]) -> dict[str, object]:
    """Return a trial with faults outside the model as plain data."""
    return {
        "recognised": asdict(doubt(games)),
        "games": [
            {
                "seed": game.seed,
                "complaint": game.complaint,
                "outside": game.outside,
                "wrong_repairs": game.wrong_repairs,
                "verdicts": [verdict.value for verdict in game.verdicts],
            }
            for game in games
        ],
    }


def unlike_report(
    games: Sequence[Game], in_bands: Sequence[InBands]
) -> dict[str, object]:
    """Return as plain data what matters most on cars that differ from their file."""
    return {
        "sure_from": SURE,
        **asdict(robustness(games)),
        "sound_readings_in_bands": [asdict(one) for one in in_bands],
    }
