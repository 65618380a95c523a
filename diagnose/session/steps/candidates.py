"""Candidate readings of one car as arrays: what they cost, what they would show.

A thousand readings are priced after every fact, so none of them is looked at one by
one. Leaves what a reading is worth to `inference.choice.reading_worth`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.faults.predictions.predicted import SOURCE_UNIT_OHMS
from diagnose.inference.choice.particles import Particles
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.meter_loading import leaky_ohms
from diagnose.inference.compiled.shown_readings import (
    PROBED_KINDS,
    SAME_OHMS,
    SAME_OHMS_SHARE,
)
from diagnose.measurement.points.where_to_measure import proposable_readings
from diagnose.measurement.probe_lamp import lamp_grade
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms
from diagnose.measurement.steps import Step
from diagnose.session.evidence.solved_sets import PAIR_STRIDE
from diagnose.session.steps.prices import Prices
from diagnose.session.steps.whereabouts import Whereabouts

# Volts that differ by less show the same on a 12 V car. [V] Derived: under the spread
# of a reading there; other system voltages in proportion.
LEAST_VOLTS = 0.08

# Points of a sound car that are less apart are one. [V] Own choice: half of a meter's
# last digit.
LEAST_DROP = 0.005

# Ohms and amps that differ by a smaller share show the same. [1] Derived: under their
# spread.
LEAST_SHARE = 0.07

# Source resistance from which stray leakage moves a reading. [Ω] Derived: a meter of
# 10 Mohm takes off a hundredth there; below, leakage moves nothing.
LEAST_LEAKING_OHMS = 1e5

# Fewer volts than this on a wire that nothing holds are planned on as nothing. [V on a
# 12 V car] Own choice: what leaks onto it differs from car to car by as much, and four
# fuses of one dead bus were read one after the other to tell .1 V from 0.
PHANTOM_VOLTS = 0.3

# Grades of a test lamp that differ by less show the same. [1] Own choice: one person in
# five would then give another answer.
LEAST_GRADE = 0.1

# Grades closer than this count as the same where two readings are compared. [1]
# Derived: as for volts, half of what shows the same.
SAME_GRADE = 0.5 * LEAST_GRADE

# Readings closer to what the sound car shows than this and this share of it are moved
# by no fault. [V on a 12 V car, Ω, A, grade of a lamp; 1] Derived: under their spread.
SAME: Mapping[ReadingKind, tuple[float, float]] = MappingProxyType(
    {
        ReadingKind.DC_VOLTS: (0.05, 0.02),
        ReadingKind.AC_VOLTS: (0.02, 0.05),
        ReadingKind.OHMS: (SAME_OHMS, SAME_OHMS_SHARE),
        ReadingKind.AMPS: (0.01, 0.05),
        ReadingKind.FUSE: (0.0001, 0.05),
        ReadingKind.LAMP: (LEAST_GRADE, 0.0),
        ReadingKind.LOOK: (0.0, 0.0),
    }
)
VOLTS_KINDS = frozenset({ReadingKind.DC_VOLTS, ReadingKind.AC_VOLTS})


class Sight:
    """What particles have at every node, gathered once for each state.

    Parameters
    ----------
    hypotheses : Hypotheses
    particles : Particles
    """

    def __init__(self, hypotheses: Hypotheses, particles: Particles) -> None:
        self._prediction = hypotheses.prediction
        self._rows, self._draws = particles.row, particles.draw
        self._of_state: dict[int, tuple[StoredArray, StoredArray]] = {}
        self._probes: StoredArray | None = None
        self.draws = particles.draw
        self.n_particles = len(particles.row)

    def solved_draws(self, n_singles: int) -> IntArray:
        """Return the draw that what each particle shows was solved in, (n_particles,).

        Single causes are solved in every draw; of pairs, and of severities chosen by
        the facts, each draw that was solved stands for those behind it.
        """
        stands = self._draws - self._draws % PAIR_STRIDE
        return np.where(self._rows < n_singles, self._draws, stands)

    def nodes(self, state: int) -> tuple[StoredArray, StoredArray]:
        """Return volts and source resistance, shape (n_nodes, n_particles) each.

        The resistance is in units of `SOURCE_UNIT_OHMS`.
        """
        if state not in self._of_state:
            held, points = self._prediction, (self._rows, self._draws)
            self._of_state[state] = (
                held.seen_volts(state, *points),
                held.seen_units(state, *points),
            )
        return self._of_state[state]

    def probes(self, columns: IntArray) -> StoredArray:
        """Return some currents or on/off facts, shape (n_columns, n_particles)."""
        if self._probes is None:
            self._probes = self._prediction.seen_probes(self._rows, self._draws)
        return self._probes[columns]


class Candidates:
    """Readings of one kind.

    Parameters
    ----------
    kind : ReadingKind
    readings : Sequence[Reading]
        At least one, all of that kind.
    compiled : Compiled

    Attributes
    ----------
    states : IntArray
        Index of the operating state, shape (n_readings,).
    """

    def __init__(
        self, kind: ReadingKind, readings: Sequence[Reading], compiled: Compiled
    ) -> None:
        predictor, car = compiled.predictor, compiled.car
        self.kind, self.readings = kind, tuple(readings)
        self._place: dict[Step, int] = {
            reading: place for place, reading in enumerate(readings)
        }
        self._meter = compiled.knowledge.meter
        self._leak_factor = compiled.readings.leak_factor.astype(np.float32)
        self._lead_ohms = compiled.readings.lead_ohms.astype(np.float32)
        self._state_names = [state.name for state in car.states]
        self.states: IntArray = np.array(
            [predictor.state_index[r.state] for r in readings]
        )
        if kind in PROBED_KINDS:
            self._columns = np.array(
                [compiled.readings.probe_column(r) for r in readings]
            )
            if kind is ReadingKind.FUSE:
                fuses = [car.part(reading.red) for reading in readings]
                ohms = [fuse_ohms(fuse) for fuse in fuses]
                self._fuse_ohms = np.array(ohms, dtype=np.float32)
        else:
            leads = np.array([compiled.readings.lead_nodes(r) for r in readings])
            self._red, self._black = leads.T
        self._singles, self._n_singles = compiled.singles, compiled.bank.n_singles
        self._sound: StoredArray | None = None
        self._same = SAME[kind]
        if kind in VOLTS_KINDS:
            self._same = self._same[0] * car.system_volts / 12.0, self._same[1]
        self._system_volts = car.system_volts
        self._least_volts = LEAST_VOLTS * car.system_volts / 12.0
        self._same_volts = 0.5 * self._least_volts
        self._phantom_volts = PHANTOM_VOLTS * car.system_volts / 12.0

    def is_open(self, excluded: AbstractSet[Step]) -> BoolArray:
        """Return which readings are not among those excluded, shape (n_readings,).

        Parameters
        ----------
        excluded : AbstractSet[Step]
            Steps already taken or skipped: few beside the readings.
        """
        result = np.ones(len(self.readings), dtype=np.bool_)
        result[self.among(excluded)] = False
        return result

    def among(self, steps: Iterable[Step]) -> IntArray:
        """Return the numbers of the readings among some steps.

        Parameters
        ----------
        steps : Iterable[Step]
            In their order.

        Returns
        -------
        IntArray
            Shape (n_found,).
        """
        found = [self._place[one] for one in steps if one in self._place]
        return np.array(found, dtype=np.int64)

    def shown(self, sight: Sight, some: IntArray) -> StoredArray:
        """Return what some of the readings would show.

        Parameters
        ----------
        sight : Sight
        some : IntArray
            Numbers of readings.

        Returns
        -------
        StoredArray
            Shape (n_some, n_particles), in volts (AC without a sign that counts),
            ohms, amps, a test lamp's grade, or 1/0 for a look.
        """
        if self.kind in PROBED_KINDS:
            seen = sight.probes(self._columns[some])
            if self.kind is ReadingKind.FUSE:
                seen *= self._fuse_ohms[some][:, None]
            return 1.0 - seen if self.kind is ReadingKind.LOOK else np.abs(seen)
        result = np.empty((len(some), sight.n_particles), dtype=np.float32)
        states = self.states[some]
        for state in np.unique(states).tolist():
            of_state = np.flatnonzero(states == state)
            red, black = self._red[some[of_state]], self._black[some[of_state]]
            volts, units = sight.nodes(state)
            if self.kind is ReadingKind.OHMS:
                ohms = units[red]
                ohms *= SOURCE_UNIT_OHMS
                ohms += self._lead_ohms[sight.draws]
                result[of_state] = ohms
                continue
            across = volts[red]
            across -= volts[black]
            if self.kind is ReadingKind.LAMP:
                result[of_state] = lamp_grade(
                    across,
                    np.float32(SOURCE_UNIT_OHMS) * (units[red] + units[black]),
                    lamp=self._meter.test_lamp,
                    system_volts=self._system_volts,
                )
                continue
            if self.kind is ReadingKind.DC_VOLTS:
                ohms = np.maximum(units[red], units[black])
                ohms *= SOURCE_UNIT_OHMS
                floats = ohms > LEAST_LEAKING_OHMS
                across /= 1.0 + self._leaking(ohms, sight) / self._meter.input_ohms
                # nobody plans on a trace of volts that leaks onto a dead wire
                across[floats & (np.abs(across) < self._phantom_volts)] = 0.0
            result[of_state] = across
        return result

    def unmoved(self, sight: Sight, some: IntArray, shown: StoredArray) -> BoolArray:
        """Return where a reading shows what the sound car shows with the same draw.

        Parameters
        ----------
        sight : Sight
        some : IntArray
            Numbers of readings.
        shown : StoredArray
            What each particle shows of them, shape (n_some, n_particles).

        Returns
        -------
        BoolArray
            Same shape.
        """
        if self._sound is None:
            draws = np.arange(len(self._lead_ohms))
            every_draw = Particles(
                row=np.zeros_like(draws),
                draw=draws,
                share=np.ones(len(draws)),
                group=draws,
            )
            every = np.arange(len(self.readings))
            self._sound = self.shown(Sight(self._singles, every_draw), every)
        solved = sight.solved_draws(self._n_singles)
        sound, (least, share) = self._sound[some][:, solved], self._same
        if self.kind is ReadingKind.OHMS:
            sound += self._lead_ohms[sight.draws] - self._lead_ohms[solved]
        with np.errstate(invalid="ignore"):
            apart = np.abs(shown - sound)
        # OL in both is no number
        return np.asarray((apart <= least + share * np.abs(sound)) | (np.isnan(apart)))

    def _leaking(self, ohms: StoredArray, sight: Sight) -> StoredArray:
        """Return source resistances with each car's leakage, (n_some, n_particles)."""
        floats = np.flatnonzero(ohms.max(axis=1, initial=0.0) > LEAST_LEAKING_OHMS)
        if len(floats):
            factor = self._leak_factor[sight.draws]
            ohms[floats] = leaky_ohms(ohms[floats], factor)
        return ohms

    def without_repeats(
        self, values: StoredArray
    ) -> tuple[StoredArray, IntArray, IntArray]:
        """Return values of which no two are alike, whose they are, and each reading's.

        Two ends of one wire show the same in nearly every state; what they are worth is
        worked out once.

        Parameters
        ----------
        values : StoredArray
            Shape (n_readings, n_particles).
        """
        if self.kind is ReadingKind.DC_VOLTS:
            same = self._same_volts
        elif self.kind is ReadingKind.LAMP:
            same = SAME_GRADE
        else:
            every = np.arange(len(values))
            return values, every, every
        steps = np.round(values * np.float32(1.0 / same)).astype(np.int16)
        place: dict[bytes, int] = {}
        like = [place.setdefault(row.tobytes(), len(place)) for row in steps]
        first = np.unique(like, return_index=True)[1]
        return values[first], first, np.array(like, dtype=np.int64)

    def may_tell(self, values: StoredArray) -> BoolArray:
        """Return which readings do not show the same in all particles.

        Parameters
        ----------
        values : StoredArray
            Shape (n_readings, n_particles).
        """
        if self.kind is ReadingKind.LOOK:
            return np.asarray(np.ptp(values, axis=1) > 0.0)
        seen = np.abs(values)
        low, high = seen.min(axis=1), seen.max(axis=1)
        if self.kind is ReadingKind.LAMP:
            return np.asarray(high - low > LEAST_GRADE)
        if self.kind is ReadingKind.DC_VOLTS:
            return np.asarray(high - low > self._least_volts)
        return np.asarray(high - low > LEAST_SHARE * high)


def all_candidates(compiled: Compiled) -> tuple[Candidates, ...]:
    """Return every reading that may be proposed on a car, kind by kind.

    Parameters
    ----------
    compiled : Compiled

    Returns
    -------
    tuple[Candidates, ...]
        One for each kind that the car has readings of. Of a drop the red lead is where
        the higher volts are, so that the meter shows no minus.
    """
    readings = _red_on_the_higher(proposable_readings(compiled.car), compiled)
    by_kind = {kind: [r for r in readings if r.kind is kind] for kind in ReadingKind}
    return tuple(
        Candidates(kind, some, compiled) for kind, some in by_kind.items() if some
    )


def _red_on_the_higher(
    readings: Sequence[Reading], compiled: Compiled
) -> tuple[Reading, ...]:
    """Return readings, a drop that shows below zero the other way round.

    On the sound car, or, along what is one point there, under the faults.
    """
    predictor, singles = compiled.predictor, compiled.singles
    draws = np.arange(compiled.n_draws)
    sound_row, every = np.zeros_like(draws), np.arange(len(singles.sets))
    shown, node = singles.prediction, predictor.node_index
    when_sound = {
        name: np.median(shown.seen_volts(state, sound_row, draws), axis=1)
        for name, state in predictor.state_index.items()
    }
    under_faults = {
        name: shown.seen_volts(state, every, np.zeros_like(every)).mean(axis=1)
        for name, state in predictor.state_index.items()
    }

    def drop(reading: Reading, volts: Mapping[str, FloatArray | StoredArray]) -> float:
        at = volts[reading.state]
        return float(at[node[reading.red]] - at[node[reading.black]])

    def turned(reading: Reading) -> Reading:
        is_drop = reading.black != compiled.car.reference
        if reading.kind is not ReadingKind.DC_VOLTS or not is_drop:
            return reading
        sound = drop(reading, when_sound)
        is_one_point = abs(sound) < LEAST_DROP
        if (drop(reading, under_faults) if is_one_point else sound) >= 0.0:
            return reading
        return replace(reading, red=reading.black, black=reading.red)

    return tuple(dict.fromkeys(map(turned, readings)))


class Costs:
    """What readings cost one owner.

    Parameters
    ----------
    readings : Sequence[Reading]
    prices : Prices

    Attributes
    ----------
    can_take : BoolArray
        Whether the owner can take them, shape (n_readings,).
    """

    def __init__(self, readings: Sequence[Reading], prices: Prices) -> None:
        self.can_take: BoolArray = np.array([prices.can_take(r) for r in readings])
        access = [prices.access(reading) for reading in readings]
        self._places = sorted({place for near in access for place in near})
        minutes = [[near.get(place, 0.0) for place in self._places] for near in access]
        self._access = np.array(minutes).reshape(len(readings), len(self._places))
        self._states = np.array([reading.state for reading in readings])
        self._probe = np.array([prices.probe_minutes(r) for r in readings])
        self._entry = np.array([prices.entry_minutes(r) for r in readings])
        self._again = np.array([prices.again_minutes(r) for r in readings])
        self._settling = np.array([prices.settling_minutes(r) for r in readings])

    def minutes(self, here: Whereabouts) -> FloatArray:
        """Return what each reading costs from where the person is, (n_readings,)."""
        away = np.array([place not in here.places for place in self._places])
        entry = np.where(self._states == here.state, self._again, self._entry)
        settling = 0.0 if here.has_settled else self._settling
        access = self._access @ away.astype(float)
        return np.asarray(self._probe + access + entry + settling)
