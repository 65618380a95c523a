"""The drop of each run at its load: in the copper, at the ground, and in resistors."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Part
from diagnose.circuit.design.limits import Limit
from diagnose.circuit.design.reach import is_copper
from diagnose.circuit.design.sizing import gauge_for_drop
from diagnose.circuit.design.sound_states import SolvedState
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.paperwork.audit.findings import Audited, Finding, Weight
from diagnose.paperwork.audit.runs import Run, RunPart, run_of

# Loads that take less are indicators and memories, and drop nothing. [A] Own choice.
LEAST_LOAD_AMPS = 0.2

# A thicker wire is asked to drop no less than this share of what the present one does;
# what is still missing lies elsewhere. [1] Own choice: four times the copper.
LEAST_COPPER_SHARE = 0.25


def drops(audited: Audited) -> Iterator[Finding]:
    """Yield loads whose run drops more than it may."""
    for load in audited.parts_of(*sorted(LOAD_KINDS), "controller", "starter", "coil"):
        run = _heaviest_run(audited, load)
        if run is None:
            continue
        if load.kind == "starter":
            yield from _starter(audited, run)
            continue
        found = list(_resistors(audited, run))
        if load.kind != "coil":
            found.extend(_copper(audited, run))
            # a way with a cause told already is not told again
            found = found or list(_feed_and_ground(audited, run))
        yield from found


def _heaviest_run(audited: Audited, load: Part) -> Run | None:
    """Return the run of a load in the state in which it takes most, if it does."""
    is_starter = load.kind == "starter"
    least = 0.0 if load.kind == "coil" else LEAST_LOAD_AMPS
    best: tuple[float, SolvedState | None] = (least, None)
    for solved in audited.tried:
        if solved.state.is_cranking == is_starter:
            amps = abs(solved.part_amps(load.name))
            if amps > best[0]:
                best = (amps, solved)
    return None if best[1] is None else run_of(best[1], load)


def _copper(audited: Audited, run: Run) -> Iterator[Finding]:
    is_critical = run.load.role in audited.limits.critical_roles
    limits = audited.limits
    limit = limits.critical_drop_fraction if is_critical else limits.usual_drop_fraction
    allowed = limit.value * audited.car.system_volts
    if run.copper_volts <= allowed:
        return
    yield Finding(
        check="copper-drop",
        weight=Weight.FAULT,
        part=run.load.name,
        line=run.load.line,
        figure=run.copper_volts,
        limit=allowed,
        unit="V",
        says=f"the wires to {run.load.name} and back drop "
        f"{100 * run.copper_volts / audited.car.system_volts:.1f} % of "
        f"{audited.car.system_volts:g} V at {run.amps:.1f} A, "
        f"{100 * limit.value:.0f} % are allowed",
        change=_thicker(audited, run, run.copper_volts - allowed),
        source=limit.source,
        states=(run.solved.state.name,),
    )


def _thicker(audited: Audited, run: Run, excess_volts: float) -> str:
    """Return which wires of a run to make thicker, the worst first."""
    wires = sorted(
        (one for one in (*run.feed, *run.ground) if is_copper(one.part)),
        key=lambda one: -one.copper_volts,
    )
    asked: list[str] = []
    for one in wires:
        allowed = one.copper_volts - excess_volts
        gauge = gauge_for_drop(
            audited.car, one.part, amps=one.amps, allowed_volts=allowed
        )
        if gauge:
            asked.append(f"run {one.part.name} in {gauge}")
            return " and ".join(asked)
        # half of it is the most that one of several wires is asked for
        half = one.copper_volts / 2.0
        gauge = gauge_for_drop(audited.car, one.part, amps=one.amps, allowed_volts=half)
        if gauge:
            asked.append(f"run {one.part.name} in {gauge}")
            excess_volts -= half
        if excess_volts <= 0.0:
            break
    return " and ".join(asked) or "shorten the run, or feed it by a relay nearby"


def _feed_and_ground(audited: Audited, run: Run) -> Iterator[Finding]:
    for way, limit, words in (
        (run.feed, audited.limits.feed_drop_volts, "from battery to"),
        (run.ground, audited.limits.ground_drop_volts, "back from"),
    ):
        yield from _too_much(audited, run, way, limit, words, "way-drop")


def _starter(audited: Audited, run: Run) -> Iterator[Finding]:
    for way, limit, words in (
        (run.feed, audited.limits.starter_feed_drop_volts, "from battery to"),
        (run.ground, audited.limits.starter_ground_drop_volts, "back from"),
    ):
        yield from _too_much(audited, run, way, limit, words, "starter-drop")


def _too_much(
    audited: Audited,
    run: Run,
    way: tuple[RunPart, ...],
    limit: Limit,
    words: str,
    check: str,
) -> Iterator[Finding]:
    allowed = limit.value * audited.volts_scale
    # what an output keeps for itself is no fault of the way
    way = tuple(one for one in way if one.part.kind != "driver")
    volts = sum(one.volts for one in way)
    if volts <= allowed:
        return
    worst = max(way, key=lambda one: one.volts)
    yield Finding(
        check=check,
        weight=Weight.FAULT,
        part=run.load.name,
        line=run.load.line,
        figure=volts,
        limit=allowed,
        unit="V",
        says=f"the way {words} {run.load.name} drops {volts:.2f} V at "
        f"{run.amps:.1f} A, {worst.volts:.2f} V of it in {worst.part.name}",
        change=_less_drop(
            audited, worst, volts - allowed, is_brief=run.solved.state.is_cranking
        ),
        source=limit.source,
        states=(run.solved.state.name,),
    )


def _less_drop(
    audited: Audited, worst: RunPart, excess_volts: float, *, is_brief: bool
) -> str:
    """Return what to do about the part that drops most."""
    name = worst.part.name
    if is_copper(worst.part):
        allowed = max(
            worst.copper_volts - excess_volts, LEAST_COPPER_SHARE * worst.copper_volts
        )
        gauge = gauge_for_drop(
            audited.car,
            worst.part,
            amps=worst.amps,
            allowed_volts=allowed,
            is_brief=is_brief,
        )
        return f"run {name} in {gauge}" if gauge else f"shorten {name}"
    if worst.part.kind == "switch-contact":
        return f"let {name} trigger a relay, and the relay feed the load"
    return f"carry less through {name}: give the load a way of its own"


def _resistors(audited: Audited, run: Run) -> Iterator[Finding]:
    """Yield resistance left in the feed of what needs its full volts."""
    is_meant = run.load.role not in audited.limits.needed_roles
    if is_meant and run.load.kind in LOAD_KINDS:
        return  # a dimmer or a blower's resistor is there on purpose
    limit = audited.limits.resistor_drop_fraction
    allowed = limit.value * audited.car.system_volts
    for one in run.feed:
        is_resistor = one.part.kind == "resistor" or (
            one.part.kind == "wire" and not is_copper(one.part)
        )
        if is_resistor and one.volts > allowed:
            yield Finding(
                check="resistor-in-feed",
                weight=Weight.FAULT,
                part=one.part.name,
                line=one.part.line,
                figure=one.volts,
                limit=allowed,
                unit="V",
                says=f"{one.part.name} takes {one.volts:.1f} V from "
                f"{run.load.name}, which needs them all",
                change=f"feed {run.load.name} past it, by a relay that it triggers",
                source=limit.source,
                states=(run.solved.state.name,),
            )
