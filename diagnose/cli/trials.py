"""The commands that play diagnoses: worked cases, and trials on hidden faults."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.cli.options import (
    add_car,
    add_cluster,
    add_command,
    add_history,
    add_width,
)
from diagnose.errors import DiagnoseError

if TYPE_CHECKING:
    from diagnose.cli.options import Commands
    from diagnose.measurement.steps import SubstitutionTest
    from diagnose.terminal.reports.case_pages import ModelOpener

# What a worked case is.
REPLAY_HELP = """
    A worked case is a whole evening: the complaint, every reading in order, the repair,
    and what the program must say after each. --step takes you through it with Enter.

    The cars and the evenings that come with the program are invented; the readings come
    from the circuit with a hidden fault, other tolerances and the errors of a meter.
"""

# What a recorded case holds.
RECORD_HELP = """
    Plays the program's own questions against the car with that fault, and writes every
    reading and what held after it: the advice, the place of the true cause, and four
    fifths of its probability. --fault twice makes a double fault.
"""

# What a trial tells.
TRIAL_HELP = """
    Draws hidden faults, plays the program's own questions against them on every core,
    and prints how often the right repair was named, what it took, whether claims of 80
    % held 80 times in 100, where it fails most, and for each cause named wrongly the
    reading that tells it from the one that was there, or that none does. --json gives
    all of it, with the seeds.

    --policies lets other ways to choose the readings play the same cars. --outside
    hides something that is no cause of the model (a wire on a wrong terminal, two
    points that touch) and prints how often the program says that nothing fits, and
    after how many wrong repairs.

    --unlike hides cars that differ from their file in more than draws: other lengths,
    wire sizes, joints, loads, battery and alternator, other laws of starter and lamps,
    other meter leads. It prints what it always prints, then how claims of 99 % held,
    how often nothing was said to fit, and how many readings of such a car, sound, lie
    in the bands of the sheet of expected readings.

    --cluster plays on a Dask cluster, with the same figures. It needs this program
    installed with its extra (pip install ".[cluster]"), in the same version on every
    worker; start workers with one thread each, as hundreds of games take 2 to 4 GB a
    thread.
"""


def add_replay(commands: Commands) -> None:
    """Add the command `replay`."""
    parser = add_command(
        commands,
        "replay",
        run=_replay,
        says="go through a worked case and check what must hold",
        about=REPLAY_HELP,
    )
    parser.add_argument(
        "case",
        metavar="CASE",
        help="a case file, or the name of one that comes with it",
    )
    parser.add_argument(
        "--step", action="store_true", help="wait for Enter before each step"
    )
    parser.add_argument(
        "--anew",
        action="store_true",
        help="play it again from its seed instead, and write its file over",
    )
    add_width(parser)


def add_record(commands: Commands) -> None:
    """Add the command `record`."""
    parser = add_command(
        commands,
        "record",
        run=_record,
        says="play a diagnosis on a car with a known fault into a case file",
        about=RECORD_HELP,
    )
    add_car(parser)
    parser.add_argument(
        "--fault",
        action="append",
        required=True,
        metavar="CAUSE",
        help="a hidden fault",
    )
    parser.add_argument("--complaint", required=True, metavar="NAME")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="default: 0")
    parser.add_argument(
        "--tried",
        action="append",
        default=[],
        metavar="STEP",
        help="what the owner tries first: swap|PART|symptom|NAME, or the same with "
        "bridge|NODE|NODE or unplug|PART",
    )
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    parser.add_argument("--title", default="", help="one line")
    parser.add_argument("--owner", default="", help="the owner's words")
    add_history(parser)


def add_trial(commands: Commands) -> None:
    """Add the command `trial`."""
    parser = add_command(
        commands,
        "trial",
        run=_trial,
        says="play many diagnoses on hidden faults and say how good they are",
        about=TRIAL_HELP,
    )
    add_car(parser)
    parser.add_argument(
        "-n", type=int, default=100, metavar="N", help="how many; default: 100"
    )
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="default: 0")
    parser.add_argument(
        "--workers", type=int, default=0, metavar="N", help="default: every core"
    )
    add_cluster(parser)
    parser.add_argument(
        "--policies",
        action="store_true",
        help="let other ways to choose the readings play the same cars",
    )
    parser.add_argument("--json", action="store_true", help="as one JSON object")
    parser.add_argument(
        "--outside",
        action="store_true",
        help="hide what is no cause of the model; is that recognised?",
    )
    parser.add_argument(
        "--unlike",
        action="store_true",
        help="play cars that differ from their file, as real ones do",
    )


def _opener() -> ModelOpener:
    """Return what makes a car ready for diagnosis."""
    from diagnose.terminal.preparation.prepared_car import prepared_model

    return prepared_model


def _replay(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.case_pages import record_anew, replay_case

    if options.anew:
        record_anew(options.case, open_model=_opener(), sink=sys.stdout)
        return
    replay_case(
        options.case,
        open_model=_opener(),
        pause=_wait_for_enter if options.step else lambda: None,
        width=options.width,
        sink=sys.stdout,
    )


def _record(options: argparse.Namespace) -> None:
    from diagnose.terminal.preparation.history import history_of
    from diagnose.terminal.reports.case_pages import record_case
    from diagnose.trial.case_recording import Recording

    wanted = Recording(
        car_name=options.car,
        faults=tuple(options.fault),
        complaint=options.complaint,
        seed=_seed(options),
        title=options.title,
        owner=options.owner,
        history=history_of(options.history),
        tests=tuple(_tried(name) for name in options.tried),
    )
    record_case(wanted, open_model=_opener(), out=options.out, sink=sys.stdout)


def _tried(name: str) -> SubstitutionTest:
    """Return the test with the circuit changed that a key stands for."""
    from diagnose.measurement import steps

    step = steps.step_of_name(name)
    if not isinstance(step, steps.SubstitutionTest):
        raise DiagnoseError(
            f'"{name}" changes nothing; expected bridge|..., swap|... or unplug|...'
        )
    return step


def _seed(options: argparse.Namespace) -> int:
    """Return the seed that was given."""
    seed: int = options.seed
    if seed < 0:
        raise DiagnoseError(f"--seed is 0 or more; found {seed}")
    return seed


def _trial(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.trials.trial_listing import TrialOptions, run

    wanted = TrialOptions(
        car=options.car,
        n_games=max(options.n, 1),
        first_seed=_seed(options),
        n_workers=options.workers or os.cpu_count() or 1,
        is_json=options.json,
        cluster=options.cluster,
        has_policies=options.policies,
        is_outside=options.outside,
        is_unlike=options.unlike,
    )
    run(wanted, sink=sys.stdout, notice=sys.stderr)


def _wait_for_enter() -> None:
    """Wait until the reader wants the next step; the end of input counts as Enter."""
    sys.stderr.write("Enter: next step ")
    sys.stderr.flush()
    sys.stdin.readline()
