"""Every single fault of a car solved, each kept as its difference from the sound car.

By two processes where it is much: a large car has tens of thousands of points. Leaves
solving to `predictor`, and how differences are kept to `kept`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import compress

import numpy as np

from diagnose.arrays import StoredArray, give_back
from diagnose.faults.causes import FaultSet
from diagnose.faults.predictions.kept.sound_car import KeptNodes, SoundCar
from diagnose.faults.predictions.kept.volts import hub_shares, hubs_of
from diagnose.faults.predictions.predictor import LEAST_SHARED_POINTS, Predictor
from diagnose.faults.predictions.second_process import (
    Parcel,
    Parcels,
    can_fork,
    start_in_child,
)

# Chunks that one process solves in turn before the next ones are the other's. [1] Own
# choice: few neighbourhoods are solved by both, and both end at about the same time.
CHUNKS_IN_TURN = 4


def kept_faults(
    predictor: Predictor,
    sets: Sequence[FaultSet],
    *,
    progress: Callable[[float], None] | None = None,
) -> tuple[KeptNodes, StoredArray]:
    """Return what fault sets would show, as differences from the sound car.

    Parameters
    ----------
    predictor : Predictor
        Of the car.
    sets : Sequence[FaultSet]
        The fault sets, the sound car first.
    progress : Callable or None
        Called with the share done, 0 to 1.

    Returns
    -------
    KeptNodes
        With a row for each set.
    StoredArray
        `Prediction.is_settled` of the sets. [1]

    Raises
    ------
    UnsolvableCircuitError
        If the sound car has no operating point in some state.
    """
    n_draws = predictor.model.sample.n_draws
    tell = progress or _tell_nobody
    base = _sound_car(predictor)
    is_shared = len(sets) * n_draws >= LEAST_SHARED_POINTS and can_fork()
    chunks = predictor.chunks(len(sets), n_draws, n_workers=2 if is_shared else 1)

    def parts(wanted: Sequence[slice]) -> Iterator[tuple[KeptNodes, StoredArray]]:
        for number, chunk in enumerate(wanted):
            whole = predictor.solved(sets[chunk])
            part = base.kept(whole, chunk.start), whole.is_settled
            # nothing of it is there any more when the next is solved
            del whole
            yield part
            del part
            if not is_child:
                tell((number + 1) / len(wanted))

    is_child = False
    mine, others = list(chunks), list(chunks[:0])
    if is_shared:
        mine, others = in_turns(chunks)

    def in_child() -> list[tuple[Parcel, ...]]:
        nonlocal is_child
        is_child = True
        return [
            parcels.put((*nodes.varying(), settled)) for nodes, settled in parts(others)
        ]

    with Parcels() as parcels:
        wait = start_in_child(in_child) if others else list
        found = dict(zip((chunk.start for chunk in mine), parts(mine), strict=True))
        for chunk, handed in zip(others, wait(), strict=True):
            *varying, is_settled = parcels.get(handed)
            found[chunk.start] = base.beside(varying), is_settled
    predictor.forget_passing()
    # the most is in memory while all parts are joined
    predictor.solver().forget()
    give_back()
    settled = [found[chunk.start][1] for chunk in chunks]
    # nothing else holds a part, so that each goes as soon as it is joined
    nodes = [found.pop(chunk.start)[0] for chunk in chunks]
    return KeptNodes.joined(nodes), np.concatenate(settled, axis=1)


def in_turns(chunks: Sequence[slice]) -> tuple[list[slice], list[slice]]:
    """Return what each of two processes solves, in turn.

    Parameters
    ----------
    chunks : Sequence[slice]
        At least two; those that follow each other ask the same branches.

    Returns
    -------
    tuple[list[slice], list[slice]]
        Neither is empty.

    Examples
    --------
    >>> in_turns([slice(0, 1), slice(1, 2)])
    ([slice(0, 1, None)], [slice(1, 2, None)])
    """
    in_turn = min(CHUNKS_IN_TURN, len(chunks) // 2)
    is_first = [number // in_turn % 2 == 0 for number in range(len(chunks))]
    is_second = [not first for first in is_first]
    return list(compress(chunks, is_first)), list(compress(chunks, is_second))


def _sound_car(predictor: Predictor) -> SoundCar:
    """Return the sound car, and by how much its nodes follow its hubs."""
    n_states, n_draws = len(predictor.states), predictor.model.sample.n_draws
    hubs = hubs_of(predictor.networks[0].output, len(predictor.nodes))
    pairs = np.stack([hubs, np.zeros_like(hubs)], axis=1)
    response = predictor.solver().base_case.factored.response_volts(pairs)
    shares = hub_shares(response, hubs).astype(np.float32)
    shape = (n_states, n_draws, *shares.shape[1:])
    return SoundCar.of(predictor.predict([()]), hubs, shares.reshape(shape))


def _tell_nobody(share: float) -> None:
    del share
