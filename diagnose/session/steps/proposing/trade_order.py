"""The order of an electrician where the figures leave it open.

Among steps of about equal worth: a look or a listen before a probe, the state the car
is in already, none that lasts only seconds, the battery's posts before a terminal deep
in a panel, the point that is easier to reach. What is worth clearly more always stands
first, but for one reading: a complaint of the battery, the starter or the charging
begins with the battery's own volts, by which every later reading goes; and once they
are read at rest, they are read again while it shows. Leaves what a step is worth to
`priced`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.circuit.operating_states import ComesWith
from diagnose.measurement.points.forbidden_points import battery_posts, live_posts
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.facts import ComplaintFact, ReadingFact, SkipFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Priced, point_of
from diagnose.session.steps.prices import MOMENTARY_SECONDS

# Steps are of about equal worth where what each minute saves, and what is saved in all,
# is at least this share of the best's. [1] Own choice: the estimates are no better.
ABOUT_EQUAL = 0.9

# Of the states in which the posts may be read first, the easiest is chosen that saves
# at least this share of what the best does. [1] Own choice: two thirds; so it is done
# at idle before at 2000 rpm with everything on, and with the key on before cranking.
WORTH_BEGINNING = 2.0 / 3.0

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
    if isinstance(first.step, Reading):
        first = begins_with(priced, moment, model) or first
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


def various(steps: Sequence[Priced], moment: Moment) -> list[Priced]:
    """Return steps without those that offer again what the page has already.

    Parameters
    ----------
    steps : Sequence[Priced]
        The first, which stays, and those that stand beside it.
    moment : Moment

    Returns
    -------
    list[Priced]
        No two readings of one kind at one point, and beside the first none that was
        taken already: that it is taken again is said only where it is the step to take.
    """
    seen = {noted.observation.step for noted in moment.conclusion.observations}
    found: list[Priced] = []
    points: set[tuple[str, ReadingKind]] = set()
    for one in steps:
        step, point = one.step, point_of(one)
        at = {(point, step.kind)} if point and isinstance(step, Reading) else set()
        if found and (step in seen or at & points):
            continue
        points |= at
        found.append(one)
    return found


def begins_with(
    priced: Sequence[Priced], moment: Moment, model: Model
) -> Priced | None:
    """Return the reading at the battery's posts that a complaint begins with.

    Parameters
    ----------
    priced : Sequence[Priced]
        Best first.
    moment : Moment
    model : Model

    Returns
    -------
    Priced or None
        None where no such complaint was told, something was read or skipped already, or
        the posts tell nothing that is worth it.
    """
    known = model.knowledge.complaints
    is_told = any(
        isinstance(fact, ComplaintFact) and known[fact.complaint].begins_at_posts
        for fact in moment.facts
    )
    has_begun = any(isinstance(one, ReadingFact | SkipFact) for one in moment.facts)
    if not is_told or has_begun:
        return None
    at_posts = [
        one
        for one in priced
        if one.pays
        and isinstance(one.step, Reading)
        and one.step.kind is ReadingKind.DC_VOLTS
        and _way(one, model) == _POSTS
    ]
    most = max((one.net_minutes for one in at_posts), default=0.0)
    telling = [one for one in at_posts if one.net_minutes >= WORTH_BEGINNING * most]
    return min(telling, key=lambda one: _ease(one, moment, model), default=None)


def posts_where_it_shows(moment: Moment, model: Model) -> Reading | None:
    """Return the reading at the battery's posts in the state a complaint shows in.

    Rule of the trade: a battery that shows its volts at rest is believed when it has
    shown them under the load that is complained of, with the leads where they are.

    Parameters
    ----------
    moment : Moment
    model : Model

    Returns
    -------
    Reading or None
        Of the complaint told last that begins at the posts, where they were read in
        another state already; None where there is none, or it shows with the key off.
    """
    known, car = model.knowledge.complaints, model.car
    retests = [
        known[fact.complaint].retest
        for fact in moment.facts
        if isinstance(fact, ComplaintFact) and known[fact.complaint].begins_at_posts
    ]
    posts = {car.reference, *live_posts(car)}
    readings = [one.reading for one in moment.facts if isinstance(one, ReadingFact)]
    read = {one.state for one in readings if {one.red, one.black} <= posts}
    if not retests or not read or not live_posts(car):
        return None
    state = model.asked(retests[-1]).state
    is_loaded = car.state(state).is_engine_turning
    if not is_loaded or state in read:
        return None
    red = live_posts(car)[0]
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=car.reference)


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


def _ease(
    one: Priced, moment: Moment, model: Model
) -> tuple[bool, bool, bool, int, float]:
    """Return what sorts steps by how easily they are done.

    What has to be held down meanwhile takes a second person, away from the probes.
    """
    step, car = one.step, model.car
    look = step.look if isinstance(step, SubstitutionTest) else step
    name = look.state if isinstance(look, Reading) else model.asked(look.symptom).state
    state = car.state(name)
    return (
        state.lasts_seconds <= MOMENTARY_SECONDS,
        state.comes_with is ComesWith.HELD_SWITCHES,
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
    is_at_posts = {step.red, step.black} <= battery_posts(model.car)
    return _POSTS if is_at_posts else _PROBE
