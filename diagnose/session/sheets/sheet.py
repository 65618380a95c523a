"""The records of the expected-readings sheet: what is wanted of it, and what is on it.

Leaves how it is filled to `expected_readings`, and how it is printed to `terminal`.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.faults.causes import Cause
from diagnose.measurement.readings import ReadingKind
from diagnose.session.sheets.charge_balance import ChargeBalance


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What of the sheet is wanted; empty means everything.

    Parameters
    ----------
    states, parts, places : tuple[str, ...]
        Operating states, all but the unplugged one when none is named; parts or
        assemblies whose terminals are wanted; places.
    fault : str
        `Cause.name` of the fault to set beside the healthy car.
    has_drops : bool
        Whether the voltage along wires, contacts, fuses and loads is wanted too.
    has_lamp : bool
        Whether what a test lamp shows is wanted too.
    """

    states: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    fault: str = ""
    has_drops: bool = False
    has_lamp: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The middle 90 % and the median of a reading, meter loading and leads included.

    In volts or ohms (inf for over-range); for a look 1 is blown and 0 sound.
    """

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One reading of a sheet.

    Parameters
    ----------
    healthy : Band
    faulty : Band or None
        With the chosen fault.
    differs : bool
        The fault moves the middle of the band by more than the meter's error.
    tells : bool
        The two bands lie further apart than the meter's error: this reading alone
        tells the fault from a healthy car.
    """

    kind: ReadingKind
    state: str
    healthy: Band
    faulty: Band | None
    differs: bool
    tells: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One place of the two leads, in every state it is read in.

    Parameters
    ----------
    is_drop : bool
        The black lead is not on the car's reference but on the part's other end.
    is_look : bool
        Not a measurement but a look at the fuse `red`.
    is_ac : bool
        The meter is on AC volts.
    is_lamp : bool
        Not a meter but a test lamp.
    cautions : tuple[str, ...]
        Those of the states and of the places the leads go to.
    """

    place: str
    red: str
    black: str
    is_drop: bool
    is_look: bool
    is_ac: bool
    is_lamp: bool
    cells: tuple[Cell, ...]
    cautions: tuple[str, ...]

    def cell(self, state: str) -> Cell | None:
        """Return the reading in a state; None when it is not read there."""
        return next((cell for cell in self.cells if cell.state == state), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BranchCurrents:
    """The current of the battery or of one fuse's branch.

    Parameters
    ----------
    name : str
        The battery, or a fuse, link or breaker.
    key_off : tuple[Cell, ...]
        Amps in every state at rest. [A]
    along : tuple[Cell, ...]
        Volts along the fuse in every state asked for; none at the battery. [V]
    """

    name: str
    key_off: tuple[Cell, ...]
    along: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The expected readings of one car.

    Parameters
    ----------
    states : tuple[OperatingState, ...]
        Those with a reading on the sheet.
    rows : tuple[Row, ...]
        By place, in the order of the car file.
    cautions : tuple[str, ...]
        All that apply to the readings of the sheet, each once.
    fault : Cause or None
    unreached : tuple[str, ...]
        States that a car with the fault hardly gets into.
    unsteady : tuple[str, ...]
        States in which a relay or a controller of the faulty car keeps switching.
    balances, faulty_balances : tuple[ChargeBalance, ...]
        What the alternator gives and what the loads take, sound and with the fault;
        empty when only other parts were asked for.
    branches : tuple[BranchCurrents, ...]
        What flows with the key off, and drops along each fuse; of parts asked for.
    default_values, own_values : int
        How many values of the car are usual ones, and how many its file gives.
    """

    car: Car
    states: tuple[OperatingState, ...]
    rows: tuple[Row, ...]
    safety_note: str
    cautions: tuple[str, ...]
    fault: Cause | None
    unreached: tuple[str, ...]
    unsteady: tuple[str, ...]
    default_values: int
    own_values: int
    balances: tuple[ChargeBalance, ...] = ()
    faulty_balances: tuple[ChargeBalance, ...] = ()
    branches: tuple[BranchCurrents, ...] = ()
