"""Cars with something wrong that is no cause of the model.

A wire sits on a terminal that no fault mode puts it on, or two points that no part
connects touch. Drawn at random among the points of one place of the car, and kept only
if it brings a complaint and no single cause shows about the same. Leaves the playing to
`playing`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.circuit.values import Origin, Value, fixed
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.complaints import complaint_of
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars

# The least and the largest resistance where two points touch. [Ω] From memory: from
# bare strands pressed together to a damp, corroded bridge.
TOUCHING_OHMS = (0.02, 20.0)

# How many of the drawn cars have a wire on a wrong terminal; in the others two points
# touch. [1] Own choice: half.
MISPLACED_SHARE = 0.5

# From what share of the system voltage on volts differ. [1] Own choice: 1 V on a 12 V
# car, well beyond meter and tolerances.
UNLIKE_SHARE = 0.08

# At how many test points and states a car has to differ from every cause. [1] Own
# choice: what differs at fewer is told from the cause by hardly any diagnosis.
LEAST_UNLIKE = 3

# The least chance that the complaint is there, or is away, when it is tested. [1] Own
# choice: else a useless repair seems to help, and nothing is left to recognise.
PLAIN_CHANCE = 0.95

# Of how many draws one is compared. [1] Derived: the tolerances move volts by less than
# `UNLIKE_SHARE`.
COMPARED_EVERY = 8

# What keeps these random numbers apart from others of the same seed. [1] Own choice:
# any number.
OUTSIDE_STREAM = 17


def draw_outside_car(
    cars: HiddenCars, *, seed: int, errors: Errors
) -> tuple[HiddenCar, str]:
    """Return a car with a fault that is no cause of the model, and the complaint.

    Parameters
    ----------
    cars : HiddenCars
        Says how a car is drawn; the car itself is none of these.
    seed : int
        Seeds what is wrong, the tolerances and the errors.
    errors : Errors
        How the owner errs.
    """
    model, random = cars.model, np.random.default_rng((seed, OUTSIDE_STREAM))
    own_seed = cars.sound_seed(seed)
    while True:
        wired = drawn_wiring(model.car, random)
        if wired is None:
            continue
        car, outside = wired
        stock = cars.wired(car, seed=own_seed)
        if not stock.with_faults(()).prediction.is_settled.all():
            continue
        hidden = HiddenCar(stock, 0, (), errors=errors, seed=seed, outside=outside)
        complaint = complaint_of(hidden, model, lambda n: int(random.integers(n)))
        if not complaint or not _is_plain(hidden, complaint, model):
            continue
        if is_unlike_all(model, stock):
            return hidden, complaint


def _is_plain(car: HiddenCar, complaint: str, model: Model) -> bool:
    """Return whether the complaint is there whenever it is tested."""
    chance = car.symptom_chance(model.knowledge.complaints[complaint].retest)
    return max(chance, 1.0 - chance) >= PLAIN_CHANCE


def drawn_wiring(car: Car, random: np.random.Generator) -> tuple[Car, str] | None:
    """Return the car wired wrongly and what is wrong, or None if the draw is no use.

    Parameters
    ----------
    car : Car
        As it should be.
    random : np.random.Generator
        Draws what is wrong.
    """
    if random.random() < MISPLACED_SHARE:
        return _misplaced(car, random)
    return _touching(car, random)


def _misplaced(car: Car, random: np.random.Generator) -> tuple[Car, str] | None:
    """Put one end of a wire on another terminal at the same place of the car."""
    wires = [part for part in car.parts if part.kind == "wire"]
    wire = wires[int(random.integers(len(wires)))]
    end = "ab"[int(random.integers(2))]
    node = wire.terminals[end]
    used = Counter(n for part in car.parts for n in part.terminals.values())
    others = _neighbours(car, node, without=set(wire.terminals.values()))
    if used[node] < 2 or not others:
        return None
    wrong = others[int(random.integers(len(others)))]
    moved = replace(wire, terminals=_with_end(wire, end, wrong))
    parts = tuple(moved if part is wire else part for part in car.parts)
    return replace(car, parts=parts), f"{wire.name}: on {wrong} instead of {node}"


def _touching(car: Car, random: np.random.Generator) -> tuple[Car, str] | None:
    """Let two points touch that no part connects."""
    nodes = sorted(set(car.test_points) - {car.reference, car.body})
    node = nodes[int(random.integers(len(nodes)))]
    joined = {
        other
        for part in car.parts
        if node in part.terminals.values()
        for other in part.terminals.values()
    }
    others = _neighbours(car, node, without=joined)
    if not others:
        return None
    other = others[int(random.integers(len(others)))]
    ohms = float(np.exp(random.uniform(*np.log(TOUCHING_OHMS))))
    value = Value(distribution=fixed(ohms), origin=Origin.DEFAULT)
    bridge = Part(
        name="touching-points",
        assembly="touching-points",
        kind="resistor",
        terminals={"a": node, "b": other},
        values={"ohms": value},
        place=car.test_points[node],
    )
    says = f"{node} touches {other} through {ohms:.2g} ohm"
    return replace(car, parts=(*car.parts, bridge)), says


def _neighbours(car: Car, node: str, *, without: set[str]) -> list[str]:
    """Return the other test points at the place of one; ground is left out.

    A short to ground is a cause of the model.
    """
    place = car.test_points.get(node)
    kept = without | {node, car.reference, car.body}
    return sorted(n for n, p in car.test_points.items() if p == place and n not in kept)


def _with_end(wire: Part, end: str, node: str) -> Mapping[str, str]:
    return MappingProxyType({**wire.terminals, end: node})


def is_unlike_all(model: Model, stock: HiddenCars) -> bool:
    """Return whether no single cause shows about what the first car of a stock does.

    Parameters
    ----------
    model : Model
        The car as it should be, with what each cause shows.
    stock : HiddenCars
        Cars as they are really wired.

    Notes
    -----
    Compared are the volts at every test point in every state, against the nearest draw
    of each cause.
    """
    own, known = stock.compiled.predictor, model.compiled.predictor
    nodes = sorted(model.car.test_points)
    shown = stock.with_faults(()).whole().volts[:, 0, 0]
    shown = shown[:, [own.node_index[node] for node in nodes]]
    columns = [known.node_index[node] for node in nodes]
    limit = UNLIKE_SHARE * model.car.system_volts
    held, every = model.compiled.singles.prediction, slice(None)
    unlike = np.zeros(held.is_settled[0, :, ::COMPARED_EVERY].shape, dtype=np.int64)
    for state, of_state in enumerate(shown):
        for column, expected in zip(columns, of_state.tolist(), strict=True):
            volts = held.volts_at(state, column, every)[:, ::COMPARED_EVERY]
            unlike += np.abs(volts - np.float32(expected)) > limit
    return bool(unlike.min() >= LEAST_UNLIKE)
