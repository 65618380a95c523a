"""JSON lines with random changes: each bad one gets an error, the next good one counts.

``python -m tests.longer_runs.mutated_lines --number 10000 --seed 1``. The lines go into
one diagnosis of a small car; after each changed line a sound question must be answered.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from io import StringIO
from pathlib import Path
from typing import Any

from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.ready_car import open_model
from diagnose.store.journal import Journal
from diagnose.terminal.faces.json_face import run_json
from tests.longer_runs.mutations import mutated

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"
QUESTION = '{"ask": "answer"}'
# Facts of every kind, and questions; `undo` keeps their number small.
LINES = [
    '{"complaint": "no-crank"}',
    '{"symptom": "starter-cranks", "is_present": false}',
    '{"reading": {"kind": "volts", "state": "key-on", "red": "battery.plus",'
    ' "black": "battery.minus", "value": 12.4}}',
    '{"reading": {"kind": "ohms", "state": "isolated", "red": "battery.plus",'
    ' "black": "battery.minus", "value": "OL"}}',
    '{"read": "battery.plus key-off 12.4"}',
    '{"undo": true}',
    '{"strike": 1}',
    '{"skip": "a"}',
    '{"takes": "idle", "minutes": 4}',
    '{"ask": "why"}',
    '{"ask": "expect", "step": "reading|volts|key-on|battery.plus|battery.minus"}',
    QUESTION,
]


class Source(StringIO):
    """Hands out changed lines and a sound question after each, and stops the time."""

    def __init__(self, number: int, seed: int, sink: StringIO) -> None:
        super().__init__()
        self.chance, self.sink = random.Random(seed), sink
        self.n_left = 2 * number
        self.slowest_seconds, self.since = 0.0, time.monotonic()
        self.n_errors = self.n_unanswered = 0
        self.is_asked = False

    def readline(self, *_: Any) -> str:  # type: ignore[override]
        """Return the next line."""
        self._look()
        self.n_left -= 1
        self.is_asked = self.n_left % 2 == 0
        if self.n_left < 0:
            return ""
        if self.is_asked:
            return f"{QUESTION}\n"
        if self.n_left % 40 == 1:
            return '{"undo": true}\n'
        line = mutated(self.chance.choice(LINES), self.chance, most=3)
        return line.replace("\n", " ").replace("\r", " ").strip() + " x\n"[2:] or "\n"

    def _look(self) -> None:
        now = time.monotonic()
        self.slowest_seconds = max(self.slowest_seconds, now - self.since)
        self.since = now
        answered = self.sink.getvalue()
        self.sink.seek(0)
        self.sink.truncate()
        for reply in answered.splitlines():
            self.n_errors += "error" in json.loads(reply)
        if self.is_asked:
            self.n_unanswered += '{"answer"' not in answered


def main() -> None:
    """Send the lines and print how they were answered."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--number", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    knowledge = load_knowledge(knowledge_folder())
    model = open_model(load_car(CAR, knowledge), knowledge)
    casebook = Casebook(Diagnosis(model), Journal(None, failure="not asked for"))
    sink = StringIO()
    source = Source(chosen.number, chosen.seed, sink)
    run_json(casebook, car_title="small", source=source, sink=sink)
    print(
        f"{chosen.number} changed lines, seed {chosen.seed}: {source.n_errors} errors"
        f" told, {source.n_unanswered} sound questions not answered, slowest answer"
        f" {source.slowest_seconds:.2f} s, {len(casebook.answer.facts)} facts left"
    )
    raise SystemExit(bool(source.n_unanswered))


if __name__ == "__main__":
    main()
