"""Kept predictions: differences from the sound car, as good as the whole arrays."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import FaultSet, catalogue
from diagnose.faults.predictions import predictor as predictor_module
from diagnose.faults.predictions.kept.blocks import Blocks
from diagnose.faults.predictions.kept.prediction import KeptPrediction
from diagnose.faults.predictions.kept.sound_car import KEPT_APART_AMPS, SoundCar
from diagnose.faults.predictions.kept.volts import KEPT_APART_VOLTS
from diagnose.faults.predictions.predicted import Prediction, in_single
from diagnose.faults.predictions.predictor import Predictor
from diagnose.faults.predictions.single_faults import (
    CHUNKS_IN_TURN,
    in_turns,
    kept_faults,
)
from diagnose.inference.compiled.bank import Bank
from diagnose.measurement.quantities import Probe
from tests.lamp_car import CAR, MODES

N_DRAWS = 4
CAUSES = catalogue(CAR, MODES)
SETS: tuple[FaultSet, ...] = ((), *((number,) for number in range(len(CAUSES))))
PROBES = tuple(
    Probe(branch=fuse, state=state.name, is_current=is_current)
    for fuse in ("main-fuse", "lamp-fuse")
    for state in CAR.states
    for is_current in (False, True)
)
ROUNDING_VOLTS = 2e-6
# Single precision of some 14 V.
HALF_STEP = 2.0**-11
# Half of the last digit of half precision (IEEE 754-2019, binary16: 10 digits behind).
LAST_STEP_UNITS = 2.0**-24
# Half precision below its least normal number (IEEE 754-2019, binary16): 6 mohm.


@pytest.fixture(scope="module")
def predictor() -> Predictor:
    return Predictor(CarModel(CAR, Sample(n_draws=N_DRAWS)), CAUSES, PROBES)


@pytest.fixture(scope="module")
def whole(predictor: Predictor) -> Prediction:
    return predictor.predict(SETS)


def bank_of(predictor: Predictor) -> Bank:
    nodes, is_settled = kept_faults(predictor, SETS)
    symptoms = np.zeros((len(SETS), N_DRAWS, 0), dtype=np.float32)
    return Bank.of_kept(
        SETS, nodes, np.arange(len(SETS)), is_settled=is_settled, symptoms=symptoms
    )


@pytest.fixture(scope="module")
def kept(predictor: Predictor) -> KeptPrediction:
    found = bank_of(predictor).singles.prediction
    assert isinstance(found, KeptPrediction)
    return found


def assert_alike(found: Prediction, whole: Prediction) -> None:
    apart = np.abs(found.volts - whole.volts).max()
    assert apart <= KEPT_APART_VOLTS + ROUNDING_VOLTS
    np.testing.assert_allclose(
        found.probes, whole.probes, rtol=HALF_STEP, atol=KEPT_APART_AMPS
    )
    ohms = in_single(found.source_units), in_single(whole.source_units)
    np.testing.assert_allclose(*ohms, rtol=1e-3, atol=LAST_STEP_UNITS)
    assert np.array_equal(found.is_settled, whole.is_settled)


def test_what_is_kept_is_the_whole_to_within_the_tolerance(
    kept: KeptPrediction, whole: Prediction
) -> None:
    assert_alike(kept.kept(np.arange(len(SETS))), whole)


def test_a_resistance_one_step_off_is_not_kept_and_two_steps_off_is(
    kept: KeptPrediction,
) -> None:
    nodes = kept.nodes
    sound = SoundCar(
        volts=nodes.volts.blocks.base,
        source_units=nodes.source_units.base,
        probes=nodes.probes.base,
        hubs=np.array([1]),
        shares=nodes.volts.shares[..., :1],
    )
    whole = kept.kept(np.zeros(5, dtype=np.int64))
    steps = whole.source_units.view(np.uint16)
    # one step up and down, and two, in a draw of one node each
    node = int(steps[0, 0, 1].argmax())
    own = int(steps[0, 0, 1, node])
    steps[0, 1:, 1, node] = [own + 1, own - 1, own + 2, own - 2]

    found = sound.kept(whole, 0).source_units

    n_states, n_nodes = found.base.shape[:2]
    assert own > 2
    assert found.keys.tolist() == [row * n_states * n_nodes + node for row in (3, 4)]


def test_less_is_kept_than_there_is(kept: KeptPrediction) -> None:
    base = kept.nodes.volts.blocks.base

    assert (
        len(kept.nodes.volts.blocks.keys)
        < 0.7 * len(SETS) * base.shape[0] * base.shape[1]
    )
    # and nothing of the sound car, which stands for what is not kept
    assert not (kept.nodes.volts.blocks.keys < base.shape[0] * base.shape[1]).any()


def test_columns_and_points_are_those_of_the_rows(kept: KeptPrediction) -> None:
    rows = np.array([3, 0, 5, 3])
    draws = np.array([1, 2, 0, 3])
    whole = kept.kept(rows)
    each = np.arange(len(rows))

    for state in range(len(CAR.states)):
        volts = kept.seen_volts(state, rows, draws)
        assert np.array_equal(volts.T, whole.volts[state, each, draws])
        units = kept.seen_units(state, rows, draws)
        expected = in_single(whole.source_units[state, each, draws])
        assert np.array_equal(units.T, expected)
        for node in range(whole.volts.shape[3]):
            seen = kept.volts_at(state, node, rows)
            assert np.array_equal(seen, whole.volts[state, :, :, node])
            shown = kept.units_at(state, node, rows)
            assert np.array_equal(shown, whole.source_units[state, :, :, node])
    probes = kept.seen_probes(rows, draws)
    assert np.array_equal(probes.T, whole.probes[each, draws])
    for column in range(len(PROBES)):
        seen = kept.probes_at(column, rows)
        assert np.array_equal(seen, whole.probes[:, :, column])


def test_rows_behind_the_singles_hold_what_was_written(predictor: Predictor) -> None:
    bank = bank_of(predictor)
    held, row = bank.all.prediction, bank.first_redrawn
    pair = predictor.predict([(0, 3)])

    held.put(row, pair, 0)

    rows = np.array([row, 2])
    assert np.array_equal(held.volts_at(1, 2, rows)[0], pair.volts[1, 0, :, 2])
    both = held.seen_volts(1, rows, np.array([3, 3]))
    assert np.array_equal(both[:, 0], pair.volts[1, 0, 3])
    alone = bank.singles.prediction.seen_volts(1, np.array([2]), np.array([3]))
    assert np.array_equal(both[:, 1], alone[:, 0])
    taken = held.kept(np.array([2, row, 0]))
    assert np.array_equal(taken.volts[:, 1], pair.volts[:, 0])
    assert np.array_equal(taken.source_units[:, 1], pair.source_units[:, 0])
    assert np.array_equal(taken.probes[1], pair.probes[0])
    ones = bank.singles.prediction.kept(np.array([2, 0]))
    assert np.array_equal(taken.volts[:, [0, 2]], ones.volts)
    with pytest.raises(ValueError, match="not written over"):
        held.put(2, pair, 0)


def test_small_chunks_make_the_same(
    predictor: Predictor, whole: Prediction, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(predictor_module, "CHUNK_VALUES", 3000)

    nodes, is_settled = kept_faults(predictor, SETS)

    every = np.arange(len(SETS))
    bank = Bank.of_kept(
        SETS,
        nodes,
        every,
        is_settled=is_settled,
        symptoms=np.zeros((len(SETS), N_DRAWS, 0), dtype=np.float32),
    )
    assert_alike(bank.singles.prediction.kept(every), whole)
    assert (np.diff(nodes.volts.blocks.keys) > 0).all()


def test_rows_kept_beside_the_first_come_back_number_by_number() -> None:
    rng = np.random.default_rng(3)
    whole = np.repeat(rng.random((2, 1, 4, 3), dtype=np.float32), 5, axis=1)
    whole[1, 3, 2, 0] = 7.0
    whole[0, 4, :, 1] = 0.0

    blocks = Blocks.beside_first(whole)

    assert len(blocks.keys) == 2
    found = Blocks.from_arrays(blocks.arrays("any"), "any").whole(5)
    assert found.dtype == whole.dtype
    assert np.array_equal(found, whole)


@pytest.mark.parametrize("n_chunks", range(2, 40))
def test_two_processes_share_chunks_about_evenly(n_chunks: int) -> None:
    chunks = [slice(number, number + 1) for number in range(n_chunks)]

    mine, others = in_turns(chunks)

    assert sorted((*mine, *others), key=lambda chunk: chunk.start) == chunks
    assert others
    assert abs(len(mine) - len(others)) <= CHUNKS_IN_TURN
