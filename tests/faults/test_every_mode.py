"""Every fault mode is on a shipped car, shows there by something, and is mended safely.

What moves no reading is asked after: a belt that is off, a button that is up. What
comes and goes shows as the lasting mode that it acts as.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import Cause, catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.resources import shipped_cars
from diagnose.measurement.symptoms import Claim, Group, Quantity
from diagnose.session.ready_car import all_probes
from diagnose.terminal.preparation.car_files import open_car

# Volts by which some point must move in some draw. [V] Above what a meter is off by.
SHOWN_VOLTS = 0.15

# Share by which a current must. [1] Above what is drawn of loads and a clamp.
SHOWN_SHARE = 0.2

# Kinds that are mended with the key off, at low amps: no caution stands before them.
HARMLESS = frozenset({"coil", "contacts", "electronics", "lamp", "led-lamp", "diode"})

# Modes of other kinds without a caution, and why.
NEEDS_NONE = {
    "wire.feeds_unlisted_load": "fuses are pulled and loads switched off, no more",
}
"""The repair's own caution; what the place and the role need comes on top."""


# Modes of what no shipped car has, and where they are shown.
SHOWN_ELSEWHERE = {
    "contacts.feed_and_load_swapped": "tests/circuit/test_relays.py: 87a is in no use",
}


@pytest.fixture(scope="module")
def modes(knowledge: Knowledge) -> dict[str, FaultMode]:
    return {f"{mode.kind}.{mode.name}": mode for mode in knowledge.modes}


def claimed_conditions(group: Group) -> Iterator[str]:
    for member in group.members:
        if isinstance(member, Group):
            yield from claimed_conditions(member)
        elif isinstance(member, Claim) and member.quantity is Quantity.MECHANICAL:
            yield member.role


def moves_something(car: Car, causes: list[Cause], knowledge: Knowledge) -> set[str]:
    """Return the modes of which a cause moves a reading on a car."""
    predictor = Predictor(
        CarModel(car, Sample(n_draws=4)), causes, all_probes(car, knowledge)
    )
    found = predictor.predict([(), *((number,) for number in range(len(causes)))])
    shown = set()
    for number, cause in enumerate(causes, start=1):
        volts = np.abs(found.volts[:, number] - found.volts[:, 0]).max()
        sound = np.abs(found.probes[0])
        amps = np.abs(np.abs(found.probes[number]) - sound)
        ohms = found.source_units[:, [0, number]].astype(np.float64) + 1e-6
        share = np.abs(np.log(ohms[:, 1] / ohms[:, 0]))
        if (
            volts > SHOWN_VOLTS
            or (amps > SHOWN_SHARE * sound + 0.02).any()
            or (share > 0.5).any()
        ):
            shown.add(f"{cause.mode.kind}.{cause.mode.name}")
    return shown


def test_every_mode_is_shown_on_some_shipped_car(
    knowledge: Knowledge, modes: dict[str, FaultMode]
) -> None:
    asked = {
        condition
        for symptom in knowledge.symptoms.values()
        for condition in claimed_conditions(symptom.when)
    }
    left = {
        name
        for name, mode in modes.items()
        if mode.lasts and not set(mode.mechanical) & asked
    }
    for name in shipped_cars():
        car = open_car(name, knowledge)
        every = catalogue(car, knowledge.for_car(car).modes)
        # two of each: one may sit where it tells nothing
        some: dict[str, list[Cause]] = {}
        for cause in every:
            key = f"{cause.mode.kind}.{cause.mode.name}"
            if key in left and len(some.setdefault(key, [])) < 2:
                some[key].append(cause)
        tried = [cause for causes in some.values() for cause in causes]
        left -= moves_something(car, tried, knowledge)

    assert left == set(SHOWN_ELSEWHERE)


def test_every_mode_that_comes_and_goes_acts_as_one_that_lasts(
    modes: dict[str, FaultMode],
) -> None:
    for name, mode in modes.items():
        if not mode.lasts:
            assert modes[f"{mode.kind}.{mode.acts_as}"].lasts, name


def test_every_repair_says_what_it_takes_and_what_can_hurt(
    modes: dict[str, FaultMode],
) -> None:
    for name, mode in modes.items():
        repair = mode.repair
        assert repair.action, name
        assert repair.minutes > 0.0, name
        assert 0.5 <= repair.cure_probability <= 1.0, name
        if not repair.cautions:
            assert mode.kind in HARMLESS or name in NEEDS_NONE, name
