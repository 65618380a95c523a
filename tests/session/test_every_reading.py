"""Whatever is read, wherever and in whichever state: a band, or a reason why none."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from diagnose.errors import ReadingError
from diagnose.faults.causes import FaultSet
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

SEED = 71
# Own choice: all kinds in all states, some points each, in a few seconds a car.
PER_KIND_AND_STATE = 2
# Own choice: single faults that each car's readings are asked under, and pairs.
N_SINGLES, N_PAIRS = 12, 12
# The meter's own kinds, read between two points.
BETWEEN_POINTS = {
    ReadingKind.DC_VOLTS,
    ReadingKind.AC_VOLTS,
    ReadingKind.OHMS,
    ReadingKind.LAMP,
}


@pytest.fixture(scope="module", params=["model", "sedan_model", "tourer_model"])
def any_model(request: pytest.FixtureRequest) -> Model:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Model)
    return found


def random_readings(model: Model, rng: np.random.Generator) -> Iterator[Reading]:
    """Yield every kind in every state, at random points and parts."""
    words = Diagnosis(model).vocabulary
    nodes, parts, fuses = tuple(words.nodes), tuple(words.parts), tuple(words.fuses)
    for kind in ReadingKind:
        for state in model.car.states:
            for _ in range(PER_KIND_AND_STATE):
                if kind in BETWEEN_POINTS:
                    red, black = (str(n) for n in rng.choice(nodes, 2))
                    if kind is not ReadingKind.OHMS and rng.random() < 0.5:
                        black = model.car.reference
                    if kind is ReadingKind.AC_VOLTS and rng.random() < 0.5:
                        red, black = sorted(battery_posts(model.car))
                else:
                    of = parts if kind is ReadingKind.AMPS else fuses
                    red, black = str(rng.choice(of)), ""
                yield Reading(kind=kind, state=state.name, red=red, black=black)


def random_sets(model: Model, rng: np.random.Generator) -> list[FaultSet]:
    """Return no fault, some single ones and some pairs of different parts."""
    causes = model.compiled.causes[: model.compiled.n_lasting]
    found: list[FaultSet] = [()]
    found += [(int(n),) for n in rng.integers(len(causes), size=N_SINGLES)]
    while len(found) < 1 + N_SINGLES + N_PAIRS:
        one, two = sorted(int(n) for n in rng.integers(len(causes), size=2))
        if one != two and causes[one].part != causes[two].part:
            found.append((one, two))
    return found


def taken(diagnosis: Diagnosis, readings: Iterator[Reading]) -> list[Reading]:
    """Return the readings that the diagnosis does not refuse, each with its band."""
    found = []
    for reading in readings:
        try:
            step = diagnosis.expect(reading)
        except ReadingError:
            continue
        found.append(reading)
        assert step.instruction
        for one in step.expected:
            assert not np.isnan([one.low, one.high]).any(), (reading.name, one)
            assert one.low <= one.high, (reading.name, one)
            assert one.words, (reading.name, one)
        assert np.isfinite([step.minutes, step.saves_minutes, step.bits]).all()
    return found


@pytest.fixture(scope="module")
def readings(any_model: Model) -> list[Reading]:
    rng = np.random.default_rng(SEED)
    return taken(Diagnosis(any_model), random_readings(any_model, rng))


def test_any_reading_has_a_band_or_a_reason(readings: list[Reading]) -> None:
    kinds = {reading.kind for reading in readings}

    assert kinds == set(ReadingKind)


def test_any_reading_has_values_under_one_fault_and_two(
    any_model: Model, readings: list[Reading]
) -> None:
    rng = np.random.default_rng(SEED)
    compiled = any_model.compiled
    solved = compiled.hypotheses(random_sets(any_model, rng))

    for reading in readings:
        shown = compiled.readings.predicted(solved, reading)
        assert shown.shape == (1 + N_SINGLES + N_PAIRS, compiled.n_draws)
        if reading.kind is ReadingKind.OHMS:
            # OL is kept as inf; rounding may leave next to nothing below zero
            assert (shown > -1e-6).all(), reading.name
        else:
            assert np.isfinite(shown).all(), reading.name


# Told of the sedan too: ``python -m tests.longer_runs.told_readings``.
@pytest.mark.parametrize("any_model", ["model", "tourer_model"], indirect=True)
def test_any_reading_can_be_told(any_model: Model, readings: list[Reading]) -> None:
    rng = np.random.default_rng(SEED)
    solved = any_model.compiled.hypotheses(random_sets(any_model, rng)[:2])
    of_kind = {reading.kind: reading for reading in readings}

    diagnosis = Diagnosis(any_model)
    untold = diagnosis.consider(())
    for reading in of_kind.values():
        value = float(
            np.median(any_model.compiled.readings.predicted(solved, reading)[1])
        )
        if reading.kind in (ReadingKind.LAMP, ReadingKind.LOOK):
            value = float(round(value))
        diagnosis.take(untold)
        answer = diagnosis.tell(ReadingFact(reading=reading, value=value))
        chances = [cause.probability for cause in answer.causes]
        assert np.isfinite(chances).all(), reading.name
