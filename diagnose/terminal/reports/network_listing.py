"""Writes the network of a car or of one diagnosis in an open format.

Leaves the network to `inference.interchange`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError
from diagnose.faults.causes import catalogue
from diagnose.faults.history import check_history
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.links import ties_of
from diagnose.session.fact_rows import fact_from_row, standing_rows
from diagnose.session.facts import Fact
from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.car_files import refuse_overwriting
from diagnose.terminal.preparation.kept_cases import opened_store, stored_car


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkOptions:
    """What the command line asked for.

    Parameters
    ----------
    form : str
        ``bif`` or ``xmlbif``.
    has_symptoms : bool
        One fault at a time with every symptom, instead of a node for each part.
    history : Mapping[str, str]
        Context to its answer.
    facts : tuple[Fact, ...] or None
        Of a stored case: the network of its diagnosis instead.
    out : Path or None
        None for standard output.
    """

    form: str
    has_symptoms: bool
    history: Mapping[str, str]
    facts: tuple[Fact, ...] | None
    out: Path | None


def write_network(
    car: Car,
    knowledge: Knowledge,
    options: NetworkOptions,
    *,
    open_model: Callable[[], Model],
    sink: TextIO,
) -> None:
    """Write the network of a car, or of one diagnosis.

    Parameters
    ----------
    open_model : Callable
        Makes the car ready for diagnosis; called only when its readings are needed.
    sink : TextIO
        Where it goes when no file is named.

    Raises
    ------
    DiagnoseError
        If an answer is not known, or the file can't be written.
    """
    check_history(options.history, knowledge.contexts)
    if options.out is not None:
        refuse_overwriting(options.out, Path(car.path))
    text = _network_text(car, knowledge, options, open_model)
    if options.out is None:
        sink.write(text)
        return
    try:
        options.out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise DiagnoseError(f"{options.out}: {error.strerror or error}") from error


def _network_text(
    car: Car,
    knowledge: Knowledge,
    options: NetworkOptions,
    open_model: Callable[[], Model],
) -> str:
    # they bring in pgmpy, so not before what may go wrong quickly
    from diagnose.inference import interchange
    from diagnose.inference.prior.network import Form
    from diagnose.session.explanation.case_network import diagnosis_network_text

    form = Form(options.form)
    if options.facts is not None:
        return diagnosis_network_text(open_model(), options.facts, form=form)
    contexts = interchange.answered(knowledge.contexts, options.history)
    if options.has_symptoms:
        compiled = open_model().compiled
        return interchange.symptom_network_text(
            contexts, compiled, name=car.name, form=form
        )
    causes = catalogue(car, knowledge.modes)
    ties = ties_of(car, causes, knowledge.links)
    return interchange.cause_network_text(
        contexts, causes, name=car.name, form=form, ties=ties
    )


def stored_facts(
    case_name: str, folder: Path, knowledge: Knowledge
) -> tuple[Car, tuple[Fact, ...]]:
    """Return the car of a stored case and its standing facts.

    Parameters
    ----------
    folder : Path
        The data folder.

    Raises
    ------
    DiagnoseError
        If there is no such case, or its car file no longer loads.
    """
    with opened_store(folder) as store:
        case = store.find(case_name)
        rows = store.facts(case.name)
        car = stored_car(store, case, knowledge)
    return car, tuple(
        # what was skipped says nothing about the causes
        fact_from_row(row)
        for row in standing_rows(rows)
        if row.kind != "skip"
    )
