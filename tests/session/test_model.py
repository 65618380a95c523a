"""What of a compiled car is kept, and when it is worked out anew."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy.typing as npt
import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.session.ready_car import Model, open_model
from tests.lamp_car import CAR, make_knowledge

Arrays = Mapping[str, npt.NDArray[Any]]
ROOT = Path(__file__).resolve().parents[2]
FORKED_WRITER = """
import os, tempfile
from pathlib import Path
from diagnose.session.ready_car import open_model
from diagnose.store.model_cache import ModelCache
from tests.lamp_car import CAR, make_knowledge

with tempfile.TemporaryDirectory() as folder:
    for cache in (None, ModelCache(Path(folder))):
        model = open_model(CAR, make_knowledge(), cache=cache, n_draws=4)
        volts = model.compiled.bank.all.prediction.nodes.volts.blocks.values
        before = volts.copy()
        child = os.fork()
        if not child:
            volts += 1.0
            os._exit(0)
        os.waitpid(child, 0)
        print((volts == before).all())
"""
"""What a forked process writes over its readings must not reach the other."""


class Shelf:
    """Arrays in memory, and what was asked of them."""

    def __init__(self) -> None:
        self.kept: dict[str, Arrays] = {}

    def get(self, key: str) -> Arrays | None:
        return self.kept.get(key)

    def put(self, key: str, arrays: Arrays) -> bool:
        assert key not in self.kept
        self.kept[key] = arrays
        return True


def opened(knowledge: Knowledge, shelf: Shelf) -> tuple[Model, list[str]]:
    told: list[str] = []
    model = open_model(
        CAR,
        knowledge,
        cache=shelf,
        progress=lambda _share, words: told.append(words),
        n_draws=4,
    )
    return model, told


def chance_of(name: str, model: Model) -> float:
    index = next(i for i, c in enumerate(model.compiled.causes) if c.name == name)
    return float(cause_probabilities(model.compiled.priors, {})[index])


@pytest.fixture(scope="module")
def moved() -> Knowledge:
    """Return the lamp car's knowledge with twice the rate of a burnt-out lamp."""
    published = make_knowledge()
    modes = tuple(
        replace(mode, rate=2 * mode.rate) if mode.name == "burnt_out" else mode
        for mode in published.modes
    )
    return replace(published, modes=modes, learned_digest="twice")


def test_second_start_works_nothing_out() -> None:
    shelf = Shelf()
    opened(make_knowledge(), shelf)

    _, told = opened(make_knowledge(), shelf)

    assert told == ["ready"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system can't fork")
def test_readings_are_the_process_s_own_from_the_first_start() -> None:
    shown = subprocess.run(
        [sys.executable, "-c", FORKED_WRITER],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stdout.split() == ["True", "True"]


def test_learning_weighs_the_causes_anew_and_solves_nothing(moved: Knowledge) -> None:
    shelf = Shelf()
    opened(make_knowledge(), shelf)

    _, told = opened(moved, shelf)

    assert told == ["weighing the causes", "ready"]


def test_learned_rates_reach_the_priors(moved: Knowledge) -> None:
    # .03 from the lamp car's knowledge, twice; a lamp has no other mode.
    shelf = Shelf()
    published, _ = opened(make_knowledge(), shelf)
    learned, _ = opened(moved, shelf)

    assert chance_of("lamp:burnt_out", published) == pytest.approx(0.03, abs=1e-12)
    assert chance_of("lamp:burnt_out", learned) == pytest.approx(0.06, abs=1e-12)


def test_undone_learning_finds_the_published_priors_again(moved: Knowledge) -> None:
    shelf = Shelf()
    opened(make_knowledge(), shelf)
    opened(moved, shelf)

    model, told = opened(make_knowledge(), shelf)

    assert told == ["ready"]
    assert chance_of("lamp:burnt_out", model) == pytest.approx(0.03, abs=1e-12)


def test_causes_that_one_repair_mends_are_one_line(sedan_model: Model) -> None:
    causes = sedan_model.compiled.causes
    lines = [{causes[one].name for one in line} for line in sedan_model.lines]

    def line_of(name: str) -> set[str]:
        return next(line for line in lines if name in line)

    relay = line_of("fan-relay.coil:open_circuit")
    assert "fan-relay.contacts:does_not_close" in relay
    assert {name.split(".")[0] for name in relay} == {"fan-relay"}
    # The load's wire on 87a is mended by moving the wire, not by a new relay.
    assert "fan-relay.contacts:load_on_87a" not in relay
    # One output is moved to a spare one, and the other stays as it is.
    output = line_of("engine-controller.fan-output:weak")
    assert "engine-controller.fan-output:failed_open" in output
    assert "engine-controller.pump-output:weak" not in output
    # Both ends of one wire act alike, although each has its own repair.
    assert line_of("fan-wire:high_resistance_a") == {
        "fan-wire:high_resistance_a",
        "fan-wire:high_resistance_b",
    }
