"""A car is told to be too large before it is worked out."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.car_size import LEAST_BYTES, needed_bytes, size_warning
from diagnose.terminal.reports import machine
from tests.growing_car import SHIPPED, grown_car


@pytest.fixture(scope="module")
def published() -> Knowledge:
    return load_knowledge(knowledge_folder())


@pytest.fixture(scope="module")
def sedan(published: Knowledge) -> Car:
    return load_car(SHIPPED, published)


def test_twice_the_wires_need_more_than_twice_the_room(
    sedan: Car, published: Knowledge, tmp_path: Path
) -> None:
    small = needed_bytes(sedan, published)
    large = needed_bytes(grown_car(300, tmp_path, published), published)

    # the shipped car: 0.75 GB measured, of two processes together
    assert 6.5e8 < small < 8.5e8
    assert large > 2.0 * 300 / 70 * (small - LEAST_BYTES)


def test_only_a_car_too_large_for_the_machine_is_told(
    sedan: Car, published: Knowledge, tmp_path: Path
) -> None:
    assert size_warning(sedan, published, 4_000_000_000) == ""
    assert size_warning(sedan, published, None) == ""
    car = grown_car(300, tmp_path, published)
    found = size_warning(car, published, 1_000_000_000)
    wires = sum(part.kind == "wire" for part in car.parts)
    assert f"a car of {wires} wires takes about" in found
    assert "this machine has 1.0 GB" in found


@pytest.mark.parametrize(("told", "expected"), [("max", 8e9), ("2000000000", 2e9)])
def test_a_containers_limit_counts(
    told: str, expected: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limit = tmp_path / "memory.max"
    limit.write_text(told + "\n", encoding="ascii")
    monkeypatch.setattr(machine, "CONTAINER_LIMIT", limit)
    sizes = {"SC_PHYS_PAGES": 2_000_000, "SC_PAGE_SIZE": 4000}
    monkeypatch.setattr("os.sysconf", sizes.__getitem__)

    assert machine.machine_bytes() == expected


def test_a_system_that_does_not_say_has_no_limit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused(_name: str) -> int:
        raise ValueError("unrecognized configuration name")

    monkeypatch.setattr("os.sysconf", refused)

    assert machine.machine_bytes() is None
