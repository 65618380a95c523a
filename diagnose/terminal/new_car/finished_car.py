"""What follows when a car is answered: its file, its diagram, its audit, surprises.

Imports what solves circuits only then, so that a question never waits for it.
"""

from __future__ import annotations

import io
import os
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.errors import DiagnoseError
from diagnose.terminal.pages.page import Page, Paragraph, Tone, Words, say

if TYPE_CHECKING:
    from diagnose.circuit.car import Car
    from diagnose.faults.knowledge import Knowledge
    from diagnose.paperwork.audit.findings import Finding

# Checks of the audit that tell an owner what he did not know of his car.
_SURPRISING = {
    "unfused-wire",
    "fuse-for-wire",
    "wire-for-current",
    "copper-drop",
}

# Makes the text of the car file from what was answered.
MakeText = Callable[[Any], str]


class FinishedCar:
    """Writes the file and says what can be said of it.

    Parameters
    ----------
    path : Path
        The car file.
    make_text : MakeText
        Its text, from what was answered.
    """

    words = ("draw", "audit", "surprises")

    def __init__(self, path: Path, make_text: MakeText) -> None:
        self._path = path
        self._make_text = make_text

    def write(self, plan: Any) -> Page:
        """Write the car file, whole or not at all, and say what follows from it.

        What a check finds; then, of a sound file, its diagram, how much an audit found
        and what is surprising about it.

        Raises
        ------
        DiagnoseError
            If an entry can't be added to the file.
        """
        text = self._make_text(plan)
        write_whole(self._path, text)
        lines = text.count("\n")
        written = say("written", f"{self._path}, {lines} lines.", Tone.GOOD)
        checked = self._checked()
        try:
            return (
                written,
                *checked,
                *self._drawn(),
                *self._counted(),
                *self._surprises(),
            )
        except DiagnoseError:
            return (written, *checked)  # the check has said why

    def do(self, word: str) -> Page:
        """Draw or audit the car, or tell what is surprising about it."""
        if word == "draw":
            return self._drawn()
        if word == "audit":
            return self._audited()
        return self._surprises()

    def _checked(self) -> Page:
        """Return what the check of the file says."""
        from diagnose.terminal.reports.listings import check_car_file

        sink = io.StringIO()
        try:
            check_car_file(str(self._path), sink)
        except DiagnoseError as error:
            lines = tuple(Words(text=line, tone=Tone.PROBLEM) for line in error.lines)
            return (Paragraph(margin="check", lines=lines),)
        lines = tuple(Words(text=line) for line in sink.getvalue().splitlines())
        return (Paragraph(margin="check", lines=lines),)

    def _drawn(self) -> Page:
        from diagnose.terminal.reports.diagram_files import write_diagram

        sink = io.StringIO()
        out = self._path.with_suffix(".svg")
        try:
            write_diagram(
                str(self._path), out=out, state="", fault="", probes=(), sink=sink
            )
        except OSError as error:
            words = f"{out} is not written: {error.strerror or error}."
            return (say("drawn", words, Tone.PROBLEM),)
        lines = tuple(Words(text=line) for line in sink.getvalue().splitlines())
        return (Paragraph(margin="drawn", lines=lines),)

    def _audited(self) -> Page:
        from diagnose.terminal.reports.audit_listing import list_audit

        sink = io.StringIO()
        list_audit(str(self._path), rule="", form="table", width=10_000, sink=sink)
        lines = tuple(Words(text=line) for line in sink.getvalue().splitlines() if line)
        return (Paragraph(margin="audit", lines=lines),)

    def _findings(self) -> tuple[Car, Knowledge, Sequence[Finding]]:
        """Return the car and what an audit finds on it."""
        from diagnose.paperwork.audit.auditing import audit
        from diagnose.terminal.preparation.car_files import (
            open_car,
            published_knowledge,
        )

        knowledge = published_knowledge()
        assert knowledge.design_limits is not None
        car = open_car(str(self._path), knowledge)
        return car, knowledge, audit(car, knowledge.design_limits, rule="").findings

    def _counted(self) -> Page:
        """Return how much an audit found, by its weight."""
        _, _, findings = self._findings()
        counts = Counter(one.weight.value for one in findings)
        words = ", ".join(f"{weight}: {count}" for weight, count in counts.items())
        lines = "Type audit to read what is wrong by design, each with its change."
        return (say("audit", f"{words}. {lines}" if words else "Nothing found."),)

    def _surprises(self) -> Page:
        """Return the findings an owner would not expect: no fuse, too thin a wire."""
        from diagnose.session.words.cautions import rewiring_cautions

        car, knowledge, findings = self._findings()
        chosen = [one for one in findings if one.check in _SURPRISING]
        found = tuple(Words(text=text) for text in _told(chosen))
        if found:
            parts = (one.part for one in chosen)
            cautions = rewiring_cautions(parts, car, knowledge)
            before = tuple(Words(text=one, tone=Tone.CAUTION) for one in cautions)
            found = (*before, *found)
        nothing = (Words(text="No wire without a fuse, none too thin for its load."),)
        return (Paragraph(margin="surprised", lines=found or nothing),)


def _told(findings: Sequence[Finding]) -> Iterator[str]:
    """Yield what was found in sentences; what is alike but for its part once."""
    alike: dict[tuple[str, str], list[Finding]] = {}
    for one in findings:
        key = (one.says.replace(one.part, ""), one.change.replace(one.part, ""))
        alike.setdefault(key, []).append(one)
    for first, *others in alike.values():
        text = f"{first.says}; {first.change}."
        names = ", ".join(one.part for one in others)
        yield f"{text} The same goes for {names}." if names else text


def write_whole(path: Path, text: str) -> None:
    """Write a file in place of the one before: all of it or nothing.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        What it holds from now on.

    Raises
    ------
    OSError
        If it can't be written.
    """
    target = path.resolve()
    mode = target.stat().st_mode & 0o777 if target.exists() else 0o644
    handle, name = tempfile.mkstemp(dir=target.parent, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as sink:
            sink.write(text)
        Path(name).chmod(mode)
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
