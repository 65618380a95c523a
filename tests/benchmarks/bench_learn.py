"""How long learning takes, and how much memory; run from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_learn [--cases 100000]

Makes a file of invented closed cases, each on a car of its own, imports it, learns from
it, and prints seconds and peak memory for the whole and for a tenth of the cases.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import numpy as np

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.cases.case_lines import line_of
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.inference.learning.closed_cases import ClosedCase, can_have
from diagnose.session.closing import parts_at_risk
from diagnose.terminal.reports.closed_cases import import_cases
from diagnose.terminal.reports.learn_listing import learn

SHIPPED = Path(__file__).resolve().parents[2] / "cases" / "cars" / "sedan.yaml"
# what ru_maxrss counts in: kilobytes, on macOS bytes
RSS_PER_MEGABYTE = 1_000_000 if sys.platform == "darwin" else 1_000


def main() -> None:
    """Measure both sizes, each in a process of its own, and print a line for each."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--cases", type=int, default=100_000)
    n_cases = arguments.parse_args().cases
    context = multiprocessing.get_context("spawn")
    for count in (n_cases // 10, n_cases):
        measured = context.Process(target=measure, args=(count,))
        measured.start()
        measured.join()


def measure(n_cases: int) -> None:
    """Import and learn from some cases, and print what it took."""
    knowledge = load_knowledge(knowledge_folder())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source = folder / "cases.jsonl"
        with source.open("w", encoding="utf-8") as file:
            file.writelines(line_of(c) + "\n" for c in invented(n_cases, knowledge))
        began, used = time.monotonic(), time.process_time()
        import_cases(folder, knowledge, source=source, sink=StringIO())
        imported, imported_used = time.monotonic(), time.process_time()
        learn(folder, knowledge, is_json=False, sink=StringIO())
        learned, learned_used = time.monotonic(), time.process_time()
        size = source.stat().st_size / 1e6
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / RSS_PER_MEGABYTE
    sys.stdout.write(
        f"{n_cases:7} cases, file {size:6.1f} MB: "
        f"import {imported - began:5.1f} s ({imported_used - used:5.1f} s of CPU), "
        f"learn {learned - imported:5.1f} s ({learned_used - imported_used:5.1f} s "
        f"of CPU), peak memory {peak:4.0f} MB\n"
    )


def invented(n_cases: int, knowledge: Knowledge) -> Iterator[ClosedCase]:
    """Yield cases of cars that all differ, with faults by the published rates."""
    shipped = parts_at_risk(load_car(SHIPPED, knowledge), knowledge)
    complaints = sorted(knowledge.complaints)
    random = np.random.default_rng(0)
    faults = [
        (group, mode)
        for group in shipped
        for mode in knowledge.modes
        if can_have(group, mode)
    ]
    weights = np.array([shipped[group] * mode.rate for group, mode in faults])
    drawn = random.choice(len(faults), size=n_cases, p=weights / weights.sum())
    wires = random.integers(20, 120, size=n_cases)
    fuses = random.integers(4, 40, size=n_cases)
    for number in range(n_cases):
        group, mode = faults[drawn[number]]
        yield ClosedCase(
            case_id=f"{random.integers(2**62):016x}{number:016x}",
            complaint=complaints[number % len(complaints)],
            history={"wiring": "fresh"} if number % 3 else {},
            parts={
                **shipped,
                ("wire", ""): int(wires[number]),
                ("fuse", ""): int(fuses[number]),
            },
            group=group,
            mode=mode.name,
        )


if __name__ == "__main__":
    main()
