"""How much memory a car needs, told before it is worked out.

Leaves asking the machine to a face.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.session.ready_car import N_DRAWS

# What the program and the solved sound car take, whatever the car, in the two processes
# of a first start together. [byte] Measured: the shipped car takes 0.75 GB in all.
LEAST_BYTES = 550e6

# What is there for each fault, state, draw and node while faults are worked out, most
# of which is not kept. [byte] Measured: some 1.9 GB in all on an invented car of 200
# wires.
BYTES_FOR_EACH = 2.9

# Share of a machine's memory that a car may take before it is called too large. [1] Own
# choice: other programs need the rest.
MOST_SHARE = 0.7


def needed_bytes(car: Car, knowledge: Knowledge) -> float:
    """Return about how much memory the first start of a car takes. [byte].

    Parameters
    ----------
    car : Car
    knowledge : Knowledge
        With the faults that its parts may have.
    """
    n_causes = sum(cause.mode.lasts for cause in catalogue(car, knowledge.modes))
    each = float(n_causes * len(car.states) * N_DRAWS * len(car.nodes))
    return LEAST_BYTES + BYTES_FOR_EACH * each


def size_warning(car: Car, knowledge: Knowledge, machine_bytes: int | None) -> str:
    """Return that a car is too large for the machine; empty where it is not.

    Parameters
    ----------
    car : Car
    knowledge : Knowledge
    machine_bytes : int or None
        How much memory the machine has, None where that is not known. [byte]

    Returns
    -------
    str
    """
    needed = needed_bytes(car, knowledge)
    if machine_bytes is None or needed <= MOST_SHARE * machine_bytes:
        return ""
    n_wires = sum(part.kind == "wire" for part in car.parts)
    return (
        f"a car of {n_wires} wires takes about {needed / 1e9:.1f} GB of memory to work "
        f"out, and this machine has {machine_bytes / 1e9:.1f} GB; leave out circuits "
        "that have nothing to do with the trouble"
    )
