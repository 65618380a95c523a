"""The run of a load: what its current passes from the battery and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.circuit.car import Part
from diagnose.circuit.design.reach import CONDUCTOR_KINDS, hot_post, is_copper
from diagnose.circuit.design.sound_states import SolvedState
from diagnose.circuit.elements import ELEMENTS

# Smaller currents are leakage, and show no way. [A] Own choice.
LEAST_AMPS = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPart:
    """One part of a run with what it carries and drops.

    Parameters
    ----------
    part : Part
        A conductor.
    amps : float
        Everything it carries, other loads' current included. [A]
    volts : float
        What it drops. [V]
    """

    part: Part
    amps: float
    volts: float

    @property
    def copper_volts(self) -> float:
        """What its copper drops, joints left out; 0 for anything but a wire. [V]."""
        if not is_copper(self.part):
            return 0.0
        return self.amps * self.part.values["wire_ohms"].distribution.nominal


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """The way of a load's current in one state.

    Parameters
    ----------
    load : Part
        What the current is for.
    solved : SolvedState
        The state.
    amps : float
        The load's current. [A]
    feed, ground : tuple[RunPart, ...]
        From the load outwards: to the battery's hot post, and to its grounded one.
    """

    load: Part
    solved: SolvedState
    amps: float
    feed: tuple[RunPart, ...]
    ground: tuple[RunPart, ...]

    @property
    def copper_volts(self) -> float:
        """What the copper drops, there and back. [V]."""
        return sum(one.copper_volts for one in (*self.feed, *self.ground))


def load_ends(solved: SolvedState, load: Part) -> tuple[str, str]:
    """Return the nodes of a load: the fed one, and the one towards ground."""
    ends = [load.terminals[name] for name in ELEMENTS[load.kind].terminals[:2]]
    hot, ground = sorted(ends, key=lambda node: -abs(solved.volts(node)))
    return hot, ground


def run_of(solved: SolvedState, load: Part) -> Run:
    """Return the run of a load that takes current in a state.

    At each point the way goes on where most of the current comes from, and behind the
    load where most of it goes.

    Parameters
    ----------
    solved : SolvedState
        A car in a state.
    load : Part
        A consumer of that car.
    """
    touching: dict[str, list[Part]] = {}
    for part in solved.car.parts:
        if part.kind in CONDUCTOR_KINDS:
            for node in tuple(part.terminals.values())[:2]:
                touching.setdefault(node, []).append(part)
    fed, grounded = load_ends(solved, load)
    # conventional current flows to ground, or from it in a positive-ground car
    sign = -1.0 if solved.car.is_positive_ground else 1.0
    return Run(
        load=load,
        solved=solved,
        amps=abs(solved.part_amps(load.name)),
        feed=_way(solved, touching, fed, hot_post(solved.car), sign),
        ground=_way(solved, touching, grounded, solved.car.reference, -sign),
    )


def _way(
    solved: SolvedState,
    touching: dict[str, list[Part]],
    start: str,
    goal: str,
    sign: float,
) -> tuple[RunPart, ...]:
    """Return the conductors from a node to a post, against the current where 1."""
    found: list[RunPart] = []
    # leads meet at a clamp before the post: what another lead brings there is past it
    clamped = {
        end
        for part in touching.get(goal, ())
        if part.kind == "clamp"
        for end in part.terminals.values()
    }
    seen = {start}
    node = start
    while node != goal:
        onward = _strongest(solved, touching.get(node, ()), node, sign)
        if onward is None or (node in clamped and onward[2] != goal):
            break
        part, amps, node = onward
        if node in seen:
            break
        seen.add(node)
        ends = tuple(part.terminals.values())[:2]
        volts = abs(solved.volts(ends[0]) - solved.volts(ends[1]))
        found.append(RunPart(part=part, amps=amps, volts=volts))
    return tuple(found)


def _strongest(
    solved: SolvedState, parts: Sequence[Part], node: str, sign: float
) -> tuple[Part, float, str] | None:
    """Return the conductor that brings a node most current, with its far end."""
    best = None
    is_mirrored = solved.car.is_positive_ground
    for part in parts:
        first, second = tuple(part.terminals.values())[:2]
        # a branch counts current from its first end to its second; what has a ground
        # side is turned round in a positive-ground car
        is_turned = ELEMENTS[part.kind].has_ground_side and is_mirrored
        direction = 1.0 if (second == node) != is_turned else -1.0
        into = sign * direction * solved.part_amps(part.name)
        if into > LEAST_AMPS and (best is None or into > best[1]):
            best = (part, into, first if second == node else second)
    return best
