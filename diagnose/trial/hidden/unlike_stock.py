"""Hidden cars that differ from their file, and what the sheet says of sound ones.

Leaves how they differ to `unlike_car`, and the playing to `playing`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.errors import DiagnoseError
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.session.ready_car import Model
from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Band, Choice
from diagnose.trial.hidden.complaints import complaints_of
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.hidden.unlike_car import OwnDraws
from diagnose.trial.hidden.unlike_laws import UnlikeModel

# Least and most resistance of both meter leads with their tips. [Ω] Rule of the trade:
# new leads pressed on clean metal, against old ones on dull metal.
LEAD_OHMS = (0.1, 0.5)

# Chance that a reading is taken at another point or in another state. [1] Own choice:
# three in a hundred, for somebody under a dashboard.
SLIP_PROBABILITY = 0.03

# How such an owner errs.
UNLIKE_ERRORS = Errors(slip_probability=SLIP_PROBABILITY)

# Step from one seed to the next that is tried where a car of one draw is not sound. [1]
# Own choice: beyond the seeds of any trial.
NEXT_SEED = 1_000_003

# Seeds that are tried so. [1] Own choice: a design of which one car in twenty works is
# as good as none.
MOST_ATTEMPTS = 20

# What is said where there is no car to play with.
NONE_SOUND = (
    "no car that differs from this file as real ones do would work with nothing wrong; "
    "its design has no room: see what check says of wires, fuses and charge"
)


class UnsoundCarsError(DiagnoseError):
    """No car that differs from its file so much would be without a complaint."""


class UnlikeCars(HiddenCars):
    """A stock of cars that differ from their file, each in its own way.

    Parameters
    ----------
    model, n_cars, seed, car
        As for `HiddenCars`; what is played with are the cars that nobody would
        complain of while they are sound, beyond what a sound car of the model gives
        reason to.
    """

    def __init__(
        self, model: Model, *, n_cars: int, seed: int, car: Car | None = None
    ) -> None:
        super().__init__(model, n_cars=n_cars, seed=seed, car=car)
        # insulation is drawn with the other values, not once more in the meter
        self.compiled.readings.leak_factor = np.ones(n_cars)
        leads = OwnDraws(n_draws=n_cars, seed=seed).between("leads", *LEAD_OHMS)
        self.compiled.readings.lead_ohms = leads
        if car is None:
            usual = set(_complaints(HiddenCars(model, n_cars=1, seed=seed), 0))
            self.numbers = tuple(n for n in self.numbers if self._is_sound(n, usual))

    def _drawn(self, car: Car, n_cars: int, seed: int) -> CarModel:
        """Return the cars of the stock, with values and laws of their own."""
        return UnlikeModel(car, OwnDraws(n_draws=n_cars, seed=seed))

    def _is_sound(self, number: int, usual: AbstractSet[str]) -> bool:
        """Return whether a car without a fault gives no reason to complain."""
        settled = self.with_faults(()).prediction.is_settled[:, 0, number]
        return bool((settled == 1.0).all()) and usual >= set(_complaints(self, number))

    def number_of(self, seed: int) -> int:
        """Return which car the game of a seed is played with.

        Raises
        ------
        UnsoundCarsError
            If there is none to play with.
        """
        if not self.numbers:
            raise UnsoundCarsError(NONE_SOUND)
        return super().number_of(seed)

    def sound_seed(self, seed: int) -> int:
        """Return a seed with which a car of its own is sound.

        Raises
        ------
        UnsoundCarsError
            If none of many is.
        """
        for attempt in range(MOST_ATTEMPTS):
            tried = seed + attempt * NEXT_SEED
            if UnlikeCars(self.model, n_cars=1, seed=tried).numbers:
                return tried
        raise UnsoundCarsError(NONE_SOUND)

    def wired(self, car: Car, *, seed: int) -> HiddenCars:
        """Return a stock of one such car that is wired otherwise."""
        return UnlikeCars(self.model, n_cars=1, seed=seed, car=car)


def _complaints(stock: HiddenCars, number: int) -> tuple[str, ...]:
    """Return every complaint that fits a sound car."""
    car = HiddenCar(stock, number, (), errors=UNLIKE_ERRORS, seed=0)
    return complaints_of(car, stock.model)


@dataclass(frozen=True, slots=True, kw_only=True)
class InBands:
    """How many readings of sound cars lie in the bands of the sheet.

    Parameters
    ----------
    name : str
        Which readings.
    readings : int
        How many, over all cars.
    share : float
        Of them, those in their band. [1]
    """

    name: str
    readings: int
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One reading of the sheet, and which cars show what it says."""

    name: str
    is_in: BoolArray
    is_nothing: bool


def sound_readings(model: Model, stock: HiddenCars) -> tuple[InBands, ...]:
    """Return how many readings of the stock's sound cars the sheet foretells.

    A reading counts as in its band where the meter's display, free of error, lies
    between the ends of the band as the meter would show them.

    Parameters
    ----------
    model : Model
        The car as its file has it.
    stock : HiddenCars
        The cars that are read.

    Returns
    -------
    tuple[InBands, ...]
        All first, then those that are not nothing (no volts, over-range), then one
        kind after the other.
    """
    rows = tuple(_rows(model, stock))
    groups: dict[str, list[_Row]] = {
        "all": list(rows),
        "other than 0 V and OL": [row for row in rows if not row.is_nothing],
    }
    for row in rows:
        groups.setdefault(row.name, []).append(row)
    return tuple(_in_bands(name, group) for name, group in groups.items() if group)


def _in_bands(name: str, rows: Sequence[_Row]) -> InBands:
    is_in = np.stack([row.is_in for row in rows])
    return InBands(name=name, readings=is_in.size, share=float(is_in.mean()))


def _rows(model: Model, stock: HiddenCars) -> Iterator[_Row]:
    """Yield each reading of the sheet, as the cars show it."""
    sheet = expected_sheet(model.car, model.knowledge, Choice(has_drops=True))
    sound, cars = stock.with_faults(()), list(stock.numbers)
    for row in sheet.rows:
        for cell in row.cells:
            reading = Reading(
                kind=cell.kind, state=cell.state, red=row.red, black=row.black
            )
            range_ = meter_range(cell.kind, model.knowledge.meter)
            if range_ is None:
                continue
            shown = stock.compiled.readings.predicted(sound, reading)[0, cars]
            band = cell.healthy
            yield _Row(
                name=_group(cell.kind, is_drop=row.is_drop),
                is_in=is_in_band(shown, band, range_),
                is_nothing=_is_nothing(band, range_),
            )


def _group(kind: ReadingKind, *, is_drop: bool) -> str:
    if kind is ReadingKind.DC_VOLTS:
        return "volts along a part" if is_drop else "volts to ground"
    return "AC volts" if kind is ReadingKind.AC_VOLTS else kind.value


def is_in_band(shown: FloatArray, band: Band, range_: MeterRange) -> BoolArray:
    """Return which displays lie in a band whose ends a meter shows.

    Parameters
    ----------
    shown : FloatArray
        Readings without error, any shape; inf for over-range. [V], [Ω]
    band : Band
        What is expected.
    range_ : MeterRange
        Of the meter, for its last digit.

    Returns
    -------
    BoolArray
        Same shape.
    """
    step = range_.resolution
    display = np.round(shown / step)
    low, high = np.round(band.low / step), np.round(band.high / step)
    return np.asarray((low <= display) & (display <= high))


def _is_nothing(band: Band, range_: MeterRange) -> bool:
    """Return whether a band says no volts, or over-range, and nothing else."""
    ends = np.abs(np.array([band.low, band.high]))
    return bool(np.isinf(ends).all() or (ends < 0.5 * range_.resolution).all())
