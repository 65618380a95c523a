"""Writes the wiring diagram of a car: SVG, PDF or PNG, by the ending of the file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.errors import DiagnoseError
from diagnose.faults.causes import catalogue
from diagnose.paperwork.drawing.graph import graph_of
from diagnose.paperwork.drawing.lanes import lanes_of
from diagnose.paperwork.drawing.layout import scenes_of
from diagnose.paperwork.drawing.printing import write_pdf, write_png
from diagnose.paperwork.drawing.scene import Scene
from diagnose.paperwork.drawing.sheets import sheets_of
from diagnose.paperwork.drawing.shown_state import shown_state
from diagnose.paperwork.drawing.svg import svg_of
from diagnose.terminal.names import known_name
from diagnose.terminal.preparation.car_files import (
    car_file,
    open_car,
    published_knowledge,
    refuse_overwriting,
)

# Forms a diagram is written in, by the ending of its file.
ENDINGS = (".svg", ".pdf", ".png")

# The state shown beside a fault where none is named: most is on in it.
USUAL_STATES = ("idle-loaded", "idle", "key-on")


def write_diagram(
    name: str,
    *,
    out: Path | None,
    state: str,
    fault: str,
    probes: Sequence[str],
    sink: TextIO,
) -> None:
    """Write the wiring diagram of a car and say which files it is in.

    Parameters
    ----------
    name : str
        A car file, or the name of a shipped car.
    out : Path or None
        Where; beside where the command runs, named after the car, when None. Several
        sheets of a form that holds one are numbered.
    state, fault : str
        Operating state whose volts and amps are written, and the cause beside them; or
        empty.
    probes : Sequence[str]
        Nodes of the red and the black lead, or none.
    sink : TextIO
        Told which files were written.

    Raises
    ------
    DiagnoseError
        If the file is wrong, or a name or an ending is not known.
    """
    knowledge = published_knowledge()
    car = open_car(name, knowledge)
    out = out or Path(f"{Path(name).stem}.svg")
    if out.suffix.lower() not in ENDINGS:
        raise DiagnoseError(
            f"{out}: a diagram ends in {', '.join(ENDINGS)}, found "
            f'"{out.suffix or out.name}"'
        )
    causes = catalogue(car, knowledge.modes)
    cause = None
    if fault:
        cause_name = known_name(fault, (one.name for one in causes), "cause")
        cause = next(one for one in causes if one.name == cause_name)
    leads = [known_name(one, car.nodes, "terminal") for one in probes] or ["", ""]
    overlay = shown_state(
        car,
        _state(car, state, is_needed=cause is not None),
        cause=cause,
        leads=(leads[0], leads[1]),
    )
    graph = graph_of(car)
    scenes = scenes_of(graph, sheets_of(graph, lanes_of(graph)), overlay)
    sink.writelines(f"{path}\n" for path in _written(scenes, out, name))


def _state(car: Car, typed: str, *, is_needed: bool) -> OperatingState | None:
    """Return the state that is shown, if one is."""
    names = [state.name for state in car.states if state.is_battery_connected]
    if typed:
        return car.state(known_name(typed, names, "operating state"))
    usual = [name for name in USUAL_STATES if name in names]
    return car.state((usual or names)[0]) if is_needed else None


def _written(scenes: Sequence[Scene], out: Path, car_name: str) -> list[Path]:
    """Write every sheet, and return the files."""
    ending = out.suffix.lower()
    is_one_file = ending == ".pdf" or len(scenes) == 1
    paths = (
        [out]
        if is_one_file
        else [
            out.with_name(f"{out.stem}-{number}{out.suffix}")
            for number in range(1, len(scenes) + 1)
        ]
    )
    with car_file(car_name) as source:
        for path in paths:
            refuse_overwriting(path, source)
    if ending == ".pdf":
        write_pdf(scenes, out)
        return paths
    for scene, path in zip(scenes, paths, strict=True):
        if ending == ".png":
            write_png(scene, path)
        else:
            path.write_text(svg_of(scene), encoding="utf-8")
    return paths
