"""Answers on disk as they are given, one a line, until the car file is written."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path

from diagnose.errors import DiagnoseError

# What the name of the file with the answers ends in, behind the car file's.
ENDING = ".answers"

# The first line, so that no other file is taken for one.
_HEAD = {"car-answers": 1}


@dataclass(frozen=True, slots=True)
class Step:
    """One line: an answer to a question, or a way back.

    Parameters
    ----------
    word : str
        ``answer``, ``back`` or ``undo``.
    question, text : str
        Of an answer.
    """

    word: str
    question: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class KeptAnswers:
    """The file beside a car file that keeps what was answered so far."""

    path: Path

    @classmethod
    def beside(cls, car_path: Path) -> KeptAnswers:
        """Return the answers that belong to a car file."""
        return cls(car_path.with_name(car_path.name + ENDING))

    def read(self) -> tuple[Step, ...]:
        """Return what was answered; nothing when there is no such file.

        Raises
        ------
        DiagnoseError
            If the file is another one.
        """
        if not self.path.exists():
            return ()
        first, *lines = self.path.read_text(encoding="utf-8", errors="replace").split(
            "\n"
        )
        if first.strip() != json.dumps(_HEAD):
            raise DiagnoseError(
                f"{self.path}: holds no answers; move it away, or name another car file"
            )
        # a line that was cut off while it was written says nothing
        return tuple(step for line in lines if (step := _step(line)) is not None)

    def append(self, step: Step) -> None:
        """Write one step, and wait until the disk has it.

        Raises
        ------
        OSError
            If it can't be written.
        """
        row: dict[str, object] = {"step": step.word}
        if step.question:
            row |= {"question": step.question, "answer": step.text}
        is_new = not self.path.exists()
        with self.path.open("a", encoding="utf-8") as sink:
            # behind a line that was cut off a new one begins
            sink.write(f"{json.dumps(_HEAD)}\n" if is_new else "\n")
            sink.write(json.dumps(row, ensure_ascii=False))
            sink.flush()
            os.fsync(sink.fileno())

    def drop(self) -> None:
        """Delete the file, once the car file holds what was answered."""
        self.path.unlink(missing_ok=True)


def _step(line: str) -> Step | None:
    """Return the step of a line; None where it holds none."""
    try:
        row = json.loads(line)
        return Step(
            word=str(row["step"]),
            question=str(row.get("question", "")),
            text=str(row.get("answer", "")),
        )
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
