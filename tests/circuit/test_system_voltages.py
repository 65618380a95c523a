"""6 V, 12 V and 24 V cars, and the positive-ground car as mirror of the other one.

One invented tourer, sound and with its faults. Each figure names its source and
its basis: read (in the document), copy, memory, rule (of the trade) or derived.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray, StoredArray
from diagnose.circuit.car import (
    Car,
)
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import Cause, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predicted import Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.car.car_file import load_car
from diagnose.files.car.checks.doubts import car_warnings
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.prior.priors import rates_alone
from diagnose.session.ready_car import all_probes

ROOT = Path(__file__).resolve().parents[2]
N_DRAWS = 2

Volts = Mapping[str, Mapping[str, FloatArray]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """One car, sound and with many single faults, worked out."""

    car: Car
    causes: tuple[Cause, ...]
    nodes: tuple[str, ...]
    prediction: Prediction
    symptoms: StoredArray


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge(ROOT / "knowledge")


@pytest.fixture(scope="module")
def tourer(
    tmp_path_factory: pytest.TempPathFactory, knowledge: Knowledge
) -> Callable[..., Car]:
    text = (ROOT / "tests" / "cars" / "tourer.yaml").read_text(encoding="utf-8")

    @functools.cache
    def load(system: str, *, is_positive_ground: bool = False) -> Car:
        path = tmp_path_factory.mktemp("tourer") / "tourer.yaml"
        path.write_text(
            _mirrored(text.replace("system: 12 V", f"system: {system}"))
            if is_positive_ground
            else text.replace("system: 12 V", f"system: {system}"),
            encoding="utf-8",
        )
        return load_car(path, knowledge)

    return load


def _mirrored(text: str) -> str:
    """Return the same car with its battery the other way round."""
    return swapped(text).replace("grounded: minus", "grounded: plus")


def swapped(text: str) -> str:
    """Return text with the names of plus and minus terminals exchanged."""
    text = text.replace(".plus", ".other").replace(".minus", ".plus")
    return text.replace(".other", ".minus")


@pytest.fixture(scope="module")
def sound_volts(tourer: Callable[..., Car]) -> Callable[..., Volts]:
    """Return state to node to volts of a sound tourer, shape (n_draws,)."""

    @functools.cache
    def solve(system: str, *, is_positive_ground: bool = False) -> Volts:
        car = tourer(system, is_positive_ground=is_positive_ground)
        model = CarModel(car, Sample(n_draws=16))
        result = {}
        for name in ("key-off", "cranking", "idle", "idle-loaded"):
            network = model.network(car.state(name))
            point = solve_operating_point(network)
            assert point.is_settled.all()
            result[name] = dict(zip(network.nodes, point.volts.T, strict=True))
        return result

    return solve


def predicted(car: Car, knowledge: Knowledge) -> Predicted:
    """Return what the car shows sound and with each of its faults."""
    causes = catalogue(car, knowledge.modes)
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    predictor = Predictor(model, causes, all_probes(car, knowledge))
    healthy = Hypotheses(
        sets=((),),
        prediction=predictor.predict([()]),
        symptoms=np.zeros((1, N_DRAWS, 0), dtype=np.float32),
    )
    compiled = Compiled(
        predictor, knowledge, rates_alone(causes), bank=Bank.holding(healthy)
    )
    # every third is quicker, and leaves out no kind of part
    sets = [(), *((index,) for index in range(0, len(causes), 3))]
    hypotheses = compiled.hypotheses(sets)
    return Predicted(
        car=car,
        causes=causes,
        nodes=predictor.nodes,
        prediction=hypotheses.whole(),
        symptoms=hypotheses.symptoms,
    )


@pytest.fixture(scope="module")
def pair(
    tourer: Callable[..., Car], knowledge: Knowledge
) -> tuple[Predicted, Predicted]:
    """Return the negative-ground car and the positive-ground one."""
    cars = tourer("12 V"), tourer("12 V", is_positive_ground=True)
    return predicted(cars[0], knowledge), predicted(cars[1], knowledge)


def test_a_positive_ground_car_has_the_same_causes(
    pair: tuple[Predicted, Predicted],
) -> None:
    negative, positive = pair

    assert [c.name for c in positive.causes] == [c.name for c in negative.causes]


# Derived: nothing in the circuit but the battery, the alternator and the electronics
# knows a direction, and those are built for the polarity of the car.
def test_a_positive_ground_car_reads_the_negative_of_the_other_under_faults(
    pair: tuple[Predicted, Predicted],
) -> None:
    negative, positive = pair
    order = [positive.nodes.index(swapped(node)) for node in negative.nodes]
    mirror = -positive.prediction.volts[..., order]

    # single precision of 17 V is a microvolt
    np.testing.assert_allclose(mirror, negative.prediction.volts, atol=2e-5)


def test_a_positive_ground_car_shows_the_same_symptoms_under_faults(
    pair: tuple[Predicted, Predicted],
) -> None:
    negative, positive = pair

    np.testing.assert_allclose(positive.symptoms, negative.symptoms, atol=1e-4)


def test_every_state_of_both_cars_settles_alike(
    pair: tuple[Predicted, Predicted],
) -> None:
    negative, positive = pair

    np.testing.assert_array_equal(
        positive.prediction.is_settled, negative.prediction.is_settled
    )


# What a meter shows with its black lead on the grounded post (US Army TM 5-3805-262-20
# p. 5-142, read: 12.2 to 12.6 V from half to full, so 12.28 V at the six tenths that a
# sound battery has at least; full charge is spread by 0.03 V either way).
def test_a_positive_ground_battery_reads_below_zero(
    sound_volts: Callable[..., Volts],
) -> None:
    volts = sound_volts("12 V", is_positive_ground=True)["key-off"]["battery.minus"]

    assert float(volts.min()) >= -12.7
    assert float(volts.max()) <= -12.25


# At rest 2.047 to 2.1 V a cell from six tenths to full, on the line between 12.2, 12.4
# and 12.6 V of six cells at 50, 75 and 100 % (US Army TM 5-3805-262-20 p. 5-142, read);
# 0.005 V a cell either way for the spread of full charge; three cells or twelve.
# Charging 2.3 to 2.42 V a cell: 6.9 to 7.25, 13.8 to 14.5, 27.6 to 29.0 V (rule).
# Cranking at least 1.6 V a cell, as the load test's 9.6 V (service manuals, read); half
# the cars may lie below the middle, so the median is what is held; the cables of a 6 V
# car take their share, so it is held to the 4.5 V of the trade (memory).
@pytest.mark.parametrize(
    ("system", "rest", "charging", "least_cranking"),
    [
        ("6 V", (6.125, 6.35), (6.9, 7.25), 4.5),
        ("12 V", (12.25, 12.7), (13.8, 14.5), 9.6),
        ("24 V", (24.5, 25.4), (27.6, 29.0), 19.2),
    ],
)
def test_the_battery_of_each_system_reads_what_the_trade_expects(
    system: str,
    rest: tuple[float, float],
    charging: tuple[float, float],
    least_cranking: float,
    sound_volts: Callable[..., Volts],
) -> None:
    volts = sound_volts(system)
    key_off, idle, cranking = (
        volts[state]["battery.plus"] for state in ("key-off", "idle", "cranking")
    )

    assert rest[0] <= float(key_off.min()) <= float(key_off.max()) <= rest[1]
    assert charging[0] <= float(np.median(idle)) <= charging[1]
    assert float(np.median(cranking)) >= least_cranking


# Rule: lamps, pump and controller of a sound car get all but a twentieth of the
# system's volts at idle; with joints as people make them, a few 6 V cars lose a tenth.
@pytest.mark.parametrize("system", ["6 V", "12 V", "24 V"])
def test_the_loads_of_each_system_get_nearly_all_of_its_volts(
    system: str, sound_volts: Callable[..., Volts]
) -> None:
    volts = sound_volts(system)["idle-loaded"]
    battery = volts["battery.plus"]

    for load in ("headlamps", "fuel-pump", "fan"):
        across = volts[f"{load}.plus"] - volts[f"{load}.minus"]
        assert float(np.median(across / battery)) > 0.92
        assert float((across / battery).min()) > 0.86


# Derived: the same relative events at half and at twice the volts, so the controller
# lives in the same states and the charge lamp goes out.
@pytest.mark.parametrize("system", ["6 V", "24 V"])
def test_another_system_shows_the_symptoms_of_a_12_v_car(
    system: str, tourer: Callable[..., Car], knowledge: Knowledge
) -> None:
    usual = _sound_symptoms(tourer("12 V"), knowledge)
    other = _sound_symptoms(tourer(system), knowledge)
    # some of the 6 V cars crank slowly
    turned = [name for name in usual if abs(usual[name] - other[name]) > 0.6]

    assert turned == []


# A battery on charge has 2.2 V a cell or more, whatever it has of them.
@pytest.mark.parametrize(
    ("system", "asked"), [("6 V", "6.6 V"), ("12 V", "13.2 V"), ("24 V", "26.4 V")]
)
def test_what_is_asked_is_asked_in_the_volts_of_the_car(
    system: str, asked: str, tourer: Callable[..., Car], knowledge: Knowledge
) -> None:
    known = knowledge.for_car(tourer(system))

    for name in ("charges-at-idle", "charges-when-revved"):
        assert f"({asked} or more across" in known.symptoms[name].question


def _sound_symptoms(car: Car, knowledge: Knowledge) -> Mapping[str, float]:
    """Return how probable each symptom is on the sound car."""
    model = CarModel(car, Sample(n_draws=4))
    causes = catalogue(car, knowledge.modes)
    predictor = Predictor(model, causes, all_probes(car, knowledge))
    healthy = Hypotheses(
        sets=((),),
        prediction=predictor.predict([()]),
        symptoms=np.zeros((1, 4, 0), dtype=np.float32),
    )
    compiled = Compiled(
        predictor, knowledge, rates_alone(causes), bank=Bank.holding(healthy)
    )
    chances = compiled.hypotheses([()]).symptoms[0].mean(axis=0)
    return dict(zip(compiled.symptom_names, chances.tolist(), strict=True))


# A fault that sets volts does so per system: a relay that pulls in at 10 to 13 V of 12
# does so at 5 to 6.5 V of 6. A lost cell is 2 V of any battery.
@pytest.mark.parametrize(
    ("cause", "parameter", "low", "high"),
    [
        ("fuel-pump-relay.coil:pull_in_high", "pull_in_volts", 5.0, 6.5),
        ("battery:shorted_cell", "full_volts", 4.0, 4.5),
        ("alternator:set_point_high", "sense_error_volts", 0.4, 1.5),
    ],
)
def test_a_fault_of_a_6_v_car_has_its_size(
    cause: str,
    parameter: str,
    low: float,
    high: float,
    tourer: Callable[..., Car],
    knowledge: Knowledge,
) -> None:
    car = tourer("6 V")
    model = CarModel(car, Sample(n_draws=16))
    found = next(c for c in catalogue(car, knowledge.modes) if c.name == cause)
    values = changed_values(model, [found])[found.part.name][parameter]

    assert low <= float(values.min()) <= float(values.max()) <= high


@pytest.mark.parametrize("system", ["6 V", "12 V", "24 V"])
def test_nothing_is_doubtful_about_the_charging_of_the_tourer(
    system: str, tourer: Callable[..., Car]
) -> None:
    told = [w.message for w in car_warnings(tourer(system, is_positive_ground=True))]

    assert not [message for message in told if "alternator" in message]
