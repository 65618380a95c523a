"""Readings of every kind in every state, told of any car: chances that are numbers.

``python -m tests.longer_runs.told_readings --car sedan --number 100 --seed 1``. Each is
what the car with one fault would show, told to a diagnosis that knows nothing else; one
that is refused by itself does not count.
"""

from __future__ import annotations

import argparse
import sys
import time
from itertools import islice

import numpy as np

from diagnose.errors import ReadingError
from diagnose.measurement.readings import ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import open_model
from diagnose.terminal.car_files import open_car, published_knowledge
from tests.session.test_every_reading import random_readings, random_sets


def main() -> None:
    """Tell readings one by one, each after nothing."""
    options = argparse.ArgumentParser()
    options.add_argument("--car", default="sedan")
    options.add_argument("--number", type=int, default=100)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    knowledge = published_knowledge()
    model = open_model(open_car(chosen.car, knowledge), knowledge)
    rng = np.random.default_rng(chosen.seed)
    solved = model.compiled.hypotheses(random_sets(model, rng))
    diagnosis = Diagnosis(model)
    untold = diagnosis.consider(())
    readings = list(random_readings(model, rng))
    rng.shuffle(readings)
    n_told = n_refused = n_bad = 0
    slowest = 0.0
    for reading in islice(readings, chosen.number):
        diagnosis.take(untold)
        begin = time.process_time()
        try:
            shown = model.compiled.predicted(solved, reading)
            value = float(np.median(shown[rng.integers(len(shown))]))
            if reading.kind in (ReadingKind.LAMP, ReadingKind.LOOK):
                value = float(round(value))
            answer = diagnosis.tell(ReadingFact(reading=reading, value=value))
        except ReadingError:
            n_refused += 1
            continue
        n_told += 1
        slowest = max(slowest, time.process_time() - begin)
        chances = np.array([cause.probability for cause in answer.causes])
        if not (np.isfinite(chances) & (chances >= 0.0) & (chances <= 1.0)).all():
            n_bad += 1
            print(f"{reading.name} = {value}: {chances}")
    print(f"{n_told} told, {n_refused} refused, {n_bad} without chances; ", end="")
    print(f"the slowest took {slowest:.1f} s of one processor")
    sys.exit(n_bad > 0)


if __name__ == "__main__":
    main()
