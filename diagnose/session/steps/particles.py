"""Who is believed, as weighted particles, and what repairs they need.

A few hundred pairs of fault set and tolerance draw stand for the beliefs, so that a
thousand readings are priced in milliseconds. Causes that one repair mends are one
group: to tell a relay's contacts from its coil before it is swapped saves nothing.
Leaves what particles would show to `outcomes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.inference.choice.particles import Particles, common_particles
from diagnose.inference.choice.reading_worth import Alternatives, RepairPlan
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.repair_lines import RepairLines
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Sight

# How many fault sets are looked at, the likeliest. Own choice: what is left over weighs
# too little to move a choice.
MOST_SETS = 40

# How many tolerance draws each of them gets. Own choice: a quarter of all draws; steps
# have to be put in order, not priced to the minute.
SET_DRAWS = 16

# How many repairs are told apart, the likeliest. Own choice: nobody mends that many
# things on one evening.
MOST_REPAIRS = 24

# What it costs when no repair cures. [min] From memory: a day lost, or a workshop with
# the way there and four hours of pay. At three hours, two faults or a flat ranking cost
# no more than giving up whatever was measured, so that no reading seemed to pay and the
# likeliest was mended on a guess.
GIVE_UP_MINUTES = 480.0

# What a repair in vain counts as, in repairs that cure. [1] Own choice: what was sound
# was cut or taken apart, and what it was really is still to be found.
VAIN_FACTOR = 2.0

# The belief in faults that come and go from which on it counts whether they are there
# now. [1] Own choice: less moves no choice.
LEAST_FLEETING_SHARE = 0.02

# The share of belief that has the same draws if all has. [1] Own choice: less moves no
# choice.
NEARLY_ALL = 0.98


LineSet = tuple[int, ...]
"""Numbers of the lines whose repairs a fault set calls for, rising."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Believed:
    """The particles that stand for the beliefs, and the repairs they call for.

    Parameters
    ----------
    particles : Particles
        The last group is "nothing to mend, or too unlikely to list".
    plan : RepairPlan
        What each group but the last takes to mend.
    sight : Sight
        What the particles have at every node.
    told_of : IntArray
        The row of the conclusion each particle stands for, shape (n_particles,).
    comes_and_goes : IntArray
        The fault of each particle that does, its place among such faults, -1 where
        none; shape (n_particles,).
    there_now : Mapping[str, FloatArray]
        State to the share of belief of each particle as the next look in that state
        finds the car, shape (n_particles,); without states in which nothing was seen,
        and empty where hardly any fault comes and goes. [1]
    has_common_draws : bool
        Whether the facts left all that is believed the same draws.
    """

    particles: Particles
    plan: RepairPlan
    sight: Sight
    told_of: IntArray
    comes_and_goes: IntArray
    there_now: Mapping[str, FloatArray]
    has_common_draws: bool

    def in_state(self, state: str) -> Believed:
        """Return the same as the next look in a state finds it."""
        share = self.there_now.get(state)
        if share is None:
            return self
        return replace(self, particles=replace(self.particles, share=share))

    @property
    def n_groups(self) -> int:
        """How many groups there are, that with nothing to mend included."""
        return len(self.plan.minutes) + 1


def believed(
    conclusion: Conclusion, lines: RepairLines, line_minutes: FloatArray, model: Model
) -> Believed:
    """Return the particles of a conclusion, and what each group of them needs.

    Parameters
    ----------
    conclusion : Conclusion
    lines : RepairLines
        Those of the conclusion.
    line_minutes : FloatArray
        What mending each line of causes counts as, shape (n_lines,). [min]
    model : Model

    Returns
    -------
    Believed
    """
    rows, draws, share = common_particles(
        _worth_telling_apart(conclusion), most_sets=MOST_SETS, n_draws=SET_DRAWS
    )
    sets, line_of = conclusion.beliefs.sets, lines.line_of.tolist()
    keys = [
        tuple(sorted({line_of[cause] for cause in sets[row]})) for row in rows.tolist()
    ]
    mass: dict[LineSet, float] = {}
    for key, part in zip(keys, share.tolist(), strict=True):
        if key:
            mass[key] = mass.get(key, 0.0) + part
    common = _most_common(mass)
    index = {key: number for number, key in enumerate(common)}
    group = np.array([index.get(key, len(common)) for key in keys], dtype=np.int64)
    minutes = [float(line_minutes[list(key)].sum()) for key in common]
    plan = RepairPlan(
        minutes=np.array(minutes, dtype=np.float64),
        give_up_minutes=GIVE_UP_MINUTES,
        vain_factor=VAIN_FACTOR,
        alternatives=_alternatives(common, line_minutes),
    )
    found = Particles(row=rows, draw=draws, share=share, group=group)
    particles = _there_or_not(found, conclusion, model)
    told_of = particles.row if particles.told_of is None else particles.told_of
    return Believed(
        particles=particles,
        plan=plan,
        sight=Sight(conclusion.hypotheses, particles),
        told_of=told_of,
        comes_and_goes=conclusion.comes_and_goes[told_of],
        there_now=_shares_now(found, conclusion),
        has_common_draws=float(share[_with_all_draws(rows, share)].sum()) > NEARLY_ALL,
    )


def _most_common(mass: Mapping[LineSet, float]) -> list[LineSet]:
    """Return the likeliest sets of lines that call for so many repairs together."""
    repairs: set[int] = set()
    found = []
    for key in sorted(mass, key=lambda key: (-mass[key], key)):
        if len(repairs.union(key)) <= MOST_REPAIRS:
            repairs.update(key)
            found.append(key)
    return found


def _alternatives(
    groups: Sequence[LineSet], line_minutes: FloatArray
) -> tuple[Alternatives, ...]:
    """Return the repairs of each of several faults; none where all are single.

    Two lines of one set are of different faults; otherwise the likelier set decides
    which fault a line is for.
    """
    if all(len(key) == 1 for key in groups):
        return ()
    fault: dict[int, int] = {}
    for key in [*(one for one in groups if len(one) > 1), *groups]:
        for line in key:
            if line not in fault:
                others = {fault[one] for one in key if one in fault}
                fault[line] = min(set(range(len(key))) - others)
    found = []
    for number in range(1 + max(fault.values())):
        lines = [line for line, of_fault in fault.items() if of_fault == number]
        needed = [[line in key for line in lines] for key in groups]
        minutes = line_minutes[lines]
        found.append(Alternatives(minutes=minutes, needed=np.array(needed, float)))
    return tuple(found)


def regrouped(held: Believed, rows: IntArray, n_rows: int) -> Particles:
    """Return the particles in two groups: 1 in some rows of the conclusion, 0 outside.

    Parameters
    ----------
    held : Believed
    rows : IntArray
        The rows meant, shape (n_meant,).
    n_rows : int
        How many rows the conclusion has.

    Returns
    -------
    Particles
    """
    is_meant = np.zeros(n_rows, dtype=np.int64)
    is_meant[rows] = 1
    return replace(held.particles, group=is_meant[held.told_of])


def _worth_telling_apart(conclusion: Conclusion) -> FloatArray:
    """Return the weights of sets and draws that a reading is chosen for."""
    weights = conclusion.beliefs.weights
    if conclusion.repairs or not weights[1:].any():
        return weights
    # whether the complaint is real is not what the owner wants to measure
    weights = weights.copy()
    weights[0] = 0.0
    return np.asarray(weights / weights.sum())


def _there_or_not(
    particles: Particles, conclusion: Conclusion, model: Model
) -> Particles:
    """Return particles with each fault that comes and goes there, and not there.

    A reading to come finds it there as often as it is on average over the states.
    """
    presence = model.compiled.presence
    fault = conclusion.comes_and_goes[particles.row]
    away = np.flatnonzero(fault >= 0)
    states = [state.name for state in model.car.states if state.is_battery_connected]
    there = presence.mean_chance(states)[fault[away], particles.draw[away]]
    share = particles.share.copy()
    share[away] *= there
    return Particles(
        row=np.append(
            conclusion.shown_by[particles.row], conclusion.away[particles.row[away]]
        ),
        draw=np.append(particles.draw, particles.draw[away]),
        share=np.append(share, particles.share[away] * (1.0 - there)),
        group=np.append(particles.group, particles.group[away]),
        told_of=np.append(particles.row, particles.row[away]),
    )


def _shares_now(
    particles: Particles, conclusion: Conclusion
) -> Mapping[str, FloatArray]:
    """Return the shares of `_there_or_not` as the next look in a state finds it."""
    away = np.flatnonzero(conclusion.comes_and_goes[particles.row] >= 0)
    if particles.share[away].sum() < LEAST_FLEETING_SHARE:
        return {}
    found = {}
    for state, chance in conclusion.there_now.items():
        there = chance[particles.row[away], particles.draw[away]]
        share = particles.share.copy()
        share[away] *= there
        found[state] = np.append(share, particles.share[away] * (1.0 - there))
    return found


def _with_all_draws(rows: IntArray, share: FloatArray) -> BoolArray:
    """Return the particles of sets for which no draw was ruled out, (n_particles,)."""
    _, place = np.unique(rows, return_inverse=True)
    return np.asarray(np.bincount(place, share <= 0.0)[place] == 0)
