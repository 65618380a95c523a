"""Random keys and pastes into a diagnosis at a terminal, to see what gives way.

``python -m tests.longer_runs.random_keys --presses 10000 --seed 1``. After every few
presses the program is asked for something and has to answer within two seconds, and it
must end only when it is told to leave. Readings typed in between, every value another,
must all be there when the case is opened again.
"""

from __future__ import annotations

import argparse
import random
import re
import tempfile
import time
from pathlib import Path

from tests.longer_runs.screen import CAR, Screen

CASE = "keys"
# Presses between two questions to the program.
A_FEW = 40
# The longest that a program may be silent, and that may be waited for its end.
MOST_SILENT_SECONDS = 2.0
MOST_SECONDS = 120.0

CTRL_C = b"\x03"
# Clears what is being typed, whatever mode the line editor was left in: out of a search
# or a paste, and out of the line.
CLEARED = b"\x1b[201~" + b"\x07" + CTRL_C * 2

# The line editor waits so long whether more of a key with several characters comes.
HALF_A_KEY_SECONDS = 1.2

KEYS = [bytes([n]) for n in range(128)]
# Cursor and function keys, with and without Alt and Ctrl, a mouse, half a sequence.
KEYS += [b"\x1b[" + bytes([n]) for n in b"ABCDFHZ"]
KEYS += [b"\x1b[%d~" % n for n in range(1, 35)]
KEYS += [b"\x1b[1;%d%c" % (n, m) for n in range(2, 9) for m in b"ABCDFHPQRS"]
KEYS += [b"\x1bO" + bytes([n]) for n in b"ABCDFHPQRS"]
KEYS += [b"\x1b" + bytes([n]) for n in range(32, 127)]
KEYS += [b"\x1b[M !!", b"\x1b[<0;5;5M", b"\x1b[?1;2c", b"\x1b[5;3R", b"\x1b[I", b"\xc2"]
KEYS += ["ä".encode(), "Ω".encode(), "\u200b".encode(), "😀".encode(), b"\xff", b"\xed"]
# Not undo and strike, which take readings back.
WORDS = b"""help facts why causes skip next 1 resume wiggle read key-on 12.4
0,4 done expect prestart network without clamp takes leave? fresh yes no ? battery.plus
""".split()


def stroke(chance: random.Random) -> bytes:
    """Return one key, a word and Enter, or a paste."""
    kind = chance.random()
    if kind < 0.8:
        return chance.choice(KEYS)
    if kind < 0.95:
        return b" ".join(chance.choices(WORDS, k=chance.randint(1, 4))) + b"\r"
    paste = b"".join(chance.choices(KEYS, k=chance.randint(1, 300)))
    return b"\x1b[200~" + paste + b"\x1b[201~"


class Run:
    """One run: what was pressed, what was told, what gave way."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.told: list[str] = []
        self.n_left = self.n_tracebacks = self.n_hangs = self.n_ended_badly = 0
        self.slowest_seconds = 0.0
        self.screen = self._opened("start", str(CAR), "--case", CASE)

    def _opened(self, *arguments: str) -> Screen:
        screen = Screen(*arguments, folder=self.folder)
        if not screen.wait_for("Enter", MOST_SECONDS):
            raise RuntimeError(f"{screen.exit_status}: {screen.shown!r}")
        screen.type(b"\r")
        screen.wait_for("─", 1.0)
        return screen

    def press(self) -> None:
        """Press a few keys, then see whether the program still answers."""
        for _ in range(A_FEW):
            self.screen.type(stroke(self.chance))
            self.screen.read(0.0)
        self.screen.wait_for("\0", 0.05)
        if not self.screen.has_ended():
            self._tell()
        if self.screen.has_ended():
            self._go_on()

    def _tell(self) -> None:
        """Tell a reading that was not told before and wait for its page."""
        n_told = len(self.told)
        volts = f"12.{n_told // 9:02d}{n_told % 9 + 1}"  # never a nought at the end
        # pressed while an answer is worked out, Ctrl-C would end only that
        while self.screen.read(0.4):
            pass
        self.screen.type(CLEARED)
        self.screen.wait_for("\0", HALF_A_KEY_SECONDS)
        self.screen.type(CTRL_C)
        self.screen.wait_for("\0", 0.1)
        since = len(self.screen.shown)
        begin = time.monotonic()
        self.screen.type(b"read battery.plus key-off " + volts.encode() + b"\r")
        if self.screen.wait_for(f"{volts} V at", MOST_SECONDS, since=since):
            self.told.append(volts)
            seconds = time.monotonic() - begin
            self.slowest_seconds = max(self.slowest_seconds, seconds)
            self.n_hangs += seconds > MOST_SILENT_SECONDS
        elif not self.screen.has_ended():
            self.n_hangs += 1
            print(f"no answer to {volts}: {self.screen.text()[-800:].strip()}")
            self.screen.kill()

    def _go_on(self) -> None:
        """Open the case again after the keys told the program to leave."""
        self._judge_the_end()
        self.screen.close()
        self.n_left += 1
        self.screen = self._opened("resume", CASE)

    def _judge_the_end(self) -> None:
        text = self.screen.text()
        self.n_tracebacks += "Traceback" in text or "not running" in text
        # after its last words the program no longer listens: Ctrl-C then ends it
        has_left = "is kept. Go on by" in text[-400:]
        if self.screen.exit_status != 0 and not has_left:
            self.n_ended_badly += 1
            print(f"ended with {self.screen.exit_status}: {text[-800:].strip()}")

    def lost(self) -> set[str]:
        """Return the readings told that are gone when the case is opened again."""
        self.screen.type(CLEARED + CTRL_C + b"leave\r")
        self.screen.wait_for("\0", MOST_SECONDS)
        self._judge_the_end()
        self.screen.close()
        last = Screen("resume", CASE, "--plain", folder=self.folder)
        last.type(b"\rfacts\rleave\r")
        last.wait_for("\0", MOST_SECONDS)
        kept = set(re.findall(r"(12\.\d\d\d) V", last.text()))
        last.close()
        return set(self.told) - kept


def main() -> None:
    """Press keys and print what gave way."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--presses", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as name:
        run = Run(chosen.seed, Path(name))
        for _ in range(chosen.presses // A_FEW):
            run.press()
        lost = run.lost()
    print(
        f"{chosen.presses} presses, seed {chosen.seed}: {len(run.told)} readings told,"
        f" {len(lost)} not there again; left and resumed {run.n_left} times;"
        f" {run.n_tracebacks} tracebacks, {run.n_ended_badly} bad ends,"
        f" {run.n_hangs} waits above {MOST_SILENT_SECONDS:g} s"
        f" (slowest answer {run.slowest_seconds:.2f} s)"
    )
    bad = lost or run.n_tracebacks or run.n_ended_badly or run.n_hangs
    raise SystemExit(bool(bad))


if __name__ == "__main__":
    main()
