"""Relays and outputs against what they switch, and what their coils do to an output."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Part
from diagnose.circuit.design.reach import METAL_KINDS, reached
from diagnose.paperwork.audit.findings import Audited, Finding, Weight
from diagnose.paperwork.audit.runs import run_of

# Relays bolted to the starter or built for its current.
STARTER_RELAY_ROLE = "starter-solenoid"

# A coil with less than this share of what pulls it in is not meant to be on. [1] Own
# choice: a leak or a lamp in its wire leaves less.
MEANT_SHARE = 0.3

# A part that carries less is off. [A] Own choice: less than the smallest lamp.
CARRIES_AMPS = 0.01


def contacts(audited: Audited) -> Iterator[Finding]:
    """Yield relays whose contacts carry more than they are made for."""
    usual = audited.limits.relay_contact_amps
    for part in audited.parts_of("contacts"):
        if part.role == STARTER_RELAY_ROLE:
            continue
        given = part.values.get("contact_rating_amps")
        limit = usual.value if given is None else given.distribution.nominal
        amps, states = audited.most_amps(part.name)
        if amps > limit:
            yield Finding(
                check="relay-contacts",
                weight=Weight.DANGER,
                part=part.assembly,
                line=part.line,
                figure=amps,
                limit=limit,
                unit="A",
                says=f"the contacts of {part.assembly} carry more than they may",
                change="fit a relay rated for it (and say `rated`), or part its loads",
                source=usual.source if given is None else "the car file",
                states=states,
            )


def coils(audited: Audited) -> Iterator[Finding]:
    """Yield relays whose coil gets too little to pull in where it is switched on."""
    for coil in audited.parts_of("coil"):
        pull_in = coil.values["pull_in_volts"].distribution.nominal
        first, second = tuple(coil.terminals.values())[:2]
        low = [
            (volts, solved.state.name)
            for solved in audited.states
            if not solved.state.is_cranking
            and (volts := abs(solved.volts(first) - solved.volts(second))) < pull_in
            and volts > MEANT_SHARE * pull_in
        ]
        if low:
            volts, state = min(low)
            yield Finding(
                check="relay-coil",
                weight=Weight.FAULT,
                part=coil.assembly,
                line=coil.line,
                figure=volts,
                limit=pull_in,
                unit="V",
                says=f"the coil of {coil.assembly} gets {volts:.1f} V, and pulls in at "
                f"{pull_in:.1f} V",
                change="feed it straight, past what takes its volts",
                source="pull-in volts of the coil (knowledge or car file)",
                states=(state,),
            )


def outputs(audited: Audited) -> Iterator[Finding]:
    """Yield outputs that are asked for more than their limit."""
    for output in audited.parts_of("driver"):
        limit = output.values["limit_amps"].distribution.nominal
        amps, states = audited.most_amps(output.name, is_cranking_told=True)
        if amps > limit:
            yield Finding(
                check="output-limit",
                weight=Weight.FAULT,
                part=output.name,
                line=output.line,
                figure=amps,
                limit=limit,
                unit="A",
                says=f"{output.name} is asked for more than it gives",
                change="let it switch a relay, and the relay the load",
                source=output.values["limit_amps"].source or "the car file",
                states=states,
            )


def suppression(audited: Audited) -> Iterator[Finding]:
    """Yield coils on an output that nothing keeps from kicking back."""
    diodes = [
        set(tuple(diode.terminals.values())[:2]) for diode in audited.parts_of("diode")
    ]
    metal = audited.parts_of(*METAL_KINDS)
    for coil in audited.parts_of("coil"):
        ends = set(tuple(coil.terminals.values())[:2])
        if ends in diodes:
            continue
        joined = reached(metal, ends)
        for output in audited.parts_of("driver"):
            pins = audited.car.output_pins.intersection(output.terminals.values())
            if pins & joined:
                yield Finding(
                    check="coil-suppression",
                    weight=Weight.ADVICE,
                    part=coil.assembly,
                    line=coil.line,
                    figure=0.0,
                    limit=1.0,
                    unit="suppressor",
                    says=f"the coil of {coil.assembly} kicks back into {output.name} "
                    "when it lets go, and nothing takes that up",
                    change="fit a relay with a diode or resistor across its coil "
                    "(`suppression: diode`), unless the controller's manual says that "
                    "its output has one",
                    source="a coil on an output has its suppression (rule)",
                )


def crash_stop(audited: Audited) -> Iterator[Finding]:
    """Yield fuel pumps that run on with the key on when the engine has stopped."""
    for pump in audited.car.parts:
        if pump.role != "fuel-pump":
            continue
        running = [
            solved
            for solved in audited.states
            if not solved.state.is_engine_turning
            and abs(solved.part_amps(pump.name)) > 0.5
        ]
        if not running:
            continue
        gates = _gates(audited, pump)
        starter_switches = {
            assembly
            for solved in audited.states
            if solved.state.is_cranking
            for assembly in solved.state.switch_positions
        }
        if any(
            gate.kind == "driver"
            or (gate.kind == "switch-contact" and gate.assembly not in starter_switches)
            for gate in gates
        ):
            continue
        yield Finding(
            check="pump-in-a-crash",
            weight=Weight.DANGER,
            part=pump.name,
            line=pump.line,
            figure=0.0,
            limit=1.0,
            unit="stop",
            says=f"only the ignition switch stops {pump.name}: after a crash it "
            "pumps on with the engine dead",
            change="put an inertia switch in its feed, or let the engine controller or "
            "an oil pressure switch hold its relay",
            source="a pump stops when the engine does (rule)",
            states=(running[0].state.name,),
        )


def _gates(audited: Audited, load: Part) -> list[Part]:
    """Return all that switches a load: in its run, and in the runs of its coils."""
    found: list[Part] = []
    waiting = [load]
    seen = set()
    while waiting:
        one = waiting.pop()
        if one.name in seen:
            continue
        seen.add(one.name)
        for solved in audited.states:
            if abs(solved.part_amps(one.name)) > CARRIES_AMPS:
                run = run_of(solved, one)
                for step in (*run.feed, *run.ground):
                    found.append(step.part)
                    if step.part.kind == "contacts" and step.part.gate is not None:
                        waiting.append(audited.car.part(step.part.gate))
                break
    return found
