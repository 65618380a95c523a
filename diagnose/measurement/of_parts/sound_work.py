"""Where each load works on the sound car: in which states, at which volts and amps.

Also which fuse it hangs on and which loads hang on a relay, by following what is in
line from part to part. Leaves what a fault makes of it to `part_symptoms`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.design.sound_states import SolvedState, solved_states
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.tolerance_draws import Middle
from diagnose.measurement.of_parts.in_line import (
    crowded_nodes,
    loads_behind,
    own_wires,
    parts_at,
    way_to_fuse,
)
from diagnose.measurement.quantities import main_nodes

# A load works where it takes at least this share of the most it takes in any state. [1]
# Own choice: the battery alone leaves some .85 of it, a lamp in series a tenth.
WORKING_SHARE = 0.5

# A load is off where it takes less than this share of that. [1] Own choice: leakage of
# insulation takes less than a thousandth, a lamp behind a relay's coil about a tenth.
RESTING_SHARE = 0.03

# A part is in line with a load where it carries at least this share of its current. [1]
# Own choice: a pair of lamps shares a switch, a branch beside the line carries nothing.
CARRIED_SHARE = 0.5

# What takes less nowhere does anything that is seen or heard. [A] Own choice: memories
# and clocks take some milliamps, the smallest lamp of a dash a tenth.
LEAST_AMPS = 0.05


# From these volts on a battery of a 12 V car is being charged. [V] Derived: half way
# between 12.6 V of a battery alone and 13.7 V of one on charge (workshop manual for a
# passenger car, 1976 to 1989), as for the car's own.
CHARGED_VOLTS = 13.2


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadWork:
    """One load of the sound car.

    Parameters
    ----------
    part : Part
        The load.
    state : str
        The state in which it is looked at: one in which it works, with the engine
        stopped where there is one.
    volts, amps : float
        Across it and through it in that state. [V], [A]
    off_in : tuple[str, ...]
        States in which it is off, of those in which somebody looks: key off first.
    fuse : Part or None
        The nearest one that it hangs on; None where nothing protects it.
    line : tuple[str, ...]
        What its current goes through from the fuse on, and its wires to ground.
    switched_by : tuple[str, ...]
        Relays and breakers that its current goes through: parts that can chatter.
    """

    part: Part
    state: str
    volts: float
    amps: float
    off_in: tuple[str, ...]
    fuse: Part | None
    line: tuple[str, ...]
    switched_by: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWork:
    """One relay of the sound car.

    Parameters
    ----------
    contacts : Part
        Its contacts, those that close.
    state : str
        A state in which it is pulled in, with the engine stopped where there is one.
    off_in : str
        A state in which it is not.
    coil_volts : float
        Across its coil in `state`. [V]
    loads, controllers : tuple[str, ...]
        The loads and controllers that hang on its contacts, as far as they work in that
        state.
    """

    contacts: Part
    state: str
    off_in: str
    coil_volts: float
    loads: tuple[str, ...]
    controllers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundWork:
    """What works on the sound car.

    Parameters
    ----------
    loads : Mapping[str, LoadWork]
        By name, in the car's order.
    relays : tuple[RelayWork, ...]
        In the car's order.
    controllers : Mapping[str, tuple[str, ...]]
        Each to the states in which it is up, the easiest to look at first.
    charged : Mapping[str, str]
        Each further battery to the state with a running engine in which it is charged.
    """

    loads: Mapping[str, LoadWork]
    relays: tuple[RelayWork, ...]
    controllers: Mapping[str, tuple[str, ...]]
    charged: Mapping[str, str]


def sound_work(car: Car) -> SoundWork:
    """Return where the loads and relays of a car work while nothing is wrong.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    SoundWork
        Without those that work in no state that its file has.
    """
    solved = [
        one
        for one in solved_states(CarModel(car, Middle(n_draws=1)))
        if one.is_settled and not one.state.is_unplugged
    ]
    at = parts_at(car)
    metal = crowded_nodes(car)
    loads = {}
    for part in car.parts:
        if part.kind in LOAD_KINDS:
            work = _load_work(part, solved, at, metal)
            if work is not None:
                loads[part.name] = work
    relays = [
        work
        for part in car.parts
        if part.kind == "contacts" and not part.is_normally_closed
        for work in [_relay_work(part, solved, loads, at, metal)]
        if work is not None
    ]
    controllers = {
        part.name: _up_in(part, solved)
        for part in car.parts
        if part.kind == "controller"
    }
    return SoundWork(
        loads=MappingProxyType(loads),
        relays=tuple(relays),
        controllers=MappingProxyType({n: up for n, up in controllers.items() if up}),
        charged=MappingProxyType(dict(_charged(car, solved))),
    )


def _charged(car: Car, solved: Sequence[SolvedState]) -> Iterator[tuple[str, str]]:
    """Yield each battery beside the car's own, and where it is charged."""
    own = car.battery
    running = [one for one in solved if one.state.is_engine_running]
    for part in car.parts:
        is_own = own is not None and part.name in (own.name, *own.members)
        if part.kind != "battery" or is_own:
            continue
        least = CHARGED_VOLTS * part.volts_share * car.system_volts / 12.0
        plus, minus = part.terminals["plus"], part.terminals["minus"]
        for one in sorted(running, key=lambda one: _trouble(one.state)):
            if one.volts(plus) - one.volts(minus) >= least:
                yield part.name, one.state.name
                break


def _load_work(
    part: Part,
    solved: Sequence[SolvedState],
    at: Mapping[str, Sequence[Part]],
    metal: AbstractSet[str],
) -> LoadWork | None:
    """Return where a load works; None where it does nowhere."""
    amps = {one.state.name: abs(one.part_amps(part.name)) for one in solved}
    most = max(amps.values(), default=0.0)
    if most < LEAST_AMPS:
        return None
    working = [one for one in solved if amps[one.state.name] >= WORKING_SHARE * most]
    best = min(working, key=lambda one: _trouble(one.state))
    first, second = main_nodes(part)
    # past a switch that is open meanwhile the way leads to another circuit
    bears = CARRIED_SHARE * amps[best.state.name]
    way = [
        one
        for one in way_to_fuse(part, at, metal)
        if abs(best.part_amps(one.name)) >= bears
    ]
    return LoadWork(
        part=part,
        state=best.state.name,
        volts=abs(best.volts(first) - best.volts(second)),
        amps=amps[best.state.name],
        off_in=tuple(
            one.state.name
            for one in solved
            if amps[one.state.name] < RESTING_SHARE * most and not one.state.is_cranking
        ),
        fuse=way[-1] if way and way[-1].kind in PROTECTIVE_KINDS else None,
        line=(*(one.name for one in way), *own_wires(part, way, at)),
        switched_by=tuple(
            one.name for one in way if one.kind in ("contacts", "breaker")
        ),
    )


def _trouble(state: OperatingState) -> tuple[bool, bool, float]:
    """Return what makes a state worse to look at something in, for sorting."""
    return state.is_engine_turning, state.needs_helper, state.change_minutes


def _relay_work(
    contacts: Part,
    solved: Sequence[SolvedState],
    loads: Mapping[str, LoadWork],
    at: Mapping[str, Sequence[Part]],
    metal: AbstractSet[str],
) -> RelayWork | None:
    """Return where a relay is pulled in; None where it never changes."""
    closed = {one.state.name: _is_closed(one, contacts) for one in solved}
    on = [one for one in solved if closed[one.state.name]]
    off = [one for one in solved if not closed[one.state.name]]
    if not on or not off:
        return None
    best = min(on, key=lambda one: _trouble(one.state))
    amps = {name: abs(best.part_amps(name)) for name in loads}
    behind = loads_behind(contacts, at, metal)
    return RelayWork(
        contacts=contacts,
        state=best.state.name,
        off_in=min(off, key=lambda one: _trouble(one.state)).state.name,
        coil_volts=_coil_volts(contacts, best),
        loads=tuple(
            name
            for name in loads
            if name in behind and amps[name] >= WORKING_SHARE * loads[name].amps
        ),
        controllers=tuple(
            part.name
            for part in best.car.parts
            if part.name in behind
            and part.kind == "controller"
            and _is_closed(best, part)
        ),
    )


def _coil_volts(contacts: Part, solved: SolvedState) -> float:
    """Return the volts across the coil that works contacts; 0 without one. [V]."""
    coils = [one for one in solved.car.parts if one.name == contacts.gate]
    if not coils or coils[0].kind != "coil":
        return 0.0
    first, second = main_nodes(coils[0])
    return abs(solved.volts(first) - solved.volts(second))


def _up_in(controller: Part, solved: Sequence[SolvedState]) -> tuple[str, ...]:
    """Return the states in which a controller is up, the easiest first."""
    up = [one.state for one in solved if _is_closed(one, controller)]
    return tuple(state.name for state in sorted(up, key=_trouble))


def _is_closed(solved: SolvedState, contacts: Part) -> bool:
    """Return whether what is switched conducts at an operating point."""
    index = solved.network.branch_indices()
    return bool(solved.point.is_conducting[0, index[contacts.name]])
