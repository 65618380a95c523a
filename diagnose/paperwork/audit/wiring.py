"""Wires against their fuses, against what they carry, and what nothing protects."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Part
from diagnose.circuit.design.reach import fed_wires, is_copper, unfused_wires
from diagnose.circuit.design.sizing import gauge_that_would_do, wire_allowable_amps
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.paperwork.audit.findings import Audited, Finding, Weight

# Wires that carry the starter's current: no fuse would hold, and 33 CFR 183.425 (g) and
# practice leave them out.
CRANKING_ROLES = frozenset(("battery-cable", "ground-strap"))


def fuses_for_wires(audited: Audited) -> Iterator[Finding]:
    """Yield fuses too big for the thinnest wire they protect."""
    rule = audited.rule
    for fuse in audited.parts_of(*PROTECTIVE_KINDS):
        rating = fuse.values["rating_amps"].distribution.nominal
        limits = [
            (amps * rule.current_factor * rule.fuse_factor, wire.name)
            for wire in fed_wires(audited.car, fuse)
            if (amps := wire_allowable_amps(wire)) is not None
        ]
        if not limits or rating <= min(limits)[0] + 1e-9:
            continue
        limit, wire = min(limits)
        needed = rating / (rule.current_factor * rule.fuse_factor)
        yield Finding(
            check="fuse-for-wire",
            weight=Weight.DANGER,
            part=fuse.name,
            line=fuse.line,
            figure=rating,
            limit=limit,
            unit="A",
            says=f"a short on {wire} may heat it before {fuse.name} opens",
            change=f"fit a {fuse.kind} of {limit:.3g} A at most, or give {wire} a fuse "
            f"of its own{_or_gauge(gauge_that_would_do(needed))}",
            source=rule.source,
        )


def wires_for_currents(audited: Audited) -> Iterator[Finding]:
    """Yield wires that carry more for good than they may."""
    for wire in filter(is_copper, audited.car.parts):
        allowed = wire_allowable_amps(wire)
        if allowed is None or wire.role in CRANKING_ROLES:
            continue
        limit = allowed * audited.rule.current_factor
        amps, states = audited.most_amps(wire.name)
        if amps > limit:
            gauge = gauge_that_would_do(amps / audited.rule.current_factor)
            yield Finding(
                check="wire-for-current",
                weight=Weight.DANGER,
                part=wire.name,
                line=wire.line,
                figure=amps,
                limit=limit,
                unit="A",
                says=f"{wire.name} carries more for good than it may",
                change=f"run it in {gauge}" if gauge else "part its loads",
                source=audited.rule.source,
                states=states,
            )


def unfused(audited: Audited) -> Iterator[Finding]:
    """Yield wires that nothing opens when they are shorted to ground."""
    limits = audited.limits
    found = [
        wire
        for wire in unfused_wires(audited.car)
        if wire.role not in CRANKING_ROLES
        and _length_m(wire) > limits.bare_unfused_m.value
    ]
    total_m = sum(_length_m(wire) for wire in found)
    for wire in found:
        is_short = _length_m(wire) <= limits.sleeved_unfused_m.value
        is_first = is_short and _leads_to_a_fuse(audited, wire)
        limit = limits.bare_unfused_m if is_first else limits.sleeved_unfused_m
        yield Finding(
            check="unfused-wire",
            weight=Weight.ADVICE if is_first else Weight.DANGER,
            part=wire.name,
            line=wire.line,
            figure=_length_m(wire),
            limit=limits.bare_unfused_m.value,
            unit="m",
            says=f"nothing protects {wire.name}, and a short on it burns it "
            f"({len(found)} such wire{'s' if len(found) > 1 else ''}, "
            f"{total_m:.1f} m in all)",
            change="lay it in a sleeve all the way, or move its fuse to "
            f"{limits.bare_unfused_m.value:.2f} m"
            if is_first
            else "put a fuse or fusible link where it is fed",
            source=limit.source,
        )


def _length_m(wire: Part) -> float:
    return wire.values["length_m"].distribution.nominal


def _leads_to_a_fuse(audited: Audited, wire: Part) -> bool:
    """Return whether a wire joins a post of the battery, or its cable, to a fuse."""
    ends = set(wire.terminals.values())
    posts = set(battery_posts(audited.car))
    fused: set[str] = set()
    for part in audited.car.parts:
        if part.role == "battery-cable":
            posts |= set(part.terminals.values())
        if part.kind in PROTECTIVE_KINDS:
            fused |= set(part.terminals.values())
    return bool(ends & posts) and bool(ends & fused)


def _or_gauge(gauge: str) -> str:
    """Return which gauge would do instead, as words to add."""
    return f", or run it in {gauge}" if gauge else ""
