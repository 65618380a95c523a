"""Fuses against the sum behind them, and the alternator against all the loads."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Part
from diagnose.circuit.design.reach import nodes_behind
from diagnose.circuit.elements import ELEMENTS, LOAD_KINDS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.paperwork.audit.findings import Audited, Finding, Weight
from diagnose.session.sheets.charge_balance import ChargeBalance, charge_balances

# Shorter states are no load for good: cranking, a short run at speed. [s] Own choice.
LEAST_LASTING_SECONDS = 300.0

# How many loads are named that empty a battery. [1] Own choice: a line of text.
MOST_NAMED = 4


def lasting_fuse_loads(audited: Audited) -> Iterator[Finding]:
    """Yield fuses that carry more for good than their share of the rating."""
    limit = audited.limits.lasting_fuse_fraction
    for fuse in audited.parts_of(*PROTECTIVE_KINDS):
        rating = fuse.values["rating_amps"].distribution.nominal
        lasting = [
            (abs(solved.part_amps(fuse.name)), solved.state.name)
            for solved in audited.states
            if solved.state.lasts_seconds >= LEAST_LASTING_SECONDS
        ]
        amps, state = max(lasting, default=(0.0, ""))
        if amps > limit.value * rating:
            yield Finding(
                check="fuse-load",
                weight=Weight.FAULT,
                part=fuse.name,
                line=fuse.line,
                figure=amps,
                limit=limit.value * rating,
                unit="A",
                says=f"{fuse.name} of {rating:g} A carries {amps:.1f} A for good, "
                f"{100 * amps / rating:.0f} % of its rating, and ages or opens",
                change="part its loads, or fit a bigger one as far as its wires allow",
                source=limit.source,
                states=(state,),
            )


def sums_behind_fuses(audited: Audited) -> Iterator[Finding]:
    """Yield fuses of several circuits that all of these together open."""
    loads = audited.parts_of(*sorted(LOAD_KINDS), "controller")
    for fuse in audited.parts_of(*PROTECTIVE_KINDS):
        behind = nodes_behind(audited.car, fuse)
        fed = [
            load
            for load in loads
            if any(
                load.terminals[name] in behind
                for name in ELEMENTS[load.kind].terminals[:2]
            )
        ]
        amps = sum(_rated_amps(audited, load) for load in fed)
        rating = fuse.values["rating_amps"].distribution.nominal
        if len(fed) > 1 and amps > rating:
            names = ", ".join(
                load.name
                for load in sorted(fed, key=lambda x: -_rated_amps(audited, x))
            )
            yield Finding(
                check="sum-behind-fuse",
                weight=Weight.ADVICE,
                part=fuse.name,
                line=fuse.line,
                figure=amps,
                limit=rating,
                unit="A",
                says=f"all that {fuse.name} feeds takes more than its {rating:g} A: "
                f"{names}",
                change="part the circuits between two fuses, or see that they never "
                "run together",
                source="sum of the loads against the rating (derived)",
            )


def _rated_amps(audited: Audited, load: Part) -> float:
    """Return the most that a load takes: in a state, else by its own figures. [A]."""
    seen, _ = audited.most_amps(load.name)
    values = {name: one.distribution.nominal for name, one in load.values.items()}
    rated = values.get("motor_amps", values.get("load_amps", 0.0))
    if "lamp_watts" in values:
        rated = values["lamp_watts"] / values["lamp_volts"]
    elif "led_watts" in values:
        rated = values["led_watts"] / values["led_volts"]
    return max(seen, rated)


def weak_alternator(audited: Audited) -> Iterator[Finding]:
    """Yield states with a running engine in which the battery has to help."""
    limit = audited.limits.discharge_amps
    parts = audited.parts_of("alternator")
    (battery,) = audited.parts_of("battery")[:1]
    # the balance is worked out only where the battery helps: each costs a solution
    running = [
        solved.state.name
        for solved in audited.states
        if solved.state.is_engine_running
        and -solved.part_amps(battery.name) > limit.value
    ]
    if not running:
        return
    for balance in charge_balances(audited.car, states=running):
        if -balance.charge_amps <= limit.value:
            continue
        line = parts[0].line if parts else 0
        yield Finding(
            check="alternator-for-loads",
            weight=Weight.FAULT,
            part=parts[0].name if parts else "alternator",
            line=line,
            figure=balance.loads_amps + balance.field_amps,
            limit=balance.most_amps,
            unit="A",
            says=_balance_words(balance),
            change=_balance_change(balance),
            source="loads against what the alternator gives at that speed (derived)",
            states=(balance.state,),
        )


def key_off_drain(audited: Audited) -> Iterator[Finding]:
    """Yield batteries that what is always live empties with the key off."""
    limit = audited.limits.key_off_amps
    most_amps = limit.value / audited.volts_scale
    for solved in (one for one in audited.states if is_at_rest(one.state)):
        drawn = {
            load.name: abs(solved.part_amps(load.name))
            for load in audited.parts_of(*sorted(LOAD_KINDS), "controller", "coil")
        }
        most = sorted(drawn, key=lambda name: -drawn[name])[:MOST_NAMED]
        named = [name for name in most if drawn[name] > most_amps]
        for battery in audited.parts_of("battery"):
            amps = -solved.part_amps(battery.name)
            if amps <= most_amps or battery in _mates(audited):
                continue
            yield Finding(
                check="key-off-drain",
                weight=Weight.FAULT,
                part=battery.name,
                line=battery.line,
                figure=amps,
                limit=most_amps,
                unit="A",
                says=f"with the key off {battery.name} gives {amps:.2g} A"
                f"{' to ' if named else ''}{', '.join(named)}",
                change="feed what need not be live from the ignition, or fit a switch",
                source=limit.source,
                states=(solved.state.name,),
            )


def _mates(audited: Audited) -> list[Part]:
    """Return all but the first of batteries in series: one current runs through all."""
    return [one for one in audited.parts_of("battery") if one.volts_share < 1.0][1:]


def _balance_words(balance: ChargeBalance) -> str:
    return (
        f"the battery gives {-balance.charge_amps:.0f} A and is down after "
        f"{balance.minutes_left:.0f} min"
    )


def _balance_change(balance: ChargeBalance) -> str:
    if balance.excess and balance.is_excess_enough:
        return (
            f"switch off {', '.join(balance.excess)} there, or fit an alternator that "
            "gives more at that speed, or a smaller pulley"
        )
    return "fit an alternator that gives more at that speed, or a smaller pulley"
