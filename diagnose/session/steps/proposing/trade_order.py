"""The order of an electrician where the figures leave it open.

Among steps of about equal worth: a look or a listen before a probe, the state the car
is in already, no cranking, the battery's posts before a terminal deep in a panel, the
point that is easier to reach. What is worth clearly more always stands first. Leaves
what a step is worth to `priced`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Priced, point_of

# Steps are of about equal worth where what each minute saves, and what is saved in all,
# is at least this share of the best's. [1] Own choice: the estimates are no better.
ABOUT_EQUAL = 0.9

# How easily something is done: by the eye, by the ear, at the posts, anywhere else, and
# with the circuit changed.
_LOOK, _LISTEN, _POSTS, _PROBE, _CHANGE = range(5)


def in_trade_order(
    priced: Sequence[Priced], moment: Moment, model: Model
) -> list[Priced]:
    """Return steps with the easiest of the best first, and few at one point.

    Parameters
    ----------
    priced : Sequence[Priced]
        Best first.
    moment : Moment
    model : Model

    Returns
    -------
    list[Priced]
        The same steps.
    """
    if not priced:
        return []
    equal = [one for one in priced if _is_about_equal(one, priced[0])]
    first = min(equal, key=lambda one: _ease(one, moment, model))
    chosen, again = [first], []
    points = {point_of(first)}
    for one in priced:
        if one is first:
            continue
        point = point_of(one)
        if point and point in points:
            again.append(one)
            continue
        points.add(point)
        chosen.append(one)
    return [*chosen, *again]


def _is_about_equal(one: Priced, best: Priced) -> bool:
    """Return whether a step is worth about as much as the best."""
    if one is best:
        return True
    if not (one.pays and best.pays):
        return False
    return (
        one.worth_minutes >= ABOUT_EQUAL * best.worth_minutes
        and one.worth_minutes / one.minutes
        >= ABOUT_EQUAL * best.worth_minutes / best.minutes
    )


def _ease(one: Priced, moment: Moment, model: Model) -> tuple[bool, bool, int, float]:
    """Return what sorts steps by how easily they are done."""
    step, car = one.step, model.car
    look = step.look if isinstance(step, SubstitutionTest) else step
    name = look.state if isinstance(look, Reading) else model.asked(look.symptom).state
    state = car.state(name)
    return (
        state.is_cranking and moment.here.state != name,
        bool(moment.here.state) and moment.here.state != name,
        _way(one, model),
        one.minutes,
    )


def _way(one: Priced, model: Model) -> int:
    """Return by what a step is done: eye, ear, posts, or anywhere else."""
    step = one.step
    if isinstance(step, SubstitutionTest):
        return _CHANGE
    if not isinstance(step, Reading):
        return _LISTEN
    if step.kind is ReadingKind.LOOK:
        return _LOOK
    posts = {
        node
        for part in model.car.parts
        if part.kind == "battery"
        for node in part.terminals.values()
    }
    return _POSTS if {step.red, step.black} <= posts else _PROBE
