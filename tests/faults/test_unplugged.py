"""With loads unplugged, fuses and relays pulled, only the wires are left to read."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.ready_car import Model

SHORTED_OHMS = (0.02, 0.6)  # knowledge/fault-modes.yaml, wire short_to_ground
OPEN_OHMS = 1e6


def ohms(
    model: Model, node: str, cause: str = "", state: str = "unplugged"
) -> FloatArray:
    reading = Reading(
        kind=ReadingKind.OHMS, state=state, red=node, black=model.car.reference
    )
    names = ["", *(one.name for one in model.compiled.causes)]
    rows = np.array([names.index(cause)])
    compiled = model.compiled
    found: FloatArray = compiled.readings.predicted(
        compiled.singles, reading, rows=rows
    )[0]
    return found


@pytest.mark.parametrize("node", ["fuel-pump.plus", "fuel-pump-fuse.out"])
def test_sound_wire_reads_no_ground(model: Model, node: str) -> None:
    assert ohms(model, node).min() > OPEN_OHMS
    # The pump's winding is behind it as long as the pump is plugged in.
    assert ohms(model, "fuel-pump.plus", state="isolated").max() < 10.0


def test_shorted_load_is_gone_with_its_plug(model: Model) -> None:
    assert ohms(model, "fuel-pump.plus", "fuel-pump:shorted").min() > OPEN_OHMS


def test_shorted_wire_reads_its_short(model: Model) -> None:
    found = ohms(model, "fuel-pump.plus", "fuel-pump-wire:short_to_ground")

    # Half the wire at most, the ground's way back and the leads are in it.
    beside_leads = found - model.compiled.readings.lead_ohms
    assert beside_leads.min() > SHORTED_OHMS[0]
    assert beside_leads.max() < SHORTED_OHMS[1] + 0.1


def test_short_is_not_seen_across_a_pulled_fuse(model: Model) -> None:
    beyond = ohms(model, "fuel-pump-fuse.in", "fuel-pump-wire:short_to_ground")

    assert beyond.min() > OPEN_OHMS
