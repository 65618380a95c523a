"""A trial for a reader, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.terminal.reports.trials.trial_figures import claims, scores, spots
from diagnose.trial.claims import (
    Bucket,
    brier_score,
    calibration,
    expected_calibration_error,
    log_loss,
)
from diagnose.trial.hidden.unlike_stock import InBands
from diagnose.trial.playing import Game
from diagnose.trial.policy_scores import PolicyScore
from diagnose.trial.running import TrialPlan
from diagnose.trial.scoring import DOUBTS, SURE, doubt, is_failed, robustness
from diagnose.trial.telling import Telling

# Length of the bar of what held. Own choice: with its figures it fits into a line of
# 88 characters.
BAR = 36

# Games listed that failed; JSON has every one. Own choice.
SHOWN_FAILURES = 12

# Complaints and faults listed with which it fails most. Own choice.
SHOWN_SPOTS = 6


def lines(games: Sequence[Game], plan: TrialPlan) -> Iterator[str]:
    """Yield the trial as text."""
    last = plan.first_seed + plan.n_games - 1
    yield f"{len(games)} diagnoses, seeds {plan.first_seed} to {last}"
    yield ""
    yield (
        "faults   games   first  in three  all so  in turn  "
        "readings  minutes  wrong  fixed"
    )
    for one in scores(games):
        yield (
            f"{one.name:7}  {one.games:5}  {one.first_right:6.1%}  "
            f"{one.first_three:8.1%}  {one.all_in_three:6.1%}  "
            f"{one.each_in_three:7.1%}  {one.readings:8.1f}  {one.minutes:7.0f}  "
            f"{one.wrong_repairs:5.2f}  {one.fixed:5.1%}"
        )
    yield from _calibration_lines(games)
    yield from _doubt_lines(games)
    yield from _spot_lines(games)
    yield from _failure_lines(games)


def outside_lines(games: Sequence[Game], plan: TrialPlan) -> Iterator[str]:
    """Yield a trial with faults outside the model as text."""
    found = doubt(games)
    last = plan.first_seed + plan.n_games - 1
    yield (
        f"{found.games} diagnoses of what is no cause of the model, seeds "
        f"{plan.first_seed} to {last}"
    )
    yield ""
    yield f"recognised, nothing fits          {found.said:6.1%}"
    yield f"  of these before any repair      {found.before_repair:6.1%} of all"
    yield f"  and told to stop                {found.stopped:6.1%} of all"
    yield f"wrong repairs where recognised    {found.wrong_repairs:6.2f}"
    missed = [game for game in games if not set(DOUBTS) & set(game.verdicts)]
    if missed:
        yield ""
        yield "not recognised"
    for game in missed[:SHOWN_FAILURES]:
        yield (
            f"seed {game.seed}: {game.complaint}: {game.outside}: "
            f"{game.wrong_repairs} wrong repairs, "
            f"{'said to be mended' if game.is_fixed else 'not mended'}"
        )


def unlike_lines(
    games: Sequence[Game], in_bands: Sequence[InBands], *, is_outside: bool
) -> Iterator[str]:
    """Yield what matters most on cars that differ from their file.

    Parameters
    ----------
    is_outside : bool
        No cause of the model is there: then only what the sheet foretells is shown.
    """
    found = robustness(games)
    yield ""
    yield "cars that differ from their file in laws, not only in draws"
    if not is_outside:
        yield (
            f"claims of {SURE:.0%} and more, held           {found.sure_held:6.1%} of "
            f"{found.sure_claims}"
        )
        yield f"nothing fits, though a cause was there {found.nothing_fits:6.1%}"
        yield f"wrong repairs a game                   {found.wrong_repairs:6.2f}"
        yield (
            f"doubles, first repair right            {found.doubles_first_right:6.1%} "
            f"of {found.doubles}"
        )
        yield f"doubles, both mended                   {found.doubles_mended:6.1%}"
    yield "readings of such cars, sound, in the bands of the sheet"
    for one in in_bands:
        yield f"  {one.name:36} {one.share:6.1%} of {one.readings:,}"


def telling_lines(apart: Sequence[Telling]) -> Iterator[str]:
    """Yield what would have told apart what was named from what was there."""
    if not apart:
        return
    yield ""
    yield "what tells the named cause from the one that was there, and how often"
    for one in apart[:SHOWN_FAILURES]:
        how = (
            f"{one.share:.0%} by {one.step} ({one.minutes:.0f} min)"
            if one.step
            else "no reading and no symptom"
        )
        yield f"seed {one.seed}: {one.was_named} for {one.was_there}: {how}"


def policy_lines(compared: Sequence[PolicyScore]) -> Iterator[str]:
    """Yield how others would have chosen the readings, as a table; nothing for none."""
    if not compared:
        return
    yield ""
    yield "who chooses the readings, on the same cars; the program's minutes as a share"
    yield (
        "choice                     minutes  program  readings  wrong repairs   fixed"
    )
    for one in compared:
        played = "  (bound)" if one.is_bound else ""
        yield (
            f"{one.name:25}  {one.minutes:7.0f}  {one.of_this:7.0%}  "
            f"{one.readings:8.1f}  {one.wrong_repairs:13.2f}  {one.fixed:6.1%}{played}"
        )


def _calibration_lines(games: Sequence[Game]) -> Iterator[str]:
    """Yield how often what was claimed held."""
    claimed, held = claims(games)
    buckets = calibration(claimed, held)
    yield ""
    yield "what was claimed against what held, over every line shown before a repair"
    yield from map(_bucket_line, buckets)
    yield (
        f"expected calibration error {expected_calibration_error(buckets):.3f}, "
        f"Brier score {brier_score(claimed, held):.3f}, "
        f"log loss {log_loss(claimed, held):.3f} nat"
    )


def _doubt_lines(games: Sequence[Game]) -> Iterator[str]:
    """Yield how often it was said that nothing fits, though a cause was there."""
    alarms = doubt(games)
    yield (
        f"said that nothing fits, though a cause was there: {alarms.said:.1%}; "
        f"told to stop: {alarms.stopped:.1%}"
    )


def _failure_lines(games: Sequence[Game]) -> Iterator[str]:
    """Yield the games whose cause was not named first or not mended."""
    failures = [game for game in games if is_failed(game)]
    if failures:
        yield ""
        yield "not named first, or not mended"
    for game in failures[:SHOWN_FAILURES]:
        state = "mended" if game.is_fixed else "not mended"
        yield (
            f"seed {game.seed}: {game.complaint}: {', '.join(game.faults)}: rank "
            f"{game.first_rank or 'none'}, {state}"
        )
    if len(failures) > SHOWN_FAILURES:
        yield f"and {len(failures) - SHOWN_FAILURES} more; --json lists all"


def _spot_lines(games: Sequence[Game]) -> Iterator[str]:
    """Yield the complaints and the faults with which it fails most."""
    for name, found in spots(games):
        if found:
            yield ""
            yield f"where it fails most, by {name}: failed of played"
        for spot in found[:SHOWN_SPOTS]:
            yield f"{spot.failed:5} of {spot.games:4}  {spot.name}"


def _bucket_line(bucket: Bucket) -> str:
    """Return a bucket as a bar of what held, with a mark where the claim lies."""
    bar = ["#" if place < round(bucket.held * BAR) else "." for place in range(BAR)]
    bar[min(round(bucket.claimed * BAR), BAR - 1)] = "|"
    return (
        f"{bucket.low:4.0%} to {bucket.high:4.0%}  {bucket.count:6}  "
        f"claimed {bucket.claimed:6.1%}  held {bucket.held:6.1%}  {''.join(bar)}"
    )
