"""Files with random changes: each is read or refused in clear lines, nothing else.

``python -m tests.longer_runs.mutated_files --cars 20000 --others 2000 --sound 1000
--seed 1``. Car files; knowledge, worked-case, owner and closed-case files. Of the car
files that are still sound some are driven on to the sheet of readings and to a
diagnosis. A mistake is told by the program's own errors within some seconds; anything
else is printed with the file that brought it about.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

from diagnose.errors import DiagnoseError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.cases.case_file import load_case
from diagnose.files.cases.case_lines import line_of, read_case_lines
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.owner_file import load_owner
from diagnose.files.resources import knowledge_folder
from diagnose.inference.learning.closed_cases import ClosedCase
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact
from diagnose.session.ready_car import open_model
from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Choice
from tests.longer_runs.mutations import mutated

ROOT = Path(__file__).resolve().parents[2]
CARS = sorted((ROOT / "tests" / "cars").glob("*.yaml"))
CARS += sorted((ROOT / "cases" / "cars").glob("*.yaml"))
OWNER = "without: [clamp, helper]\ntakes: {tank: 15, cranking: 3, key-on: 0.5}\n"
CLOSED_CASE = line_of(
    ClosedCase(
        case_id="0123456789abcdef" * 2,
        complaint="no-crank",
        history={"water": "wet"},
        parts={("fuse", ""): 12, ("wire", "ground-strap"): 2},
        group=("wire", "ground-strap"),
        mode="cable_high_resistance_a",
    )
)
CASES = sorted((ROOT / "cases").glob("*.yaml"))
MOST_SECONDS = 10
# A car that is driven on compiles for so long at most.
MOST_SECONDS_COMPILED = 60


class TooLongError(Exception):
    """A file held the program up."""


class Tally:
    """What became of the files of one kind."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.n_sound = self.n_refused = self.n_bad = 0
        self.slowest_seconds = 0.0

    @contextlib.contextmanager
    def file(self, text: str, most_seconds: int = MOST_SECONDS) -> Iterator[None]:
        """Count what comes of one file; any error but the program's own is bad."""
        begin = time.monotonic()
        signal.alarm(most_seconds)
        try:
            yield
            self.n_sound += 1
        except DiagnoseError as error:
            self.n_refused += 1
            if not str(error).strip():
                self._bad(text, "refused without a word")
        except Exception:  # noqa: BLE001
            self._bad(text, traceback.format_exc())
        finally:
            signal.alarm(0)
        self.slowest_seconds = max(self.slowest_seconds, time.monotonic() - begin)

    def _bad(self, text: str, why: str) -> None:
        self.n_bad += 1
        kept = Path(tempfile.gettempdir()) / f"mutated-{self.kind}-{self.n_bad}.yaml"
        kept.write_text(text, encoding="utf-8", errors="surrogatepass")
        sys.stderr.write(f"{why}\n{kept}\n")

    def line(self) -> str:
        """Return the closing line."""
        return (
            f"{self.kind}: {self.n_sound} sound, {self.n_refused} refused, {self.n_bad}"
            f" bad; slowest {self.slowest_seconds:.1f} s"
        )


def read_many(
    kind: str,
    texts: Callable[[random.Random], str],
    read: Callable[[Path], object],
    *,
    number: int,
    seed: int,
) -> Tally:
    """Read many changed files of one kind."""
    chance, tally = random.Random(f"{kind}{seed}"), Tally(kind)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file.yaml"
        for _ in range(number):
            text = mutated(texts(chance), chance)
            path.write_text(text, encoding="utf-8", errors="surrogatepass")
            with tally.file(text):
                read(path)
    return tally


def knowledge_read(folder: Path) -> Callable[[Path], object]:
    """Return a reader of one knowledge file among the sound others."""
    sound = {path.name: path.read_text() for path in (ROOT / "knowledge").iterdir()}
    turns = iter(range(10**9))

    def read(path: Path) -> object:
        name = sorted(sound)[next(turns) % len(sound)]
        (folder / name).write_bytes(path.read_bytes())
        try:
            return load_knowledge(folder)
        finally:
            (folder / name).write_text(sound[name])

    for name, text in sound.items():
        (folder / name).write_text(text)
    return read


def knowledge_texts() -> Callable[[random.Random], str]:
    """Return the knowledge files' texts, in the order in which they are read."""
    paths = sorted((ROOT / "knowledge").iterdir(), key=lambda path: path.name)
    turns = iter(range(10**9))
    return lambda _: paths[next(turns) % len(paths)].read_text()


def drive_on(knowledge: Knowledge, *, number: int, seed: int) -> Tally:
    """Drive changed cars that are still sound on to a sheet and a diagnosis."""
    chance, tally = random.Random(f"driven{seed}"), Tally("cars driven on")
    text = (ROOT / "tests" / "cars" / "hill-climber.yaml").read_text()
    complaint = ComplaintFact(complaint="no-crank")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "car.yaml"
        while tally.n_sound + tally.n_refused + tally.n_bad < number:
            changed = mutated(text, chance, most=2)
            path.write_text(changed, encoding="utf-8", errors="surrogatepass")
            try:
                car = load_car(path, knowledge)
            except DiagnoseError:
                continue
            with tally.file(changed, MOST_SECONDS_COMPILED):
                expected_sheet(car, knowledge, Choice())
                diagnosis = Diagnosis(open_model(car, knowledge, n_draws=8))
                if complaint.complaint in diagnosis.vocabulary.complaints:
                    diagnosis.tell(complaint)
    return tally


def _too_long(_: int, __: FrameType | None) -> None:
    raise TooLongError


def main() -> None:
    """Read all kinds and print what became of them."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--cars", type=int, default=20_000)
    options.add_argument("--others", type=int, default=2_000)
    options.add_argument("--sound", type=int, default=1_000)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    signal.signal(signal.SIGALRM, _too_long)
    knowledge = load_knowledge(knowledge_folder())
    limits = {limit.name: limit.says for limit in knowledge.effort.limits.values()}
    seed, tallies = chosen.seed, []
    with tempfile.TemporaryDirectory() as folder:
        for kind, texts, read, number in (
            (
                "car files",
                lambda chance: chance.choice(CARS).read_text(),
                lambda path: load_car(path, knowledge),
                chosen.cars,
            ),
            (
                "knowledge files",
                knowledge_texts(),
                knowledge_read(Path(folder)),
                chosen.others,
            ),
            (
                "worked cases",
                lambda chance: chance.choice(CASES).read_text(),
                load_case,
                chosen.others,
            ),
            (
                "owner files",
                lambda _: OWNER,
                lambda path: load_owner(path, limits=limits),
                chosen.others,
            ),
            (
                "closed cases",
                lambda _: f"{CLOSED_CASE}\n" * 3,
                lambda path: list(read_case_lines(path, knowledge)),
                chosen.others,
            ),
        ):
            tallies.append(read_many(kind, texts, read, number=number, seed=seed))
            print(tallies[-1].line(), flush=True)
    tallies.append(drive_on(knowledge, number=chosen.sound, seed=seed))
    print(tallies[-1].line())
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"seed {seed}: {sum(each.n_bad for each in tallies)} bad in all; at most")
    print(f"{megabytes:.0f} MB of memory")
    raise SystemExit(any(each.n_bad for each in tallies))


if __name__ == "__main__":
    main()
