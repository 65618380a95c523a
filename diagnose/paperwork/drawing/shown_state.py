"""What is written onto a diagram: volts and amps of a state, sound and with a fault.

Solved as a diagnosis does it, so that what held on stays on and what blows is blown.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.tolerance_draws import Middle
from diagnose.faults.causes import Cause
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from diagnose.paperwork.drawing.labels import Overlay, Readings


def shown_state(
    car: Car,
    state: OperatingState | None,
    *,
    cause: Cause | None = None,
    leads: tuple[str, str] = ("", ""),
) -> Overlay:
    """Return what is written onto the diagram of a car.

    Parameters
    ----------
    car : Car
        The car, with the middle of every value.
    state : OperatingState or None
        Which volts and amps; None for none.
    cause : Cause or None
        A fault whose volts and amps stand beside those of the sound car.
    leads : tuple[str, str]
        Nodes of the red and the black probe, or empty.

    Raises
    ------
    UnsolvableCircuitError
        If the sound car has no steady operating point in some state.
    """
    if state is None:
        return Overlay(red=leads[0], black=leads[1])
    model = CarModel(car, Middle(n_draws=1))
    network = model.network(state)
    measured = [part.name for part in car.parts if part.name in network.branches]
    probes = [
        Probe(branch=name, state=state.name, is_current=True) for name in measured
    ]
    causes = [] if cause is None else [cause]
    predictor = Predictor(model, causes, probes)
    sets: list[tuple[int, ...]] = [()] if cause is None else [(), (0,)]
    found = predictor.predict(sets)
    number = predictor.state_index[state.name]
    readings = [
        Readings(
            volts={
                node: float(found.volts[number, k, 0, place])
                for node, place in predictor.node_index.items()
            },
            amps={
                name: abs(float(found.probes[k, 0, place]))
                for place, name in enumerate(measured)
            },
        )
        for k in range(len(sets))
    ]
    return Overlay(
        state=state.label,
        sound=readings[0],
        faulty=readings[1] if cause is not None else None,
        fault="" if cause is None else cause.name,
        fault_part="" if cause is None else cause.part.name,
        red=leads[0],
        black=leads[1],
    )
