"""Diagnoses at a terminal, each killed at a random moment, to see what is lost.

``python -m tests.longer_runs.killed_diagnoses --number 200 --seed 1``. Each evening
types a complaint and readings, every value another, and is killed at a random moment.
A value that the program has shown as noted must be on disk; the store must be sound;
the case must open again with all of them.
"""

from __future__ import annotations

import argparse
import random
import re
import sqlite3
import tempfile
import time
from pathlib import Path

from diagnose.store.case_store import STORE_FILE
from tests.longer_runs.screen import CAR, Screen

READINGS = 12
# The longest evening: nobody waits longer for a page of a small car.
MOST_SECONDS = 20.0


def evening(name: str, folder: Path, chance: random.Random) -> Screen:
    """Type an evening into a diagnosis and kill it at a random moment."""
    screen = Screen("start", str(CAR), "--case", name, folder=folder)
    until = time.monotonic() + chance.uniform(0.4, 6.0)
    keys = [b"\r", b"1\r"] + [
        f"read battery.plus battery.minus key-off {value(n):.2f}\r".encode()
        for n in range(READINGS)
    ]
    for line in keys:
        if time.monotonic() > until:
            break
        screen.type(line)
        rest = chance.choice((0.0, 0.02, 0.3))
        pause = time.monotonic() + rest
        while time.monotonic() < min(pause, until):
            screen.read(0.01)
    while time.monotonic() < until and not screen.has_ended():
        screen.read(0.02)
    screen.kill()
    return screen


def value(n: int) -> float:
    """Return the volts of the n-th reading, which no other has."""
    return 12.31 + n / 100


def noted(screen: Screen) -> set[str]:
    """Return the values that the program has shown as noted."""
    return set(re.findall(r"noted\W+(12\.\d\d) V", screen.text()))


def is_sound(folder: Path) -> bool:
    """Return what the store finds when it looks itself over."""
    path = folder / "data" / "diagnose" / STORE_FILE
    if not path.exists():
        return True
    with sqlite3.connect(path) as store:
        return bool(store.execute("PRAGMA integrity_check").fetchone()[0] == "ok")


def main() -> None:
    """Run the evenings and print what was lost."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--number", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    chance = random.Random(chosen.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        Screen("expect", str(CAR), folder=folder).wait_for("\0", MOST_SECONDS)
        shown = lost = unsound = tracebacks = refused = 0
        for number in range(chosen.number):
            case = f"evening-{number}"
            screen = evening(case, folder, chance)
            values = noted(screen)
            tracebacks += "Traceback" in screen.text()
            screen.close()
            unsound += not is_sound(folder)
            shown += len(values)
            told = resumed(case, folder)
            refused += told is None and bool(values)
            lost += len(values - (told or set()))
    print(
        f"{chosen.number} diagnoses killed, seed {chosen.seed}: {shown} readings shown"
        f" as noted, {lost} lost; {unsound} stores unsound; {refused} cases not opened"
        f" again; {tracebacks} tracebacks"
    )
    raise SystemExit(bool(lost or unsound or tracebacks or refused))


def resumed(case: str, folder: Path) -> set[str] | None:
    """Return the values of a case opened again, None if it does not open."""
    screen = Screen("resume", case, "--plain", folder=folder)
    screen.type(b"\rfacts\rleave\r")
    screen.wait_for("\0", MOST_SECONDS)
    text, status = screen.text(), screen.exit_status
    screen.close()
    if status != 0:
        return None
    return set(re.findall(r"(12\.\d\d) V", text))


if __name__ == "__main__":
    main()
