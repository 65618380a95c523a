"""Whatever interrupts the keeping of a fact, memory and disk hold the same facts.

Ctrl-C is raised at the n-th line that is run, for every n, in the modules between a
fact told and a fact that counts.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

import diagnose
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.measurement.symptoms import Context
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.fact_rows import fact_to_row, standing_rows
from diagnose.session.facts import (
    ContextFact,
    SubstitutionFact,
    SymptomFact,
    UndoFact,
)
from diagnose.session.ready_car import Model, open_model
from diagnose.store.case_store import CaseStore
from diagnose.store.journal import Journal
from tests.lamp_car import CAR, CONTEXTS, make_knowledge

# The modules that keep a fact, each interrupted at every line.
KEEPING = frozenset(
    str(Path(diagnose.__file__).parent / module)
    for module in (
        "session/casebook.py",
        "session/diagnosis.py",
        "store/journal.py",
        "store/case_store.py",
        "store/database.py",
    )
)

# More lines than keeping a fact runs: the search for the last one ends before.
MOST_LINES = 2000

Act = Callable[[Casebook], object]


class Interruption:
    """Raises Ctrl-C at the n-th line of some modules, once."""

    def __init__(self, n: int, modules: frozenset[str]) -> None:
        self._left, self._modules = n, modules
        self.has_come = False

    def trace(self, frame: FrameType, event: str, _: object) -> Any:
        if frame.f_code.co_filename not in self._modules:
            return None
        if event == "line" and not self.has_come:
            self._left -= 1
            if self._left < 0:
                self.has_come = True
                raise KeyboardInterrupt
        return self.trace

    @contextmanager
    def __call__(self) -> Iterator[None]:
        before = sys.gettrace()
        sys.settrace(self.trace)
        try:
            yield
        except KeyboardInterrupt:
            assert self.has_come
        finally:
            sys.settrace(before)


def clock() -> datetime:
    return datetime(2031, 5, 4, 19, 30, tzinfo=UTC)


# Questions about the history: nothing is quicker to conclude from.
QUESTIONS = CONTEXTS + tuple(
    Context(name=name, question=f"{name}?", states={"yes": 0.5, "no": 0.5})
    for name in ("painted", "towed")
)
*FACTS, ANOTHER = (
    ContextFact(context=one.name, answer=next(iter(one.states))) for one in QUESTIONS
)

# A test with the circuit changed.
SWAPPED = SubstitutionFact(
    substitution=Substitution(kind=SubstitutionKind.SWAP, at="lamp"),
    seen=SymptomFact(symptom="lamp-shines", is_present=False),
)


class Desk:
    """A diagnosis that is put back to the same three facts again and again."""

    def __init__(self, model: Model) -> None:
        self.diagnosis = Diagnosis(model)
        self._begun = self.diagnosis.consider(FACTS)

    def casebook(self, store: CaseStore, name: str) -> Casebook:
        """Return a casebook of a new case with those facts."""
        store.create(name=name, car_path="car.yaml", car_text="")
        journal = Journal(store, name=name)
        journal.append([fact_to_row(fact) for fact in FACTS], standing="open")
        self.diagnosis.take(self._begun)
        return Casebook(self.diagnosis, journal)


@pytest.fixture(scope="module")
def desk() -> Desk:
    knowledge = replace(make_knowledge(), contexts=QUESTIONS)
    return Desk(open_model(CAR, knowledge, n_draws=8))


@pytest.fixture
def unsynced_store(tmp_path: Path) -> Iterator[CaseStore]:
    """Return a store that does not wait for the disk: no power fails in these tests."""
    with CaseStore(tmp_path, clock=clock) as store:
        store.rows("PRAGMA synchronous = OFF")
        yield store


ACTS: dict[str, Act] = {
    "tell": lambda casebook: casebook.tell(ANOTHER),
    "undo": lambda casebook: casebook.tell(UndoFact()),
    "strike": lambda casebook: casebook.strike(2),
    "test": lambda casebook: casebook.tell(SWAPPED),
}


@pytest.mark.parametrize("name", ACTS)
def test_memory_and_disk_agree_wherever_ctrl_c_comes(
    name: str, desk: Desk, unsynced_store: CaseStore
) -> None:
    store, act = unsynced_store, ACTS[name]
    lengths = set()
    for n in range(MOST_LINES):
        casebook = desk.casebook(store, f"case-{n}")
        interruption = Interruption(n, KEEPING)
        with interruption():
            act(casebook)
        told = tuple(fact_to_row(fact) for fact in casebook.standing)
        on_disk = store.facts(casebook.journal.name)
        lengths.add(len(on_disk))

        assert standing_rows(on_disk) == told, f"interrupted at line {n}"
        casebook.journal.append([fact_to_row(ANOTHER)], standing="open")
        assert len(store.facts(casebook.journal.name)) == len(on_disk) + 1
        if not interruption.has_come:
            break
    else:
        pytest.fail("the act never ended by itself")
    assert len(lengths) == 2  # some acts were kept whole, the others not at all
