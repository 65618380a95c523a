"""How long a diagnosis makes a person wait, on one core; run from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_answer [--games 20]

Prints a table: both kinds of start, the command line's help, every answer of simulated
diagnoses on the shipped car, and the same posteriors from the network library alone
where it can hold the problem.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from diagnose.circuit.car import Car, FloatArray
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.inference.beliefs import update
from diagnose.inference.compiled import Compiled
from diagnose.inference.network import CauseNetwork
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.model import Model, open_model
from diagnose.store.model_cache import ModelCache
from diagnose.trial.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import draw_car, play
from tests.lamp_car import MODES, RESISTANCE_B, compiled_car

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = ROOT / "cases" / "cars" / "sedan.yaml"
OPEN = """
import sys
from pathlib import Path
from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.model import open_model
from diagnose.store.model_cache import ModelCache
knowledge = load_knowledge(knowledge_folder())
car = load_car(Path(sys.argv[1]), knowledge)
Diagnosis(open_model(car, knowledge, cache=ModelCache(Path(sys.argv[2]))))
"""
REPEATS = 20


def main() -> None:
    """Measure everything and print one line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--games", type=int, default=20)
    n_games = arguments.parse_args().games
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        row("diagnose --help", process_seconds("-m", "diagnose", "--help"), "s")
        start = ("-c", OPEN, str(SHIPPED), str(folder))
        row("first start, every fault worked out", process_seconds(*start), "s")
        row("later start, from the cache", process_seconds(*start), "s")
        knowledge = load_knowledge(knowledge_folder())
        car = load_car(SHIPPED, knowledge)
        seconds = sorted(answer_seconds(car, knowledge, folder, n_games))
        row(f"answer, median of {len(seconds)}", statistics.median(seconds), "s")
        row("answer, 90 % are under", seconds[int(0.9 * len(seconds))], "s")
        row("answer, worst", seconds[-1], "s")
        compare_priors(open_model(car, knowledge, cache=ModelCache(folder)))
    compare_posteriors()


def row(what: str, value: float, unit: str) -> None:
    """Print one figure."""
    print(f"{what:<58} {value:10.4f} {unit}", flush=True)  # noqa: T201


def process_seconds(*arguments: str) -> float:
    """Return how long a new Python process takes. [s]."""
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True
    )
    return time.perf_counter() - begin


def answer_seconds(
    car: Car, knowledge: Knowledge, folder: Path, n_games: int
) -> Iterator[float]:
    """Yield how long each fact took, of diagnoses played to their end. [s].

    Each is played first and then told again to a newly opened car, so that no pair and
    no severity is at hand that an answer has to work out. The healthy car is: on a
    terminal it is solved while the person reads the first question.
    """
    cache = ModelCache(folder)
    model = open_model(car, knowledge, cache=cache)
    stock = HiddenCars(model, n_cars=n_games, seed=1)
    for seed in range(n_games):
        hidden, complaint = draw_car(
            model, stock, number=seed, seed=seed, errors=Errors()
        )
        game = play(model, hidden, complaint, seed=seed)
        diagnosis = Diagnosis(open_model(car, knowledge, cache=cache))
        diagnosis.warm_up(lambda: False)
        for fact in game.facts:
            begin = time.process_time()
            diagnosis.tell(fact)
            yield time.process_time() - begin


def median_seconds(work: Callable[[], object]) -> float:
    """Return the median time of some repetitions. [s]."""
    times = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def both(what: str, library: float, compiled: float) -> None:
    """Print the same result by the network library and by the compiled form."""
    row(f"{what}, network library", library, "s")
    row(f"{what}, compiled", compiled, "s")
    row(f"{what}, ratio", library / compiled, "times")


def compare_priors(model: Model) -> None:
    """Time the marginals of every cause of the shipped car, without facts."""
    network = CauseNetwork(model.knowledge.contexts, model.compiled.causes)
    priors = model.compiled.priors
    begin = time.perf_counter()
    by_library = network.posterior([], {})
    library = time.perf_counter() - begin
    found = priors.cause_probabilities({})
    assert np.allclose(found, list(by_library.values()), atol=1e-9)
    both(
        f"priors of {len(found)} causes",
        library,
        median_seconds(lambda: priors.cause_probabilities({})),
    )


def compare_posteriors() -> None:
    """Time the posterior of a lamp circuit that the library can hold whole.

    On the shipped car a fact would have every fault node as its parent: a table with
    more columns than there are atoms.
    """
    modes = [mode for mode in MODES if mode is not RESISTANCE_B]
    network, compiled = compiled_car(8, modes)
    sets = network.fault_sets()
    everything = compiled.hypotheses(sets)
    random = np.random.default_rng(1)
    facts = [random.random((len(sets), compiled.n_draws)) for _ in range(4)]

    def by_compiled_form() -> FloatArray:
        return posterior(compiled, everything.sets, facts)

    expected = network.posterior(facts, {})
    assert np.allclose(by_compiled_form(), list(expected.values()), atol=1e-9)
    both(
        f"posterior over {len(sets)} fault sets",
        median_seconds(lambda: network.posterior(facts, {})),
        median_seconds(by_compiled_form),
    )


def posterior(
    compiled: Compiled, sets: tuple[tuple[int, ...], ...], facts: list[FloatArray]
) -> FloatArray:
    """Return the probability of every cause by the compiled form."""
    chances = compiled.priors.set_probabilities(sets, {})
    prior = np.repeat(chances[:, None] / compiled.n_draws, compiled.n_draws, axis=1)
    beliefs = update(sets, prior, facts)
    assert beliefs is not None
    return beliefs.cause_probabilities(len(compiled.causes))


if __name__ == "__main__":
    main()
