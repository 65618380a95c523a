"""How long a diagnosis makes a person wait, on one core; run from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_answer [--games 20]

Prints a table: both kinds of start, the command line's help, every answer of simulated
diagnoses on the shipped car, and the same posteriors from the network library alone
where it can hold the problem.
"""

from __future__ import annotations

import argparse
import gc
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from enum import Enum
from functools import partial
from pathlib import Path

import numpy as np
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

from diagnose.arrays import FloatArray
from diagnose.faults.links import ties_of
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.inference.belief.beliefs import update
from diagnose.inference.choice.particles import Particles
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.inference.prior.network import add_node, new_network
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import Fact, standing_facts
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.candidates import Candidates, Sight
from diagnose.session.steps.moment import Moments
from diagnose.session.steps.outcomes import Outcomes
from diagnose.session.steps.priced import Pricing
from diagnose.session.steps.proposing.ranked_steps import RankedSteps
from diagnose.store.model_cache import ModelCache
from diagnose.trial.hidden.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import draw_car, play
from tests import elimination
from tests.lamp_car import MODES, RESISTANCE_B, compiled_car

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = ROOT / "cases" / "cars" / "sedan.yaml"
OPEN = """
import sys
from pathlib import Path
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import Fact, standing_facts
from diagnose.session.ready_car import open_model
from diagnose.store.model_cache import ModelCache
knowledge = load_knowledge(knowledge_folder())
car = load_car(Path(sys.argv[1]), knowledge)
Diagnosis(open_model(car, knowledge, cache=ModelCache(Path(sys.argv[2]))))
"""


class Pause(Enum):
    """What the program has done when a fact is told."""

    NONE = "nothing since the answer before; this one waits for all it asks for"
    SHORT = "completed the answer before"
    AT_THE_CAR = "looked ahead at the likely next facts too"


REPEATS = 20
N_TOLD = 5
RANKED_STRIDE = 30


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
        opened = partial(open_model, car, knowledge, cache=ModelCache(folder))
        model = opened()
        games = played(model, n_games)
        answers = partial(answer_seconds, opened, games)
        spread("answer in a pipe, all solved before it", answers(Pause.NONE))
        spread("answer at a screen, typed without a pause", answers(Pause.SHORT))
        answer = spread("answer at a screen, from the car", answers(Pause.AT_THE_CAR))
        what = "update and ranking of all readings alone"
        ranking = spread(what, ranking_seconds(opened, games))
        compare_priors(model)
        compare_ranking(model, ranking=ranking, answer=answer)
    compare_posteriors()


def row(what: str, value: float, unit: str) -> None:
    """Print one figure."""
    print(f"{what:<58} {value:10.4f} {unit}", flush=True)  # noqa: T201


def spread(what: str, times: Iterable[float]) -> float:
    """Print the spread of some times and return their median. [s]."""
    seconds = sorted(times)
    median = statistics.median(seconds)
    row(f"{what}: median of {len(seconds)}", median, "s")
    row("  90 % are under", seconds[int(0.9 * len(seconds))], "s")
    row("  worst", seconds[-1], "s")
    return median


def process_seconds(*arguments: str) -> float:
    """Return how long a new Python process takes. [s]."""
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True
    )
    return time.perf_counter() - begin


def played(model: Model, n_games: int) -> list[tuple[Fact, ...]]:
    """Return the facts of diagnoses played to their end."""
    stock = HiddenCars(model, n_cars=n_games, seed=1)
    games = []
    for seed in range(n_games):
        hidden, complaint = draw_car(
            model, stock, number=seed, seed=seed, errors=Errors()
        )
        games.append(play(model, hidden, complaint, seed=seed).facts)
    return games


def answer_seconds(
    opened: Callable[[], Model], games: Sequence[Sequence[Fact]], pause: Pause
) -> Iterator[float]:
    """Yield how long each fact took, told to a newly opened car. [s]."""
    for facts in games:
        diagnosis = Diagnosis(opened())
        diagnosis.look_ahead(lambda: False)
        # an evening is one process and one car: no rubbish of the games before
        gc.collect()
        for fact in facts:
            if pause is Pause.SHORT:
                diagnosis.complete()
            elif pause is Pause.AT_THE_CAR:
                diagnosis.look_ahead(lambda: False)
            begin = time.process_time()
            diagnosis.tell(fact, at_once=pause is not Pause.NONE)
            yield time.process_time() - begin


def ranking_seconds(
    opened: Callable[[], Model], games: Sequence[Sequence[Fact]]
) -> Iterator[float]:
    """Yield how long an update and the ranking of all readings took. [s].

    Without what else is in an answer: words, proofs, doubts, what brought a fault
    about.
    """
    for facts in games:
        model = opened()
        reasoner = Reasoner(model)
        moments, outcomes = Moments(model), Outcomes(model)
        steps = RankedSteps(model, outcomes, Pricing(model, outcomes))
        gc.collect()
        for count in range(1, len(facts) + 1):
            standing = standing_facts(facts[:count])
            begin = time.process_time()
            conclusion = reasoner.conclude(standing, solves=lambda: False)
            steps.ranked(moments.at(standing, conclusion), excluded=frozenset())
            yield time.process_time() - begin
            reasoner.conclude(standing)


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
    knowledge, causes = model.knowledge, model.compiled.causes
    ties = ties_of(model.car, causes, knowledge.links)
    network = CauseNetwork(knowledge.contexts, causes, ties)
    priors = model.compiled.priors
    begin = time.perf_counter()
    by_library = elimination.posterior(network, [], {})
    library = time.perf_counter() - begin
    found = cause_probabilities(priors, {})
    expected = [by_library[cause.name] for cause in causes]
    assert np.allclose(found, expected, atol=1e-9)
    both(
        f"priors of {len(found)} causes",
        library,
        median_seconds(lambda: cause_probabilities(priors, {})),
    )


def compare_ranking(model: Model, *, ranking: float, answer: float) -> None:
    """Time an update and what every reading of the shipped car tells.

    For the network library the problem is made smaller than what the program solves:
    one fault at a time, readings in bins. Each of its queries gets a network with no
    node that it does not need; building those is not counted. Only every
    `RANKED_STRIDE`th reading is asked for. The same tables as arrays must give the
    same figures.
    """
    chances, tables = single_chances(model), reading_tables(model)
    told = list(range(0, len(tables), len(tables) // N_TOLD))[:N_TOLD]
    facts = {n: int(tables[n].sum(axis=(1, 2)).argmax()) for n in told}
    evidence = {f"reading_{n}": f"bin_{seen}" for n, seen in facts.items()}
    weights = np.prod([tables[n][seen] for n, seen in facts.items()], axis=0)
    weights *= chances[:, None]
    weights /= weights.sum()
    asked = [n for n in range(len(tables)) if n not in told]
    library = arrays = 0.0
    for number in asked:
        network = observed(chances, {n: tables[n] for n in (*told, number)})
        engine = VariableElimination(network)
        begin = time.process_time()
        found = engine.query(
            ["fault", f"reading_{number}"], evidence=evidence, show_progress=False
        )
        library += time.process_time() - begin
        begin = time.process_time()
        joint = np.einsum("bfd,fd->bf", tables[number], weights)
        arrays += time.process_time() - begin
        values = found.values if found.variables[0] != "fault" else found.values.T
        assert np.allclose(values, joint, atol=1e-9)
    n_readings = len(proposable_readings(model.car))
    library, arrays = (used * n_readings / len(asked) for used in (library, arrays))
    what = f"{n_readings} readings, one fault at a time"
    both(what, library, arrays)
    row("  update and ranking by the program, median", ranking, "s")
    row("  ratio", library / ranking, "times")
    row("  the program's whole answer, median", answer, "s")
    row("  ratio", library / answer, "times")


def single_chances(model: Model) -> FloatArray:
    """Return the prior of the sound car and of each single fault."""
    compiled = model.compiled
    found = compiled.priors.set_probabilities(compiled.singles.sets, {})
    return np.asarray(found / found.sum())


def reading_tables(model: Model) -> list[FloatArray]:
    """Return the chance of each bin of some readings, given fault and draw.

    Shape (n_bins, 1 + n_causes, n_draws) each; bins that nothing gives are left out.
    """
    singles, n_draws = model.compiled.singles, model.compiled.n_draws
    n_sets = len(singles.sets)
    every = np.arange(n_sets * n_draws)
    particles = Particles(
        row=every // n_draws,
        draw=every % n_draws,
        share=np.ones(len(every)),
        group=every,
    )
    outcomes, tables = Outcomes(model), []
    sight = Sight(singles, particles)
    for reading in proposable_readings(model.car)[::RANKED_STRIDE]:
        candidates = Candidates(reading.kind, [reading], model.compiled)
        shown = candidates.shown(sight, np.array([0]))
        (table,) = outcomes.joint(shown, reading.kind, particles, len(every))
        table = table[table.any(axis=1)]
        if len(table) > 1:
            tables.append(table.reshape(-1, n_sets, n_draws))
    return tables


def observed(
    chances: FloatArray, tables: dict[int, FloatArray]
) -> DiscreteBayesianNetwork:
    """Return a network of a fault node, a tolerance node and some readings."""
    network = new_network()
    n_faults, n_draws = next(iter(tables.values())).shape[1:]
    parents = {
        "fault": [f"fault_{number}" for number in range(n_faults)],
        "tolerance": [f"draw_{number}" for number in range(n_draws)],
    }
    add_node(network, "fault", parents["fault"], [chances.tolist()])
    add_node(network, "tolerance", parents["tolerance"], [[1.0 / n_draws] * n_draws])
    for number, table in tables.items():
        bins = [f"bin_{place}" for place in range(len(table))]
        columns = table.reshape(len(table), -1).T.tolist()
        add_node(network, f"reading_{number}", bins, columns, parents)
    return network


def compare_posteriors() -> None:
    """Time the posterior of a lamp circuit that the library can hold whole.

    On the shipped car a fact would have every fault node as its parent: a table with
    more columns than there are atoms.
    """
    modes = [mode for mode in MODES if mode is not RESISTANCE_B]
    network, compiled = compiled_car(8, modes)
    sets = elimination.fault_sets(network)
    everything = compiled.hypotheses(sets)
    random = np.random.default_rng(1)
    facts = [random.random((len(sets), compiled.n_draws)) for _ in range(4)]

    def by_compiled_form() -> FloatArray:
        return posterior(compiled, everything.sets, facts)

    expected = elimination.posterior(network, facts, {})
    assert np.allclose(by_compiled_form(), list(expected.values()), atol=1e-9)
    both(
        f"posterior over {len(sets)} fault sets",
        median_seconds(lambda: elimination.posterior(network, facts, {})),
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
