"""What overloads open: which part first, for how long, and what goes on and off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import OPENING_PARAMETERS
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import fixed
from diagnose.faults.causes import catalogue
from diagnose.faults.modes import FaultMode, Operation
from diagnose.faults.predictions.changed_branches import scenarios_of
from diagnose.faults.predictions.overloads import OPEN_SHARE, ProtectiveParts
from diagnose.faults.predictions.predicted import Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    GROUND,
    make_car,
    make_fuse,
    make_part,
    make_resistor,
    make_source,
)
from tests.lamp_car import make_mode

N_DRAWS = 2
WEAK = make_mode("fuse", "weak", 0.01, {"blow_factor": (Operation.TIMES, fixed(0.5))})
SHORTED = make_mode("resistor", "shorted", 0.01, {"ohms": (Operation.SET, fixed(0.05))})
REST = OperatingState(name="rest", label="lamp off", switch_positions={})
LIT = OperatingState(name="lit", label="lamp on", switch_positions={"key": "run"})
BRIEF = OperatingState(
    name="brief",
    label="lamp on for a second",
    switch_positions={"key": "run"},
    lasts_seconds=1.0,
)


def switched_load(*protection: Part, load_ohms: float = 1.0) -> list[Part]:
    """Return 12 V, the given protection from a to b, a switch and a load."""
    contact = make_part(
        "switch-contact",
        "key-contact",
        "b",
        "c",
        assembly="key",
        closed_in=frozenset({"run"}),
        contact_ohms=0.01,
        is_stuck_closed=0.0,
        is_stuck_open=0.0,
        fails_in_crank=0.0,
        fails_in_run=0.0,
    )
    load = make_resistor("c", GROUND, load_ohms, name="load")
    return [make_source("a", 12.0, ohms=0.01), *protection, contact, load]


def predicted(
    parts: Sequence[Part], *states: OperatingState, mode: FaultMode | None = None
) -> tuple[Prediction, Predictor]:
    """Return what the first fault of that mode shows; the sound circuit when none."""
    car = make_car(parts, *states)
    causes = catalogue(car, [] if mode is None else [mode])
    probes = [
        Probe(branch=part.name, state=state.name, is_current=False)
        for part in parts
        for state in states
        if part.kind == "fuse"
    ]
    predictor = Predictor(CarModel(car, Sample(n_draws=N_DRAWS)), causes, probes)
    return predictor.predict([(0,) if causes else ()]), predictor


def conducts(
    found: tuple[Prediction, Predictor], fuse: str, state: OperatingState
) -> float:
    prediction, predictor = found
    probe = Probe(branch=fuse, state=state.name, is_current=False)
    return float(prediction.probes[0, 0, predictor.probes.index(probe)])


# By hand: 11.7 A; a 15 A fuse that behaves as 7.5 A opens at 1.56 times its rating.
def test_weak_fuse_opens_below_its_rating() -> None:
    parts = switched_load(make_fuse("f", "a", "b", rating_amps=15.0))

    assert conducts(predicted(parts, LIT), "f", LIT) == 1.0
    assert conducts(predicted(parts, LIT, mode=WEAK), "f", LIT) == 0.0


# By hand: 11.7 A through 7.5 A is 156 %: it opens in ten minutes (126 %) and not in a
# second (194 %).
@pytest.mark.parametrize(("state", "is_whole"), [(LIT, 0.0), (BRIEF, 1.0)])
def test_overload_opens_a_fuse_only_if_it_lasts(
    state: OperatingState, is_whole: float
) -> None:
    parts = switched_load(make_fuse("f", "a", "b", rating_amps=7.5))

    assert conducts(predicted(parts, state), "f", state) == is_whole


def test_fuse_stays_open_when_the_overload_is_gone() -> None:
    parts = switched_load(make_fuse("f", "a", "b", rating_amps=5.0))

    assert conducts(predicted(parts, REST, LIT), "f", REST) == 0.0


def test_self_resetting_breaker_is_closed_when_the_overload_is_gone() -> None:
    breaker = make_fuse("f", "a", "b", rating_amps=5.0, is_self_resetting=1.0)

    assert conducts(predicted(switched_load(breaker), REST, LIT), "f", REST) == 1.0


def test_self_resetting_breaker_goes_on_and_off_under_overload() -> None:
    breaker = make_fuse("f", "a", "b", rating_amps=5.0, is_self_resetting=1.0)
    found = predicted(switched_load(breaker), REST, LIT)

    assert conducts(found, "f", LIT) == 0.5
    assert found[0].is_settled[:, 0, 0].tolist() == pytest.approx([1.0, OPEN_SHARE])


def slower(fuse: Part) -> Part:
    """Return a fuse that takes a hundred times as long."""
    values = {
        name: replace(value, distribution=fixed(100.0 * value.distribution.first))
        if name in OPENING_PARAMETERS
        else value
        for name, value in fuse.values.items()
    }
    return replace(fuse, values=values)


# By hand: the heat that opens it is volts times amps, and both are doubled.
def test_twice_the_overload_opens_a_fuse_in_a_quarter_of_the_time() -> None:
    parts = switched_load(make_fuse("f", "a", "b", rating_amps=15.0))
    _, predictor = predicted(parts, LIT)
    draw, slots = predictor.points(scenarios_of([()], None), np.arange(N_DRAWS))
    protective = ProtectiveParts(predictor.networks)

    once, twice = (
        protective.opening_seconds(draw, slots, np.full((len(draw), 1), amps))
        for amps in (60.0, 120.0)
    )

    assert np.isfinite(once).all()
    assert once == pytest.approx(4.0 * twice)


# By hand: 170 A through two fuses of 15 A.
@pytest.mark.parametrize("order", [("quick", "slow"), ("slow", "quick")])
def test_quicker_fuse_opens_under_a_short_behind_both(order: tuple[str, str]) -> None:
    ends = {order[0]: ("a", "m"), order[1]: ("m", "b")}
    quick = make_fuse("quick", *ends["quick"], rating_amps=15.0)
    slow = slower(make_fuse("slow", *ends["slow"], rating_amps=15.0))
    found = predicted(switched_load(quick, slow), LIT, mode=SHORTED)

    assert [conducts(found, name, LIT) for name in ("quick", "slow")] == [0.0, 1.0]
