"""Feeds that die while cranking, and grounds that sensitive parts share with others."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.paperwork.audit.findings import Audited, Finding, Weight
from diagnose.paperwork.audit.runs import load_ends, run_of

# Loads that take less do not lift a ground. [A] Own choice.
LEAST_OTHERS_AMPS = 1.0


# A controller that takes less is asleep, and no ground bothers it. [A] Own choice: well
# above what a memory takes, well below a controller at work.
AWAKE_AMPS = 0.05


def dead_while_cranking(audited: Audited) -> Iterator[Finding]:
    """Yield what the engine needs to start and does not get while cranking."""
    limit = audited.limits.cranking_feed_fraction
    for solved in audited.states:
        if not solved.state.is_cranking:
            continue
        held = abs(solved.volts("battery.plus") - solved.volts("battery.minus"))
        for load in audited.car.parts:
            if load.role not in audited.limits.needed_roles:
                continue
            fed, grounded = load_ends(solved, load)
            volts = abs(solved.volts(fed) - solved.volts(grounded))
            if volts < limit.value * held:
                yield Finding(
                    check="dead-while-cranking",
                    weight=Weight.FAULT,
                    part=load.name,
                    line=load.line,
                    figure=volts,
                    limit=limit.value * held,
                    unit="V",
                    says=f"{load.name} has {volts:.1f} V while the battery holds "
                    f"{held:.1f} V",
                    change="feed it from a contact that is live in run and in crank, "
                    "or by a relay triggered there",
                    source=limit.source,
                    states=(solved.state.name,),
                )


def shared_grounds(audited: Audited) -> Iterator[Finding]:
    """Yield sensitive parts whose ground other loads lift."""
    limit = audited.limits.shared_ground_volts
    allowed = limit.value * audited.volts_scale
    for part in audited.parts_of("controller"):
        worst = (0.0, "", "")
        for solved in audited.states:
            amps = abs(solved.part_amps(part.name))
            if solved.state.is_cranking or amps < AWAKE_AMPS:
                continue
            run = run_of(solved, part)
            lifted = [
                (one.volts * (1.0 - amps / one.amps), one.part.name)
                for one in run.ground
                if one.amps > amps + LEAST_OTHERS_AMPS
            ]
            total = sum(volts for volts, _ in lifted)
            if total > worst[0]:
                worst = (total, max(lifted)[1], solved.state.name)
        volts, name, state = worst
        if volts > allowed:
            yield Finding(
                check="shared-ground",
                weight=Weight.FAULT,
                part=part.name,
                line=part.line,
                figure=volts,
                limit=allowed,
                unit="V",
                says=f"other loads lift the ground of {part.name} by {volts:.2f} V, "
                f"most of it along {name}",
                change=f"take the ground of {part.name} to engine or battery by a wire "
                "of its own",
                source=limit.source,
                states=(state,),
            )
