"""The readings before the first start: a short list, key off to cranking.

Says what each must show on a sound car, how much of what can be wrong the list would
show, and what no such reading shows. Leaves taking them to `diagnosis`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.car import (
    Car,
    OperatingState,
)
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predicted import SOURCE_UNIT_OHMS
from diagnose.inference.belief.meter_loading import (
    leak_volts,
    leaky_ohms,
    loaded_volts,
    over_range,
)
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.inference.choice.set_cover import short_cover
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.measurement.where_to_measure import proposable_readings
from diagnose.session.cautions import cautions_for
from diagnose.session.facts import (
    ContextFact,
    Fact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Costs
from diagnose.session.steps.prices import Prices, Whereabouts
from diagnose.session.wording import instruction, places_of

WANTED_SHARE = 0.99
SHOWN_CHANCE = 0.95
BEYOND_DEVIATIONS = 1.645
# Standard normal: 5 % lie beyond it on one side, so a value this far outside the
# limits reads outside in 95 of 100.
SOUND_DEVIATIONS = 2.326
# Standard normal: 1 % lie beyond it. The outermost of the drawn sound cars, and one in
# a hundred beyond it, so that a list of fifty readings seldom cries wolf.
SHOWN_DIGITS = 3
NAMED_CAUSES = 3
FIRST_START: Mapping[str, str] = MappingProxyType({"wiring": "fresh"})
"""What is known of a car before its first start, where the question is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a sound car shows, in the reading's unit; inf for over-range.

    Parameters
    ----------
    low, high : float
        A sound car reads inside; widened by the meter's error and rounded outwards.
    middle : float
        The median.
    """

    low: float
    middle: float
    high: float

    def holds(self, value: float) -> bool:
        """Return whether a value is what a sound car may show."""
        return self.low <= value <= self.high


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
    limits: Limits
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How far the list has been gone through.

    Parameters
    ----------
    failed, left : tuple[PrestartReading, ...]
        Outside their limits and nothing mended since; not yet taken, or to be taken
        again after a repair.
    """

    failed: tuple[PrestartReading, ...]
    left: tuple[PrestartReading, ...]


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

    Notes
    -----
    A reading shows a fault, at one severity and one set of tolerances, when the meter
    would then stand outside the limits in 95 of 100. The mass of a fault is its
    probability, spread over its severities and tolerances.
    """
    known = known_history(model.knowledge) if history is None else history
    prices = Prices(model) if prices is None else prices
    states = prestart_states(model.car)
    readings, limits, shows = _shown(model, states, prices)
    # what comes and goes is found by no list of readings
    lasting = slice(model.compiled.n_lasting)
    priors = cause_probabilities(model.compiled.priors, known)[lasting]
    mass = np.repeat(priors / model.compiled.n_draws, model.compiled.n_draws)
    showable = float(mass[shows.any(axis=0)].sum())
    costs = _Costs(model.car, readings, prices)
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
    """Return what a case before a first start begins with."""
    told = known_history(knowledge)
    history = (ContextFact(context=name, answer=told[name]) for name in told)
    return (*history, PrestartFact())


def prestart_standing(listed: Prestart, facts: Sequence[Fact]) -> Standing:
    """Return how far facts have gone through the list.

    A reading outside its limits counts as failed until something is mended; then it is
    to be taken again.
    """
    skipped = {fact.step for fact in facts if isinstance(fact, SkipFact)}
    last_repair = _last_repair(facts)
    latest = {
        fact.reading: (number, fact.value)
        for number, fact in enumerate(facts)
        if isinstance(fact, ReadingFact)
    }
    failed: list[PrestartReading] = []
    left: list[PrestartReading] = []
    for one in listed.readings:
        if one.reading in latest:
            number, value = latest[one.reading]
            if not one.limits.holds(value):
                (failed if number > last_repair else left).append(one)
        elif one.reading not in skipped:
            left.append(one)
    return Standing(failed=tuple(failed), left=tuple(left))


def _last_repair(facts: Sequence[Fact]) -> int:
    repairs = [n for n, fact in enumerate(facts) if isinstance(fact, RepairFact)]
    return repairs[-1] if repairs else -1


def times_taken(reading: Reading, facts: Sequence[Fact]) -> int:
    """Return how often a reading was taken since the latest repair."""
    return sum(
        isinstance(fact, ReadingFact) and fact.reading == reading
        for fact in facts[_last_repair(facts) + 1 :]
    )


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


def _shown(
    model: Model, states: Sequence[OperatingState], prices: Prices
) -> tuple[list[Reading], list[Limits], BoolArray]:
    """Return the usable readings, their limits, and which cases each shows.

    A case is a cause with one draw, shape (n_readings, n_causes * n_draws).
    """
    names = {state.name for state in states}
    wanted = [
        reading
        for reading in proposable_readings(model.car)
        if reading.state in names
        and reading.kind is not ReadingKind.LAMP
        and prices.can_take(reading)
        # nothing is told yet that would rule out a short
        and not prices.needs_series(reading)
    ]
    readings, limits, rows = [], [], []
    for reading, values, spread in predicted_values(model, wanted):
        found = _limits(
            values[0], spread[0], meter_range(reading.kind, model.knowledge.meter)
        )
        if found is not None:
            readings.append(reading)
            # no meter shows less than no ohms, and a clamp's sign is not looked at
            is_signed = reading.kind is ReadingKind.DC_VOLTS
            low = found.low if is_signed else max(found.low, 0.0)
            limits.append(replace(found, low=low))
            rows.append(_outside(values[1:], spread[1:], found).ravel())
    n_cases = (len(model.compiled.singles.sets) - 1) * model.compiled.n_draws
    shows = np.array(rows) if rows else np.zeros((0, n_cases), dtype=np.bool_)
    return readings, limits, shows


def predicted_values(
    model: Model, readings: Sequence[Reading]
) -> Iterator[tuple[Reading, FloatArray, FloatArray]]:
    """Yield each reading with what it shows and its spread, (n_sets, n_draws) each.

    Nothing is known of what never settles: it is not a number there.
    """
    compiled = model.compiled
    predictor, prediction = compiled.predictor, compiled.singles.prediction
    for state in dict.fromkeys(reading.state for reading in readings):
        place = predictor.state_index[state]
        # by node: thousands of values lie together then, and are read at once
        volts = np.ascontiguousarray(np.moveaxis(prediction.volts[place], -1, 0))
        units = np.ascontiguousarray(np.moveaxis(prediction.source_units[place], -1, 0))
        unsettled = prediction.is_settled[place] < 1.0
        for reading in readings:
            if reading.state != state:
                continue
            if reading.kind not in (ReadingKind.DC_VOLTS, ReadingKind.OHMS):
                values = compiled.predicted(compiled.singles, reading)
                stray: FloatArray | float = 0.0
            else:
                red = predictor.node_index[reading.red]
                black = predictor.node_index[reading.black]
                values, stray = _on_leads(
                    model, reading.kind, (volts[red], volts[black]), (units, red, black)
                )
            if unsettled.any():
                values[unsettled] = np.nan
            yield reading, values, np.hypot(_deviation(reading, values, model), stray)


def _on_leads(
    model: Model,
    kind: ReadingKind,
    volts: tuple[FloatArray, FloatArray],
    sources: tuple[FloatArray, int, int],
) -> tuple[FloatArray, FloatArray | float]:
    """Return what two leads show and how far stray leakage may move it.

    The same as `Compiled.predicted` and `Compiled.ghost_volts`, from arrays by node.
    """
    meter = model.knowledge.meter
    units, red, black = sources
    if kind is ReadingKind.OHMS:
        ohms = SOURCE_UNIT_OHMS * units[red].astype(np.float64)
        return over_range(ohms + meter.lead_ohms), 0.0
    across = volts[0].astype(np.float64) - volts[1]
    ohms = SOURCE_UNIT_OHMS * np.maximum(units[red], units[black]).astype(np.float64)
    factor = model.compiled.leak_factor
    stray = leak_volts(across, ohms, factor, meter)
    return loaded_volts(across, leaky_ohms(ohms, factor), meter), stray


def _deviation(reading: Reading, values: FloatArray, model: Model) -> FloatArray:
    if reading.kind is ReadingKind.LOOK:
        return np.zeros_like(values)
    spread = spread_of(
        reading.kind, model.knowledge.meter, system_volts=model.car.system_volts
    )
    return spread.deviation(np.where(np.isinf(values), 0.0, values))


def _limits(
    values: FloatArray, spread: FloatArray, range_: MeterRange | None
) -> Limits | None:
    """Return what sound cars show, shape (n_draws,) each; None when it can't be told.

    A point that reads over-range on some sound cars only has no limits.
    """
    if np.isnan(values).any():
        return None
    is_over = np.isinf(values)
    if is_over.any():
        return Limits(low=np.inf, middle=np.inf, high=np.inf) if is_over.all() else None
    low = float((values - SOUND_DEVIATIONS * spread).min())
    high = float((values + SOUND_DEVIATIONS * spread).max())
    if range_ is not None:
        low, high = _outwards(low, -1, range_), _outwards(high, 1, range_)
    return Limits(low=low, middle=float(np.median(values)), high=high)


def _outwards(value: float, direction: int, range_: MeterRange) -> float:
    """Return a limit with the digits that are shown, rounded away from the middle.

    Examples
    --------
    >>> volts = MeterRange(percent=0.5, counts=2, resolution=0.01)
    >>> _outwards(11.7477, -1, volts), _outwards(0.1361, 1, volts)
    (11.7, 0.14)
    """
    size = abs(value)
    digits = 0 if size == 0.0 else int(np.floor(np.log10(size))) + 1
    step = max(range_.resolution, 10.0 ** (digits - SHOWN_DIGITS))
    steps = direction * float(np.ceil(direction * value / step - 1e-9))
    return float(f"{steps * step:.6g}")


def _outside(values: FloatArray, spread: FloatArray, limits: Limits) -> BoolArray:
    """Return where the meter stands outside the limits in 95 of 100."""
    if np.isinf(limits.low):
        return np.isfinite(values)
    margin = BEYOND_DEVIATIONS * spread
    # what is not a number compares as false
    return np.asarray((values + margin < limits.low) | (values - margin > limits.high))


class _Costs:
    """What readings take, given those taken before them.

    A place is got to once in a state, and a state is brought about once.
    """

    def __init__(self, car: Car, readings: Sequence[Reading], prices: Prices) -> None:
        self._readings = readings
        self._prices = prices
        self._places = [
            [place for place in places_of(reading, car) if place in car.places]
            for reading in readings
        ]
        by_state: dict[str, list[int]] = {}
        for number, reading in enumerate(readings):
            by_state.setdefault(reading.state, []).append(number)
        self._by_state = {
            state: (numbers, Costs([readings[n] for n in numbers], prices))
            for state, numbers in by_state.items()
        }

    def each_after(self, chosen: Sequence[int]) -> FloatArray:
        """Return what every reading would take after some. [min]."""
        been = self._been(chosen)
        result = np.empty(len(self._readings))
        for state, (numbers, costs) in self._by_state.items():
            result[numbers] = costs.minutes(been.get(state, Whereabouts()))
        return result

    def after(self, number: int, before: Sequence[int]) -> float:
        """Return what one reading takes after some. [min]."""
        reading = self._readings[number]
        here = self._been(before).get(reading.state, Whereabouts())
        return self._prices.minutes(reading, here)

    def places(self, number: int) -> tuple[str, ...]:
        """Return where a reading takes one to."""
        return tuple(self._places[number])

    def _been(self, chosen: Sequence[int]) -> dict[str, Whereabouts]:
        """Return, by state, where one has been."""
        places: dict[str, set[str]] = {}
        for number in chosen:
            visited = places.setdefault(self._readings[number].state, set())
            visited.update(self._places[number])
        return {
            state: Whereabouts(state=state, places=frozenset(visited))
            for state, visited in places.items()
        }


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
    line_of = np.empty(len(model.compiled.causes), dtype=np.int64)
    for number, line in enumerate(model.lines):
        line_of[list(line)] = number
    line_of = line_of[: model.compiled.n_lasting]
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
    limits: Sequence[Limits],
    chosen: Sequence[int],
    *,
    costs: _Costs,
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
        instruction=instruction(reading, model.car),
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
