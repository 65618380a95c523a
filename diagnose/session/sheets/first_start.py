"""The readings before the first start: a short list, key off to cranking.

Says what each must show on a sound car, how much of what can be wrong the list would
show, and what no such reading shows. The list goes state by state, and to a place once
in a state: shorts show before power is on, and cars are cranked last. Leaves taking the
readings to `first_start_guide`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.faults.knowledge import Knowledge
from diagnose.inference.choice.set_cover import short_cover
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.facts import (
    ContextFact,
    Fact,
    PrestartFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.sheets.list_costs import ListCosts
from diagnose.session.sheets.sound_limits import SoundLimits, shown_cases
from diagnose.session.steps.prices import Prices
from diagnose.session.words.cautions import cautions_for
from diagnose.session.words.instructions import instruction
from diagnose.session.words.wording import places_of

# Of all that a reading before the first start can show: the share that the list shows.
# [1] Own choice: what is left out is rarer than a slip of the meter.
WANTED_SHARE = 0.99

# Causes shown in less than this share of their severities and tolerances are named as
# left in doubt. [1] Own choice: nineteen in twenty.
SHOWN_CHANCE = 0.95

# How many of the causes that a reading is the first to show are named. Own choice.
NAMED_CAUSES = 3

# What is known of a car before its first start, where the question is asked.
FIRST_START: Mapping[str, str] = MappingProxyType({"wiring": "fresh"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PrestartReading:
    """One reading of the list.

    Parameters
    ----------
    places : tuple[str, ...]
        Where the leads go; the first is the one it is listed under.
    minutes : float
        With getting to a place, or the car into a state, for the first time. [min]
    finds_share : float
        Of the faults that the list shows: the share that this reading is the first to
        show.
    finds : tuple[str, ...]
        The likeliest of them, in words.
    """

    reading: Reading
    places: tuple[str, ...]
    limits: SoundLimits
    minutes: float
    cautions: tuple[str, ...]
    instruction: str
    finds_share: float
    finds: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unshown:
    """Causes that share a repair and that readings before the start leave in doubt.

    Parameters
    ----------
    causes : tuple[str, ...]
        Their names.
    probability : float
        Chance of them before the start.
    shown_share : float
        In how much of their severities and tolerances some reading would show them.
    """

    causes: tuple[str, ...]
    says: str
    probability: float
    shown_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Prestart:
    """The list.

    Parameters
    ----------
    history : Mapping[str, str]
        What was taken as known of the car's history.
    readings : tuple[PrestartReading, ...]
        In the order to take them.
    shown_share : float
        Of the fault mass that any reading before the start can show: the share that
        these show.
    showable_share : float
        Of all fault mass: the share that any reading before the start can show.
    unshown : tuple[Unshown, ...]
        What none of those readings shows for sure, likeliest first.
    """

    car: Car
    states: tuple[OperatingState, ...]
    history: Mapping[str, str]
    readings: tuple[PrestartReading, ...]
    shown_share: float
    showable_share: float
    unshown: tuple[Unshown, ...]
    safety_note: str

    @property
    def minutes(self) -> float:
        """What the whole list takes. [min]."""
        return sum(one.minutes for one in self.readings)


def prestart_states(car: Car) -> tuple[OperatingState, ...]:
    """Return the states before the engine runs, the battery's connection first."""
    states = [
        state
        for state in car.states
        if not (state.is_engine_running or state.exists_when or state.is_unplugged)
    ]
    return tuple(sorted(states, key=lambda state: state.is_battery_connected))


def prestart(
    model: Model,
    *,
    history: Mapping[str, str] | None = None,
    prices: Prices | None = None,
) -> Prestart:
    """Return the readings to take before the first start.

    Parameters
    ----------
    history : Mapping[str, str] or None
        Context to its answer; freshly wired when not given.
    prices : Prices or None
        What readings cost the owner and which he can take; an owner who lacks nothing
        when not given.

    Returns
    -------
    Prestart

    Notes
    -----
    A reading shows a fault, at one severity and one set of tolerances, when the meter
    would then stand outside the limits in 95 of 100. The mass of a fault is its
    probability, spread over its severities and tolerances.
    """
    known = known_history(model.knowledge) if history is None else history
    prices = Prices(model) if prices is None else prices
    states = prestart_states(model.car)
    readings, limits, shows = shown_cases(model, _wanted(model, states, prices))
    # what comes and goes is found by no list of readings
    lasting = slice(model.compiled.n_lasting)
    priors = cause_probabilities(model.compiled.priors, known)[lasting]
    mass = np.repeat(priors / model.compiled.n_draws, model.compiled.n_draws)
    showable = float(mass[shows.any(axis=0)].sum())
    costs = ListCosts(model.car, readings, prices)
    chosen = short_cover(
        shows, mass, wanted=WANTED_SHARE * showable, minutes=costs.each_after
    )
    chosen.sort(key=lambda number: _order(readings[number], states, model.car))
    seen = shows[chosen]
    return Prestart(
        car=model.car,
        states=states,
        history=known,
        readings=tuple(
            _listed(model, readings, limits, chosen, costs=costs, found=found)
            for found in _found(seen, mass, model)
        ),
        shown_share=_share(float(mass[seen.any(axis=0)].sum()), showable),
        showable_share=_share(showable, float(mass.sum())),
        unshown=_unshown(model, shows, mass),
        safety_note=model.knowledge.safety_note,
    )


def prestart_facts(knowledge: Knowledge) -> tuple[Fact, ...]:
    """Return what a case before a first start begins with.

    Parameters
    ----------
    knowledge : Knowledge

    Returns
    -------
    tuple[Fact, ...]
        What is known of the car's history, then that the list is to be gone through.
    """
    told = known_history(knowledge)
    history = (ContextFact(context=name, answer=told[name]) for name in told)
    return (*history, PrestartFact())


def known_history(knowledge: Knowledge) -> Mapping[str, str]:
    """Return what holds of a car's history before its first start."""
    contexts = {context.name: context for context in knowledge.contexts}
    return {
        name: answer
        for name, answer in FIRST_START.items()
        if name in contexts and answer in contexts[name].states
    }


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0.0 else 0.0


def _wanted(
    model: Model, states: Sequence[OperatingState], prices: Prices
) -> list[Reading]:
    """Return the readings that this owner can take in some states, with a meter."""
    names = {state.name for state in states}
    return [
        reading
        for reading in proposable_readings(model.car)
        if reading.state in names
        and reading.kind is not ReadingKind.LAMP
        and prices.can_take(reading)
        # nothing is told yet that would rule out a short
        and not prices.needs_series(reading)
    ]


def _order(
    reading: Reading, states: Sequence[OperatingState], car: Car
) -> tuple[int, bool, int, int]:
    """Return the key that sorts by state, then by place, looks before readings."""
    names = [state.name for state in states]
    places = list(car.places)
    visited = [places.index(p) for p in places_of(reading, car) if p in car.places]
    return (
        names.index(reading.state),
        reading.kind is not ReadingKind.LOOK,
        max(visited, default=-1),
        min(visited, default=-1),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What one reading of the list is the first to show.

    Parameters
    ----------
    number : int
        Its place in the list, from 0.
    share : float
    of_line : FloatArray
        Mass of each line of causes, shape (n_lines,).
    """

    number: int
    share: float
    of_line: FloatArray


def _found(shows: BoolArray, mass: FloatArray, model: Model) -> Iterator[_Found]:
    line_of = model.line_numbers()[: model.compiled.n_lasting]
    left = np.ones(len(mass), dtype=np.bool_)
    whole = float(mass[shows.any(axis=0)].sum()) if len(shows) else 0.0
    for number, row in enumerate(shows):
        new = np.where(row & left, mass, 0.0)
        left &= ~row
        yield _Found(
            number=number,
            share=_share(float(new.sum()), whole),
            of_line=np.bincount(
                line_of,
                new.reshape(len(line_of), -1).sum(axis=1),
                minlength=len(model.lines),
            ).astype(np.float64),
        )


def _listed(
    model: Model,
    readings: Sequence[Reading],
    limits: Sequence[SoundLimits],
    chosen: Sequence[int],
    *,
    costs: ListCosts,
    found: _Found,
) -> PrestartReading:
    number = chosen[found.number]
    reading = readings[number]
    lines = found.of_line
    likeliest = np.argsort(-lines, kind="stable")[:NAMED_CAUSES].tolist()
    causes = model.compiled.causes
    return PrestartReading(
        reading=reading,
        places=costs.places(number),
        limits=limits[number],
        minutes=costs.after(number, chosen[: found.number]),
        cautions=cautions_for(reading, model.car, model.knowledge),
        instruction=instruction(reading, model.car, model.knowledge.procedures),
        finds_share=found.share,
        finds=tuple(
            causes[model.lines[line][0]].says for line in likeliest if lines[line] > 0.0
        ),
    )


def _unshown(model: Model, shows: BoolArray, mass: FloatArray) -> tuple[Unshown, ...]:
    """Return the lines that no reading shows in all their severities."""
    causes, n_lasting = model.compiled.causes, model.compiled.n_lasting
    of_cause = mass.reshape(n_lasting, -1).sum(axis=1)
    showable = np.where(shows.any(axis=0), mass, 0.0)
    showable = showable.reshape(n_lasting, -1).sum(axis=1)
    found = []
    for line in model.lines:
        members = [member for member in line if member < n_lasting]
        whole = float(of_cause[members].sum())
        share = _share(float(showable[members].sum()), whole)
        if share < SHOWN_CHANCE:
            found.append(
                Unshown(
                    causes=tuple(causes[member].name for member in members),
                    says=causes[members[0]].says,
                    probability=whole,
                    shown_share=share,
                )
            )
    return tuple(sorted(found, key=lambda one: -one.probability))
