"""The readings before the first start, to print: plain text, Markdown or JSON.

Leaves choosing them to `session.sheets.first_start`.
"""

from __future__ import annotations

import json
import shutil
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TextIO

from diagnose.faults.history import check_history
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.measurement.readings import ReadingKind
from diagnose.session.fact_rows import OVER_RANGE
from diagnose.session.sheets.first_start import (
    Prestart,
    PrestartReading,
    Unshown,
    known_history,
    prestart,
)
from diagnose.session.steps.prices import Prices
from diagnose.session.wording import CLAMP_NOT_POST, range_words, unit_symbol
from diagnose.terminal.car_names import car_file
from diagnose.terminal.dialogue.evening import Options, prepared_model
from diagnose.terminal.dialogue.learned_shares import knowledge_in_use
from diagnose.terminal.dialogue.owner import told_of_owner
from diagnose.terminal.safe_text import clean
from diagnose.units import format_minutes, format_probability

NARROWEST = 60
SHOWN_UNSHOWN = 20
"""The likeliest causes that no reading shows; `--all` lists every one. Own choice."""
HANGING = "    "
BLANK = "______"


@dataclass(frozen=True, slots=True, kw_only=True)
class PrestartOptions:
    """What the command line asked for.

    Parameters
    ----------
    car : str
        A path or a shipped car's name.
    form : str
        ``table``, ``markdown`` or ``json``.
    width : int
        Longest line of the table; 0 for the terminal's own. [characters]
    history : Mapping[str, str]
        Context to its answer.
    has_all : bool
        List every cause that no reading shows.
    without : tuple[str, ...]
        What the owner lacks.
    owner_file : Path or None
        Where he says so; None for the one in his config folder.
    """

    car: str
    form: str
    width: int
    history: Mapping[str, str]
    has_all: bool
    data_folder: Path | None
    without: tuple[str, ...] = ()
    owner_file: Path | None = None


def list_prestart(options: PrestartOptions, sink: TextIO) -> None:
    """Write the readings to take before the first start of a car.

    Raises
    ------
    DiagnoseError
        If the file is wrong, or the history is none that is asked for.
    """
    place = Options(data_folder=options.data_folder)
    published = load_knowledge(knowledge_folder())
    knowledge, _ = knowledge_in_use(place.folder, published)
    with car_file(options.car) as path:
        car = load_car(path, knowledge)
    history = _history(options.history, knowledge)
    facts, _ = told_of_owner(
        car, knowledge, without=options.without, path=options.owner_file
    )
    model = prepared_model(car, knowledge, place)
    listed = prestart(model, history=history, prices=Prices(model, facts))
    most = len(listed.unshown) if options.has_all else SHOWN_UNSHOWN
    if options.form == "json":
        sink.write(prestart_json(listed, car_name=options.car))
    elif options.form == "markdown":
        sink.write(prestart_markdown(listed, car_name=options.car, most_unshown=most))
    else:
        columns = options.width or shutil.get_terminal_size().columns
        width = max(columns, NARROWEST)
        text = prestart_text(
            listed, car_name=options.car, width=width, most_unshown=most
        )
        sink.write(text)


def _history(told: Mapping[str, str], knowledge: Knowledge) -> Mapping[str, str]:
    """Return the history with what holds before a first start; refuse what is none."""
    check_history(told, knowledge.contexts)
    return {**known_history(knowledge), **told}


def prestart_text(
    listed: Prestart, *, car_name: str, width: int, most_unshown: int = SHOWN_UNSHOWN
) -> str:
    """Return the list as plain text, a blank behind each reading."""

    def wrapped(text: str, first: str = "", hanging: str = "  ") -> list[str]:
        return textwrap.wrap(
            clean(text),
            width=width,
            initial_indent=first,
            subsequent_indent=hanging,
            break_on_hyphens=False,
        )

    def cautions(words: Sequence[str]) -> list[str]:
        return [line for one in words for line in wrapped(f"Caution: {one}")]

    lines = [*wrapped(_title(listed)), "", *cautions([listed.safety_note]), ""]
    for words in _words_before(listed, car_name):
        lines += wrapped(words)
    for block in _blocks(listed):
        lines += ["", *wrapped(block.title), *cautions(block.cautions)]
        lines += wrapped(block.note) if block.note else []
        for number, one in block.readings:
            lines += cautions(block.new_cautions[number])
            lines += wrapped(
                f"{number}. {_reading_words(one)}",
                hanging=HANGING,
            )
            shows = f"{BLANK} {_limit_words(one)} ({format_minutes(one.minutes)})"
            lines += wrapped(shows, HANGING, HANGING)
    lines += ["", *wrapped(_unshown_title(listed))]
    lines += [
        line for words in _unshown(listed, most_unshown) for line in wrapped(words)
    ]
    return "\n".join(lines) + "\n"


def prestart_markdown(
    listed: Prestart, *, car_name: str, most_unshown: int = SHOWN_UNSHOWN
) -> str:
    """Return the list as Markdown, one table for each operating state."""
    lines = [f"# {clean(_title(listed))}", "", f"> Caution: {listed.safety_note}", ""]
    lines += [f"- {clean(words)}" for words in _words_before(listed, car_name)]
    for block in _blocks(listed):
        lines += ["", f"## {clean(block.title)}", ""]
        cautions = dict.fromkeys(
            (*block.cautions, *(c for new in block.new_cautions.values() for c in new))
        )
        lines += [f"> Caution: {clean(caution)}\n>" for caution in cautions]
        lines += ["", clean(block.note)] if block.note else []
        lines += ["", "| | reading | a sound car shows | time | shows |"]
        lines.append("| --- | --- | --- | --- | --- |")
        for number, one in block.readings:
            cells = (
                f"{number}.",
                _reading_words(one),
                _limit_words(one),
                format_minutes(one.minutes),
                BLANK,
            )
            lines.append(f"| {' | '.join(clean(cell) for cell in cells)} |")
    lines += ["", f"## {clean(_unshown_title(listed))}", ""]
    lines += [clean(words) for words in _unshown(listed, most_unshown)]
    return "\n".join(lines) + "\n"


def prestart_json(listed: Prestart, *, car_name: str) -> str:
    """Return the list as one JSON object; over-range is ``OL``."""
    content = {
        "car": car_name,
        "title": listed.car.title,
        "safety_note": listed.safety_note,
        "history": dict(listed.history),
        "minutes": round(listed.minutes, 1),
        "shown_share": round(listed.shown_share, 4),
        "showable_share": round(listed.showable_share, 4),
        "readings": [
            _reading_data(number, one)
            for number, one in enumerate(listed.readings, start=1)
        ],
        "unshown": [
            {
                "causes": list(one.causes),
                "says": one.says,
                "probability": float(f"{one.probability:.4g}"),
                "shown_share": round(one.shown_share, 3),
            }
            for one in listed.unshown
        ],
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _reading_data(number: int, one: PrestartReading) -> dict[str, object]:
    reading = one.reading
    limits = one.limits
    return {
        "number": number,
        "name": reading.name,
        "kind": reading.kind.value,
        "state": reading.state,
        "red": reading.red,
        "black": reading.black,
        "unit": unit_symbol(reading.kind),
        "places": list(one.places),
        "instruction": one.instruction,
        "cautions": list(one.cautions),
        "low": _number(limits.low),
        "middle": _number(limits.middle),
        "high": _number(limits.high),
        "minutes": round(one.minutes, 1),
        "finds_share": float(f"{one.finds_share:.4g}"),
        "finds": list(one.finds),
    }


def _number(value: float) -> float | str:
    return OVER_RANGE if value == float("inf") else float(f"{value:.4g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """The readings of one operating state.

    Parameters
    ----------
    cautions : tuple[str, ...]
        Those of every reading in it.
    readings : tuple[tuple[int, PrestartReading], ...]
        With their numbers in the list.
    new_cautions : Mapping[int, tuple[str, ...]]
        By number: what stands before that reading for the first time in this state.
    """

    title: str
    note: str
    cautions: tuple[str, ...]
    readings: tuple[tuple[int, PrestartReading], ...]
    new_cautions: Mapping[int, tuple[str, ...]]


def _blocks(listed: Prestart) -> Iterator[_Block]:
    labels = {state.name: state.label for state in listed.states}
    numbered = enumerate(listed.readings, start=1)
    for state, group in groupby(numbered, key=lambda pair: pair[1].reading.state):
        readings = tuple(group)
        first = readings[0][1].cautions
        shared = tuple(
            c for c in first if all(c in one.cautions for _, one in readings)
        )
        seen = set(shared)
        new: dict[int, tuple[str, ...]] = {}
        for number, one in readings:
            new[number] = tuple(c for c in one.cautions if c not in seen)
            seen.update(one.cautions)
        minutes = format_minutes(sum(one.minutes for _, one in readings))
        takes_ohms = any(one.reading.kind is ReadingKind.OHMS for _, one in readings)
        post = listed.car.reference
        yield _Block(
            note=f"{post} here: {CLAMP_NOT_POST}." if takes_ohms else "",
            title=f"{labels[state]}: {_count(len(readings))}, {minutes}",
            cautions=shared,
            readings=readings,
            new_cautions=new,
        )


def _count(n_readings: int) -> str:
    return "1 reading" if n_readings == 1 else f"{n_readings} readings"


def _title(listed: Prestart) -> str:
    return f"{listed.car.title}: before the first start"


def _words_before(listed: Prestart, car_name: str) -> Iterator[str]:
    """Yield what the list is and how it is used."""
    yield (
        f"{len(listed.readings)} readings, about {format_minutes(listed.minutes)}. "
        f"They show {format_probability(listed.shown_share)} of the faults that any "
        "reading before the engine runs can show; those are "
        f"{format_probability(listed.showable_share)} of all that this program knows "
        "of, each counted by how likely it is."
    )
    if listed.history:
        told = ", ".join(
            f"{name}: {answer.replace('_', ' ')}"
            for name, answer in listed.history.items()
        )
        yield f"Taken as known: {told}."
    yield (
        "Take them in this order. Where a reading is outside its limits, stop: it "
        "shows a fault, or the car is not wired as its file says. Find that first, "
        "mend it, and take the reading again."
    )
    yield (
        f"The program asks for them one by one, and for what to do when one is off, "
        f"by: diagnose start {car_name} --prestart"
    )


def _reading_words(one: PrestartReading) -> str:
    reading = one.reading
    where = ", ".join(one.places)
    if reading.kind is ReadingKind.LOOK:
        return f"look at the link of {reading.red} ({where})"
    black = f", black on {reading.black}" if reading.black else ""
    return f"{reading.kind.value}: red on {reading.red}{black} ({where})"


def _limit_words(one: PrestartReading) -> str:
    limits, kind = one.limits, one.reading.kind
    band = range_words(limits.low, limits.high, kind)
    if kind is ReadingKind.LOOK or limits.low == limits.high:
        return band
    return f"{band}, about {range_words(limits.middle, limits.middle, kind)}"


def _unshown_title(listed: Prestart) -> str:
    return (
        f"What no such reading shows for sure: {len(listed.unshown)} repairs, of which "
        "the likeliest"
    )


def _unshown(listed: Prestart, most: int) -> Iterator[str]:
    for one in listed.unshown[:most]:
        yield f"- {one.says} ({_chance_words(one)})"
    if len(listed.unshown) > most:
        yield f"- and {len(listed.unshown) - most} less likely ones; all of them: --all"


def _chance_words(one: Unshown) -> str:
    if one.shown_share < 0.005:
        return "not shown"
    share = format_probability(one.shown_share)
    return f"shown where it is severe, {share} of the time"
