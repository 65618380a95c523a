"""Whether answers about a car's history are answers that the questions have.

The one check of such answers, wherever they come from: a line of a closed case, a
worked case, the command line, a diagnosis. Leaves what an answer does to the rates to
`inference`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from diagnose.errors import ReadingError, did_you_mean
from diagnose.measurement.symptoms import Context


class HistoryError(ReadingError):
    """A question that is not asked, or an answer that it does not have.

    Parameters
    ----------
    message : str
        What is wrong, with the nearest known name and all of them.
    context : str
        The question as it was given.
    """

    def __init__(self, message: str, *, context: str) -> None:
        self.context = context
        super().__init__(message)


def check_history(answers: Mapping[str, str], contexts: Iterable[Context]) -> None:
    """Refuse an answer to a question that is not asked, or that it does not have.

    Parameters
    ----------
    answers : Mapping[str, str]
        Name of a question to its answer.
    contexts : Iterable[Context]
        The questions of knowledge/.

    Raises
    ------
    HistoryError
        For the first of them that is wrong.

    Examples
    --------
    >>> wiring = Context(name="wiring", question="", states={"fresh": 0.1, "old": 0.9})
    >>> check_history({"wiring": "fresch"}, [wiring])
    Traceback (most recent call last):
    diagnose.faults.history.HistoryError: "fresch" is no answer to wiring (did you mean
    "fresh"?); known: fresh, old
    """
    known = {context.name: context.states for context in contexts}
    for name, answer in answers.items():
        if name not in known:
            raise HistoryError(
                _unknown(name, "question about the history", known), context=name
            )
        if answer not in known[name]:
            raise HistoryError(
                _unknown(answer, f"answer to {name}", known[name]), context=name
            )


def _unknown(name: str, what: str, known: Collection[str]) -> str:
    hint = did_you_mean(name, known)
    return f'"{name}" is no {what}{hint}; known: {", ".join(known)}'
