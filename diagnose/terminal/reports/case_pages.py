"""Worked cases for a reader: replayed step by step, or recorded into a file."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterator
from importlib.resources import as_file
from pathlib import Path
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError, did_you_mean
from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_file import load_case
from diagnose.files.cases.case_text import case_text
from diagnose.files.cases.worked_case import WorkedCase
from diagnose.files.resources import shipped_cases
from diagnose.session.facts import (
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import observation_words
from diagnose.terminal.pages.page import (
    Chance,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    say,
)
from diagnose.terminal.pages.plain import plain_text
from diagnose.terminal.pages.suspects import SHOWN_CAUSES
from diagnose.terminal.preparation.car_files import (
    is_there,
    open_car,
    published_knowledge,
)
from diagnose.trial.case_recording import Recording, leading_tests, record
from diagnose.trial.case_replay import Check, Replayed, replay
from diagnose.units import format_minutes

# The narrowest page, whatever the terminal says. Own choice. [characters]
NARROWEST = 40

# Makes a car ready for diagnosis.
ModelOpener = Callable[[Car, Knowledge], Model]


class CaseFailedError(DiagnoseError):
    """A worked case in which something that must hold does not."""


def replay_case(
    name: str,
    *,
    open_model: ModelOpener,
    pause: Callable[[], None],
    width: int,
    sink: TextIO,
) -> None:
    """Go through a worked case and write down what happens.

    Parameters
    ----------
    name : str
        Path of a case file, or name of a shipped case.
    open_model : Callable
        Makes the car ready for diagnosis.
    pause : Callable
        Called before each step.
    width : int
        Longest line; 0 for the terminal's own. [characters]
    sink : TextIO
        Where it is written.

    Raises
    ------
    DiagnoseError
        If the case or its car can't be read, or something does not hold.
    """
    columns = max(width or shutil.get_terminal_size().columns, NARROWEST)
    with case_file(name) as path:
        case = load_case(path)
        knowledge, car = _case_car(case, path)
    model = open_model(car, knowledge)
    sink.write(plain_text(_opening(case, model), width=columns))
    checks: list[Check] = []
    seen_cautions: set[str] = set()
    for step in replay(case, model):
        if step.doing is not None:
            pause()
        sink.write("\n" + plain_text(_page(step, model, seen_cautions), width=columns))
        checks.extend(step.checks)
    failed = sum(not check.holds for check in checks)
    if failed:
        raise CaseFailedError(f"{name}: {failed} of {len(checks)} do not hold")
    sink.write(f"\n{name}: all {len(checks)} hold.\n")


def record_case(
    wanted: Recording, *, open_model: ModelOpener, out: Path, sink: TextIO
) -> None:
    """Record a worked case into a new file.

    Parameters
    ----------
    wanted : Recording
        Car, hidden causes, complaint and seed.
    open_model : Callable
        Makes the car ready for diagnosis.
    out : Path
        The file; it must not exist.
    sink : TextIO
        Where the outcome is told.

    Raises
    ------
    DiagnoseError
        If the car can't be read, has no such cause, or would not show the complaint, or
        the file exists or can't be written.
    """
    if is_there(out):
        raise DiagnoseError(f"{out}: exists already; give another file")
    knowledge = published_knowledge()
    car = open_car(wanted.car_name, knowledge)
    _write_case(record(wanted, open_model(car, knowledge)), out, sink)


def _write_case(case: WorkedCase, out: Path, sink: TextIO) -> None:
    """Write a case file and say how the case went."""
    try:
        out.write_text(case_text(case), encoding="utf-8")
    except OSError as error:
        raise DiagnoseError(f"{out}: can't be written: {error.strerror}") from error
    sink.write(
        f"{out}: {len(case.steps)} steps, advice at the end: {case.final_advice}, "
        f"wrong repairs advised: {case.most_wrong_repairs}\n"
    )


def record_anew(name: str, *, open_model: ModelOpener, sink: TextIO) -> None:
    """Play a case again from its own car, faults and seed, and write its file over.

    Parameters
    ----------
    name : str
        Path of a case file.
    open_model : Callable
        Makes the car ready for diagnosis.
    sink : TextIO
        Where the outcome is told.

    Raises
    ------
    DiagnoseError
        As for `record_case`, but the file must exist.
    """
    path = Path(name)
    case = load_case(path)
    knowledge, car = _case_car(case, path)
    wanted = Recording(
        car_name=case.car,
        faults=case.making.faults,
        complaint=case.complaint,
        seed=case.making.seed,
        title=case.title,
        owner=case.owner,
        history=case.history,
        tests=leading_tests(case),
    )
    _write_case(record(wanted, open_model(car, knowledge)), path, sink)


@contextlib.contextmanager
def case_file(name: str) -> Iterator[Path]:
    """Give the file of a path or of a shipped case's name.

    Raises
    ------
    DiagnoseError
        If there is neither; the message has the nearest shipped case.
    """
    path = Path(name)
    if is_there(path):
        yield path
        return
    shipped = shipped_cases()
    if name not in shipped:
        known = ", ".join(shipped) or "none"
        raise DiagnoseError(
            f'no case file "{name}"{did_you_mean(name, shipped)}; '
            f"cases that come with the program: {known}"
        )
    with as_file(shipped[name]) as unpacked:
        yield unpacked


def _case_car(case: WorkedCase, path: Path) -> tuple[Knowledge, Car]:
    """Return the knowledge and the car of a case; a path counts from the case file."""
    knowledge = published_knowledge()
    beside = path.parent / case.car
    return knowledge, open_car(str(beside) if beside.is_file() else case.car, knowledge)


def _opening(case: WorkedCase, model: Model) -> Page:
    """Return what is known from outside: the case, and what is really wrong."""
    says = {cause.name: cause.says for cause in model.compiled.causes}
    making = case.making
    hidden = tuple(Words(text=says.get(name, name)) for name in making.faults)
    made = (
        f"invented: computed for car {making.car} of {making.cars} with other "
        f"tolerances, seed {making.seed}, with the errors of a meter"
    )
    return (
        say("case", case.title, Tone.STRONG),
        say("car", model.car.title),
        say("owner", case.owner),
        Paragraph(margin="really wrong", lines=hidden),
        say("readings", made, Tone.ASIDE),
    )


def _page(step: Replayed, model: Model, seen_cautions: set[str]) -> Page:
    """Return one step: how it is done, what it showed, what follows, and the checks."""
    doing, knowledge = step.doing, model.knowledge
    lines: list[Line] = []
    cautions = doing.cautions if doing is not None else ()
    new = [
        caution
        for caution in cautions
        if caution not in seen_cautions or knowledge.is_said_every_time(caution)
    ]
    seen_cautions.update(new)
    lines.extend(Words(text=caution, tone=Tone.CAUTION) for caution in new)
    if doing is not None:
        cost = format_minutes(doing.minutes)
        lines.append(Words(text=f"{doing.instruction} ({cost})"))
    lines.append(Words(text=_told_words(step.fact, model.car), tone=Tone.STRONG))
    if step.asked_instead:
        asked = f"the program asked for something else: {step.asked_instead}"
        lines.append(Words(text=asked, tone=Tone.ASIDE))
    advice = step.answer.advice
    return (
        Paragraph(
            margin=f"step {step.number}" if step.number else "complaint",
            lines=tuple(lines),
        ),
        Paragraph(margin="suspects", lines=_suspects(step)),
        Paragraph(
            margin="advice",
            lines=(Pair(name=advice.verdict.value, text=advice.says),),
            is_close=True,
        ),
        *_check_page(step.checks),
    )


def _suspects(step: Replayed) -> tuple[Line, ...]:
    """Return the top of the ranking, and the true causes wherever they are."""
    lines: list[Line] = []
    for number, cause in enumerate(step.answer.causes, start=1):
        is_true = bool(step.true_causes & set(cause.members))
        if number > SHOWN_CAUSES and not is_true:
            continue
        text = f"{cause.says} <- really present" if is_true else cause.says
        lines.append(Chance(number=number, probability=cause.probability, text=text))
    return tuple(lines) or (Words(text="none yet"),)


def _check_page(checks: tuple[Check, ...]) -> tuple[Paragraph, ...]:
    if not checks:
        return ()
    lines = tuple(
        Pair(
            name="holds" if check.holds else "FAILS",
            text=check.says,
            tone=Tone.GOOD if check.holds else Tone.PROBLEM,
        )
        for check in checks
    )
    return (Paragraph(margin="must hold", lines=lines, is_close=True),)


def _told_words(fact: Fact, car: Car) -> str:
    match fact:
        case ReadingFact() | SymptomFact() | SubstitutionFact():
            return f"found: {observation_words(fact, car)}"
        case RepairFact(cause=cause):
            return f"mended: {cause}"
        case _:
            return "told: the complaint"
