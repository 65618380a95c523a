"""What it takes to hold all single and all double faults of a car.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_pairs [--car FILE]

Prints, in processor time of one core, for all operating states and 64 draws of the
invented car of 60 nodes that the rates of the solver are measured with, or of another:

- the sound car solved and ready for small changes; causes that act alike, and those
  that come and go, are one with the lasting fault they act as, as in a diagnosis,
- every single fault solved whole, segments and gates found, its volts kept,
- every pair of faults answered in every draw: by what each of the two does alone, where
  that follows from it, or settled and where it rests kept,
- how many pairs are left, because both faults change one branch,
- how soon the volts of a pair are there, and how far they lie from those of the pair
  solved by itself, each state from where the one before it left the gates,
- how long all pairs would take, each solved by itself.

Fuses are taken to hold; one that opens is a fault more. Then how the time of the pairs
grows with their number. Peak memory is that of this process, knowledge and car
included.
"""

from __future__ import annotations

import argparse
import resource
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import BoolArray
from diagnose.circuit.pairs import Pairs
from diagnose.circuit.sample import Sample
from diagnose.circuit.singles import Singles
from diagnose.faults.causes import catalogue, effect_signature
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predicted import CHUNK_POINTS, Predictor
from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.model import N_DRAWS
from tests.benchmarks.bench_solver import (
    Stopwatch,
    points_of,
    row,
    seconds,
    solving_seconds,
    tourer_of_60_nodes,
)
from tests.circuit.in_order import solved_in_order

N_ASKED = 300
BAR_LENGTH = 48


def main() -> None:
    """Measure everything and print one line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--car", type=Path)
    chosen = arguments.parse_args().car
    knowledge = load_knowledge(knowledge_folder())
    car = load_car(chosen, knowledge) if chosen else tourer_of_60_nodes(knowledge)
    predictor = distinct_predictor(car, knowledge)
    row(f"{car.title}: nodes", len(predictor.nodes), "")
    row("  causes", len(catalogue(car, knowledge.modes)), "")
    row("  that act unlike each other", len(predictor.causes), "")
    sound = seconds(predictor.solver)
    row("  all states solved sound", sound, "s")
    held = Held.of(predictor, len(predictor.causes))
    row("  all single faults solved and kept", held.single_seconds, "s")
    row("  all double faults answered", held.double_seconds, "s")
    row("  together", sound + held.single_seconds + held.double_seconds, "s")
    row("  peak memory", peak_gib(), "GiB")
    counted(predictor, held.pairs)
    compared(predictor, held.pairs)
    growth(predictor, held)


def distinct_predictor(car: Car, knowledge: Knowledge) -> Predictor:
    """Return the predictor of a car for the causes that need predictions of their own.

    Without the readings that symptoms need.
    """
    lasting = [cause for cause in catalogue(car, knowledge.modes) if cause.mode.lasts]
    distinct = {effect_signature(cause): cause for cause in reversed(lasting)}
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    return Predictor(model, tuple(reversed(distinct.values())), ())


def two_parts(predictor: Predictor) -> BoolArray:
    """Return which pairs are of two parts, each once, shape (n_causes, n_causes)."""
    part = np.array([cause.part.name for cause in predictor.causes])
    return np.asarray(np.triu(part[:, None] != part, 1))


def peak_gib() -> float:
    """Return the most memory this process has had. [GiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


@dataclass(frozen=True, slots=True)
class Held:
    """Single faults solved, their volts in single precision as a bank has them.

    And their pairs; the processor time of both. [s]
    """

    volts: list[np.ndarray]
    pairs: Pairs
    single_seconds: float
    double_seconds: float

    @staticmethod
    def of(predictor: Predictor, n_causes: int) -> Held:
        """Return the first causes and their pairs."""
        solver, width = predictor.solver(), len(predictor.states) * N_DRAWS
        singles, volts = Singles(solver, n_causes, N_DRAWS), []
        single, double = Stopwatch(), Stopwatch()
        for first in range(0, n_causes, CHUNK_POINTS // width):
            causes = np.arange(first, min(first + CHUNK_POINTS // width, n_causes))
            with single:
                (points,) = points_of(predictor, [(c,) for c in causes.tolist()])
                solved = points.solve(solver)
                volts.append(solved.volts.astype(np.float32))
            with double:
                singles.add(causes, solved, points.slots, points.before)
        with double:
            pairs = Pairs(singles)
        return Held(volts, pairs, single.seconds, double.seconds)


def counted(predictor: Predictor, pairs: Pairs) -> None:
    """Print how the pairs of two parts are answered."""
    upper = two_parts(predictor)
    n_all = len(predictor.states) * int(upper.sum())
    is_held = pairs.is_held & upper
    rests = pairs.rests.values()
    row("  pairs in a state, all draws each", n_all, "")
    row("    that follow from what each does alone", 100 * is_held.sum() / n_all, "%")
    row("    operating points settled", sum(len(each.code) for each in rests), "")
    n_chattering = sum(int((~each.is_settled).sum()) for each in rests)
    row("      of them a relay chatters in", n_chattering, "")
    row("    left: both faults change one branch", (pairs.is_left & upper).sum(), "")


def compared(predictor: Predictor, pairs: Pairs) -> None:
    """Print how soon volts are there, how right they are, and what they would take."""
    generator, n_states = np.random.default_rng(0), len(predictor.states)
    upper = two_parts(predictor)
    chosen = generator.permutation(np.argwhere(upper))[:N_ASKED]
    chunks = points_of(predictor, [tuple(pair) for pair in chosen.tolist()])
    used = solving_seconds(chunks, predictor.solver()) / N_ASKED
    is_left, n_pairs = pairs.is_left, int(upper.sum())
    worst, n_compared, n_apart, n_answered, asking = 0.0, 0, 0, 0, Stopwatch()
    came = [predictor.state_index.get(each.after, -1) for each in predictor.states]
    first = 0
    for points in chunks:
        slow = solved_in_order(predictor.solver(), came, points.draw, points.slots)
        shape = (n_states, -1, N_DRAWS, len(predictor.nodes))
        volts = np.stack([point.volts for point in slow]).reshape(shape)
        is_settled = np.stack([point.is_settled for point in slow])
        is_settled = is_settled.reshape(volts.shape[:3])
        for state, place in np.ndindex(volts.shape[:2]):
            one, other = chosen[first + place].tolist()
            if is_left[state, one, other] or not pairs.changes_both(state, one, other):
                continue
            with asking:
                answer = pairs.volts(state, one, other)
            n_answered += 1
            if answer is None:
                continue
            rests = ~np.isnan(answer[:, 0])
            n_apart += int((rests != is_settled[state, place]).sum())
            apart = np.abs(answer - volts[state, place])[rests]
            worst = max(worst, apart.max(initial=0.0))
            n_compared += len(apart)
        first += volts.shape[1]
    row("    the volts of a pair in a state", 1e3 * asking.seconds / n_answered, "ms")
    row("    points compared with pairs solved state after state", n_compared, "")
    row("      most apart", worst, "V")
    row("      at rest in one way and not in the other", n_apart, "")
    row("    all pairs, each solved by itself, would take", n_pairs * used, "s")


def growth(predictor: Predictor, held: Held) -> None:
    """Print how the time grows with the number of pairs."""
    n_all = len(predictor.causes)
    spent = {n_all * (n_all - 1) // 2: held.double_seconds}
    for share in (0.25, 0.5, 0.75):
        n_causes = round(n_all * share**0.5)
        n_pairs = n_causes * (n_causes - 1) // 2
        spent[n_pairs] = Held.of(predictor, n_causes).double_seconds
    longest = max(spent.values())
    for count, used in sorted(spent.items()):
        bar = "#" * round(BAR_LENGTH * used / longest)
        print(f"  {count:7,d} double faults {used:7.2f} s {bar}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
