"""The car's history as told on the command line: ``wiring=fresh`` and the like.

Leaves to `faults.history` whether the car is asked that.
"""

from __future__ import annotations

from collections.abc import Sequence


def history_of(given: Sequence[str]) -> dict[str, str]:
    """Return questions and their answers from words such as ``wiring=fresh``."""
    parted = (words.partition("=") for words in given)
    return {question: answer for question, _, answer in parted}
