"""The expected-readings sheet: what every test point reads, healthy and with one fault.

Solves a few draws of one car and no more, so it needs neither the cause network nor the
cache. Leaves how the sheet is printed to `terminal`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Origin
from diagnose.errors import ReadingError, UnsolvableCircuitError
from diagnose.faults.causes import Cause, FaultSet, catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predicted import Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.prior.priors import rates_alone
from diagnose.measurement.meters import Meter
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.session.ready_car import all_probes
from diagnose.session.sheets.branch_currents import branch_currents
from diagnose.session.sheets.charge_balance import ChargeBalance, charge_balances
from diagnose.session.sheets.chosen_readings import (
    OWN_ROW_KINDS,
    check_choice,
    chosen_readings,
    place_of,
)
from diagnose.session.sheets.sheet import Band, BranchCurrents, Cell, Choice, Row, Sheet
from diagnose.session.words.cautions import cautions_for

# How many cars are drawn. Derived: one more car lies below the k-th lowest of n with a
# chance of k / (n + 1), so between the second lowest and the second highest of 39 with
# one of 36 / 40, nine times in ten.
N_DRAWS = 39

# Where a band begins, has its middle and ends, as places among the draws in their
# order. [1] Own choice: nine in ten sound cars lie in it, see `N_DRAWS`.
BAND_PLACES = (1, N_DRAWS // 2, N_DRAWS - 2)

# Below this chance a car with the fault hardly gets into a state. [1] Own choice: more
# likely than not.
LEAST_REACHED = 0.5

# Below this share of draws a state is said not to settle. [1] Own choice: half.
LEAST_SETTLED = 0.5


# Grades further apart than this are two answers of a test lamp. [1] Derived: half the
# way from dark to dim.
LAMP_ERROR = 0.25


def expected_sheet(car: Car, knowledge: Knowledge, choice: Choice) -> Sheet:
    """Return the expected readings of a car.

    Parameters
    ----------
    car : Car
    knowledge : Knowledge
    choice : Choice
        What is wanted.

    Returns
    -------
    Sheet

    Raises
    ------
    ReadingError
        If the choice names something the car does not have, or leaves nothing.
    UnsolvableCircuitError
        If the healthy car has no steady operating point in some state.
    """
    causes = catalogue(car, knowledge.modes)
    check_choice(choice, car, causes)
    readings = chosen_readings(car, choice)
    if not readings:
        raise ReadingError(
            "no reading is left: the states, parts and places asked for have no test "
            "point in common"
        )
    fault = next((cause for cause in causes if cause.name == choice.fault), None)
    compiled = _compiled(car, knowledge, causes)
    sets: list[FaultSet] = [()] if fault is None else [(), (causes.index(fault),)]
    hypotheses = compiled.hypotheses(sets)
    rows = tuple(_rows(readings, compiled, hypotheses))
    shown = {cell.state for row in rows for cell in row.cells}
    states = tuple(state for state in car.states if state.name in shown)
    values = [value for part in car.parts for value in part.values.values()]
    default_values = sum(value.origin is Origin.DEFAULT for value in values)
    unsteady = _unsteady(hypotheses.whole(), car)
    return Sheet(
        car=car,
        states=states,
        rows=rows,
        safety_note=knowledge.safety_note,
        cautions=tuple(dict.fromkeys(c for row in rows for c in row.cautions)),
        fault=fault,
        unreached=() if fault is None else _unreached(states, compiled, hypotheses),
        unsteady=tuple(name for name in unsteady if name in shown),
        default_values=default_values,
        own_values=len(values) - default_values,
        **_balances(car, choice, states, fault),
        branches=_branches(choice, states, compiled, hypotheses),
    )


def _branches(
    choice: Choice,
    states: Sequence[OperatingState],
    compiled: Compiled,
    hypotheses: Hypotheses,
) -> tuple[BranchCurrents, ...]:
    """Return the currents of the branches, of the parts and places asked for."""
    car = compiled.car

    def is_wanted(name: str) -> bool:
        part = car.part(name)
        of_part = not choice.parts or {name, part.assembly} & set(choice.parts)
        return bool(of_part) and (not choice.places or part.place in choice.places)

    return tuple(
        branch_currents(
            car,
            states,
            is_wanted,
            lambda reading: _cell(reading, compiled, hypotheses),
        )
    )


def _balances(
    car: Car, choice: Choice, states: Sequence[OperatingState], fault: Cause | None
) -> dict[str, tuple[ChargeBalance, ...]]:
    """Return the balances of the sheet, where they are wanted."""
    is_about_others = bool(choice.parts or choice.places)
    if is_about_others and not {"alternator", "battery"} & set(choice.parts):
        return {}
    names = [state.name for state in states]
    faulty = charge_balances(car, states=names, fault=fault) if fault else ()
    return {
        "balances": charge_balances(car, states=names),
        "faulty_balances": faulty,
    }


def _compiled(car: Car, knowledge: Knowledge, causes: Sequence[Cause]) -> Compiled:
    """Return the car ready for predictions, with only the healthy car worked out."""
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    predictor = Predictor(model, causes, all_probes(car, knowledge))
    prediction = predictor.predict([()])
    unsteady = _unsteady(prediction, car)
    if unsteady:
        raise UnsolvableCircuitError(
            tuple(
                f"{name}: no steady state is found even with everything sound"
                for name in unsteady
            )
        )
    healthy = Hypotheses(
        sets=((),),
        prediction=prediction,
        symptoms=np.zeros((1, N_DRAWS, 0), dtype=np.float32),
    )
    return Compiled(
        predictor, knowledge, rates_alone(causes), bank=Bank.holding(healthy)
    )


def _unsteady(prediction: Prediction, car: Car) -> tuple[str, ...]:
    """Return the states in which the last fault set hardly ever settles."""
    settled = prediction.is_settled[:, -1].mean(axis=1)
    return tuple(
        state.name
        for state, share in zip(car.states, settled.tolist(), strict=True)
        if share < LEAST_SETTLED
    )


def _rows(
    readings: Sequence[Reading], compiled: Compiled, hypotheses: Hypotheses
) -> Iterator[Row]:
    """Yield the readings, those of one place of the leads together."""
    car = compiled.car
    together: dict[tuple[str, str, ReadingKind | None], list[Reading]] = {}
    for reading in readings:
        own = reading.kind if reading.kind in OWN_ROW_KINDS else None
        together.setdefault((reading.red, reading.black, own), []).append(reading)
    for (red, black, own), group in together.items():
        cautions = (c for r in group for c in cautions_for(r, car, compiled.knowledge))
        yield Row(
            place=place_of(group[0], car),
            red=red,
            black=black,
            is_drop=black not in {"", car.reference},
            is_look=not black,
            is_ac=own is ReadingKind.AC_VOLTS,
            is_lamp=own is ReadingKind.LAMP,
            cells=tuple(_cell(reading, compiled, hypotheses) for reading in group),
            cautions=tuple(dict.fromkeys(cautions)),
        )


def _cell(reading: Reading, compiled: Compiled, hypotheses: Hypotheses) -> Cell:
    predicted = compiled.readings.predicted(hypotheses, reading)
    healthy = _band(predicted[0])
    faulty = _band(predicted[1]) if len(predicted) > 1 else None
    meter = compiled.knowledge.meter
    return Cell(
        kind=reading.kind,
        state=reading.state,
        healthy=healthy,
        faulty=faulty,
        differs=faulty is not None and _differs(healthy, faulty, reading.kind, meter),
        tells=faulty is not None and _lie_apart(healthy, faulty, reading.kind, meter),
    )


def _band(values: FloatArray) -> Band:
    # drawn values, not values between them: half way to over-range is no reading
    low, middle, high = np.sort(values)[list(BAND_PLACES)].tolist()
    return Band(low=low, middle=middle, high=high)


def _differs(healthy: Band, faulty: Band, kind: ReadingKind, meter: Meter) -> bool:
    """Return whether the middles lie further apart than the meter's error."""
    if math.isinf(healthy.middle) or math.isinf(faulty.middle):
        return healthy.middle != faulty.middle
    moved = abs(healthy.middle - faulty.middle)
    return moved > _error(healthy.middle, kind, meter)


def _lie_apart(healthy: Band, faulty: Band, kind: ReadingKind, meter: Meter) -> bool:
    """Return whether two bands have more than the meter's errors between them."""
    first, second = sorted((healthy, faulty), key=lambda band: band.low)
    if math.isinf(first.high):
        return False
    return first.high + 2.0 * _error(first.high, kind, meter) < second.low


def _error(value: float, kind: ReadingKind, meter: Meter) -> float:
    """Return how far off the meter may be."""
    if kind is ReadingKind.LOOK:
        return 0.0
    if kind is ReadingKind.LAMP:
        return LAMP_ERROR
    range_ = meter_range(kind, meter)
    assert range_ is not None, "a look and a test lamp were dealt with above"
    return float(range_.half_width(np.array(value)))


def _unreached(
    states: Sequence[OperatingState], compiled: Compiled, hypotheses: Hypotheses
) -> tuple[str, ...]:
    """Return the states whose own symptom a car with the fault hardly shows."""
    columns: Mapping[str, int] = compiled.symptom_index
    return tuple(
        state.name
        for state in states
        if state.exists_when in columns
        and hypotheses.symptoms[1, :, columns[state.exists_when]].mean() < LEAST_REACHED
    )
