"""The car's history as told on the command line: ``wiring=fresh`` and the like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.errors import DiagnoseError
from diagnose.measurement.symptoms import Context
from diagnose.terminal.names import did_you_mean


def history_of(given: Sequence[str]) -> dict[str, str]:
    """Return questions and their answers from words such as ``wiring=fresh``."""
    parted = (words.partition("=") for words in given)
    return {question: answer for question, _, answer in parted}


def check_history(history: Mapping[str, str], contexts: Sequence[Context]) -> None:
    """Refuse an answer to a question that there is not, or that is none of its own.

    Parameters
    ----------
    history : Mapping[str, str]
        Question to its answer.
    contexts : Sequence[Context]
        The questions with their answers.

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
    listed = ", ".join(known)
    return f'"{name}" is no {what}{did_you_mean(name, known)}; known: {listed}'
