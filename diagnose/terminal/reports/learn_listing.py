"""Learning for a reader: what the closed cases change, kept, shown, taken back.

Leaves the counting to `inference.learning` and the keeping to
`store.learned_rates`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from diagnose.errors import DiagnoseError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_tally import LineCounter, LinesTallied
from diagnose.inference.learning.counting import BATCH, Tally, batched
from diagnose.inference.learning.factors import (
    Learned,
    LearnedShare,
    learned_by,
    rates_digest,
)
from diagnose.store.learned_rates import keep_learned, latest_learned, undo_learned
from diagnose.store.pool import CasePool
from diagnose.terminal.preparation.learned_shares import OUTDATED, usable
from diagnose.terminal.progress import Progress
from diagnose.terminal.reports.closed_cases import Gathered, gather_own
from diagnose.trial.cluster import connected

# Rates listed, those that moved furthest. Own choice: a screen of them.
SHOWN_SHARES = 20

# Rates that moved by a smaller part are not listed. Own choice. [1]
LEAST_CHANGE = 0.05

# Told where nothing was learned yet.
PUBLISHED_HOLD = "nothing is learned; the published shares hold"

# How batches of lines are added up, in order: `map` here, or elsewhere.
Spread = Callable[
    [Callable[[list[str]], LinesTallied], Iterable[list[str]]], Iterable[LinesTallied]
]


def learn(
    folder: Path,
    knowledge: Knowledge,
    *,
    is_json: bool,
    sink: TextIO,
    spread: Spread = map,
    progress: Progress | None = None,
) -> None:
    """Learn from all closed cases, keep what was learned, and show it.

    Parameters
    ----------
    folder : Path
        The data folder.
    spread : Callable
        Adds the cases up elsewhere; the figures are the same.
    progress : Progress or None
        Shows how far it is.

    Raises
    ------
    DiagnoseError
        If there is no closed case, or the folder can't be written.
    """
    gathered = Gathered()
    with CasePool(folder) as pool:
        gather_own(folder, knowledge, pool, gathered)
        counter = LineCounter(knowledge)
        total = pool.counted().all
        tallied = spread(
            counter.tallied, batched(_watched(pool.lines(), total, progress))
        )
        learned = learned_by(_usable(tallied, gathered), knowledge)
    before, _ = usable(folder, knowledge)
    keep_learned(folder, learned)
    if is_json:
        sink.write(json.dumps(report(learned, gathered), indent=2) + "\n")
        return
    sink.write(f"{_weight_words(learned)}\n")
    sink.write(f"cases still open: {gathered.n_open}\n")
    sink.writelines(remark + "\n" for remark in gathered.remarks)
    sink.writelines(line + "\n" for line in share_lines(learned, before))
    sink.write("the next start uses this; take it back by: diagnose learn --undo\n")


def learn_there(
    folder: Path,
    knowledge: Knowledge,
    *,
    is_json: bool,
    sink: TextIO,
    address: str,
    progress: Progress | None = None,
) -> None:
    """Learn with the cases added up on a Dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler.
    progress : Progress or None
        Shows how far it is.

    Raises
    ------
    DiagnoseError
        As `learn`; or if the cluster can't be reached.
    """
    with connected(address) as cluster:
        learn(
            folder,
            knowledge,
            is_json=is_json,
            sink=sink,
            spread=cluster.map,
            progress=progress,
        )


def _watched(
    lines: Iterable[str], total: int, progress: Progress | None
) -> Iterator[str]:
    """Yield lines, and show how far it is."""
    for number, line in enumerate(lines):
        if progress is not None and number % BATCH == 0:
            progress.show(number / total, f"{number} of {total} cases")
        yield line
    if progress is not None:
        progress.clear()  # what was learned is printed next


def _usable(tallied: Iterable[LinesTallied], gathered: Gathered) -> Iterator[Tally]:
    """Yield the tallies, and note the lines that were left out."""
    for part in tallied:
        gathered.leave_out(part.reasons, part.n_left_out)
        yield part.tally


def show_learned(
    folder: Path, knowledge: Knowledge, *, is_json: bool, sink: TextIO
) -> None:
    """Show what the next start will use.

    Raises
    ------
    StoreError
        If it can't be read.
    """
    learned = latest_learned(folder)
    if learned is None:
        sink.write("{}\n" if is_json else PUBLISHED_HOLD + "\n")
        return
    if is_json:
        sink.write(json.dumps(report(learned), indent=2) + "\n")
        return
    if learned.rates_digest != rates_digest(knowledge):
        sink.write(OUTDATED + "\n")
        return
    sink.write(f"{_weight_words(learned)}\n")
    sink.writelines(line + "\n" for line in share_lines(learned, None))


def undo(folder: Path, sink: TextIO) -> None:
    """Go back to what held before the latest learning.

    Raises
    ------
    DiagnoseError
        If nothing is learned, or the file can't be removed.
    """
    if not undo_learned(folder):
        raise DiagnoseError("nothing is learned, so there is nothing to take back")
    learned = latest_learned(folder)
    now = "the published shares hold" if learned is None else _weight_words(learned)
    sink.write(f"taken back; now: {now}\n")


def report(learned: Learned, gathered: Gathered | None = None) -> dict[str, object]:
    """Return what was learned as plain data."""
    found: dict[str, object] = {
        "cases": learned.n_cases,
        "published_cases": learned.published_cases,
        "shares": [asdict(share) for share in learned.shares],
    }
    if gathered is not None:
        found["open_cases"] = gathered.n_open
        found["left_out_cases"] = gathered.n_left_out
    return found


def share_lines(learned: Learned, before: Learned | None) -> Iterator[str]:
    """Yield the shares that moved, those that moved furthest first.

    Parameters
    ----------
    before : Learned or None
        What held until now; None for the published shares.
    """
    earlier = {} if before is None else _factors(before)
    moved = [
        (share, share.factor / earlier.get((share.kind, share.modes), 1.0))
        for share in learned.shares
    ]
    moved = [
        (share, change)
        for share, change in moved
        if abs(math.log(change)) >= math.log1p(LEAST_CHANGE)
    ]
    if not moved:
        yield f"no rate moved by more than {LEAST_CHANGE:.0%}"
        return
    moved.sort(key=lambda one: -abs(math.log(one[1])))
    yield ""
    yield "  cases  expected  of published  of before  part kind: fault"
    for share, change in moved[:SHOWN_SHARES]:
        yield (
            f"{share.seen:7.0f}  {share.expected:8.1f}  {share.factor:10.2f} x  "
            f"{change:7.2f} x  {_share_name(share)}"
        )
    if len(moved) > SHOWN_SHARES:
        yield f"and {len(moved) - SHOWN_SHARES} more; --json lists all"
    yield ""


def _share_name(share: LearnedShare) -> str:
    modes = " or ".join(mode.replace("_", " ") for mode in share.modes)
    return f"{share.kind}: {modes}"


def _factors(learned: Learned) -> dict[tuple[str, tuple[str, ...]], float]:
    return {(share.kind, share.modes): share.factor for share in learned.shares}


def _weight_words(learned: Learned) -> str:
    weight = learned.n_cases / (learned.n_cases + learned.published_cases)
    return (
        f"closed cases learned from: {learned.n_cases}; their weight {weight:.0%}: "
        f"the published shares count as {learned.published_cases:.0f} cases"
    )
