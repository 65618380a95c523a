"""Work on a Dask cluster: in order, a little at a time, and mistakes told plainly."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType

import pytest

from diagnose.errors import ReadingError
from diagnose.trial.cluster import WAITING_PER_THREAD, ClusterError, connected


def doubled(number: int) -> int:
    return 2 * number


def refused(number: int) -> int:
    raise ReadingError(f"piece {number} makes no sense")


def counted(mapping: MappingProxyType[str, int]) -> int:
    return sum(mapping.values())


def test_results_come_in_the_order_of_the_pieces(cluster_address: str) -> None:
    with connected(cluster_address) as cluster:
        found = list(cluster.map(doubled, range(40)))

    assert found == [2 * number for number in range(40)]


def test_pieces_are_taken_a_few_at_a_time(cluster_address: str) -> None:
    taken = 0

    def pieces() -> Iterator[int]:
        nonlocal taken
        for number in range(100):
            taken += 1
            yield number

    with connected(cluster_address) as cluster:
        next(iter(cluster.map(doubled, pieces())))

    assert taken == WAITING_PER_THREAD * 2


def test_read_only_mappings_can_be_sent(cluster_address: str) -> None:
    # What knowledge records are made of; the standard library can't send them.
    with connected(cluster_address) as cluster:
        found = list(cluster.map(counted, [MappingProxyType({"a": 1, "b": 2})]))

    assert found == [3]


def test_mistake_on_a_worker_is_told_here(cluster_address: str) -> None:
    with (
        connected(cluster_address) as cluster,
        pytest.raises(ReadingError, match="piece 7"),
    ):
        list(cluster.map(refused, [7]))


@pytest.mark.parametrize("wrong", ["rubbish", "host:8786", "tcp://host", ""])
def test_what_is_no_address_is_refused_at_once(wrong: str) -> None:
    with (
        pytest.raises(ClusterError, match="no address of a Dask scheduler"),
        connected(wrong),
    ):
        pass
