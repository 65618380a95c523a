"""Which tests run each line of some folders, and how long they take.

Used by `tests.mutation_sample`. A fixture that tests share runs once, under a name of
its own, and counts for every test that asks for it; what a test module runs while it is
imported counts for all its tests.
"""

from __future__ import annotations

import contextlib
import json
import re
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

# Test modules tried before the rest: most changes die in the quickest few.
FIRST_MODULES = 5


class Recorder:
    """A pytest plugin: which lines each test and each shared fixture runs."""

    def __init__(self, folders: Sequence[str]) -> None:
        import coverage

        self.coverage = coverage.Coverage(
            data_file=None, config_file=False, include=list(folders)
        )
        self.seconds: dict[str, float] = defaultdict(float)
        self.fixtures: dict[str, list[str]] = {}
        self.inside = [""]
        self.since = time.process_time()
        self.coverage.start()

    def _turn(self) -> None:
        now = time.process_time()
        self.seconds[self.inside[-1]] += now - self.since
        self.since = now

    @contextlib.contextmanager
    def within(self, name: str) -> Iterator[None]:
        """Count lines and seconds for a test or a fixture."""
        self._turn()
        self.inside.append(name)
        self.coverage.switch_context(name)
        try:
            yield
        finally:
            self._turn()
            self.inside.pop()
            self.coverage.switch_context(self.inside[-1])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: Any) -> Iterator[None]:
        shared = item._fixtureinfo.name2fixturedefs.values()
        self.fixtures[item.nodeid] = [_label(one[-1]) for one in shared]
        with self.within(item.nodeid):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector: Any) -> Iterator[None]:
        if not isinstance(collector, pytest.Module):
            return (yield)
        with self.within(collector.nodeid):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[None]:
        if fixturedef.scope == "function":
            return (yield)
        with self.within(_label(fixturedef)):
            return (yield)

    def save(self, path: Path) -> None:
        """Write seconds, fixtures, and the numbers of the tests that run each line."""
        self._turn()
        self.coverage.stop()
        data, here = self.coverage.get_data(), Path.cwd()
        number = {name: place for place, name in enumerate(self.seconds)}
        lines = {
            str(Path(file).relative_to(here)): {
                line: [number[name] for name in names]
                for line, names in data.contexts_by_lineno(file).items()
            }
            for file in data.measured_files()
        }
        path.write_text(json.dumps([self.seconds, self.fixtures, lines]))


def _label(fixture: Any) -> str:
    return f"{fixture.baseid}:{fixture.argname}"


class Covering:
    """The tests of a statement, from what a recorder wrote."""

    def __init__(self, path: Path) -> None:
        self.seconds, self.fixtures, self.lines = json.loads(path.read_text())
        self._names = list(self.seconds)

    def tests(
        self, path: str, lines: Iterable[int], bound: frozenset[str]
    ) -> list[str]:
        """Return the tests that run some lines of a file.

        For lines that run on import, those of the lines that use the names bound there,
        and of the test modules that do; for names that none uses, all of the file.
        """
        found = self._at(path, lines)
        if not found and bound:
            named = re.compile(rf"\b({'|'.join(map(re.escape, bound))})\b")
            for other in self.lines:
                text = enumerate(Path(other).read_text().split("\n"), start=1)
                found |= self._at(other, [n for n, line in text if named.search(line)])
            modules = {test.split("::")[0] for test in self.fixtures}
            using = {one for one in modules if named.search(Path(one).read_text())}
            found |= {test for test in self.fixtures if test.split("::")[0] in using}
        return sorted(found or self._at(path, map(int, self.lines.get(path, ()))))

    def _at(self, path: str, lines: Iterable[int]) -> set[str]:
        own = self.lines.get(path, {})
        numbers = {number for line in lines for number in own.get(str(line), ())}
        entered = {self._names[number] for number in numbers} - {""}
        return {
            test
            for test, fixtures in self.fixtures.items()
            if not entered.isdisjoint([test, test.split("::")[0], *fixtures])
        }

    def batches(
        self, tests: Sequence[str], most_seconds: float, *, nearest: str
    ) -> list[list[str]]:
        """Return tests module by module, the quickest first, in one or two batches.

        Modules below the folder `nearest` are chosen first, then others, the quickest
        first. One that would bring them over `most_seconds`, a fixture that modules
        share counted once, is left out with all that follow; the first never is.
        """
        modules: dict[str, list[str]] = defaultdict(list)
        for test in tests:
            modules[test.split("::")[0]].append(test)
        cost = {module: self.cost(own) for module, own in modules.items()}
        chosen: list[str] = []
        spent: list[str] = []
        for module in sorted(cost, key=lambda m: (not m.startswith(nearest), cost[m])):
            spent += modules[module]
            if chosen and self.cost(spent) > most_seconds:
                break
            chosen.append(module)
        chosen.sort(key=cost.__getitem__)
        parts = (chosen[:FIRST_MODULES], chosen[FIRST_MODULES:])
        batches = [[test for one in part for test in modules[one]] for part in parts]
        return [batch for batch in batches if batch]

    def cost(self, tests: Sequence[str]) -> float:
        """Return what tests take with the fixtures they share. [s]."""
        shared = {one for test in tests for one in self.fixtures[test]}
        return float(sum(self.seconds.get(one, 0.0) for one in {*tests, *shared}))
