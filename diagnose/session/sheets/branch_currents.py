"""What flows in each branch with the key off, and what drops along each fuse.

A drain is looked for by milliamps at the battery and by millivolts along the fuses in
their places, branch by branch. Leaves how they are worked out to `expected_readings`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.sheets.sheet import BranchCurrents, Cell


def branch_currents(
    car: Car,
    states: Sequence[OperatingState],
    is_wanted: Callable[[str], bool],
    cell: Callable[[Reading], Cell],
) -> Iterator[BranchCurrents]:
    """Yield the currents of the battery and of every fuse.

    Parameters
    ----------
    car : Car
        The car.
    states : Sequence[OperatingState]
        Those of the sheet.
    is_wanted : Callable[[str], bool]
        Whether a part was asked for.
    cell : Callable[[Reading], Cell]
        Works a reading out.

    Yields
    ------
    BranchCurrents
        The battery first.
    """
    live = [state for state in states if state.is_battery_connected]
    kinds = ("battery", *PROTECTIVE_KINDS)
    parts = [part for part in car.parts if part.kind in kinds and is_wanted(part.name)]
    for part in sorted(parts, key=lambda one: one.kind != "battery"):

        def read(
            kind: ReadingKind, state: OperatingState, red: str = part.name
        ) -> Cell:
            return cell(Reading(kind=kind, state=state.name, red=red, black=""))

        is_fuse = part.kind != "battery"
        yield BranchCurrents(
            name=part.name,
            key_off=tuple(
                read(ReadingKind.AMPS, state) for state in live if is_at_rest(state)
            ),
            along=tuple(read(ReadingKind.FUSE, state) for state in live if is_fuse),
        )
