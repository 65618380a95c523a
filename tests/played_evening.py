"""A worked case typed into the plain face, line by line, as its owner would have."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

from diagnose.files.cases.case_file import load_case
from diagnose.files.cases.worked_case import (
    Measured,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import value_words
from diagnose.store.journal import Journal
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.faces.line_face import run_lines, write_page
from diagnose.terminal.pages.questions import opening_page
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.preparation.kept_cases import opened_store
from diagnose.terminal.preparation.prepared_car import prepared_model

# Longest line of the record: what a pipe gets, where no terminal says otherwise, in
# characters.
WIDTH = 80


class TypedLines(StringIO):
    """Lines that are made up only when they are read: what to type is then known."""

    def __init__(self, lines: Iterator[str]) -> None:
        super().__init__()
        self._lines = lines

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
        del size  # a whole line, always
        return next(self._lines, "")


def played(case: WorkedCase, model: Model, folder: Path) -> str:
    """Return what the plain face writes when a worked case is typed into it.

    Parameters
    ----------
    folder : Path
        Where the case is kept.
    """
    sink = StringIO()
    with opened_store(folder) as store:
        stored = store.create(name="", car_path=f"{case.car}.yaml", car_text="")
        casebook = Casebook(Diagnosis(model), Journal(store, name=stored.name))
        note = casebook.diagnosis.safety_note
        write_page(sink, opening_page(model.car.title, stored.name, note), WIDTH)
        run_lines(
            Conversation(casebook),
            source=TypedLines(f"{line}\n" for line in _lines(case, casebook)),
            sink=sink,
            width=WIDTH,
        )
    return sink.getvalue()


def _lines(case: WorkedCase, casebook: Casebook) -> Iterator[str]:
    complaints = list(casebook.diagnosis.vocabulary.complaints)
    yield str(1 + complaints.index(case.complaint))
    for context, answer in case.history.items():
        yield f"context {context} {answer}"
    yield "skip all"
    for step in case.steps:
        yield _typed(step.event, casebook)
    yield "leave"


def _typed(event: Seen | Measured | Tried | Repaired, casebook: Casebook) -> str:
    match event:
        case Tried(substitution=change, seen=seen):
            ends = " ".join(filter(None, (change.at, change.to)))
            words = _typed(seen, casebook)
            told = words.removeprefix("symptom ").removeprefix("look ")
            return f"{change.kind.value} {ends} {told}"
        case Repaired(cause=cause):
            return "done" if casebook.answer.advice.cause == cause else f"done {cause}"
        case Seen(symptom=symptom, is_present=is_present):
            answer = "yes" if is_present else "no"
            if _is_asked(SymptomCheck(symptom=symptom), casebook):
                return answer
            return f"symptom {symptom} {answer}"
        case Measured(reading=reading, value=value):
            words = value_words(value, reading.kind).removesuffix(" V")
            if _is_asked(reading, casebook):
                return words
            if reading.kind is ReadingKind.LOOK:
                return f"look {reading.red} {words}"
            return (
                f"read {reading.kind.value} {reading.red} {reading.black} "
                f"{reading.state} {words}"
            )


def _is_asked(step: Step, casebook: Casebook) -> bool:
    asked = casebook.answer.next_steps
    return bool(asked) and asked[0].step == step


def main() -> None:
    """Print a shipped case as the plain face writes it: ``NAME``."""
    root = Path(__file__).resolve().parents[1]
    case = load_case(root / "cases" / f"{sys.argv[1]}.yaml")
    knowledge = published_knowledge()
    car = open_car(case.car, knowledge)
    with tempfile.TemporaryDirectory() as folder:
        model = prepared_model(car, knowledge)
        sys.stdout.write(played(case, model, Path(folder)))


if __name__ == "__main__":
    main()
