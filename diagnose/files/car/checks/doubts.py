"""Doubts about a sound car file: what the car described would hardly be built like.

A warning never refuses a car. Fuses are held against the wires they feed; one nominal
car is solved in every state. Leaves what is plainly wrong to `sound_circuit`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from diagnose.circuit.car import Car, OperatingState, Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.solver.moving_points import MAX_FLIPS
from diagnose.circuit.solver.network import Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.circuit.wires import (
    MOST_PROTECTION_FACTOR,
    SAE_GAUGES,
    area_for_drop_mm2,
    conductor_ohms,
    gauge_name,
    most_fuse_amps,
    sae_area_mm2,
    thinnest_gauge_carrying,
    thinnest_sae_gauge,
)
from diagnose.files.car.checks.sound_circuit import CONDUCTOR_KINDS

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

# The thinnest gauge with a published current. [SAE gauge] 33 CFR 183.425.
THINNEST_GAUGE = 18

# The thickest gauge with a published current. [SAE gauge] 33 CFR 183.425.
THICKEST_GAUGE = 4

# Kinds of part that keep a short circuit behind them small.
LIMITING_KINDS = frozenset(("resistor",))


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    """The nominal car in one operating state."""

    car: Car
    state: OperatingState
    network: Network
    point: OperatingPoint

    def amps(self, branch: int) -> float:
        """Return the current of a branch. [A]."""
        return float(self.point.branch_amps(self.network)[0, branch])

    def volts(self, node: str) -> float:
        """Return the voltage of a node against the reference. [V]."""
        return float(self.point.volts[0, self.network.nodes.index(node)])

    def branch(self, name: str) -> int:
        """Return where a branch stands."""
        return self.network.branches.index(name)


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
    for state in car.states:
        if not state.is_battery_connected:
            continue
        network = model.network(state)
        point = solve_operating_point(network)
        solved = _Solved(car=car, state=state, network=network, point=point)
        if not point.is_settled.all():
            found.append(_unsettled(solved))
            continue
        settled.append(solved)
        if state.name == LOADED_STATE:
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
            (limit, wire.name)
            for wire in _fed_wires(car, fuse)
            if (limit := _most_fuse_amps(wire)) is not None
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
                f"{_would_do(rating / MOST_PROTECTION_FACTOR)}",
            )


def _would_do(amps: float, area_mm2: float = 0.0) -> str:
    """Return which gauge carries a current and has so much copper, as words to add."""
    try:
        # the thicker of the two: gauges count down
        gauge = min(thinnest_gauge_carrying(amps), thinnest_sae_gauge(area_mm2))
    except ValueError:
        return ""
    return f"; {gauge_name(gauge)} AWG would do here"


def _most_fuse_amps(wire: Part) -> float | None:
    """Return the biggest fuse for a wire, None when no current is published. [A]."""
    area_mm2 = wire.values["area_mm2"].distribution.nominal
    even = [gauge for gauge in SAE_GAUGES if gauge % 2 == 0]
    held = [gauge for gauge in even if sae_area_mm2(gauge) <= area_mm2]
    # a wire between two gauges counts as the thinner one
    gauge = held[-1] if held else THINNEST_GAUGE
    if gauge < THICKEST_GAUGE:
        return None
    # thinner than the table: what is too much for its thinnest wire is too much here
    return most_fuse_amps(min(gauge, THINNEST_GAUGE))


def _fed_wires(car: Car, fuse: Part) -> list[Part]:
    """Return the wires a fuse alone protects: up to loads and to the next fuses.

    What lies behind a resistance is left out, as that keeps a short circuit small; so
    is the side of the fuse that the battery feeds past it.
    """
    conductors = [
        part
        for part in car.parts
        if part.kind in CONDUCTOR_KINDS - set(PROTECTIVE_KINDS) - LIMITING_KINDS
        and (part.kind != "wire" or "area_mm2" in part.values)
    ]
    posts = ("battery.plus", "battery.minus")
    hot = posts[1] if car.reference == posts[0] else posts[0]
    others = [
        part for part in car.parts if part.kind in PROTECTIVE_KINDS and part is not fuse
    ]
    supplied = _nodes_from(hot, [*conductors, *others], car.reference)
    wires: dict[str, Part] = {}
    for node in fuse.terminals.values():
        if node in supplied:
            continue
        reached = _nodes_from(node, conductors, car.reference)
        for part in conductors:
            if part.kind == "wire" and reached & set(part.terminals.values()):
                wires[part.name] = part
    return list(wires.values())


def _nodes_from(start: str, conductors: list[Part], reference: str) -> set[str]:
    """Return the nodes that conductors join to a start, the ground left out."""
    seen = {start}
    is_growing = True
    while is_growing:
        is_growing = False
        for part in conductors:
            ends = set(tuple(part.terminals.values())[:2])
            if ends & seen and not ends <= seen and reference not in ends:
                seen |= ends
                is_growing = True
    return seen


def _unsettled(solved: _Solved) -> CarWarning:
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


def _opening_fuses(car: Car, settled: list[_Solved]) -> Iterator[CarWarning]:
    """Yield fuses that the sound car blows, with the states it does so in."""
    opened: dict[str, dict[str, float]] = {}
    for solved in settled:
        trips = solved.network.trip_amps[0]
        for branch in np.flatnonzero(np.isfinite(trips)).tolist():
            amps = abs(solved.amps(branch))
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


def _overcharged(car: Car, settled: list[_Solved]) -> Iterator[CarWarning]:
    """Yield alternators that charge the battery of the sound car too high."""
    limit = MOST_CHARGING_VOLTS * car.system_volts / 12.0
    battery = next(part for part in car.parts if part.kind == "battery")
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


def _inrush_fuses(model: CarModel, settled: list[_Solved]) -> Iterator[CarWarning]:
    """Yield fuses that a motor may open by starting."""
    car = model.car
    for motor in (part for part in car.parts if part.kind == "motor"):
        running = [s for s in settled if abs(s.amps(s.branch(motor.name))) > 1.0]
        if not running:
            continue
        state = replace(running[0].state, lasts_seconds=INRUSH_SECONDS)
        held = {**model.values[motor.name], "is_stalled": np.ones(1)}
        network = model.network(state, {motor.name: held})
        point = solve_operating_point(network)
        solved = _Solved(car=car, state=state, network=network, point=point)
        for branch in np.flatnonzero(np.isfinite(network.trip_amps[0])).tolist():
            fuse, amps = car.part(network.parts[branch]), abs(solved.amps(branch))
            if fuse.kind in PROTECTIVE_KINDS and amps > network.trip_amps[0, branch]:
                rating = fuse.values["rating_amps"].distribution.nominal
                yield _warning(
                    car,
                    fuse,
                    f'{fuse.kind} "{fuse.name}" of {rating:g} A may open when '
                    f'"{motor.name}" starts: it then draws {amps:.0f} A for a moment; '
                    "fit the next larger one its wires allow, or a slow-fuse",
                )


def _thin_wires(car: Car, settled: list[_Solved]) -> Iterator[CarWarning]:
    """Yield wires whose copper takes too much of the volts.

    Wires given by their ohms are meant to drop volts, and cranking, which lasts for
    seconds, is left out.
    """
    allowed = MOST_WIRE_DROP * car.system_volts
    for wire in (part for part in car.parts if part.kind == "wire"):
        if "area_mm2" not in wire.values:
            continue
        ohms = wire.values["wire_ohms"].distribution.nominal
        drawn = {
            solved.state.name: amps
            for solved in settled
            if not solved.state.is_cranking
            and (amps := abs(solved.amps(solved.branch(wire.name)))) * ohms > allowed
        }
        if drawn:
            most = max(drawn.values())
            yield _warning(
                car,
                wire,
                f'wire "{wire.name}" drops {most * ohms:.2f} V in its copper at '
                f"{most:.0f} A ({', '.join(drawn)}), more than "
                f"{100 * MOST_WIRE_DROP:.0f} % of {car.system_volts:g} V; fit a "
                f"thicker or a shorter one{_gauge_for_drop(car, wire, most)}",
            )


def _gauge_for_drop(car: Car, wire: Part, amps: float) -> str:
    """Return which gauge keeps the allowed drop in place of a wire, as words to add."""
    length_m, area_mm2, ohms = (
        wire.values[name].distribution.nominal
        for name in ("length_m", "area_mm2", "wire_ohms")
    )
    left = 1.0 - amps * ohms / car.system_volts
    if left <= 0.0:
        return ""
    # with a better wire a resistive load takes more
    amps /= left
    # as warm as this wire is
    warmth = ohms / conductor_ohms(length_m, area_mm2)
    allowed_volts = MOST_WIRE_DROP * car.system_volts / warmth
    area_needed = area_for_drop_mm2(amps, length_m, allowed_volts=allowed_volts)
    return _would_do(amps, area_needed)


def _overloaded_outputs(car: Car, settled: list[_Solved]) -> Iterator[CarWarning]:
    """Yield outputs that the sound car asks for more than their limit."""
    for output in (part for part in car.parts if part.kind == "driver"):
        limit = output.values["limit_amps"].distribution.nominal
        states = [
            solved.state.name
            for solved in settled
            if abs(solved.amps(solved.branch(output.name))) > limit
        ]
        if states:
            yield _warning(
                car,
                output,
                f'output "{output.name}" is asked for more than its {limit:g} A '
                f"({', '.join(states)}); let it switch a relay, and the relay the load",
            )


def _weak_alternators(solved: _Solved) -> Iterator[CarWarning]:
    """Yield the alternator when the battery has to help it."""
    battery = next(part for part in solved.car.parts if part.kind == "battery")
    # a battery's branch counts current into its plus post, as every branch does
    discharge = -solved.amps(solved.branch(battery.name))
    if discharge < LEAST_DISCHARGE_AMPS:
        return
    for part in solved.car.parts:
        if part.kind == "alternator":
            given = max(-solved.amps(solved.branch(part.name)), 0.0)
            yield _warning(
                solved.car,
                part,
                f"in state {solved.state.name} the battery gives {discharge:.0f} A "
                f'although everything is sound: "{part.name}" gives {given:.0f} A '
                "there; check its rated amps, its pulley_ratio, what switches its "
                "exciter on, and the loads",
            )
