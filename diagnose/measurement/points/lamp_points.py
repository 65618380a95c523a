"""Where a test lamp may be held, and where it is worth it.

A lamp loads what it touches. It is never held at a controller or its outputs, nor at an
ignition module, which its current may harm, and never where an airbag is near, which it
may fire. What a lamp may hurt has to be known before it is held there, so both the
proposals and the check of a typed reading ask here. Leaves to `forbidden_points` where
airbags and electronics are.

It is read against a post of the battery only: the resistance of a point to the
reference is what predictions hold.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.measurement.points.forbidden_points import (
    airbag_points,
    battery_posts,
    electronic_points,
    live_posts,
    wired_to,
)
from diagnose.measurement.readings import Reading, ReadingKind


def unfit_for_lamp(car: Car) -> frozenset[str]:
    """Return the nodes at which a test lamp could do harm.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        The terminals of controllers and ignition modules; what wires and joints lead to
        from a controller's outputs, unless they ground it; every point near an airbag.
        Never a post of the battery.
    """
    wired = wired_to(set(car.output_pins), car) - wired_to({car.reference}, car)
    harmed = electronic_points(car) | airbag_points(car) | wired
    return frozenset(harmed - battery_posts(car))


def lamp_readings(car: Car) -> tuple[Reading, ...]:
    """Return where a test lamp is worth ranking: feeds and grounds with the engine off.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Reading, ...]
        At no point that is unfit for it, and in no state with the engine turning.

    Notes
    -----
    Its clip is on the battery's grounded post for a feed, on the other one for what is
    wired to ground.
    """
    posts, unfit = battery_posts(car), unfit_for_lamp(car)
    fed = [post for post in live_posts(car) if post in car.test_points]
    grounds = wired_to({car.reference}, car)
    states = [
        state.name
        for state in car.states
        if state.is_battery_connected and not (state.is_cranking or state.engine_rpm)
    ]
    points = [node for node in car.test_points if node not in unfit | posts]
    pairs = [(node, car.reference) for node in points if node not in grounds]
    pairs += [(post, node) for post in fed for node in points if node in grounds]
    return tuple(
        Reading(kind=ReadingKind.LAMP, state=state, red=red, black=black)
        for red, black in pairs
        for state in states
    )
