"""What no operating state of a car covers: states left out, loads never switched on.

What lies behind a load that is on in no state can neither be complained of nor be
measured. Leaves what is plainly wrong to `sound_circuit`, and doubts to `doubts`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import ComesWith, OperatingState
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle

# A load that takes less than this share of its amps is off. [1] Own choice: leakage of
# insulation takes less than a thousandth, a lamp behind a relay's coil about a tenth.
LEAST_SHARE = 0.2

# Parameter that says how large a load of each kind is, and the volts that make amps of
# watts; see `files.car.grammar.sizes`.
SIZES: Mapping[str, tuple[str, float]] = {
    "motor": ("motor_amps", 1.0),
    "load": ("load_amps", 1.0),
    "electronics": ("load_amps", 1.0),
    "lamp": ("lamp_watts", 13.5),
    "led-lamp": ("led_watts", 13.5),
}


def uncovered(car: Car, states: Mapping[str, OperatingState]) -> Iterator[str]:
    """Yield what the car file leaves out, and what to write in it.

    Parameters
    ----------
    car : Car
        Complete and checked.
    states : Mapping[str, OperatingState]
        The states of knowledge/.

    Yields
    ------
    str
        One line each, empty of a car whose states cover all.
    """
    missing = _missing_states(car, states)
    if missing:
        yield (
            f"not written under `states`, so nothing is asked or measured there: "
            f"{', '.join(missing)}; write each with the positions of its switches"
        )
    idle = _unworked_loads(car)
    if idle:
        yield (
            f"on in no operating state, so nothing behind them can be measured: "
            f"{', '.join(idle)}; write a state that works their switch (a switch that "
            "springs back has a position pressed, pushed, pulled or held) or output"
        )


def _missing_states(car: Car, states: Mapping[str, OperatingState]) -> list[str]:
    there = {state.name for state in car.states}
    kinds = {part.kind for part in car.parts}
    has_extra = any(
        state.comes_with is ComesWith.SWITCHES or state.commands for state in car.states
    )
    return [
        name
        for name, state in states.items()
        if state.comes_with is ComesWith.FILE
        and name not in there
        and (not state.is_cranking or "starter" in kinds)
        # states with loads on say nothing new of a car that has none to switch on
        and (has_extra or not (state.like and state.is_engine_running))
    ]


def _unworked_loads(car: Car) -> list[str]:
    """Return the loads that take next to nothing in every state, by name."""
    model = CarModel(car, Middle(n_draws=1))
    loads = [part for part in car.parts if part.kind in LOAD_KINDS & set(SIZES)]
    most = np.zeros(len(loads))
    for state in car.states:
        if not state.is_battery_connected:
            continue
        network = model.network(state)
        amps = np.abs(solve_operating_point(network).branch_amps(network)[0])
        index = network.branch_indices()
        most = np.maximum(most, [amps[index[part.name]] for part in loads])
    found = []
    for part, amps_seen in zip(loads, most.tolist(), strict=True):
        parameter, volts = SIZES[part.kind]
        rated = part.values[parameter].distribution.nominal / volts
        if amps_seen < LEAST_SHARE * rated:
            found.append(part.name)
    return found
