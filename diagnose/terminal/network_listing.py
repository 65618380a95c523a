"""Writes a car's network in an open format.

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
from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.symptoms import Context
from diagnose.session.model import Model
from diagnose.terminal.safe_text import nearest


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
    out : Path or None
        None for standard output.
    """

    form: str
    has_symptoms: bool
    history: Mapping[str, str]
    out: Path | None


def write_network(
    car: Car,
    knowledge: Knowledge,
    options: NetworkOptions,
    *,
    open_model: Callable[[], Model],
    sink: TextIO,
) -> None:
    """Write the network of a car.

    Parameters
    ----------
    open_model : Callable
        Makes the car ready for diagnosis; called only when symptoms are wanted.
    sink : TextIO
        Where it goes when no file is named.

    Raises
    ------
    DiagnoseError
        If an answer is not known, or the file can't be written.
    """
    check_history(options.history, knowledge.contexts)
    # brings in pgmpy, after what may go wrong quickly
    from diagnose.inference.interchange import (
        answered,
        cause_network_text,
        symptom_network_text,
    )
    from diagnose.inference.network import Form

    contexts = answered(knowledge.contexts, options.history)
    form = Form(options.form)
    if options.has_symptoms:
        compiled = open_model().compiled
        text = symptom_network_text(contexts, compiled, name=car.name, form=form)
    else:
        causes = catalogue(car, knowledge.modes)
        text = cause_network_text(contexts, causes, name=car.name, form=form)
    if options.out is None:
        sink.write(text)
        return
    try:
        options.out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise DiagnoseError(f"{options.out}: {error.strerror or error}") from error


def check_history(history: Mapping[str, str], contexts: tuple[Context, ...]) -> None:
    """Refuse an answer to a question that there is not, or that is none of its own.

    Raises
    ------
    DiagnoseError
        With what is known.
    """
    states = {context.name: tuple(context.states) for context in contexts}
    for context, answer in history.items():
        if context not in states:
            raise DiagnoseError(_unknown("question", context, tuple(states)))
        if answer not in states[context]:
            raise DiagnoseError(
                _unknown(f"answer to {context}", answer, states[context])
            )


def _unknown(what: str, name: str, known: tuple[str, ...]) -> str:
    near = nearest(name, known)
    hint = f' (did you mean "{near}"?)' if near else ""
    return f'"{name}" is no {what}{hint}; known: {", ".join(known)}'
