"""The audit of a car: every check, and the findings in order."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from types import MappingProxyType

from diagnose.circuit.car import Car
from diagnose.circuit.design.limits import DesignLimits
from diagnose.circuit.design.sound_states import solved_state, solved_states
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Middle
from diagnose.paperwork.audit import drops, feeds, loads, switching, wiring
from diagnose.paperwork.audit.findings import Audit, Audited, Finding, Weight

# The checks; each yields what it finds.
_CHECKS: tuple[Callable[[Audited], Iterator[Finding]], ...] = (
    wiring.fuses_for_wires,
    wiring.wires_for_currents,
    wiring.unfused,
    drops.drops,
    loads.lasting_fuse_loads,
    loads.sums_behind_fuses,
    loads.weak_alternator,
    loads.key_off_drain,
    switching.contacts,
    switching.coils,
    switching.outputs,
    switching.suppression,
    switching.crash_stop,
    feeds.dead_while_cranking,
    feeds.shared_grounds,
)


def audit(car: Car, limits: DesignLimits, *, rule: str = "") -> Audit:
    """Return all that is wrong with a car by design.

    Parameters
    ----------
    car : Car
        Complete and checked; one draw with the middle of every value is looked at.
    limits : DesignLimits
        What it is held against.
    rule : str
        Rule for wires and fuses in place of the car file's; empty for that one.

    Returns
    -------
    Audit
        What was found, and what could not be looked at.

    Raises
    ------
    KeyError
        If there is no such rule.
    """
    model = CarModel(car, Middle(n_draws=1))
    solved = solved_states(model)
    states = tuple(one for one in solved if one.is_settled)
    tried = (
        *states,
        *(
            one
            for state in _positions_never_taken(car)
            if (one := solved_state(model, state)).is_settled
        ),
    )
    audited = Audited(
        car=car,
        limits=limits,
        rule=limits.rule(rule or car.wire_rule),
        states=states,
        tried=tried,
    )
    found = [finding for check in _CHECKS for finding in check(audited)]
    order = list(Weight)
    found.sort(key=lambda one: (order.index(one.weight), one.line, one.check))
    return Audit(
        rule=audited.rule,
        findings=tuple(found),
        unsettled=tuple(one.state.name for one in solved if not one.is_settled),
    )


def _positions_never_taken(car: Car) -> Iterator[OperatingState]:
    """Yield a state for each switch position that no state of the car has."""
    connected = [state for state in car.states if state.is_battery_connected]
    running = [state for state in connected if state.is_engine_running]
    base = (running or connected)[0]
    starting = {
        switch
        for state in connected
        if state.is_cranking
        for switch in state.switch_positions
    }
    for switch, positions in car.switches.items():
        if switch in starting:
            continue  # the ignition switch: its positions are states
        taken = {s.switch_positions.get(switch, positions[0]) for s in connected}
        for position in positions:
            if position not in taken:
                yield replace(
                    base,
                    name=f"{base.name} with {switch} {position}",
                    switch_positions=MappingProxyType(
                        {**base.switch_positions, switch: position}
                    ),
                )
