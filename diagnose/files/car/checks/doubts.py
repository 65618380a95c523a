"""Doubts about a sound car file: what the car described would hardly be built like.

A warning never refuses a car. Fuses are held against the wires they feed; one nominal
car is solved in every state. Leaves what is plainly wrong to `sound_circuit`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.circuit.design.reach import fed_wires, is_copper
from diagnose.circuit.design.sizing import (
    counted_gauge,
    gauge_for_drop,
    gauge_that_would_do,
)
from diagnose.circuit.design.sound_states import (
    SolvedState,
    solved_state,
    solved_states,
)
from diagnose.circuit.model import CarModel
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.solver.moving_points import MAX_FLIPS
from diagnose.circuit.tolerance_draws import Middle
from diagnose.circuit.wire_limits import MOST_PROTECTION_FACTOR, most_fuse_amps

# The state in which a charging system is judged: all the usual loads on, at idle.
LOADED_STATE = "idle-loaded"

# Above this a 12 V battery gasses as long as the engine runs; another system has so
# much for each 12 V. [V] A rule of the trade: 14.8 to 15.2 V.
MOST_CHARGING_VOLTS = 15.0

# Smaller currents out of the battery are leakage and rounding. [A] Own choice.
LEAST_DISCHARGE_AMPS = 0.5

# How long a pump or fan motor draws its stall current when it starts. [s] From memory:
# a tenth or two of a second.
INRUSH_SECONDS = 0.15

# Most that the copper of one wire may take of the system's volts: ABYC E-11 allows as
# much for a whole circuit that matters, there and back (secondary copy). [1]
MOST_WIRE_DROP = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class CarWarning:
    """A doubt about one entry of a car file.

    Parameters
    ----------
    path : str
        The file as the user named it.
    line : int
        Where, counted from 1; 0 when the file as a whole is meant.
    message : str
        What is doubted, and what to do.
    """

    path: str
    line: int
    message: str

    def __str__(self) -> str:
        """Return ``file:line: warning: message``."""
        where = f":{self.line}" if self.line else ""
        return f"{self.path}{where}: warning: {self.message}"


def car_warnings(car: Car) -> tuple[CarWarning, ...]:
    """Return what is doubtful about a car that loads.

    Parameters
    ----------
    car : Car
        Complete and checked.

    Returns
    -------
    tuple[CarWarning, ...]
        By line.

    References
    ----------
    33 CFR 183.455 (United States coast guard, boats): overcurrent protection of at most
    150 % of the allowable current.
    """
    model = CarModel(car, Middle(n_draws=1))
    found = list(_thick_fuses(car))
    settled = []
    for solved in solved_states(model):
        if not solved.is_settled:
            found.append(_unsettled(solved))
            continue
        settled.append(solved)
        if solved.state.name == LOADED_STATE:
            found.extend(_weak_alternators(solved))
    found.extend(_overcharged(car, settled))
    found.extend(_opening_fuses(car, settled))
    found.extend(_overloaded_outputs(car, settled))
    found.extend(_inrush_fuses(model, settled))
    found.extend(_thin_wires(car, settled))
    return tuple(sorted(found, key=lambda warning: (warning.line, warning.message)))


def _warning(car: Car, part: Part, message: str) -> CarWarning:
    return CarWarning(path=car.path, line=part.line, message=message)


def _thick_fuses(car: Car) -> Iterator[CarWarning]:
    """Yield fuses too big for the thinnest wire they feed."""
    for fuse in car.parts:
        if fuse.kind not in PROTECTIVE_KINDS:
            continue
        rating = fuse.values["rating_amps"].distribution.nominal
        limits = [
            (most_fuse_amps(gauge), wire.name)
            for wire in fed_wires(car, fuse)
            if (gauge := counted_gauge(wire)) is not None
        ]
        if limits and rating > min(limits)[0]:
            limit, wire = min(limits)
            yield _warning(
                car,
                fuse,
                f'{fuse.kind} "{fuse.name}" is rated {rating:g} A; wire "{wire}" '
                f"behind it should have {limit:g} A at most, "
                f"{100 * MOST_PROTECTION_FACTOR:.0f} % of what it may carry for good "
                "(33 CFR 183.455); fit a smaller fuse or a thicker wire"
                f"{_would_do(gauge_that_would_do(rating / MOST_PROTECTION_FACTOR))}",
            )


def _would_do(gauge: str) -> str:
    """Return which gauge would do, as words to add."""
    return f"; {gauge} would do here" if gauge else ""


def _unsettled(solved: SolvedState) -> CarWarning:
    """Return the warning that something keeps switching in the sound car."""
    restless = np.flatnonzero(solved.point.flips[0] >= MAX_FLIPS).tolist()
    names = dict.fromkeys(solved.network.parts[branch] for branch in restless)
    parts = [solved.car.part(name) for name in names]
    told = ", ".join(f'"{part.name}"' for part in parts) or "something"
    return CarWarning(
        path=solved.car.path,
        line=parts[0].line if parts else 0,
        message=f"in state {solved.state.name} {told} never comes to rest, although "
        "everything is sound; look at what its coil or supply depends on",
    )


def _opening_fuses(car: Car, settled: list[SolvedState]) -> Iterator[CarWarning]:
    """Yield fuses that the sound car blows, with the states it does so in."""
    opened: dict[str, dict[str, float]] = {}
    for solved in settled:
        trips = solved.network.trip_amps[0]
        for branch in np.flatnonzero(np.isfinite(trips)).tolist():
            amps = abs(solved.branch_amps[solved.network.branches[branch]])
            kind = car.part(solved.network.parts[branch]).kind
            if kind in PROTECTIVE_KINDS and amps > trips[branch]:
                states = opened.setdefault(solved.network.parts[branch], {})
                states[solved.state.name] = amps
    for name, states in opened.items():
        fuse = car.part(name)
        rating = fuse.values["rating_amps"].distribution.nominal
        yield _warning(
            car,
            fuse,
            f'{fuse.kind} "{name}" of {rating:g} A would open: the sound car draws up '
            f"to {max(states.values()):.1f} A through it ({', '.join(states)}); check "
            "the loads behind it and its rating",
        )


def _overcharged(car: Car, settled: list[SolvedState]) -> Iterator[CarWarning]:
    """Yield alternators that charge the battery of the sound car too high."""
    limit = MOST_CHARGING_VOLTS * car.system_volts / 12.0
    battery = car.battery
    assert battery is not None
    plus, minus = battery.terminals["plus"], battery.terminals["minus"]
    high = {
        solved.state.name: volts
        for solved in settled
        if solved.state.is_engine_running
        and (volts := solved.volts(plus) - solved.volts(minus)) > limit
    }
    for part in car.parts:
        if high and part.kind == "alternator":
            sensed = part.terminals.get("sense", part.terminals["output"])
            yield _warning(
                car,
                part,
                f'"{part.name}" charges the battery with up to '
                f"{max(high.values()):.1f} V although everything is sound "
                f"({', '.join(high)}); check its set_volts, and whether less than the "
                f'battery\'s volts get to "{sensed}", where it senses',
            )


def _inrush_fuses(model: CarModel, settled: list[SolvedState]) -> Iterator[CarWarning]:
    """Yield fuses that a motor may open by starting."""
    car = model.car
    for motor in (part for part in car.parts if part.kind == "motor"):
        running = [s for s in settled if abs(s.part_amps(motor.name)) > 1.0]
        if not running:
            continue
        state = replace(running[0].state, lasts_seconds=INRUSH_SECONDS)
        held = {**model.values[motor.name], "is_stalled": np.ones(1)}
        solved = solved_state(model, state, {motor.name: held})
        network = solved.network
        for branch in np.flatnonzero(np.isfinite(network.trip_amps[0])).tolist():
            fuse, amps = (
                car.part(network.parts[branch]),
                abs(solved.branch_amps[network.branches[branch]]),
            )
            if fuse.kind in PROTECTIVE_KINDS and amps > network.trip_amps[0, branch]:
                rating = fuse.values["rating_amps"].distribution.nominal
                yield _warning(
                    car,
                    fuse,
                    f'{fuse.kind} "{fuse.name}" of {rating:g} A may open when '
                    f'"{motor.name}" starts: it then draws {amps:.0f} A for a moment; '
                    "fit the next larger one its wires allow, or a slow-fuse",
                )


def _thin_wires(car: Car, settled: list[SolvedState]) -> Iterator[CarWarning]:
    """Yield wires whose copper takes too much of the volts.

    Wires given by their ohms are meant to drop volts, and cranking, which lasts for
    seconds, is left out.
    """
    allowed = MOST_WIRE_DROP * car.system_volts
    for wire in (part for part in car.parts if part.kind == "wire"):
        if not is_copper(wire):
            continue
        ohms = wire.values["wire_ohms"].distribution.nominal
        drawn = {
            solved.state.name: amps
            for solved in settled
            if not solved.state.is_cranking
            and (amps := abs(solved.part_amps(wire.name))) * ohms > allowed
        }
        if drawn:
            most = max(drawn.values())
            gauge = gauge_for_drop(car, wire, amps=most, allowed_volts=allowed)
            yield _warning(
                car,
                wire,
                f'wire "{wire.name}" drops {most * ohms:.2f} V in its copper at '
                f"{most:.0f} A ({', '.join(drawn)}), more than "
                f"{100 * MOST_WIRE_DROP:.0f} % of {car.system_volts:g} V; fit a "
                f"thicker or a shorter one{_would_do(gauge)}",
            )


def _overloaded_outputs(car: Car, settled: list[SolvedState]) -> Iterator[CarWarning]:
    """Yield outputs that the sound car asks for more than their limit."""
    for output in (part for part in car.parts if part.kind == "driver"):
        limit = output.values["limit_amps"].distribution.nominal
        states = [
            solved.state.name
            for solved in settled
            if abs(solved.part_amps(output.name)) > limit
        ]
        if states:
            yield _warning(
                car,
                output,
                f'output "{output.name}" is asked for more than its {limit:g} A '
                f"({', '.join(states)}); let it switch a relay, and the relay the load",
            )


def _weak_alternators(solved: SolvedState) -> Iterator[CarWarning]:
    """Yield the alternator when the battery has to help it."""
    battery = next(part for part in solved.car.parts if part.kind == "battery")
    # a battery's branch counts current into its plus post, as every branch does
    discharge = -solved.part_amps(battery.name)
    if discharge < LEAST_DISCHARGE_AMPS:
        return
    for part in solved.car.parts:
        if part.kind == "alternator":
            given = max(-solved.part_amps(part.name), 0.0)
            yield _warning(
                solved.car,
                part,
                f"in state {solved.state.name} the battery gives {discharge:.0f} A "
                f'although everything is sound: "{part.name}" gives {given:.0f} A '
                "there; check its rated amps, its pulley_ratio, what switches its "
                "exciter on, and the loads",
            )
