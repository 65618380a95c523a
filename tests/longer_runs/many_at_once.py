"""Many diagnoses at once: answers a second, and the memory that each takes.

``python -m tests.longer_runs.many_at_once --number 16 --car sedan``. Each is a process
of its own that speaks JSON, is told a complaint and then readings of battery volts, and
is asked again as soon as it has answered.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
N_READINGS = 20
LINES = ['{"complaint": "no-crank"}'] + [
    '{"reading": {"kind": "volts", "state": "key-off", "red": "battery.plus", "black":'
    f' "battery.minus", "value": {12.3 + n / 100:.2f}}}}}'
    for n in range(N_READINGS)
]


class Evening(threading.Thread):
    """One process that is told facts; how long it took and how much it held."""

    def __init__(self, car: str, folder: Path, number: int) -> None:
        super().__init__()
        self.seconds: list[float] = []
        self.n_errors = 0
        self.megabytes = 0.0
        arguments = ["start", car, "--json", "--case", f"evening-{number}"]
        arguments += ["--data-folder", str(folder / "data")]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "diagnose", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env=os.environ | {"XDG_CACHE_HOME": str(folder / "cache")},
        )

    def run(self) -> None:
        """Tell the facts one by one."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdout.readline()
        for line in LINES:
            begin = time.monotonic()
            self.process.stdin.write(f"{line}\n")
            self.process.stdin.flush()
            answer = self.process.stdout.readline()
            self.seconds.append(time.monotonic() - begin)
            self.n_errors += not answer.startswith('{"answer"')
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        held = next(line for line in status.splitlines() if line.startswith("VmHWM"))
        self.megabytes = int(held.split()[1]) / 1024
        self.process.stdin.close()
        self.process.wait()


def main() -> None:
    """Run the evenings and print what they took."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--number", type=int, default=16)
    options.add_argument("--car", default="sedan")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        alone = Evening(chosen.car, folder, 0)
        alone.start()
        alone.join()
        evenings = [Evening(chosen.car, folder, n + 1) for n in range(chosen.number)]
        begin = time.monotonic()
        for evening in evenings:
            evening.start()
        for evening in evenings:
            evening.join()
        seconds = time.monotonic() - begin
    answers = [each for evening in evenings for each in evening.seconds]
    errors = sum(evening.n_errors for evening in [alone, *evenings])
    most = max(evening.megabytes for evening in evenings)
    print(
        f"{chosen.number} diagnoses at once on {os.cpu_count()} processors:"
        f" {len(answers) / seconds:.0f} answers a second with the starts, median"
        f" {statistics.median(answers):.2f} s, slowest {max(answers):.2f} s (alone"
        f" {statistics.median(alone.seconds):.2f} s); at most"
        f" {most:.0f} MB each; {errors} errors"
    )
    raise SystemExit(bool(errors))


if __name__ == "__main__":
    main()
