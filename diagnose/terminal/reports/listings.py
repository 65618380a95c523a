"""What is printed once, to be read or piped on: cases, checks, expansions."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.files.car.car_file import load_car
from diagnose.files.car.checks.doubts import car_warnings
from diagnose.files.car.part_rows import PartRow, ValueRow, describe_expansion
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.store.case_store import (
    STORE_FILE,
    CaseStore,
    StoredCase,
    default_data_folder,
)
from diagnose.terminal.car_names import car_file, utc_now
from diagnose.terminal.safe_text import clean


def list_cases(data_folder: Path | None, sink: TextIO) -> None:
    """List the stored cases, the one worked on latest first.

    Raises
    ------
    StoreError
        If the store can't be read.
    """
    folder = data_folder or default_data_folder()
    cases: tuple[StoredCase, ...] = ()
    if (folder / STORE_FILE).exists():
        with CaseStore(folder, clock=utc_now) as store:
            cases = store.cases()
    if not cases:
        sink.write("no case is stored yet; begin one by: diagnose start CAR\n")
    for case in cases:
        _write_lines(sink, _case_lines(case))


def check_car_file(name: str, sink: TextIO) -> None:
    """Say that a car file is sound, how much it describes, and what is doubtful.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with it.
    """
    car = open_car(name)
    warnings = car_warnings(car)
    _write_lines(sink, tuple(str(warning) for warning in warnings))
    count = len(warnings)
    doubts = f", with {count} warning{'s' if count > 1 else ''}" if count else ""
    _write_lines(
        sink,
        (
            f"{name}: sound{doubts}. {car.title}: {len(car.parts)} parts, "
            f"{len(car.test_points)} test points, {len(car.states)} operating states.",
        ),
    )


def list_expansion(name: str, sink: TextIO) -> None:
    """List every part a car file stands for, and where each value comes from.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file.
    """
    for part in describe_expansion(open_car(name)):
        _write_lines(sink, _part_lines(part))


def open_car(name: str) -> Car:
    """Return the car of a path or of a shipped car's name.

    Raises
    ------
    DiagnoseError
        If there is no such file, or with everything that is wrong with it.
    """
    with car_file(name) as path:
        return load_car(path, load_knowledge(knowledge_folder()))


def _case_lines(case: StoredCase) -> Iterator[str]:
    day, time = case.latest_at[:10], case.latest_at[11:16]
    yield f"{case.name}  {day} {time} UTC  {case.fact_count} facts  {case.car_path}"
    if case.standing:
        yield f"  {case.standing}"


def _part_lines(part: PartRow) -> Iterator[str]:
    about = [part.kind, *([part.role] if part.role else [])]
    about.append(f"at {part.place}" if part.place else "at no place given")
    about.append(f"line {part.line}" if part.line else "not in the file: a default")
    yield f"{part.name}  ({', '.join(about)})"
    for terminal, node in part.terminals:
        yield f"  terminal {terminal} = {node}"
    for value in part.values:
        yield f"  {_value_words(value)}"


def _value_words(value: ValueRow) -> str:
    source = f": {value.source}" if value.source else ""
    return (
        f"{value.parameter} = {value.middle:.6g} ({value.spread})  "
        f"[{value.origin.value}{source}]"
    )


def _write_lines(sink: TextIO, lines: Iterator[str] | tuple[str, ...]) -> None:
    for line in lines:
        indent = line[: len(line) - len(line.lstrip())]
        sink.write(f"{indent}{clean(line)}\n")
