"""Case files: what they stand for, and what is said of wrong ones."""

from __future__ import annotations

import math
import typing
from collections.abc import Callable
from pathlib import Path

import pytest

from diagnose.errors import InvalidFileError
from diagnose.files.cases import case_file
from diagnose.files.cases.case_file import load_case
from diagnose.files.cases.case_text import case_text
from diagnose.files.cases.worked_case import (
    CaseStep,
    Making,
    Measured,
    Must,
    Repaired,
    Seen,
    WorkedCase,
)
from diagnose.files.resources import shipped_cars, shipped_cases
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Verdict

TEXT = """\
case-file: 1
title: Invented evening
car: sedan
complaint: first-start-fails
owner: It cranks for ever
history: {wiring: in_service}
made: {faults: [pump-wire:short_to_ground], seed: 3, cars: 16, car: 2}
at-start: {advice: open}
steps:
  - symptom: pump-primes
    answer: no
    then: {advice: open, rank: 2, probability: 0.25}
  - volts: 820 mV
    red: pump.plus
    black: battery.minus
    state: key-on
  - ohms: OL
    red: pump.plus
    black: battery.minus
    state: isolated
  - amps: 7.1 A
    at: pump-fuse
    state: key-on
  - look: pump-fuse
    found: blown
    state: key-off
  - ac: 35 mV
    red: battery.plus
    black: battery.minus
    state: idle
  - lamp: dim
    red: pump.plus
    black: battery.minus
    state: key-on
  - fuse: 12.3 mV
    at: pump-fuse
    state: idle
  - repair: pump-wire:short_to_ground
    cures: yes
at-the-end: {advice: fixed, wrong-repairs: 1}
"""
CASE = WorkedCase(
    title="Invented evening",
    car="sedan",
    complaint="first-start-fails",
    owner="It cranks for ever",
    history={"wiring": "in_service"},
    making=Making(faults=("pump-wire:short_to_ground",), seed=3, cars=16, car=2),
    start=Must(advice="open"),
    steps=(
        CaseStep(
            event=Seen(symptom="pump-primes", is_present=False),
            must=Must(advice="open", rank=2, probability=0.25),
            line=10,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.DC_VOLTS,
                    state="key-on",
                    red="pump.plus",
                    black="battery.minus",
                ),
                value=0.82,
            ),
            must=Must(),
            line=13,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.OHMS,
                    state="isolated",
                    red="pump.plus",
                    black="battery.minus",
                ),
                value=math.inf,
            ),
            must=Must(),
            line=17,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.AMPS, state="key-on", red="pump-fuse", black=""
                ),
                value=7.1,
            ),
            must=Must(),
            line=21,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.LOOK, state="key-off", red="pump-fuse", black=""
                ),
                value=1.0,
            ),
            must=Must(),
            line=24,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.AC_VOLTS,
                    state="idle",
                    red="battery.plus",
                    black="battery.minus",
                ),
                value=0.035,
            ),
            must=Must(),
            line=27,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.LAMP,
                    state="key-on",
                    red="pump.plus",
                    black="battery.minus",
                ),
                value=0.5,
            ),
            must=Must(),
            line=31,
            column=5,
        ),
        CaseStep(
            event=Measured(
                reading=Reading(
                    kind=ReadingKind.FUSE, state="idle", red="pump-fuse", black=""
                ),
                value=0.0123,
            ),
            must=Must(),
            line=35,
            column=5,
        ),
        CaseStep(
            event=Repaired(cause="pump-wire:short_to_ground", is_cured=True),
            must=Must(),
            line=38,
            column=5,
        ),
    ),
    final_advice="fixed",
    most_wrong_repairs=1,
)


def without_places(case: WorkedCase) -> tuple[object, ...]:
    """Return what a case says, without where it says it."""
    return (
        case.title,
        case.car,
        case.complaint,
        case.owner,
        dict(case.history),
        case.making,
        case.start,
        [(step.event, step.must) for step in case.steps],
        case.final_advice,
        case.most_wrong_repairs,
    )


@pytest.fixture
def load(tmp_path: Path) -> Callable[[str], WorkedCase]:
    def load_text(text: str) -> WorkedCase:
        path = tmp_path / "case.yaml"
        path.write_text(text, encoding="utf-8")
        return load_case(path)

    return load_text


@pytest.fixture
def problems(load: Callable[[str], WorkedCase]) -> Callable[[str, str], list[str]]:
    """Return what is wrong with a changed copy, as ``line:column: message``."""

    def find(old: str, new: str) -> list[str]:
        assert TEXT.count(old) == 1
        with pytest.raises(InvalidFileError) as caught:
            load(TEXT.replace(old, new))
        return [
            f"{problem.line}:{problem.column}: {problem.message}"
            for problem in caught.value.problems
        ]

    return find


def test_case_file_is_read_step_by_step(load: Callable[[str], WorkedCase]) -> None:
    case = load(TEXT)

    assert case.steps == CASE.steps
    assert without_places(case) == without_places(CASE)


def test_written_case_is_read_back_the_same(load: Callable[[str], WorkedCase]) -> None:
    assert without_places(load(case_text(CASE))) == without_places(CASE)


def test_title_with_a_colon_is_read_back_the_same(
    load: Callable[[str], WorkedCase],
) -> None:
    text = case_text(CASE).replace("title: Invented evening", 'title: "A: b # c"')

    assert load(text).title == "A: b # c"
    assert 'title: "A: b # c"' in case_text(load(text))


def test_remarks_stand_before_their_step_as_comments() -> None:
    steps = (CaseStep(event=CASE.steps[0].event, must=Must(), remarks=("Mind out.",)),)
    case = WorkedCase(
        title="t", car="c", complaint="x", owner="o", making=CASE.making, steps=steps
    )

    assert "  # Mind out.\n  - symptom: pump-primes\n" in case_text(case)


def test_advice_words_are_the_verdicts() -> None:
    assert set(typing.get_args(case_file.Advice)) == {v.value for v in Verdict}


def test_unknown_key_gets_the_nearest(
    problems: Callable[[str, str], list[str]],
) -> None:
    assert problems("rank: 2", "rnak: 2") == [
        '12:26: "rnak" is not known here (did you mean "rank"?)'
    ]


def test_reading_without_a_unit_is_refused(
    problems: Callable[[str, str], list[str]],
) -> None:
    (found,) = problems("820 mV", "12.3")

    assert found.startswith('13:12: "12.3" has no unit; a voltage needs V or mV')


def test_reading_without_a_state_says_what_is_missing(
    problems: Callable[[str, str], list[str]],
) -> None:
    (found,) = problems("    at: pump-fuse\n    state: key-on\n", "    at: pump-fuse\n")

    assert found == (
        "21:5: a step with amps has the keys amps, at, state; missing: state"
    )


def test_step_of_two_kinds_is_refused(
    problems: Callable[[str, str], list[str]],
) -> None:
    (found,) = problems("    found: blown\n", "    found: blown\n    repair: a:b\n")

    assert found == (
        "24:5: a step has one of symptom, volts, ac, ohms, amps, fuse, lamp, look, "
        "repair; "
        "found look, repair"
    )


def test_every_problem_is_told_at_once(
    problems: Callable[[str, str], list[str]],
) -> None:
    found = problems(
        "answer: no\n    then: {advice: open, rank: 2",
        "answer: maybe\n    then: {advice: go, rank: 0",
    )

    assert [line.split(" ")[0] for line in found] == ["11:13:", "12:20:", "12:30:"]


def test_yes_and_no_are_words_not_truth_values(
    load: Callable[[str], WorkedCase],
) -> None:
    event = load(TEXT).steps[0].event

    assert isinstance(event, Seen)
    assert event.is_present is False


def test_car_outside_the_stock_is_refused(
    problems: Callable[[str, str], list[str]],
) -> None:
    assert problems("car: 2}", "car: 16}") == ["7:7: car 16 of 16; they count from 0"]


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidFileError, match="no such file, expected a case file"):
        load_case(tmp_path / "none.yaml")


def test_shipped_cases_are_those_of_the_folder_above_the_cars() -> None:
    assert set(shipped_cases()) & set(shipped_cars()) == set()
