"""Meter accuracy by the handbook's convention."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.measurement.meters import MeterRange


def test_accuracy_is_percent_of_reading_and_counts() -> None:
    # Handbook convention: ±(1 % + 2 counts) at 100.0 V is 98.8 to 101.2 V.
    meter = MeterRange(percent=1.0, counts=2, resolution=0.1)

    half = float(meter.half_width(np.array(100.0)))

    assert (100.0 - half, 100.0 + half) == pytest.approx((98.8, 101.2), abs=1e-9)


def test_accuracy_does_not_depend_on_the_sign() -> None:
    meter = MeterRange(percent=0.5, counts=2, resolution=0.01)

    found = meter.half_width(np.array([-12.0, 12.0]))

    # By hand: .06 + .02.
    assert found.tolist() == pytest.approx([0.08, 0.08])


def test_counts_are_left_at_zero() -> None:
    meter = MeterRange(percent=0.5, counts=3, resolution=0.1)

    assert float(meter.half_width(np.array(0.0))) == pytest.approx(0.3)
