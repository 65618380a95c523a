"""Learning from the command line: shown, kept, used, taken back, pooled."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.errors import DiagnoseError, InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_lines import line_of
from diagnose.inference.learning.closed_cases import ClosedCase
from diagnose.inference.learning.counting import BATCH
from diagnose.session.fact_rows import fact_to_row
from diagnose.session.facts import ComplaintFact, Fact, RepairFact, SymptomFact
from diagnose.store.case_store import CaseStore
from diagnose.terminal.preparation.learned_shares import knowledge_in_use
from diagnose.terminal.reports.closed_cases import (
    drop_import,
    export_cases,
    import_cases,
)
from diagnose.terminal.reports.learn_listing import learn, learn_there, undo
from tests.terminal.conftest import CAR, clock

CLOSED: tuple[Fact, ...] = (
    ComplaintFact(complaint="no-crank"),
    RepairFact(cause="starter:worn"),
    SymptomFact(symptom="engine-cranks", is_present=True),
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a data folder with one closed and one open case."""
    keep_case("sunday", CLOSED, tmp_path)
    keep_case("monday", CLOSED[:2], tmp_path)
    return tmp_path


def keep_case(name: str, facts: Sequence[Fact], folder: Path) -> None:
    with CaseStore(folder, clock=clock) as store:
        store.create(name=name, car_path=str(CAR), car_text=CAR.read_text())
        rows = [fact_to_row(fact) for fact in facts]
        store.append(name, rows, after=0, standing="")


def pooled_file(path: Path, count: int) -> Path:
    """Write closed cases of others, all a worn starter."""
    cases = (
        ClosedCase(
            case_id=f"{i:032x}",
            complaint="no-crank",
            history={},
            parts={("starter", "starter"): 1, ("battery", "battery"): 1},
            group=("starter", "starter"),
            mode="worn",
        )
        for i in range(count)
    )
    path.write_text("".join(line_of(case) + "\n" for case in cases))
    return path


def rate_in_use(folder: Path, knowledge: Knowledge) -> float:
    return starter_rate(knowledge_in_use(folder, knowledge)[0])


def starter_rate(knowledge: Knowledge) -> float:
    return next(
        m.rate for m in knowledge.modes if (m.kind, m.name) == ("starter", "worn")
    )


def learned_text(folder: Path, knowledge: Knowledge, *, is_json: bool = False) -> str:
    sink = StringIO()
    learn(folder, knowledge, is_json=is_json, sink=sink)
    return sink.getvalue()


def imported(source: Path, folder: Path, knowledge: Knowledge) -> str:
    sink = StringIO()
    import_cases(folder, knowledge, source=source, sink=sink)
    return sink.getvalue()


def exported(out: Path, folder: Path, knowledge: Knowledge) -> str:
    sink = StringIO()
    export_cases(folder, knowledge, out=out, sink=sink)
    return sink.getvalue()


def test_learning_counts_closed_cases_only(folder: Path, knowledge: Knowledge) -> None:
    found = json.loads(learned_text(folder, knowledge, is_json=True))

    assert (found["cases"], found["open_cases"], found["left_out_cases"]) == (1, 1, 0)
    assert [s["modes"] for s in found["shares"] if s["seen"]] == [["worn"]]


def test_learning_says_what_the_published_shares_count_for(
    folder: Path, knowledge: Knowledge
) -> None:
    shown = learned_text(folder, knowledge)

    assert "the published shares count as 200 cases" in shown


def test_next_start_uses_what_was_learned_until_it_is_taken_back(
    folder: Path, knowledge: Knowledge
) -> None:
    learned_text(folder, knowledge)
    learned = rate_in_use(folder, knowledge)

    undo(folder, StringIO())

    assert learned > starter_rate(knowledge)
    assert rate_in_use(folder, knowledge) == starter_rate(knowledge)


def test_learning_twice_counts_no_case_twice(
    folder: Path, knowledge: Knowledge
) -> None:
    learned_text(folder, knowledge)
    once = rate_in_use(folder, knowledge)
    learned_text(folder, knowledge)

    assert rate_in_use(folder, knowledge) == once


def test_imported_cases_are_learned_from_too(
    folder: Path, knowledge: Knowledge
) -> None:
    imported(pooled_file(folder / "club.jsonl", 60), folder, knowledge)

    shown = learned_text(folder, knowledge)

    assert "closed cases learned from: 61" in shown
    assert "starter: worn" in shown


def test_change_is_shown_against_what_held_before(
    folder: Path, knowledge: Knowledge
) -> None:
    # Learned again from the same cases, nothing moves any more.
    imported(pooled_file(folder / "club.jsonl", 60), folder, knowledge)
    learned_text(folder, knowledge)

    assert "no rate moved" in learned_text(folder, knowledge)


def test_exported_cases_can_be_imported_elsewhere(
    folder: Path, knowledge: Knowledge
) -> None:
    out = folder / "mine.jsonl"
    exported(out, folder, knowledge)

    assert "new closed cases: 1" in imported(out, folder / "elsewhere", knowledge)


def test_export_says_what_it_holds(folder: Path, knowledge: Knowledge) -> None:
    shown = exported(folder / "mine.jsonl", folder, knowledge)

    assert "no names, no dates, no readings, no car file" in shown


def test_export_holds_nothing_that_was_typed_as_a_name(
    folder: Path, knowledge: Knowledge
) -> None:
    out = folder / "mine.jsonl"
    exported(out, folder, knowledge)

    text = out.read_text()
    assert [word for word in ("sunday", "hill", "2031", "cars/") if word in text] == []


def test_wrong_line_leaves_the_pool_as_it_was(
    folder: Path, knowledge: Knowledge
) -> None:
    pooled = pooled_file(folder / "club.jsonl", 3)
    with pooled.open("a") as file:
        file.write('{"closed-case": 1}\n')

    with pytest.raises(InvalidFileError, match=r'club.jsonl:4:1: "id" is missing'):
        imported(pooled, folder, knowledge)

    assert json.loads(learned_text(folder, knowledge, is_json=True))["cases"] == 1


def test_dropped_import_is_no_longer_learned_from(
    folder: Path, knowledge: Knowledge
) -> None:
    imported(pooled_file(folder / "club.jsonl", 5), folder, knowledge)
    drop_import(folder, StringIO())

    assert json.loads(learned_text(folder, knowledge, is_json=True))["cases"] == 1


def test_without_a_closed_case_learning_says_what_closes_one(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    keep_case("monday", CLOSED[:1], tmp_path)

    with pytest.raises(DiagnoseError, match=r"no case is closed yet \(1 open\)"):
        learned_text(tmp_path, knowledge)


def test_nothing_learned_can_not_be_taken_back(tmp_path: Path) -> None:
    with pytest.raises(DiagnoseError, match="nothing is learned"):
        undo(tmp_path, StringIO())


def test_case_whose_car_no_longer_reads_is_left_out_with_the_reason(
    folder: Path, knowledge: Knowledge
) -> None:
    with CaseStore(folder, clock=clock) as store:
        store.create(name="wreck", car_path="wreck.yaml", car_text="car-file: 1\n")
        rows = [fact_to_row(fact) for fact in CLOSED]
        store.append("wreck", rows, after=0, standing="")

    assert "left out: case wreck: " in learned_text(folder, knowledge)


def test_damaged_file_of_shares_does_not_stop_a_diagnosis(
    folder: Path, knowledge: Knowledge
) -> None:
    learned_text(folder, knowledge)
    (folder / "learned" / "0001.json").write_text("{")

    found, remarks = knowledge_in_use(folder, knowledge)

    assert found is knowledge
    assert "not used" in remarks[0]


def test_shares_of_other_published_rates_are_not_used(
    folder: Path, knowledge: Knowledge
) -> None:
    learned_text(folder, knowledge)
    corrected = replace(
        knowledge, modes=tuple(replace(m, rate=m.rate / 2) for m in knowledge.modes)
    )

    found, remarks = knowledge_in_use(folder, corrected)

    assert found is corrected
    assert "learn again by: diagnose learn" in remarks[0]


def test_cluster_of_two_learns_the_same(
    folder: Path, knowledge: Knowledge, cluster_address: str
) -> None:
    # Three batches, the last one short.
    imported(pooled_file(folder / "club.jsonl", 2 * BATCH + 10), folder, knowledge)
    here = learned_text(folder, knowledge, is_json=True)

    sink = StringIO()
    learn_there(folder, knowledge, is_json=True, sink=sink, address=cluster_address)

    assert sink.getvalue() == here


def test_command_line_learns_and_takes_back(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--data-folder", str(folder)]

    codes = [main(["learn", *way, *where]) for way in ([], ["--undo"], ["--undo"])]

    assert codes == [0, 0, 1]
    shown = capsys.readouterr()
    assert "closed cases learned from: 1;" in shown.out
    assert "the published shares hold" in shown.out
    assert "nothing to take back" in shown.err
