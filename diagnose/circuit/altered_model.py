"""A car with its circuit changed for a test: a lead added, a part taken off its wires.

The changed car is a model like any other, with some of the draws and states of the one
it comes from, and is solved by the same solver: its sound form once, every fault as a
small change of that. Leaves which changes are made to `measurement.substitutions`.

Decision that binds it: whoever turns the starter by a lead on its solenoid has the key
in run, so the engine then cranks with the switches as they are while it runs. A coil
that gets nothing while the key is at start is fed so, and the engine starts.
"""

from __future__ import annotations

from collections.abc import Mapping, Set
from copy import copy
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.circuit.model import BOLTED_RELAY, CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.tolerance_draws import Draws
from diagnose.circuit.values import Distribution, Origin, Shape, Value

# Name of the lead among the parts of the changed car. Own choice: no name of a car file
# has a colon.
LEAD = "test:lead"

# What a fused lead with its clips has, a spread of a third. [Ω] Derived: 2 m of 2.5 mm²
# there (13.8 mohm), two clips and a blade fuse of some 5 mohm each (from memory).
FUSED_LEAD_OHMS, FUSED_LEAD_SPREAD = 0.03, 0.3

# The same of a jump lead. [Ω] Derived: 3 m of 25 mm² (2.1 mohm), two clamps of 1 mohm
# each (from memory).
BATTERY_CABLE_OHMS, BATTERY_CABLE_SPREAD = 0.004, 0.4


@dataclass(frozen=True, slots=True)
class EveryNth:
    """Every so many-th draw of others.

    Parameters
    ----------
    whole : Draws
        The draws it takes some of.
    every : int
        Of so many the first. [1]
    """

    whole: Draws
    every: int

    @property
    def n_draws(self) -> int:
        """Number of draws. [1]."""
        return -(-self.whole.n_draws // self.every)

    def probabilities(self, key: str) -> FloatArray:
        """Return which quantile of one quantity each draw takes.

        Parameters
        ----------
        key : str
            Name of the quantity.

        Returns
        -------
        FloatArray
            Shape (n_draws,). [1]
        """
        return self.whole.probabilities(key)[:: self.every]


def lead_part(first: str, second: str, *, is_cable: bool) -> Part:
    """Return a lead between two nodes.

    Parameters
    ----------
    first, second : str
        The nodes.
    is_cable : bool
        A jump lead; else a fused lead.

    Returns
    -------
    Part
        A resistor that nothing fails of.
    """
    ohms, spread = (
        (BATTERY_CABLE_OHMS, BATTERY_CABLE_SPREAD)
        if is_cable
        else (FUSED_LEAD_OHMS, FUSED_LEAD_SPREAD)
    )
    lognormal = Distribution(shape=Shape.LOGNORMAL, first=ohms, second=spread)
    return Part(
        name=LEAD,
        assembly=LEAD,
        kind="resistor",
        terminals=MappingProxyType({"a": first, "b": second}),
        values=MappingProxyType(
            {"ohms": Value(distribution=lognormal, origin=Origin.DEFAULT)}
        ),
    )


def turns_starter(lead: Part, car: Car) -> bool:
    """Return whether a lead feeds the coil that engages the starter.

    Parameters
    ----------
    lead : Part
        From `lead_part`.
    car : Car

    Returns
    -------
    bool
        True from anywhere but ground: whoever starts an engine so has the key in run.
    """
    ends = set(lead.terminals.values())
    assemblies = {part.assembly for part in car.parts if part.role == BOLTED_RELAY}
    grounded = {
        node
        for part in car.parts
        if part.kind == "starter"
        for node in part.terminals.values()
    }
    fed = {
        node
        for part in car.parts
        if part.kind == "coil" and part.assembly in assemblies
        for node in part.terminals.values()
    }
    return bool(ends & (fed - grounded)) and car.reference not in ends


def _with_key_in_run(state: OperatingState, car: Car) -> OperatingState:
    """Return a state of cranking with the switches as while the engine runs."""
    running = next((one for one in car.states if one.is_engine_running), None)
    if not state.is_cranking or running is None:
        return state
    return replace(state, switch_positions=running.switch_positions)


def altered_model(
    model: CarModel,
    *,
    states: Set[str],
    every: int = 1,
    lead: Part | None = None,
    unplugged: str = "",
) -> CarModel:
    """Return a car with a lead added or a part taken off its wires.

    Parameters
    ----------
    model : CarModel
        The car as it stands.
    states : Set[str]
        The operating states that are wanted.
    every : int
        Every so many-th draw is kept. [1]
    lead : Part or None
        From `lead_part`.
    unplugged : str
        What is taken off as a whole (`Part.assembly`); empty where nothing is.

    Returns
    -------
    CarModel
        With the laws and the branches of the car in their order, that of the lead
        behind them, and the key in run where that turns the starter. A kind of model
        with draws of its own bears `every` of 1 only.
    """
    car, sample = model.car, EveryNth(model.sample, every)
    values: dict[str, Values] = {
        part: {name: drawn[::every] for name, drawn in of_part.items()}
        for part, of_part in model.values.items()
    }
    parts = car.parts
    if lead is not None:
        parts = (*parts, lead)
        values[lead.name] = _drawn(lead, sample)
    kept = [state for state in car.states if state.name in states]
    if lead is not None and turns_starter(lead, car):
        kept = [_with_key_in_run(state, car) for state in kept]
    changed = replace(car, parts=parts, states=tuple(kept))
    # its own kind of model: hidden cars have laws that the file does not say
    altered = copy(model)
    CarModel.__init__(
        altered, changed, sample, values, unplugged=frozenset({unplugged} - {""})
    )
    return altered


def _drawn(part: Part, sample: Draws) -> Mapping[str, FloatArray]:
    """Return the drawn values of one part, shape (n_draws,) each."""
    return {
        name: np.asarray(
            value.distribution.quantile(sample.probabilities(f"{part.name}/{name}"))
        )
        for name, value in part.values.items()
    }
