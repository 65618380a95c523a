"""A car with a hidden fault that answers questions, with meter and report errors.

Its tolerances and severities are not those of the model's draws. Leaves what its owner
complains of to `complaints`, the questions to `playing`, the diagnosis to `session`,
and cars that differ from their file in more than draws to `unlike_stock`.

Decision that binds it: an owner who is asked for a reading in a state that the car
can't get into says so. A car that can't run would else be measured at idle, and its
fault ruled out for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import FaultSet
from diagnose.faults.modes import Trigger
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.heat import hot_chance
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.intermittent import drawn_trigger, presence_in
from diagnose.inference.compiled.shown_readings import PROBED_KINDS
from diagnose.inference.compiled.shown_symptoms import symptom_there
from diagnose.inference.compiled.substituted_car import (
    SubstitutedCar,
    lead_for,
    renewed_parts,
    without_parts,
)
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.measurement.steps import SubstitutionTest
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.fleeting.provocation_tests import Provocation
from diagnose.session.fleeting.signs import SeenSign
from diagnose.session.ready_car import Model

# What is added to the seed of a stock of cars. [1] Own choice: any number that leads
# away from the model's own seed, 0, gives other tolerances.
SEED_OFFSET = 1000

# What keeps the random numbers of cures, of triggers and of looks apart from those of
# the meter. [1] Own choice: any three numbers, so that whether a repair takes does not
# hang on what was measured.
CURE_STREAM, TRIGGER_STREAM, LOOK_STREAM = 13, 17, 19

# Of how many fault sets and tests a stock keeps what its cars show. [1] Own choice:
# those of a game; a trial of hundreds took gigabytes.
MOST_KEPT = 16

KeyT = TypeVar("KeyT")
KeptT = TypeVar("KeptT")

# The chance from which a symptom counts as there, and a fuse as blown. [1] Derived:
# likelier than not.
LIKELY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """How the simulated owner errs.

    Parameters
    ----------
    slip_probability : float
        Chance that a reading is taken at another point. [1] From memory: one in fifty.
    has_meter_error : bool
        The meter is off within its limits.
    has_report_error : bool
        Symptoms are missed and imagined as often as knowledge/ says.
    """

    slip_probability: float = 0.02
    has_meter_error: bool = True
    has_report_error: bool = True


class HiddenCars:
    """A stock of cars of one model, each with tolerances of its own.

    Parameters
    ----------
    model : Model
        What the diagnosis works with.
    n_cars : int
        How many. [1]
    seed : int
        Seeds the tolerances.
    car : Car or None
        How these cars are really wired, if not as the model has it.

    Attributes
    ----------
    model : Model
    compiled : Compiled
        These cars, ready to say what they show; draws are cars.
    numbers : tuple[int, ...]
        Those that are played with.
    """

    def __init__(
        self, model: Model, *, n_cars: int, seed: int, car: Car | None = None
    ) -> None:
        self.model = model
        self.numbers: tuple[int, ...] = tuple(range(n_cars))
        predictor = Predictor(
            self._drawn(car or model.car, n_cars, seed),
            model.compiled.causes,
            model.compiled.predictor.probes,
        )
        healthy: Hypotheses = model.compiled.singles.kept(np.array([0]))
        self.compiled = Compiled(
            predictor,
            model.knowledge,
            model.compiled.priors,
            bank=Bank.holding(healthy),
        )
        self._cache: dict[FaultSet, Hypotheses] = {}
        self._changed: dict[SubstitutionTest, HiddenCars] = {}

    def _drawn(self, car: Car, n_cars: int, seed: int) -> CarModel:
        """Return the cars of the stock with their values."""
        return CarModel(car, Sample(n_draws=n_cars, seed=SEED_OFFSET + seed))

    def number_of(self, seed: int) -> int:
        """Return which car the game of a seed is played with."""
        return self.numbers[seed % len(self.numbers)]

    def sound_seed(self, seed: int) -> int:
        """Return a seed that `wired` can be given, the given one if it is good."""
        return seed

    def wired(self, car: Car, *, seed: int) -> HiddenCars:
        """Return a stock of one car of this kind that is wired otherwise."""
        return HiddenCars(self.model, n_cars=1, seed=seed, car=car)

    def changed(self, test: SubstitutionTest) -> HiddenCars:
        """Return the stock with its circuits changed for a test.

        Parameters
        ----------
        test : SubstitutionTest
            What is changed, and what is looked at.

        Returns
        -------
        HiddenCars
            This one where a part is only exchanged.
        """
        change = test.substitution
        if change.kind is SubstitutionKind.SWAP:
            return self
        if test not in self._changed:
            _make_room(self._changed)
            is_cable = self.model.substituted.is_cable(change)
            lead = lead_for(change, is_cable=is_cable)
            other = copy(self)
            other.compiled = SubstitutedCar(
                self.compiled, change, test.look, lead=lead, n_draws=None
            ).compiled
            other.compiled.readings.leak_factor = self.compiled.readings.leak_factor
            other._cache, other._changed = {}, {}
            self._changed[test] = other
        return self._changed[test]

    def with_faults(self, faults: FaultSet) -> Hypotheses:
        """Return what a fault set shows in every car of the stock."""
        if faults not in self._cache:
            _make_room(self._cache)
            self._cache[faults] = self.compiled.hypotheses([faults])
        return self._cache[faults]


class HiddenCar:
    """One car with a fault that only it knows.

    Parameters
    ----------
    stock : HiddenCars
        The cars it is one of.
    number : int
        Which car of the stock.
    faults : FaultSet
        The causes present.
    errors : Errors
        How its owner errs.
    seed : int
        Seeds meter, report and slip errors.
    outside : str
        What is wrong beside the faults and is no cause of the model; no repair mends
        it.
    """

    def __init__(
        self,
        stock: HiddenCars,
        number: int,
        faults: FaultSet,
        *,
        errors: Errors,
        seed: int,
        outside: str = "",
    ) -> None:
        self._stock = stock
        self._number = number
        self._errors = errors
        self._random = np.random.default_rng(seed)
        self._cures = np.random.default_rng((seed, CURE_STREAM))
        self._looks = np.random.default_rng((seed, LOOK_STREAM))
        triggers = np.random.default_rng((seed, TRIGGER_STREAM))
        self._triggers = _triggers(stock.model, triggers)
        self._found: dict[tuple[int, str], bool] = {}
        self.faults = faults
        self.outside = outside

    def _there(self, state: str) -> Hypotheses:
        """Return what the car shows at one look: what comes and goes may be away."""
        causes = self._stock.compiled.causes
        present = tuple(
            fault
            for fault in self.faults
            if causes[fault].mode.lasts or self._is_there(fault, state)
        )
        return self._stock.with_faults(present)

    def _is_there(self, fault: int, state: str) -> bool:
        """Return whether a fault that comes and goes is there at one look.

        As it was at the look before in this state, or drawn anew.
        """
        trigger = self._triggers[fault]
        before = self._found.get((fault, state))
        if before is None or self._looks.random() >= trigger.stays:
            before = bool(self._looks.random() < presence_in(trigger, state))
        self._found[fault, state] = before
        return before

    def _reacts(self, test: Provocation) -> bool:
        """Return whether a fault seems to come or go under a test."""
        causes, presence = self._stock.compiled.causes, self._stock.compiled.presence
        chance = test.symptom.imagined_probability
        for fault in self.faults:
            if causes[fault].mode.lasts:
                chance = max(chance, test.lasting.get(fault, 0.0))
                continue
            there = test.share_there[int(np.searchsorted(presence.numbers, fault))]
            own = self._stock.model.knowledge.triggers[test.trigger].test
            is_own = self._triggers[fault].name == test.trigger
            chance = max(chance, there * (own.reacts if is_own else own.by_other))
        return bool(self._looks.random() < chance)

    def _shows(self, sign: SeenSign) -> bool:
        """Return whether the owner saw a sign of a fault that comes and goes."""
        return bool(self._looks.random() < self._sign_chance(sign))

    def _sign_chance(self, sign: SeenSign) -> float:
        """Return how likely a sign is seen, by the trigger each fault has here. [1]."""
        presence = self._stock.compiled.presence
        still = 1.0 - float(sign.lasting_reacts([self.faults])[0])
        for fault in self.faults:
            if fault in self._triggers:
                row = int(np.searchsorted(presence.numbers, fault))
                name = self._triggers[fault].name
                lost = sign.lost_while_there(row)
                still *= 1.0 - sign.triggers.get(name, 0.0) * lost
        return 1.0 - still

    def changed(self, test: SubstitutionTest) -> HiddenCar:
        """Return this car while its circuit is changed for a test.

        Parameters
        ----------
        test : SubstitutionTest
            What is changed, and what is looked at.

        Returns
        -------
        HiddenCar
            With the same owner, who errs as before; parts that are known to be good
            have no fault.
        """
        other = copy(self)
        good = renewed_parts(test.substitution, test.look, self._stock.compiled.car)
        other.faults = without_parts(self.faults, good, self._stock.compiled.causes)
        other._stock = self._stock.changed(test)
        return other

    @property
    def _shown(self) -> Hypotheses:
        """What the car shows while all of its faults are there."""
        return self._stock.with_faults(self.faults)

    def symptom_chance(self, name: str, only: FaultSet | None = None) -> float:
        """Return how likely a symptom is really there. [1].

        Parameters
        ----------
        name : str
            The symptom.
        only : FaultSet or None
            With these faults in place of the car's own.
        """
        sign = self._stock.model.signs.get(name)
        if sign is not None:
            return self._sign_chance(sign)
        shown = self._shown if only is None else self._stock.with_faults(only)
        return self._chance(name, shown)

    def _chance(self, name: str, shown: Hypotheses) -> float:
        """Return how likely a symptom is there, of what the car shows. [1]."""
        there = symptom_there(self._stock.compiled, shown, name)
        return float(there[0, self._number])

    def sees(self, name: str) -> bool:
        """Return what the owner reports of a symptom."""
        sign = self._stock.model.signs.get(name)
        if sign is not None:
            return self._shows(sign)
        test = self._stock.model.provocations.get(name)
        if test is not None:
            return self._reacts(test)
        symptom = self._stock.model.asked(name)
        shown = self._there(symptom.state)
        touch = self._stock.model.touches.get(name)
        if touch is not None:
            hot = hot_chance(shown, touch, self._stock.compiled)
            chance = float(hot[0, self._number])
        else:
            chance = self._chance(name, shown)
        is_there = self._random.random() < chance
        if not self._errors.has_report_error:
            return is_there
        wrong = symptom.missed_probability if is_there else symptom.imagined_probability
        return is_there ^ (self._random.random() < wrong)

    def measures(self, reading: Reading) -> float:
        """Return what the owner reads off the meter. [unit of the reading]."""
        if self._random.random() < self._errors.slip_probability:
            reading = self._slipped(reading)
        shown = self._there(reading.state)
        value = float(
            self._stock.compiled.readings.predicted(shown, reading)[0, self._number]
        )
        jumps = self._jumps(shown, reading.state)
        if reading.kind is ReadingKind.DC_VOLTS and jumps:
            value = self._caught()
        if reading.kind is ReadingKind.LOOK:
            return float(value > LIKELY)
        if reading.kind is ReadingKind.LAMP:
            return self._says(value)
        if not np.isfinite(value) or not self._errors.has_meter_error:
            return value
        range_ = meter_range(reading.kind, self._stock.model.knowledge.meter)
        assert range_ is not None, "a look and a test lamp were dealt with above"
        half = float(range_.half_width(np.array(value)))
        value += half * self._random.uniform(-1.0, 1.0)
        step = range_.resolution
        rounded = round(value / step) * step
        is_signed = reading.kind is ReadingKind.DC_VOLTS
        return float(rounded if is_signed else max(rounded, 0.0))

    def _jumps(self, shown: Hypotheses, state: str) -> bool:
        """Return whether the meter shows a jump: a breaker cycles, a relay chatters."""
        place = self._stock.compiled.predictor.state_index[state]
        settled = float(shown.prediction.is_settled[place, 0, self._number])
        return settled < 1.0 and self._random.random() >= settled

    def _caught(self) -> float:
        """Return what a meter shows at the moment it is read, while it jumps. [V]."""
        car = self._stock.model.car
        caught = float(self._random.uniform(0.0, car.system_volts))
        return -caught if car.is_positive_ground else caught

    def missing_for(self, state: str) -> str:
        """Return the symptom that a state needs and the car lacks, or empty."""
        wanted = self._stock.model.car.state(state).exists_when
        if wanted not in self._stock.compiled.symptom_index:
            return ""
        return "" if self.symptom_chance(wanted) > LIKELY else wanted

    def _says(self, grade: float) -> float:
        """Return what the owner says of a test lamp."""
        answers = np.array(list(GRADES.values()))
        if not self._errors.has_report_error:
            return float(answers[np.abs(answers - grade).argmin()])
        chances = [float(answer_chance(one, np.array(grade))) for one in answers]
        return float(self._random.choice(answers, p=chances))

    def _slipped(self, reading: Reading) -> Reading:
        """Return the same kind of reading at another test point."""
        car = self._stock.model.car
        if reading.kind in (*PROBED_KINDS, ReadingKind.AC_VOLTS):
            return reading
        nodes = sorted(car.test_points)
        other = nodes[int(self._random.integers(len(nodes)))]
        return Reading(
            kind=reading.kind, state=reading.state, red=other, black=reading.black
        )

    def repair(self, causes: Sequence[int], cure_probability: float) -> bool:
        """Mend causes and return whether one that was present is gone.

        Parameters
        ----------
        causes : Sequence[int]
            All that the repair mends.
        cure_probability : float
            That it cures. [1]
        """
        present = set(causes) & set(self.faults)
        if not present or self._cures.random() >= cure_probability:
            return False
        self.faults = tuple(c for c in self.faults if c not in present)
        self._found = {}
        return True


def _make_room(kept: dict[KeyT, KeptT]) -> None:
    """Forget what was kept longest where another would be too much."""
    while len(kept) >= MOST_KEPT:
        del kept[next(iter(kept))]


def _triggers(model: Model, random: np.random.Generator) -> Mapping[int, Trigger]:
    """Return the trigger each fault that comes and goes has in one car."""
    compiled, triggers = model.compiled, model.knowledge.triggers
    names = tuple(triggers)
    levels = random.random((len(compiled.presence.numbers), 1))
    found = {}
    for fault, level in zip(compiled.presence.numbers.tolist(), levels, strict=True):
        drawn = drawn_trigger(compiled.causes[fault], names, level)
        found[fault] = triggers[names[int(drawn[0])]]
    return found
