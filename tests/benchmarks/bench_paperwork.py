"""How long a car takes on paper: asked for, audited, drawn; from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_paperwork

Prints a line for each shipped car: its wires, the slowest of the answers it is made of,
an audit and all its sheets, the latter two each in a process of its own. Times are the
processor's. What the project promises: an answer in .1 s, an audit in 1 s, the largest
car drawn in 2 s.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.files.resources import knowledge_folder, shipped_cars
from diagnose.paperwork.asking.car_questions import ask_car
from diagnose.paperwork.asking.questions import Interview

DESCRIBED = Path(__file__).parents[1] / "asking" / "described"
UNCOMPILED = ("PYTHONDONTWRITEBYTECODE",)


def slowest_answer_seconds(name: str) -> float:
    """Return the longest that an answer of a described car takes. [s]."""
    layouts = load_layouts()
    interview = Interview(lambda: ask_car(layouts, {}))
    longest = 0.0
    lines = (DESCRIBED / f"{name}.answers").read_text(encoding="utf-8").splitlines()
    for line in lines:
        began = time.process_time()
        interview.answer(line)
        longest = max(longest, time.process_time() - began)
    return longest


def command_seconds(*words: str) -> float:
    """Return the processor's time for a command, its start and end with it. [s]."""
    # modules are compiled once, as where the program is installed
    own = {key: text for key, text in os.environ.items() if key not in UNCOMPILED}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "diagnose", *words],
        check=False,
        capture_output=True,
        env=own,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Print the table."""
    sys.stdout.write("car       wires  answer-ms  audit-s  draw-s\n")
    command_seconds("audit", "sedan")
    knowledge = load_knowledge(knowledge_folder())
    for name, file in shipped_cars().items():
        car = load_car(Path(str(file)), knowledge)
        wires = sum(part.kind == "wire" for part in car.parts)
        has_answers = (DESCRIBED / f"{name}.answers").exists()
        answer = f"{1000 * slowest_answer_seconds(name):.0f}" if has_answers else "-"
        audit = command_seconds("audit", name)
        with tempfile.TemporaryDirectory() as folder:
            draw = command_seconds("draw", name, "--out", f"{folder}/{name}.svg")
        sys.stdout.write(
            f"{name:9} {wires:5}  {answer:>9}  {audit:7.2f}  {draw:6.2f}\n"
        )


if __name__ == "__main__":
    main()
