"""How the first start, memory, disk and answers grow with a car; from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_growth [--wires 70 100 200]
    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_growth --facts 400

Prints a line for each invented car of so many wires (see `tests.growing_car`), each
opened in a process of its own; or, on the shipped car, what an answer takes as facts
are told, and taking them all in again.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model, open_model
from diagnose.store.model_cache import ModelCache
from tests.growing_car import SHIPPED, grown_car

SEED = 16
HEAD = "wires nodes causes first-s second-s peak-MB disk-MB answer-ms slowest-ms"

# Hidden faults that are looked for, and readings told in each. Own choice.
GAMES, READINGS = 6, 8


def main() -> None:
    """Measure what the arguments ask for."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--wires", type=int, nargs="+", default=[50, 70, 100, 200])
    arguments.add_argument("--facts", type=int, default=0)
    arguments.add_argument("--opens", metavar="FOLDER", type=Path)
    options = arguments.parse_args()
    if options.opens:
        say(json.dumps(opened_figures(options.wires[0], options.opens)))
    elif options.facts:
        tell_facts(options.facts)
    else:
        table(options.wires)


def say(line: str) -> None:
    """Print a line now."""
    print(line, flush=True)  # noqa: T201


def table(sizes: Sequence[int]) -> None:
    """Print a line for each size of car."""
    say(HEAD)
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, "-m", "tests.benchmarks.bench_growth"]
            command += ["--wires", str(size), "--opens", folder]
            # the second start is measured in a process that has not solved anything
            first, second = (
                json.loads(
                    subprocess.run(command, capture_output=True, check=True).stdout
                )
                for _ in range(2)
            )
        figures = (
            *(first[name] for name in ("wires", "nodes", "causes")),
            f"{first['seconds']:.1f}",
            f"{second['seconds']:.1f}",
            *(f"{first[name]:.0f}" for name in ("peak_mb", "disk_mb")),
            f"{second['answer_ms']:.0f}",
            f"{second['slowest_ms']:.0f}",
        )
        columns = zip(figures, HEAD.split(), strict=True)
        say(" ".join(f"{one!s:>{len(name)}}" for one, name in columns))


def opened_figures(size: int, folder: Path) -> dict[str, float]:
    """Open a car once, from the cache when it is there, and answer some facts."""
    knowledge = load_knowledge(knowledge_folder())
    car = grown_car(size, folder, knowledge)
    began = time.perf_counter()
    model = open_model(car, knowledge, cache=ModelCache(folder / "compiled"))
    Diagnosis(model)
    seconds = time.perf_counter() - began
    used = [
        resource.getrusage(who).ru_maxrss / 1000.0
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    ]
    kept = [path for path in (folder / "compiled").rglob("*") if path.is_file()]
    waits = list(answer_seconds(model))
    return {
        "wires": sum(part.kind == "wire" for part in car.parts),
        "nodes": len(model.compiled.predictor.nodes),
        "causes": len(model.compiled.causes),
        "seconds": seconds,
        "peak_mb": max(used),
        "disk_mb": sum(path.stat().st_size for path in kept) / 1e6,
        "answer_ms": 1000.0 * statistics.median(waits),
        "slowest_ms": 1000.0 * max(waits),
    }


def volts_readings(car: Car, rng: np.random.Generator) -> list[Reading]:
    """Return the readings of volts that a car has, in random order."""
    found = [
        one for one in proposable_readings(car) if one.kind is ReadingKind.DC_VOLTS
    ]
    return [found[place] for place in rng.permutation(len(found)).tolist()]


def told(model: Model, reading: Reading, row: int, draw: int) -> ReadingFact:
    """Return what a meter shows under a single cause in one draw."""
    compiled = model.compiled
    shown = compiled.readings.predicted(compiled.singles, reading, rows=np.array([row]))
    return ReadingFact(reading=reading, value=round(float(shown[0, draw]), 2))


def answer_seconds(model: Model) -> Iterator[float]:
    """Look for some hidden faults, and yield how long each answer took."""
    rng = np.random.default_rng(SEED)
    compiled = model.compiled
    for row in rng.integers(1, compiled.n_lasting, GAMES).tolist():
        draw = int(rng.integers(compiled.n_draws))
        diagnosis, reading = Diagnosis(model), volts_readings(model.car, rng)[0]
        for _ in range(READINGS):
            fact = told(model, reading, row, draw)
            began = time.perf_counter()
            answer = diagnosis.tell(fact, at_once=True)
            yield time.perf_counter() - began
            # as in the pause while a person goes on measuring
            diagnosis.complete()
            open_steps = (step.reading for step in answer.next_steps)
            kinds = ReadingKind.DC_VOLTS
            new = (one for one in open_steps if one is not None and one.kind is kinds)
            found = next(new, None)
            if found is None:
                break
            reading = found


def shipped_model(knowledge: Knowledge) -> Model:
    """Return the shipped car, made ready."""
    with tempfile.TemporaryDirectory() as folder:
        return open_model(
            load_car(SHIPPED, knowledge), knowledge, cache=ModelCache(Path(folder))
        )


def tell_facts(count: int) -> None:
    """Print what answers take as facts are told, and telling them all again."""
    model = shipped_model(load_knowledge(knowledge_folder()))
    rng = np.random.default_rng(SEED)
    facts = [told(model, one, 0, 7) for one in volts_readings(model.car, rng)[:count]]
    diagnosis = Diagnosis(model)
    waits = []
    for fact in facts:
        began = time.perf_counter()
        diagnosis.tell(fact, at_once=True)
        waits.append(time.perf_counter() - began)
        diagnosis.complete()
        if len(waits) % (max(1, count // 8)) == 0:
            latest = 1000.0 * statistics.median(waits[-10:])
            say(f"{len(waits):4d} facts: {latest:.0f} ms an answer")
    began = time.perf_counter()
    Diagnosis(model).recall(facts, at_once=True)
    say(f"all {len(facts)} told again: {time.perf_counter() - began:.2f} s")


if __name__ == "__main__":
    main()
