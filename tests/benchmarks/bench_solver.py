"""How many operating points the solver gives a second; run from the top folder.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_solver [--sets 400]

Prints one table, in processor time of one core: single and double faults of an invented
car of 60 nodes in all its states, without and with events, the same points by the full
matrix and by ngspice, how the time grows with the number of fault sets, and what all
single and double faults of the shipped car would take.

An event is a branch beside the changed ones that takes another piece of its curve, or a
gate that turns. A fault set in a state is timed with events if any of its draws has
one, and then only the draws that have are counted. Points with events, and those
without, are timed in batches as large as those that a first start solves.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.car import (
    Car,
)
from diagnose.circuit.changes.base_case import BaseCase, Changes
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.moving_points import Seen
from diagnose.circuit.solver.network import (
    Network,
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import FaultSet, catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.ready_car import N_DRAWS
from tests.circuit.netlist import spice_netlist
from tests.circuit.nodal import node_volts

ROOT = Path(__file__).resolve().parents[2]

# Points solved together. [1] Own choice: those of some hundred faults.
CHUNK_POINTS = 65536

SHIPPED = ROOT / "cases" / "cars" / "sedan.yaml"
TOURER = ROOT / "tests" / "cars" / "tourer.yaml"
MORE_CIRCUITS = """
  tail-lamps: {from: light-switch.out, fuse: 10 A, wire: 16 AWG 8 ft, load: 20 W lamps, ground: body via 16 AWG 1 ft}
  wipers: {from: key.run, fuse: 15 A, wire: 14 AWG 4 ft, load: 4 A motor, ground: body via 14 AWG 1 ft}
  instruments: {from: key.run, fuse: 5 A, wire: 16 AWG 4 ft, load: 1 A load, ground: body via 16 AWG 1 ft}
wires:
"""  # noqa: E501 - as in the car file
"""Bring the tourer to 60 nodes."""
BLOCK_POINTS = 512
GIVEN_POINTS = 2048
MOST_APART_VOLTS = 1e-9
OPEN_OHMS = 1e15
IDLE_DRAW = 3 * N_DRAWS
"""The first draw of the fourth state."""

Lines = tuple[FloatArray, FloatArray]
"""Slope and offset of every branch. [S], [A]"""


def main() -> None:
    """Measure everything and print one line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--sets", type=int, default=400)
    n_sets = arguments.parse_args().sets
    knowledge = load_knowledge(knowledge_folder())
    car = tourer_of_60_nodes(knowledge)
    predictor = predictor_of(car, knowledge)
    row(f"{car.title}: nodes", len(predictor.nodes), "")
    row("  causes", len(predictor.causes), "")
    row("  all states solved sound", seconds(predictor.solver), "s")
    rates(predictor, "single", single_faults(predictor, n_sets))
    rates(predictor, "double", double_faults(predictor, n_sets))
    compare(predictor, n_sets)
    growth(predictor, n_sets)
    whole(car, predictor, n_sets)
    shipped = load_car(SHIPPED, knowledge)
    whole(shipped, predictor_of(shipped, knowledge), n_sets)


def row(what: str, value: float, unit: str) -> None:
    """Print one figure."""
    print(f"{what:<64} {value:14,.6g} {unit}", flush=True)  # noqa: T201


def seconds(work: Callable[[], object]) -> float:
    """Return the processor time of some work. [s]."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


class Stopwatch:
    """Adds up the processor time of what is done in its `with` blocks. [s]."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._begin = 0.0

    def __enter__(self) -> None:
        self._begin = time.process_time()

    def __exit__(self, *_: object) -> None:
        self.seconds += time.process_time() - self._begin


def tourer_of_60_nodes(knowledge: Knowledge) -> Car:
    """Return the invented tourer of the tests with three circuits more."""
    text = TOURER.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tourer.yaml"
        path.write_text(text.replace("\nwires:\n", MORE_CIRCUITS, 1), encoding="utf-8")
        return load_car(path, knowledge)


def predictor_of(car: Car, knowledge: Knowledge) -> Predictor:
    """Return the predictor of a car, without the readings that symptoms need."""
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    return Predictor(model, catalogue(car, knowledge.modes), ())


def single_faults(predictor: Predictor, n_sets: int) -> list[FaultSet]:
    """Return single faults, evenly chosen."""
    n_causes = len(predictor.causes)
    chosen = np.linspace(0, n_causes - 1, min(n_sets, n_causes)).astype(int)
    return [(cause,) for cause in chosen.tolist()]


def double_faults(predictor: Predictor, n_sets: int) -> list[FaultSet]:
    """Return double faults at random."""
    generator, n_causes = np.random.default_rng(0), len(predictor.causes)
    pairs = [generator.choice(n_causes, 2, replace=False) for _ in range(n_sets)]
    return [tuple(sorted(pair.tolist())) for pair in pairs]


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Operating points to be solved, all draws of a fault set in a state in turn.

    `before` as `CompensationSolver.solve` takes it.
    """

    draw: IntArray
    slots: Slots
    before: IntArray

    def solve(self, solver: CompensationSolver) -> SolvedPoints:
        """Solve them as the first start of a car does."""
        return solver.solve(self.draw, self.slots, self.before, n_together=N_DRAWS)

    def some(self, mask: BoolArray) -> Points:
        """Return some of the fault sets in some states, from rest."""
        rows = np.flatnonzero(mask.repeat(N_DRAWS))
        return Points(
            draw=self.draw[rows],
            slots=self.slots.take(rows),
            before=np.full(len(rows), -1),
        )


def points_of(predictor: Predictor, sets: Sequence[FaultSet]) -> list[Points]:
    """Return the points of fault sets in all states and draws, in chunks."""
    chunks = []
    draws = np.arange(N_DRAWS)
    per_chunk = CHUNK_POINTS // (len(predictor.states) * N_DRAWS)
    for start in range(0, len(sets), per_chunk):
        scenarios = [(chosen, ()) for chosen in sets[start : start + per_chunk]]
        # the same chunks as `predict` solves; what it keeps of them is not timed here
        draw, slots = predictor.points(scenarios, draws)
        before = predictor.points_before(len(scenarios) * N_DRAWS)
        chunks.append(Points(draw=draw, slots=slots, before=before))
    return chunks


def solving_seconds(chunks: Sequence[Points], solver: CompensationSolver) -> float:
    """Return the processor time of solving chunks of points. [s]."""
    return seconds(lambda: [points.solve(solver) for points in chunks])


def batches(parts: Sequence[Points]) -> list[Points]:
    """Return points joined to as many as are solved together."""
    sizes = np.cumsum([len(points.draw) for points in parts])
    number = (sizes - 1) // CHUNK_POINTS
    return [
        joined([parts[k] for k in np.flatnonzero(number == each).tolist()])
        for each in np.unique(number)
    ]


def joined(parts: Sequence[Points]) -> Points:
    """Return points of several chunks as one, all from rest."""
    width = max(points.slots.branch.shape[1] for points in parts)
    branch, curves = [], []
    for points in parts:
        room = width - points.slots.branch.shape[1]
        branch.append(
            np.pad(points.slots.branch, ((0, 0), (0, room)), constant_values=-1)
        )
        curves.append(np.pad(points.slots.curves, ((0, 0), (0, room), (0, 0))))
    draw = np.concatenate([points.draw for points in parts])
    return Points(
        draw=draw,
        slots=Slots(branch=np.concatenate(branch), curves=np.concatenate(curves)),
        before=np.full(len(draw), -1),
    )


def has_event(
    points: Points, solved: SolvedPoints, solver: CompensationSolver
) -> BoolArray:
    """Return where more changes than the branches that the fault changes."""
    found = np.zeros(len(points.draw), dtype=np.bool_)
    found[solved.afresh.points] = True
    for group in solved.changed:
        rows, branch = group.points, group.changes.branch
        own = points.slots.branch[rows]
        is_own = (branch[:, :, None] == own[:, None, :]).any(axis=2)
        found[rows] = (~is_own & (branch >= 0)).any(axis=1)
        if group.base_case is not solver.base_case:
            found[rows] = True
    return found


def rates(predictor: Predictor, kind: str, sets: Sequence[FaultSet]) -> None:
    """Time fault sets, and apart those points with and without events."""
    solver = predictor.solver()
    chunks = points_of(predictor, sets)
    split: dict[str, list[Points]] = {"without": [], "with": []}
    n_split = {"without": 0, "with": 0}
    n_points = n_afresh = 0
    spent = 0.0
    for points in chunks:
        begin = time.process_time()
        solved = points.solve(solver)
        spent += time.process_time() - begin
        events = has_event(points, solved, solver)
        is_changed = (points.slots.branch >= 0).any(axis=1).reshape(-1, N_DRAWS)
        has_events = np.asarray(events.reshape(-1, N_DRAWS).any(axis=1))
        without = np.asarray(is_changed.any(axis=1) & ~has_events)
        split["without"].append(points.some(without))
        split["with"].append(points.some(has_events))
        n_split["without"] += int(without.sum()) * N_DRAWS
        n_split["with"] += int(events.sum())
        n_points += len(points.draw)
        n_afresh += len(solved.afresh.points)
    row(f"{kind} faults, all states and draws: points", n_points, "")
    row("  all", n_points / spent, "points/s")
    for name, parts in split.items():
        used = solving_seconds(batches(parts), solver)
        row(
            f"  {name} events: {100 * n_split[name] / n_points:.0f} %",
            n_split[name] / used,
            "points/s",
        )
    row("  solved afresh", 100 * n_afresh / n_points, "%")


def compare(predictor: Predictor, n_sets: int) -> None:
    """Time the same points by the full matrix and by ngspice.

    Two comparisons with ngspice are of equal work: both are given segments and gates,
    so that only the linear network is solved; or both find them, ngspice in the same
    rounds from rest, one operating point for each. In the third, which is unequal, it
    is given what is found here.
    """
    solver, network = predictor.solver(), predictor.solver().network
    sets = [*single_faults(predictor, n_sets), *double_faults(predictor, n_sets)]
    chunks = points_of(predictor, sets)
    n_points = sum(len(points.draw) for points in chunks)
    ours = n_points / solving_seconds(chunks, solver)
    given = given_rate(solver, chunks)
    plain = OperatingPointSolver(network)
    point = plain.solve(chunks[0].draw, chunks[0].slots)

    def by_full_matrix() -> None:
        for start in range(0, len(point.volts), BLOCK_POINTS):
            some = slice(start, start + BLOCK_POINTS)
            node_volts(network, point.siemens[some], point.amps[some])

    dense = len(point.volts) / seconds(by_full_matrix)
    row("single and double faults, all points", ours, "points/s")
    row("  the linear part alone, segments and gates given", given, "points/s")
    row("  by the full matrix, segments and gates given", dense, "points/s")
    row("  ratio of the linear parts", given / dense, "times")
    if shutil.which("ngspice") is None:
        print("ngspice is not installed: no comparison with it")  # noqa: T201
        return
    noting = _Trail(network)
    rounds = [trail(noting, *chosen) for chosen in ngspice_points(chunks)]
    spice = ngspice_rate(plain, [lines[-1:] for lines in rounds])
    finding = ngspice_rate(plain, rounds)
    n_rounds = sum(map(len, rounds)) / len(rounds)
    row("ngspice, one batch: segments and gates given", spice, "points/s")
    row("  EQUAL WORK, linear: given here too, ratio", given / spice, "times")
    row("ngspice, one batch: segments and gates found", finding, "points/s")
    row("  rounds for each point, as settling needs them", n_rounds, "")
    row("  EQUAL WORK, events: found by both, ratio", ours / finding, "times")
    row("  unequal: found here, given to ngspice, ratio", ours / spice, "times")


def given_rate(solver: CompensationSolver, chunks: Sequence[Points]) -> float:
    """Return how many points are solved a second whose lines are known.

    As ngspice is given them: the linear part alone, from lines to node volts, for every
    point as it is solved otherwise, be that as a small change or from the start.
    """
    plan, network, base = solver._solver.plan, solver.network, solver.base
    plain = np.setdiff1d(np.arange(len(network.branches)), plan.controlled)
    volts = np.empty((max(len(points.draw) for points in chunks), len(network.nodes)))

    def changed(rows: IntArray, lines: Changes, base_case: BaseCase) -> None:
        for start in range(0, len(rows), GIVEN_POINTS):
            some = np.arange(start, min(start + GIVEN_POINTS, len(rows)))
            solved = base_case.changes(
                lines.draw[some],
                lines.branch[some],
                siemens=lines.siemens[some],
                amps=lines.amps[some],
                is_conducting=lines.is_conducting[some],
            )
            volts[rows[some]] = base_case.node_volts(solved)

    def afresh(rows: IntArray, point: OperatingPoint) -> None:
        for start in range(0, len(rows), BLOCK_POINTS):
            some = slice(start, start + BLOCK_POINTS)
            amps = point.amps[some].T
            into = np.zeros((len(network.nodes), 1, amps.shape[1]))
            for branch in plain[(amps != 0.0).any(axis=1)[plain]].tolist():
                into[network.output[branch, 0], 0] -= amps[branch]
                into[network.output[branch, 1], 0] += amps[branch]
            factored = plan.factored(point.siemens[some].T)
            control_amps = amps[list(plan.controlled)][:, None]
            found = factored.volts(into, range(len(into)), control_amps)
            volts[rows[some]] = found[:, 0].T

    spent = n_points = 0.0
    for points in chunks:
        solved = points.solve(solver)
        begin = time.process_time()
        volts[np.flatnonzero(solved.is_base)] = base.volts[points.draw[solved.is_base]]
        for group in solved.changed:
            changed(group.points, group.changes, group.base_case)
        afresh(solved.afresh.points, solved.afresh.solution)
        spent += time.process_time() - begin
        n_points += len(points.draw)
        rests = solved.is_settled
        apart = np.abs(volts[: len(points.draw)] - solved.volts)[rests]
        assert apart.max() < MOST_APART_VOLTS
    return n_points / spent


def ngspice_points(chunks: Sequence[Points]) -> Iterator[tuple[IntArray, Slots]]:
    """Yield the points of one draw at idle, one by one."""
    for points in chunks:
        for row_number in np.flatnonzero(points.draw == IDLE_DRAW):
            some = np.array([row_number])
            yield points.draw[some], points.slots.take(some)


class _Trail(OperatingPointSolver):
    """Notes the lines of the active branches of every round."""

    def __init__(self, network: Network) -> None:
        self.rounds: list[tuple[FloatArray, FloatArray]] = []
        super().__init__(network)

    def _seen(
        self, inner_rows: FloatArray, siemens: FloatArray, amps: FloatArray
    ) -> Seen:
        self.rounds.append((siemens[:, 0].copy(), amps[:, 0].copy()))
        return super()._seen(inner_rows, siemens, amps)


def trail(solver: _Trail, draw: IntArray, slots: Slots) -> list[Lines]:
    """Return the lines of all branches in each round in which a point settles."""
    solver.rounds.clear()
    point = solver.solve(draw, slots)
    lines = []
    for siemens, amps in solver.rounds:
        all_siemens, all_amps = point.siemens[0].copy(), point.amps[0].copy()
        all_siemens[solver.plan.active] = siemens
        all_amps[solver.plan.active] = amps
        lines.append((all_siemens, all_amps))
    return lines


def ngspice_rate(
    plain: OperatingPointSolver, points: Sequence[Sequence[Lines]]
) -> float:
    """Return how many points ngspice solves a second, each in some rounds.

    It is given every advantage: one circuit, whose elements are altered from round to
    round, and its start is not counted.
    """
    base = plain.solve(np.array([IDLE_DRAW]))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "many.cir"
        spent = []
        for some in ([], list(chain.from_iterable(points))):
            path.write_text(script(plain, base, some), encoding="utf-8")
            before = child_seconds()
            subprocess.run(
                ["ngspice", "-b", str(path)], check=False, capture_output=True
            )
            spent.append(child_seconds() - before)
    return len(points) / (spent[1] - spent[0])


def child_seconds() -> float:
    """Return the processor time of ended child processes. [s]."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def script(
    plain: OperatingPointSolver,
    base: OperatingPoint,
    lines: Sequence[Lines],
) -> str:
    """Return a netlist with the commands that solve it with other lines."""
    network = plain.network
    closed = OperatingPoint(
        **{
            name: getattr(base, name)
            for name in OperatingPoint.__dataclass_fields__
            if name not in ("siemens", "amps")
        },
        # every element is written, so that it can be altered
        siemens=np.where(base.siemens == 0.0, 1.0 / OPEN_OHMS, base.siemens),
        amps=np.where(base.amps == 0.0, 1e-15, base.amps),
    )
    is_plain = (network.output == network.control).all(axis=1)
    commands = [".control", "op"]
    siemens, amps = base.siemens[0].copy(), base.amps[0].copy()
    for slopes, offsets in lines:
        for k in np.flatnonzero((slopes != siemens) & is_plain).tolist():
            ohms = 1.0 / slopes[k] if slopes[k] else OPEN_OHMS
            commands.append(f"alter r{k} = {ohms!r}")
        for k in np.flatnonzero((offsets != amps) & is_plain).tolist():
            commands.append(f"alter i{k} = {float(offsets[k])!r}")
        siemens, amps = slopes, offsets
        commands += ["op", "destroy all"]
    commands += ["quit", ".endc", ".end", ""]
    return spice_netlist(network, closed).replace(".end\n", "\n".join(commands))


def growth(predictor: Predictor, n_sets: int) -> None:
    """Print how the time grows with the number of fault sets."""
    solver = predictor.solver()
    spent = {}
    for share in (1, 2, 4, 8):
        chunks = points_of(predictor, double_faults(predictor, n_sets * share // 8))
        spent[n_sets * share // 8] = solving_seconds(chunks, solver)
    longest = max(spent.values())
    for count, used in spent.items():
        bar = "#" * round(48 * used / longest)
        print(f"  {count:5d} double faults {used:7.2f} s {bar}", flush=True)  # noqa: T201


def whole(car: Car, predictor: Predictor, n_sets: int) -> None:
    """Tell what all single and double faults of a car take, from some of them."""
    solver = predictor.solver()
    n_causes = len(predictor.causes)
    n_all = n_causes + n_causes * (n_causes - 1) // 2
    chunks = points_of(predictor, double_faults(predictor, n_sets))
    n_solved = sum(len(points.draw) for points in chunks)
    spent = solving_seconds(chunks, solver)
    n_points = n_all * len(predictor.states) * N_DRAWS
    row(f"{car.title}: nodes", len(predictor.nodes), "")
    row(f"  all single and double faults of {n_causes} causes", n_all, "fault sets")
    row("  in all states, with 64 draws", n_points, "points")
    row(f"  measured on {n_sets} of them", n_solved / spent, "points/s")
    row("  so all of them take", n_points * spent / n_solved, "s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    row("  peak memory so far, results of a chunk at a time", peak, "GiB")
    held = n_points * len(predictor.nodes) * np.dtype(np.float32).itemsize / 2**30
    row("  to hold every node in single precision", held, "GiB")


if __name__ == "__main__":
    main()
