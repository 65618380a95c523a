"""Changes the code at random places, one at a time, and tells which no test notices.

``python -m tests.mutation_sample --seed 1 --number 600``, with cosmic-ray and coverage
installed beside the development tools. A sample, seeded and stratified by area: one
change is drawn for each place drawn, so that an operator with six replacements counts
once. Left out are annotations, decorators and `strict=` of zip, on which no behaviour
hangs; stars that gather or hand on arguments, which are no arithmetic; and constants
that say how much is worked on or kept in memory at once (`AMOUNTS`), or whose comment
says that their value was measured, on which only time and memory hang. A changed module
runs in a forked process against the tests that run the changed statement, the quickest
modules first, until one fails or `--most-seconds` are through.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib.abc
import importlib.machinery
import importlib.util
import os
import pkgutil
import random
import re
import resource
import signal
import sys
import tempfile
import types
import warnings
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice, takewhile
from pathlib import Path
from typing import Any

import pytest

from tests.covering import Covering, Recorder

# The share of the sample that falls on each area: the small ones get more than their
# size, so that their own share of survivors means something.
SHARES = {"circuit": 0.45, "inference": 0.3, "measurement": 0.15}
SHARES |= {"units.py": 0.05, "typed_readings.py": 0.05}
# What can notice a change; tests of the screen and of the trial are left out, for they
# take longest.
TESTS = [*(f"diagnose/{area}" for area in SHARES), "tests/test_units.py"]
TESTS += ["tests/test_units_limits.py"]
TESTS += [f"tests/{area}" for area in ("circuit", "inference", "measurement", "faults")]
TESTS += ["tests/session", "tests/store", "tests/files"]
# Imported before the fork, since each takes a while and none is ever changed.
HEAVY = [
    "numpy.testing",
    "scipy.stats",
    "hypothesis",
    "pydantic",
    "yaml",
]
HEAVY += ["pgmpy.models", "pgmpy.inference", "pgmpy.readwrite", "pyagrum", "jsonschema"]
PYTEST = ["-q", "-n0", "-p", "no:cacheprovider", "--no-header", "--tb=no"]
PYTEST += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
# Operators that mean something where they stand, in place of one another.
FAMILIES = ["Add Sub Mul Div FloorDiv Mod Pow", "BitOr BitAnd BitXor", "Is IsNot"]
FAMILIES += ["Eq NotEq Lt LtE Gt GtE", "UAdd USub Invert Nothing", "Delete_Not"]
SKIPPED = ["VariableReplacer", "VariableInserter", "RemoveDecorator"]
# A word in the name of a constant that says how much is worked on or kept at once.
AMOUNTS = re.compile(r"(^|_)(AT_ONCE|BATCH|BLOCK|BYTES|CHUNK|REMEMBERED|ROWS)(_|$)")
# Where stars are no arithmetic, beside those cosmic-ray leaves out itself.
NO_SUMS = ["parameters", "lambdef", "dictorsetmaker"]
ENDS = ["killed", "timed out", "survived", "untested"]


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one file; the lines and the names of the statement it stands in."""

    path: str
    line: int
    lines: range
    names: frozenset[str]
    before: str
    after: str

    def __str__(self) -> str:
        pairs = zip(self.before.split("\n"), self.after.split("\n"), strict=False)
        was, now = next(((a, b) for a, b in pairs if a != b), ("", "no change"))
        return f"{self.path}:{self.line}\n    - {was.strip()}\n    + {now.strip()}"


def places(path: Path) -> list[tuple[Path, int, list[tuple[Any, int]]]]:
    """Return each place of a file with its line and the changes of one kind there."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.operators.provider import OperatorProvider

    source = path.read_text()
    barred, nodes = list(_barred(source)), list(ast_nodes(get_ast(source)))
    stars = {n.start_pos for n in nodes if n.parent and n.parent.type in NO_SUMS}
    found: dict[tuple[Any, str], list[tuple[Any, int]]] = defaultdict(list)
    provider = OperatorProvider()
    for name in provider:
        kind, _, swap = name.partition("_")
        ends = swap.split("_", 1)
        if name in SKIPPED or not any(all(e in f for e in ends) for f in FAMILIES):
            continue
        starts = [s for n in nodes for s, _ in provider[name]().mutation_positions(n)]
        for number, start in enumerate(starts):
            if not any(low <= start < high for low, high in barred) and (
                kind != "ReplaceBinaryOperator" or start not in stars
            ):
                found[start, kind].append((provider[name](), number))
    return [(path, start[0], changes) for (start, _), changes in found.items()]


def _barred(source: str) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield where no change is drawn: annotations, decorators, `strict`, `AMOUNTS`."""
    lines = source.split("\n")
    for node in ast.walk(ast.parse(source)):
        parts = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        parts += getattr(node, "decorator_list", [])
        if isinstance(node, ast.keyword) and node.arg == "strict":
            parts.append(node.value)
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            is_amount = AMOUNTS.search(node.targets[0].id) is not None
            parts += [node.value] * (is_amount or _is_measured(lines, node.lineno))
        for part in filter(None, parts):
            yield (part.lineno, part.col_offset), _end(part)
        if isinstance(node, ast.arguments) and node.kwonlyargs:
            before: list[ast.arg | ast.expr] = [*node.args, *node.defaults]
            named = node.kwonlyargs[0]
            start = max(map(_end, before), default=(0, 0))
            place = (named.lineno, named.col_offset)
            yield max(start, (place[0] - 1, 0)), place


def _end(node: ast.expr | ast.arg) -> tuple[int, int]:
    return node.end_lineno or node.lineno, node.end_col_offset or 0


def changed(path: Path, line: int, operator: Any, number: int) -> Mutant:
    """Return a change of a file, with what its tests are looked up by."""
    from cosmic_ray.mutating import mutate_code

    source = path.read_text()
    around = [
        node
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or 0)
    ]
    own = around[-1]  # the innermost: walk goes from outside in
    body: list[ast.stmt] = getattr(own, "body", [])
    end = max(own.lineno + 1, body[0].lineno) if body else (own.end_lineno or 0) + 1
    bound = [n.id for n in ast.walk(own) if isinstance(n, ast.Name)][:1]
    return Mutant(
        path=str(path),
        line=line,
        lines=range(own.lineno, end),
        names=frozenset([own.name] if hasattr(own, "name") else bound),
        before=source,
        after=mutate_code(source, operator, number) or source,
    )


class Chosen:
    """A pytest plugin: run these tests and no others, in this order."""

    def __init__(self, tests: list[str]) -> None:
        self.place = {test: number for number, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid in self.place]
        items.sort(key=lambda item: self.place[item.nodeid])


class Failures:
    """A pytest plugin: the tests that fail."""

    def __init__(self) -> None:
        self.tests: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.tests.append(f"{report.nodeid} ({report.when})")


class Changed(importlib.abc.MetaPathFinder):
    """Finds the module of a mutant, to be loaded changed."""

    def __init__(self, one: Mutant) -> None:
        path = one.path.removesuffix(".py").removesuffix("/__init__")
        self.name = path.replace("/", ".")
        self.loader = _Loader(self.name, str(Path(one.path).resolve()))
        self.loader.after = one.after

    def find_spec(self, name: str, *_: Any) -> importlib.machinery.ModuleSpec | None:
        if name != self.name:
            return None
        path, loader = self.loader.path, self.loader
        return importlib.util.spec_from_file_location(name, path, loader=loader)

    def load(self) -> None:
        """Load the module; now, for pytest's own loader takes those it is given."""
        sys.meta_path.insert(0, self)
        importlib.import_module(self.name)


class _Loader(importlib.machinery.SourceFileLoader):
    after = ""

    def get_code(self, fullname: str) -> types.CodeType:  # noqa: ARG002
        return compile(self.after, self.path, "exec", dont_inherit=True)


def forked(work: Callable[[], int], cpu_seconds: int) -> int:
    """Return the exit code of work in a forked process; negative when out of time."""
    child = os.fork()
    if not child:
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds + 1))
        signal.alarm(20 * cpu_seconds)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = 1
        with contextlib.suppress(BaseException):
            code = work()
        os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def tried(one: Mutant, covering: Covering, most_seconds: float) -> str:
    """Return what became of a change, one of `ENDS`."""
    tests = covering.tests(one.path, one.lines, one.names)
    nearest = f"tests/{one.path.split('/')[1]}/"
    for batch in covering.batches(tests, most_seconds, nearest=nearest):

        def work(batch: list[str] = batch) -> int:
            Changed(one).load()
            modules = dict.fromkeys(test.split("::")[0] for test in batch)
            return int(pytest.main([*PYTEST, "-x", *modules], [Chosen(batch)]))

        code = forked(work, int(30 + 3 * covering.cost(batch)))
        if code:
            return "killed" if code > 0 else "timed out"
    return "survived" if tests else "untested"


def check(one: Mutant, covering: Covering, most_seconds: float) -> None:
    """Stop if the file unchanged does not live, or does when it can't be loaded."""
    same, broken = one.before, f"{one.before}\n1 / 0\n"
    for after, ends in ((same, ("survived", "untested")), (broken, ("killed",))):
        end = tried(replace(one, after=after), covering, most_seconds)
        if end not in ends and covering.tests(one.path, one.lines, one.names):
            sys.exit(f"{one.path} {'un' * (after == same)}changed: {end}")


def covered(kept: Path, tests: list[str]) -> Covering:
    """Return which tests run what, recorded now unless it is kept.

    Of all folders, for a constant of an area may be used in others alone.
    """

    def work() -> int:
        # first, so that a test module is not taken to run what it merely imports
        for one in pkgutil.walk_packages(["diagnose"], "diagnose."):
            if not one.name.endswith("__main__"):
                importlib.import_module(one.name)
        recorder, failures = Recorder(["diagnose/*"]), Failures()
        code = int(pytest.main([*PYTEST, *tests], [recorder, failures]))
        recorder.save(kept)
        failed.write_text("\n".join(failures.tests))
        return code

    failed = kept.with_suffix(".failed")
    if not kept.exists() and (code := forked(work, 3600)):
        names = failed.read_text() if failed.exists() else f"ended with {code}"
        kept.unlink(missing_ok=True)
        sys.exit(f"tests fail before anything is changed:\n{names}")
    return Covering(kept)


def _is_measured(lines: list[str], number: int) -> bool:
    """Return whether the comment above a line says that its value was measured."""
    above = reversed(lines[: number - 1])
    comment = takewhile(lambda line: line.startswith("#"), above)
    return "measured" in " ".join(comment).lower()


def sampled(area: str, number: int, seed: int) -> tuple[int, list[Mutant]]:
    """Return how many places an area has, and changes at some of them.

    Each area draws for itself: the same whichever others are asked for.
    """
    chance = random.Random(f"{seed} {area}")
    root = Path("diagnose", area)
    files = sorted(root.rglob("*.py")) if root.is_dir() else [root]
    every = [place for file in files for place in places(file)]
    some = chance.sample(every, len(every))
    mutants = (changed(p, n, *chance.choice(found)) for p, n, found in some)
    return len(every), list(islice(filter(_is_python, mutants), number))


def _is_python(one: Mutant) -> bool:
    """Return whether a change leaves Python; what does not needs no test."""
    with contextlib.suppress(SyntaxError):
        ast.parse(one.after)
        return one.after != one.before
    return False


def report(rows: dict[str, tuple[int, Counter[str]]]) -> str:
    """Return a line for each area and one for all, weighed by their places."""
    form = "{:<12} {:>7} {:>8} {:>7} {:>9} {:>9} {:>9} {:>10}"
    lines = [form.format("area", "places", "mutants", *ENDS, "not killed")]
    every = sum(size for size, _ in rows.values())
    mean = variance = 0.0
    for area, (size, ends) in rows.items():
        share = (ends["survived"] + ends["untested"]) / ends.total()
        mean += size / every * share
        variance += (size / every) ** 2 * share * (1.0 - share) / ends.total()
        counts = [ends[end] for end in ENDS]
        lines.append(form.format(area, size, ends.total(), *counts, f"{share:.1%}"))
    half = 1.96 * variance**0.5
    lines.append(f"all, weighed by places: {mean:.1%} ± {half:.1%} (19 times in 20)")
    return "\n".join(lines)


def main() -> None:
    """Write out the changes that no test notices, and a table of all."""
    options = argparse.ArgumentParser()
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--number", type=int, default=600, help="changes in all")
    options.add_argument("--most-seconds", type=float, default=60.0, help="for each")
    options.add_argument("--areas", nargs="+", choices=SHARES, default=list(SHARES))
    options.add_argument("--tests", nargs="+", default=TESTS)
    options.add_argument("--coverage", type=Path, help="kept here, and used if there")
    chosen = options.parse_args()
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    for name in HEAVY:
        with contextlib.suppress(ImportError), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            importlib.import_module(name)
    kept = chosen.coverage or Path(tempfile.mkdtemp(), "coverage.json")
    covering, rows = covered(kept, chosen.tests), {}
    parts = sum(SHARES[area] for area in chosen.areas)
    for area in chosen.areas:
        number = round(chosen.number * SHARES[area] / parts)
        size, mutants = sampled(area, number, chosen.seed)
        check(mutants[0], covering, chosen.most_seconds)
        ends: Counter[str] = Counter()
        for one in mutants:
            end = tried(one, covering, chosen.most_seconds)
            ends[end] += 1
            if end in ENDS[2:]:
                sys.stdout.write(f"{end} {one}\n")
                sys.stdout.flush()
        check(mutants[-1], covering, chosen.most_seconds)
        rows[area] = size, ends
    sys.stdout.write(report(rows) + "\n")


if __name__ == "__main__":
    main()
