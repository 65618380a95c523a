"""Of steps of about equal worth the easiest is first; what is worth more always is."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from diagnose.files.car.car_file import load_car
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import step_of_name
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.advice.advice import POSTS_FIRST
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    SkipFact,
    SubstitutionFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import all_candidates
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.priced import Priced
from diagnose.session.steps.proposing.trade_order import (
    in_trade_order,
    posts_where_it_shows,
    various,
)
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.preparation.prepared_car import prepared_model

SHIPPED = ("sedan", "pickup", "roadster", "truck", "van")
PROBE = "volts|key-on|fan-relay.87|battery.minus"
SAME_POINT = "volts|key-on|fan-relay.87|fan.plus"
POSTS = "volts|key-on|battery.plus|battery.minus"
LOOK = "look|key-off|fan-fuse|"
CRANKED = "volts|cranking|starter.plus|battery.minus"


VAN = Path(__file__).resolve().parents[2] / "cases" / "cars" / "van.yaml"


@pytest.fixture(scope="module")
def moment(sedan_model: Model) -> Moment:
    """Return a moment with the key on."""
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="fan-does-not-run"))
    reading = step_of_name("volts|key-on|fuse-panel.constant|battery.minus")
    diagnosis.tell(ReadingFact(reading=reading, value=12.4))  # type: ignore[arg-type]
    return diagnosis._standing_moment()


def priced(name: str, saves: float, *, minutes: float = 2.0) -> Priced:
    step = step_of_name(name)
    return Priced(
        step=step,
        minutes=minutes,
        saves_minutes=saves,
        bits=0.5,
        worth_minutes=saves,
    )


def order(moment: Moment, model: Model, *steps: Priced) -> list[str]:
    return [one.step.name for one in in_trade_order(steps, moment, model)]


def test_what_is_worth_clearly_more_stands_first(
    moment: Moment, sedan_model: Model
) -> None:
    # By hand: 40 of 60 minutes are less than nine tenths.
    steps = (priced(PROBE, 60.0), priced(POSTS, 40.0))

    assert order(moment, sedan_model, *steps) == [PROBE, POSTS]


@pytest.mark.parametrize("easy", [POSTS, "symptom|fan-runs"])
def test_posts_and_ears_come_before_a_panel_of_about_equal_worth(
    moment: Moment, sedan_model: Model, easy: str
) -> None:
    if easy.startswith("symptom"):
        names = (n for n in sedan_model.compiled.symptom_names)
        states = {n: sedan_model.asked(n).state for n in names}
        easy = f"symptom|{next(n for n, s in states.items() if s == 'key-on')}"
    steps = (priced(PROBE, 60.0), priced(easy, 58.0))

    assert order(moment, sedan_model, *steps) == [easy, PROBE]


def test_the_engine_is_cranked_only_where_it_is_worth_more(
    moment: Moment, sedan_model: Model
) -> None:
    steps = (priced(CRANKED, 60.0), priced(PROBE, 58.0))

    assert order(moment, sedan_model, *steps) == [PROBE, CRANKED]


def test_another_point_comes_before_a_second_reading_at_the_first(
    moment: Moment, sedan_model: Model
) -> None:
    steps = (priced(PROBE, 60.0), priced(SAME_POINT, 40.0), priced(POSTS, 20.0))

    assert order(moment, sedan_model, *steps) == [PROBE, POSTS, SAME_POINT]


def test_beside_the_first_step_nothing_is_offered_again(moment: Moment) -> None:
    taken = "volts|key-on|fuse-panel.constant|battery.minus"
    steps = [priced(name, 60.0) for name in (PROBE, SAME_POINT, taken, POSTS)]

    assert [one.step.name for one in various(steps, moment)] == [PROBE, POSTS]
    # what is worth repeating stands first, and is kept
    assert various([steps[2], steps[0]], moment) == [steps[2], steps[0]]


def test_no_step_is_lost(moment: Moment, sedan_model: Model) -> None:
    steps = tuple(
        priced(name, 10.0) for name in (PROBE, SAME_POINT, POSTS, LOOK, CRANKED)
    )

    assert sorted(order(moment, sedan_model, *steps)) == sorted(
        one.step.name for one in steps
    )
    assert in_trade_order((), moment, sedan_model) == []


@pytest.fixture(params=SHIPPED)
def shipped(request: pytest.FixtureRequest) -> Model:
    """Return a car that comes with the program, made ready for diagnosis."""
    knowledge = published_knowledge()
    return prepared_model(open_car(request.param, knowledge), knowledge)


def test_battery_starter_and_charging_complaints_begin_at_the_posts(
    shipped: Model,
) -> None:
    posts = battery_posts(shipped.car)
    known = Diagnosis(shipped).vocabulary.complaints
    every = shipped.knowledge.complaints.values()
    told = [one for one in every if one.begins_at_posts and one.name in known]
    begun = {}
    for complaint in told:
        diagnosis = Diagnosis(shipped)
        diagnosis.tell(ComplaintFact(complaint=complaint.name))
        begun[complaint.name] = diagnosis.answer.next_steps[0].step

    assert len(begun) > 6
    # a look at the belt goes before the meter; every reading is at the posts
    assert [
        name
        for name, step in begun.items()
        if isinstance(step, Reading) and not {step.red, step.black} <= posts
    ] == []
    assert sum(isinstance(step, Reading) for step in begun.values()) > 5


@pytest.mark.parametrize(
    "then",
    [
        SkipFact(step=step_of_name("volts|idle|battery.plus|battery.minus")),
        ReadingFact(reading=step_of_name(POSTS), value=12.4),  # type: ignore[arg-type]
    ],
)
def test_only_the_first_reading_is_at_the_posts_for_their_own_sake(
    sedan_model: Model, then: Fact
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="does-not-charge"))
    first = diagnosis.answer.next_steps[0]
    diagnosis.tell(then)

    assert first.reason == POSTS_FIRST
    assert all(step.reason != POSTS_FIRST for step in diagnosis.answer.next_steps)


def test_a_drop_is_asked_with_red_where_the_volts_are_higher(
    sedan_model: Model,
) -> None:
    # on the sound car; where that has one point, under the faults of the car together
    compiled = sedan_model.compiled
    singles, reference = compiled.singles, sedan_model.car.reference
    for kind in all_candidates(compiled):
        if kind.kind is not ReadingKind.DC_VOLTS:
            continue
        for reading in kind.readings:
            if reading.black == reference:
                continue
            red, black = compiled.readings.lead_volts(
                singles, reading, rows=slice(None)
            )
            sound = float(np.median(red[0]) - np.median(black[0]))
            assert sound > -0.005
            assert sound >= 0.005 or float((red - black)[:, 0].mean()) > -1e-6


def test_a_battery_seen_at_rest_is_read_again_while_it_shows(
    sedan_model: Model,
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint="cranks-slowly"))
    posts = step_of_name("volts|key-off|battery.plus|battery.minus")
    diagnosis.tell(ReadingFact(reading=posts, value=12.6))  # type: ignore[arg-type]

    first = [one.step.name for one in diagnosis.answer.next_steps[:3]]

    assert "volts|cranking|battery.plus|battery.minus" in first


@pytest.mark.parametrize(
    ("complaint", "states"),
    [
        # not before they were read at all, nor where they were read so already, nor of
        # what shows with the key off, nor of what does not begin there
        ("cranks-slowly", ()),
        ("cranks-slowly", ("key-off", "cranking")),
        ("battery-goes-flat", ("key-off",)),
        ("fan-does-not-run", ("key-off",)),
    ],
)
def test_else_the_posts_are_read_for_what_they_are_worth(
    complaint: str, states: tuple[str, ...], sedan_model: Model
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(ComplaintFact(complaint=complaint))
    for state in states:
        posts = step_of_name(f"volts|{state}|battery.plus|battery.minus")
        value = 9.0 if state == "cranking" else 12.6
        diagnosis.tell(ReadingFact(reading=posts, value=value))  # type: ignore[arg-type]

    assert posts_where_it_shows(diagnosis._standing_moment(), sedan_model) is None


def test_beside_a_step_that_tells_all_stand_other_ways_to_tell_it(
    sedan_model: Model,
) -> None:
    # the fuse of the brake lamps blows with the lamps out: one of two wires is shorted,
    # and the volts across the blown fuse with the pedal released tell which
    diagnosis = Diagnosis(sedan_model)
    look = step_of_name("look|key-off|brake-feed-fuse|")
    diagnosis.tell(ReadingFact(reading=look, value=1.0))  # type: ignore[arg-type]
    without_lamps = Substitution(kind=SubstitutionKind.UNPLUG, at="brake-lamps")
    diagnosis.tell(
        SubstitutionFact(
            substitution=without_lamps,
            seen=ReadingFact(reading=look, value=1.0),  # type: ignore[arg-type]
        )
    )

    ways = [
        (one.step.kind if isinstance(one.step, Reading) else type(one.step))
        for one in diagnosis.answer.next_steps[:3]
    ]

    assert len(set(ways)) == 3


def test_posts_are_those_of_the_battery_that_starts_the_car(
    sedan_model: Model,
) -> None:
    # a second battery whose name comes first in the alphabet
    knowledge = published_knowledge()
    text = VAN.read_text().replace("second-battery", "a-second-battery")
    car = load_car(Path("van.yaml"), knowledge, text=text)
    read = step_of_name("volts|key-off|battery.plus|battery.minus")
    facts = (
        ComplaintFact(complaint="cranks-slowly"),
        ReadingFact(reading=read, value=12.6),  # type: ignore[arg-type]
    )
    told = cast(Moment, SimpleNamespace(facts=facts))
    van = cast(
        Model,
        SimpleNamespace(
            car=car, knowledge=sedan_model.knowledge, asked=sedan_model.asked
        ),
    )

    assert min(battery_posts(car)).startswith("a-second-battery")
    shown = posts_where_it_shows(told, van)
    assert shown is not None
    assert (shown.red, shown.black) == ("battery.plus", "battery.minus")
