"""What it takes to hold all single and all double faults of the shipped car.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_pairs

Prints, in processor time of one core, for all operating states and 64 draws:

- the sound car solved and ready for small changes; causes that act alike, and those
  that come and go, are one with the lasting fault they act as, as in a diagnosis,
- every single fault solved whole, segments and gates found, its volts kept,
- every pair of faults looked at in every draw, and held where nothing moves but what
  one of the two moves alone, and no fuse opens: its readings are then a system of two
  equations away, or of a few more,
- how many pairs are left; those are settled when somebody asks for them, and that is
  not in the sum. A sample says how long they would take.

Then how the time of the pairs grows with their number. Peak memory is that of this
process, knowledge and car included.
"""

from __future__ import annotations

import argparse
import resource
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import BoolArray, Slots
from diagnose.circuit.pairs import Pairs
from diagnose.circuit.sample import Sample
from diagnose.faults.causes import catalogue, effect_signature
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predicted import CHUNK_POINTS, Predictor
from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.model import N_DRAWS
from tests.benchmarks.bench_solver import (
    SHIPPED,
    Points,
    points_of,
    row,
    seconds,
    solving_seconds,
)

N_SAMPLE = 200
N_ASKED = 500


def main() -> None:
    """Measure everything and print one line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--car", type=Path, default=SHIPPED)
    knowledge = load_knowledge(knowledge_folder())
    car = load_car(arguments.parse_args().car, knowledge)
    predictor = distinct_predictor(car, knowledge)
    row(f"{car.title}: causes", len(catalogue(car, knowledge.modes)), "")
    row("  that act unlike each other", len(predictor.causes), "")
    sound = seconds(predictor.solver)
    row("  all states solved sound", sound, "s")
    solved: list[tuple[np.ndarray, BoolArray]] = []
    single = seconds(lambda: solved.extend(solved_singles(predictor)))
    row("  all single faults solved and kept", single, "s")
    is_near = np.concatenate([near for _, near in solved], axis=1)
    pairs, spent = held_pairs(predictor, is_near)
    row("  all pairs looked at", spent, "s")
    row(
        "  together, pairs held or known to be left",
        sound + single + spent,
        "s",
    )
    row("  peak memory", peak_gib(), "GiB")
    n_states = len(predictor.states)
    is_pair = two_parts(predictor)
    n_all = n_states * int(is_pair.sum())
    n_held = int((pairs.is_held & is_pair).sum())
    row("  pairs in a state, all draws each", n_all, "")
    row("    held implicitly", n_held, "")
    row("    held implicitly", 100.0 * n_held / n_all, "%")
    is_beside = pairs.is_beside | pairs.is_beside.swapaxes(1, 2)
    row(
        "      of them beside a fault that moves more",
        int((is_beside & is_pair).sum()),
        "",
    )
    row("    left to be settled when asked for", n_all - n_held, "")
    left(predictor, pairs, n_all - n_held)
    growth(predictor, is_near)


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


def single_chunks(predictor: Predictor, n_causes: int) -> Iterator[Points]:
    """Yield the single faults of the first causes in all states, in chunks."""
    size = CHUNK_POINTS // (len(predictor.states) * N_DRAWS)
    for first in range(0, n_causes, size):
        causes = range(first, min(first + size, n_causes))
        yield from points_of(predictor, [(cause,) for cause in causes])


def solved_singles(predictor: Predictor) -> Iterator[tuple[np.ndarray, BoolArray]]:
    """Yield all single faults solved.

    Their volts, in single precision as a bank has them, and which are small changes,
    shape (n_states, n_causes, n_draws).
    """
    solver, n_states = predictor.solver(), len(predictor.states)
    for points in single_chunks(predictor, len(predictor.causes)):
        solved = points.solve(solver)
        is_near = np.ones(len(points.draw), dtype=np.bool_)
        is_near[solved.fresh[0]] = False
        yield solved.volts.astype(np.float32), is_near.reshape(n_states, -1, N_DRAWS)


def held_pairs(predictor: Predictor, is_near: BoolArray) -> tuple[Pairs, float]:
    """Return the pairs of the first causes, and the processor time they took. [s].

    Parameters
    ----------
    is_near : BoolArray
        As `solved_singles` says it, of those causes.
    """
    n_causes = is_near.shape[1]
    pairs = Pairs(predictor.solver(), n_causes, N_DRAWS)

    def work() -> None:
        first = 0
        for points in single_chunks(predictor, n_causes):
            last = first + len(points.draw) // (len(predictor.states) * N_DRAWS)
            pairs.add(
                np.arange(first, last),
                points.draw,
                points.slots,
                is_near=is_near[:, first:last].ravel(),
            )
            first = last
        pairs.check()

    return pairs, seconds(work)


def left(predictor: Predictor, pairs: Pairs, n_left: int) -> None:
    """Print how soon held pairs answer, and what settling the others would take."""
    generator = np.random.default_rng(0)
    upper = two_parts(predictor)
    asked = generator.permutation(np.argwhere(pairs.is_held & upper))[:N_ASKED]
    used = seconds(lambda: [pairs.volts(*pair) for pair in asked.tolist()])
    row("    a held pair in a state answered, all draws", 1e3 * used / N_ASKED, "ms")
    solved = [
        pairs.changes(*pair) for pair in asked.tolist() if pairs.changes_both(*pair)
    ]
    n_blurred = sum(each is None for each in solved)
    row(
        "      settled nevertheless, for want of digits",
        100 * n_blurred / len(solved),
        "%",
    )
    chosen = generator.permutation(np.argwhere(~pairs.is_held & upper))[:N_SAMPLE]
    chunks = []
    for state, first, second in chosen.tolist():
        (points,) = points_of(predictor, [(first, second)])
        size = len(points.draw) // len(predictor.states)
        rows = np.arange(state * size, (state + 1) * size)
        chunks.append((points.draw[rows], points.slots.take(rows)))
    width = max(slots.branch.shape[1] for _, slots in chunks)
    joined = Points(
        draw=np.concatenate([draw for draw, _ in chunks]),
        slots=Slots(
            branch=np.concatenate([_wide(s.branch, width, -1) for _, s in chunks]),
            curves=np.concatenate([_wide(s.curves, width, 0) for _, s in chunks]),
        ),
        before=np.full(len(chunks) * N_DRAWS, -1),
    )
    used = solving_seconds([joined], predictor.solver()) / N_SAMPLE
    row("    all that are left, settled ahead, would take", n_left * used, "s")


def _wide(array: np.ndarray, width: int, fill: int) -> np.ndarray:
    """Return slots with more unused places."""
    room = [(0, 0)] * array.ndim
    room[1] = (0, width - array.shape[1])
    return np.pad(array, room, constant_values=fill)


def growth(predictor: Predictor, is_near: BoolArray) -> None:
    """Print how the time grows with the number of pairs."""
    spent = {}
    for share in (0.25, 0.5, 0.75, 1.0):
        n_causes = round(len(predictor.causes) * share**0.5)
        n_pairs = n_causes * (n_causes - 1) // 2
        spent[n_pairs] = held_pairs(predictor, is_near[:, :n_causes])[1]
    longest = max(spent.values())
    for count, used in spent.items():
        bar = "#" * round(48 * used / longest)
        print(f"  {count:7,d} double faults {used:7.2f} s {bar}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
