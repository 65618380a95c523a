"""What sound cars show, and where a faulty one stands outside of it.

The limits of a reading are those of all sound cars, widened by the meter's error and
rounded outwards. Mass is counted by cause and draw, not by cause: a bad joint shows
when it is bad enough, and a cause shown in half its severities counts half. Leaves
which readings are chosen to `first_start`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.session.ready_car import Model

# So many deviations beyond the limits a value reads outside in 95 of 100. [1] Standard
# normal: 5 % lie beyond on one side.
BEYOND_DEVIATIONS = 1.645

# So many deviations beyond the outermost drawn sound car the limits are. [1] Standard
# normal: 1 % lie beyond, so that a list of fifty readings seldom cries wolf.
SOUND_DEVIATIONS = 2.326

# Digits a limit is shown with. Own choice: what a meter shows.
SHOWN_DIGITS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundLimits:
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


def shown_cases(
    model: Model, wanted: Sequence[Reading]
) -> tuple[list[Reading], list[SoundLimits], BoolArray]:
    """Return the readings that have limits, the limits, and which cases each shows.

    Parameters
    ----------
    model : Model
    wanted : Sequence[Reading]
        Those looked at.

    Returns
    -------
    tuple
        Readings, limits, and an array of shape (n_readings, n_causes * n_draws): a case
        is a lasting cause with one draw.
    """
    meter = model.knowledge.meter
    readings, limits, rows = [], [], []
    for reading, values, spread in predicted_values(model, wanted):
        found = sound_limits(values[0], spread[0], meter_range(reading.kind, meter))
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


def sound_limits(
    values: FloatArray, spread: FloatArray, range_: MeterRange | None
) -> SoundLimits | None:
    """Return what sound cars show.

    Parameters
    ----------
    values, spread : FloatArray
        What each shows, and the deviation of a reading, shape (n_draws,). [V, Ω, A]
    range_ : MeterRange or None
        By whose digits the limits are rounded; None for a look.

    Returns
    -------
    SoundLimits or None
        None when it can't be told: a point that reads over-range on some sound cars
        only has no limits.
    """
    if np.isnan(values).any():
        return None
    is_over = np.isinf(values)
    if is_over.any():
        return (
            SoundLimits(low=np.inf, middle=np.inf, high=np.inf)
            if is_over.all()
            else None
        )
    low = float((values - SOUND_DEVIATIONS * spread).min())
    high = float((values + SOUND_DEVIATIONS * spread).max())
    if range_ is not None:
        low, high = _outwards(low, -1, range_), _outwards(high, 1, range_)
    return SoundLimits(low=low, middle=float(np.median(values)), high=high)


def _outside(values: FloatArray, spread: FloatArray, limits: SoundLimits) -> BoolArray:
    """Return where the meter stands outside the limits in 95 of 100."""
    if np.isinf(limits.low):
        return np.isfinite(values)
    margin = BEYOND_DEVIATIONS * spread
    # what is not a number compares as false
    return np.asarray((values + margin < limits.low) | (values - margin > limits.high))


def predicted_values(
    model: Model, readings: Sequence[Reading]
) -> Iterator[tuple[Reading, FloatArray, FloatArray]]:
    """Yield each reading with what it shows and its spread.

    Nothing is known of what never settles: it is not a number there.

    Parameters
    ----------
    model : Model
    readings : Sequence[Reading]

    Yields
    ------
    tuple
        Reading, values and deviations, shape (n_sets, n_draws) each. [V, Ω, A]
    """
    compiled = model.compiled
    predictor, prediction = compiled.predictor, compiled.singles.prediction
    for state in dict.fromkeys(reading.state for reading in readings):
        place = predictor.state_index[state]
        unsettled = prediction.is_settled[place] < 1.0
        for reading in readings:
            if reading.state != state:
                continue
            values = compiled.readings.predicted(compiled.singles, reading)
            stray: FloatArray | float = 0.0
            if reading.kind is ReadingKind.DC_VOLTS:
                stray = compiled.readings.ghost_volts(compiled.singles, reading)
            if unsettled.any():
                values[unsettled] = np.nan
            yield reading, values, np.hypot(_deviation(reading, values, model), stray)


def _deviation(reading: Reading, values: FloatArray, model: Model) -> FloatArray:
    if reading.kind is ReadingKind.LOOK:
        return np.zeros_like(values)
    spread = spread_of(
        reading.kind,
        model.knowledge.meter,
        system_volts=model.car.system_volts,
    )
    return spread.deviation(np.where(np.isinf(values), 0.0, values))


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
