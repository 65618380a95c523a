"""Lines become requests: bare answers, commands, names by their start."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import step_of_name
from diagnose.session.answer import ProposedStep
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.terminal.dialogue.typed.commands import COMMANDS
from diagnose.terminal.dialogue.typed.desk import Desk
from diagnose.terminal.dialogue.typed.requests import (
    Leave,
    Request,
    Show,
    Strike,
    TakeUp,
    Tell,
    View,
)
from diagnose.terminal.dialogue.typed.understanding import understand
from tests.terminal.sample_records import (
    ANSWER,
    HUMS,
    LOOK,
    RELAY,
    VOCABULARY,
    VOLTS,
    WIRE,
)


def request(line: str, step: ProposedStep | None = VOLTS) -> Request:
    return understand(line, Desk(vocabulary=VOCABULARY, answer=ANSWER, step=step))


def told(line: str, step: ProposedStep | None = VOLTS) -> Fact:
    found = request(line, step)
    assert isinstance(found, Tell)
    return found.fact


def reading(
    kind: ReadingKind, value: float, *, state: str, red: str, black: str
) -> ReadingFact:
    return ReadingFact(
        reading=Reading(kind=kind, state=state, red=red, black=black), value=value
    )


PLUS_IDLE = step_of_name("volts|idle|pump.plus|battery.minus")
PUMP = {"state": "key-on", "red": "pump.plus", "black": "battery.minus"}
PUMP_11_2 = reading(ReadingKind.DC_VOLTS, 11.2, **PUMP)


def as_sharp_as_the_meter(fact: Fact) -> Fact:
    """Return a fact without the last digit it was told to, which others ask for."""
    return replace(fact, rounded_to=0.0) if isinstance(fact, ReadingFact) else fact


@pytest.mark.parametrize("line", ["11.2", "11,2 V", "11200 mV"])
def test_a_bare_number_answers_the_reading_on_the_page(line: str) -> None:
    assert as_sharp_as_the_meter(told(line)) == PUMP_11_2


@pytest.mark.parametrize(
    "line",
    [
        "pump.plus key-on 11.2",
        "11.2 at pump.plus key-on",
        "pump.plus 11.2 key-on",
        # that of the step in hand
        "pump.plus 11.2",
        "11.2 V at pump.plus",
    ],
)
def test_a_point_by_its_name_needs_no_command(line: str) -> None:
    assert as_sharp_as_the_meter(told(line)) == PUMP_11_2


@pytest.mark.parametrize(
    ("line", "shows"),
    [
        ("11.2 while it stalled", True),
        ("11.2 when it was bad", True),
        ("11.2 V while it was not working", True),
        ("a 11.2 while the lamp is dim", True),
        ("read pump.plus key-on 11.2 when it cut out", True),
        ("11.2 at pump.plus while dead", True),
        ("11.2 while fine", False),
        ("11.2 when it was OK", False),
        ("11.2 while it did not show", False),
        ("11.2", None),
    ],
)
def test_a_reading_is_told_while_the_trouble_showed_or_did_not(
    line: str, shows: bool | None
) -> None:
    found = as_sharp_as_the_meter(told(line))

    assert found == replace(PUMP_11_2, while_it_shows=shows)


def test_a_state_may_stand_behind_while() -> None:
    found = as_sharp_as_the_meter(told("11.2 while idle"))

    assert found == reading(ReadingKind.DC_VOLTS, 11.2, **{**PUMP, "state": "idle"})


def test_what_says_both_is_not_guessed() -> None:
    with pytest.raises(ReadingError, match="bad and then fine"):
        told("11.2 when it was bad and then fine")


def test_only_a_reading_is_told_while_it_shows() -> None:
    with pytest.raises(ReadingError, match="is told with a reading"):
        told("yes while it was bad", HUMS)


def test_a_state_behind_a_point_is_not_that_of_the_step() -> None:
    found = reading(ReadingKind.DC_VOLTS, 11.2, **{**PUMP, "state": "idle"})

    assert as_sharp_as_the_meter(told("11.2 at pump.plus idle")) == found


def test_a_value_behind_a_state_is_the_answer_to_the_step() -> None:
    # no point is named: as before, a value and a state
    assert told("14.2 idle") == told("read pump.plus idle 14.2")


def test_a_number_is_told_as_sharp_as_it_was_typed() -> None:
    fact = told("12")

    assert isinstance(fact, ReadingFact)
    assert (fact.value, fact.rounded_to) == (12.0, 1.0)


@pytest.mark.parametrize("word", ["nothing", "Dead", "zero"])
def test_nothing_answers_a_reading_of_volts(word: str) -> None:
    fact = told(word)

    assert isinstance(fact, ReadingFact)
    assert (fact.value, fact.rounded_to) == (0.0, 1.0)


def test_a_state_is_understood_in_another_form_of_its_word() -> None:
    states = {"key-off": "", "priming": "", "key-on": "", "cranking": ""}
    desk = Desk(
        vocabulary=replace(VOCABULARY, states=states), answer=ANSWER, step=VOLTS
    )

    found = understand("read pump.plus prime 11.2", desk)
    assert isinstance(found, Tell)
    assert isinstance(found.fact, ReadingFact)
    assert found.fact.reading.state == "priming"
    with pytest.raises(ReadingError, match='no operating state "key"'):
        understand("read pump.plus key 11.2", desk)


def test_a_bare_over_range_answers_an_ohms_reading() -> None:
    step = replace(
        VOLTS,
        step=step_of_name("ohms|isolated|pump.plus|battery.minus"),
        state="isolated",
    )

    fact = told("OL", step)
    assert isinstance(fact, ReadingFact)
    assert fact.value == math.inf


# Whoever has no lamp, or trusts his meter more, leaves its leads where the lamp's were.
@pytest.mark.parametrize(
    ("line", "value"), [("12.4", 12.4), ("0", 0.0), ("12.4 V", 12.4)]
)
def test_a_number_at_a_test_lamp_is_volts_at_its_leads(line: str, value: float) -> None:
    lamp = replace(VOLTS, step=step_of_name("lamp|key-on|pump.plus|battery.minus"))

    assert as_sharp_as_the_meter(told(line, lamp)) == replace(PUMP_11_2, value=value)
    assert told("dim", lamp) == reading(ReadingKind.LAMP, 0.5, **PUMP)


@pytest.mark.parametrize("line", ["3.2", "3.2 mV", "0.0032 V"])
def test_a_bare_number_along_a_fuse_is_in_millivolts(line: str) -> None:
    step = replace(VOLTS, step=step_of_name("fuse|idle|pump-fuse|"), state="idle")

    assert as_sharp_as_the_meter(told(line, step)) == reading(
        ReadingKind.FUSE, 0.0032, state="idle", red="pump-fuse", black=""
    )


@pytest.mark.parametrize(
    ("line", "is_present"), [("yes", True), ("Y", True), ("no", False), ("n", False)]
)
def test_yes_and_no_answer_a_question(line: str, is_present: bool) -> None:
    assert told(line, HUMS) == SymptomFact(symptom="pump-hums", is_present=is_present)


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("blown", 1.0),
        ("sound", 0.0),
        ("it's fine", 0.0),
        ("It is blown.", 1.0),
        ("that's good", 0.0),
    ],
)
def test_blown_and_sound_answer_a_look_at_a_fuse(line: str, value: float) -> None:
    assert told(line, LOOK) == reading(
        ReadingKind.LOOK, value, state="key-off", red="pump-fuse", black=""
    )


@pytest.mark.parametrize(
    ("line", "fact"),
    [
        ("read pump.plus key-on 11.2", PUMP_11_2),
        ("read pump.p battery.minus key-on 11.2 V", PUMP_11_2),
        ("READ Pump.Plus KEY-ON 11.2", PUMP_11_2),
        (
            "read pump.plus pump.minus idle 0.4 ohm",
            reading(
                ReadingKind.OHMS, 0.4, state="idle", red="pump.plus", black="pump.minus"
            ),
        ),
        (
            "read ohms pump.plus pump.minus idle 4k7",
            reading(
                ReadingKind.OHMS,
                4700.0,
                state="idle",
                red="pump.plus",
                black="pump.minus",
            ),
        ),
        (
            "read pump-fuse idle 7 amps",
            reading(ReadingKind.AMPS, 7.0, state="idle", red="pump-fuse", black=""),
        ),
        (
            "read ac pump.plus idle 35 mV",
            reading(
                ReadingKind.AC_VOLTS,
                0.035,
                state="idle",
                red="pump.plus",
                black="battery.minus",
            ),
        ),
        (
            "read fuse pump-fuse idle 3.2mV",
            reading(ReadingKind.FUSE, 0.0032, state="idle", red="pump-fuse", black=""),
        ),
        (
            "read fuse pump-fuse idle 3.2",
            reading(ReadingKind.FUSE, 0.0032, state="idle", red="pump-fuse", black=""),
        ),
        (
            "read lamp pump.plus key-on dim",
            reading(
                ReadingKind.LAMP,
                0.5,
                state="key-on",
                red="pump.plus",
                black="battery.minus",
            ),
        ),
        (
            "read pump.plus key-on lit",
            reading(
                ReadingKind.LAMP,
                1.0,
                state="key-on",
                red="pump.plus",
                black="battery.minus",
            ),
        ),
        (
            "look pump-fuse blown",
            reading(ReadingKind.LOOK, 1.0, state="key-off", red="pump-fuse", black=""),
        ),
        (
            "symptom engine-cranks no",
            SymptomFact(symptom="engine-cranks", is_present=False),
        ),
        ("sym pump y", SymptomFact(symptom="pump-hums", is_present=True)),
        ("complaint no-start", ComplaintFact(complaint="no-start")),
        ("context wiring in_s", ContextFact(context="wiring", answer="in_service")),
        (
            "context wiring in service",
            ContextFact(context="wiring", answer="in_service"),
        ),
        ("skip", SkipFact(step=VOLTS.step)),
        ("skip b", SkipFact(step=LOOK.step)),
        ("done 2", RepairFact(cause=WIRE.name)),
        ("done pump-relay", RepairFact(cause=RELAY.name)),
        ("without clamp", LimitFact(limit="clamp", is_lacking=True)),
        ("with cl", LimitFact(limit="clamp", is_lacking=False)),
        ("takes tank 15", TakesFact(subject="tank", minutes=15.0)),
        ("takes idle-l 2,5", TakesFact(subject="idle-loaded", minutes=2.5)),
        ("takes 2 40", TakesFact(subject=WIRE.name, minutes=40.0)),
        ("undo", UndoFact()),
    ],
)
def test_commands_tell_facts(line: str, fact: Fact) -> None:
    assert as_sharp_as_the_meter(told(line)) == fact


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("", Show(view=View.PAGE)),
        ("next", Show(view=View.NEXT)),
        ("causes", Show(view=View.CAUSES)),
        ("why", Show(view=View.WORTH, step=VOLTS.step)),
        ("why b", Show(view=View.WORTH, step=LOOK.step)),
        ("why 1", Show(view=View.WHY, about=RELAY.name)),
        (
            "why pump.plus idle",
            Show(
                view=View.EXPECT,
                step=PLUS_IDLE,
            ),
        ),
        ("why 2", Show(view=View.WHY, about=WIRE.name)),
        ("expect", Show(view=View.EXPECT, step=VOLTS.step)),
        (
            "expect pump.plus idle",
            Show(
                view=View.EXPECT,
                step=PLUS_IDLE,
            ),
        ),
        (
            "expect amps pump-fuse idle",
            Show(view=View.EXPECT, step=step_of_name("amps|idle|pump-fuse|")),
        ),
        (
            "expect pump-hums",
            Show(view=View.EXPECT, step=step_of_name("symptom|pump-hums")),
        ),
        ("symptom", Show(view=View.SYMPTOMS)),
        ("symptom starter", Show(view=View.SYMPTOMS, about="starter")),
        ("facts", Show(view=View.FACTS)),
        ("what is feed end", Show(view=View.TERM, about="feed end")),
        ("what is a feed-end?", Show(view=View.TERM, about="feed end")),
        ("what is 87", Show(view=View.TERM, about="87")),
        ("what", Show(view=View.TERM)),
        ("help", Show(view=View.HELP)),
        ("strike 2", Strike(number=2)),
        ("b", TakeUp(step_index=1)),
        ("leave", Leave()),
        ("lea", Leave()),
    ],
)
def test_commands_ask_for_pages(line: str, expected: Request) -> None:
    assert request(line) == expected


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("900", "900 V can't be"),
        ("3 ohm", '"3 ohm" is in ohms; this reading is in volts'),
        ("yes", '"yes" is not a reading'),
        ("raed pump.plus", '"raed pump.plus" is not understood; did you mean "read"?'),
        (
            "read pmup.plus key-on 11",
            'no test point "pmup.plus" on this car; nearest is "pump.plus"',
        ),
        (
            "read pump.plus idel 11",
            'no operating state "idel" on this car; there are: key-off, key-on, idle, ',
        ),
        ("read pump.plus key-on", "type it like this: read NODE [NODE] STATE VALUE"),
        ("read pump.plus key-on -5 ohm", "-5 ohm can't be"),
        ("read p idle 3", '"p" fits several: pump.plus, pump.minus'),
        ("symptom engine-craks no", 'no symptom "engine-craks" on this car; nearest'),
        ("why 9", "there are 2 causes; 9 is none"),
        ("strike 7", "there is no fact 7"),
        ("strike", "type it like this: strike NUMBER"),
        ("c d", '"d" is not understood'),
        ("c 12.3", '"12.3" does not answer this; type yes or no'),
        ("abc", "Expected here: the volts the meter shows, such as 12.4"),
        ("skip z", '"z" is no step; expected skip alone, or skip and the letter'),
        ("skip a b", '"a b" is no step'),
        (
            "expect pump.plus",
            "the operating state is missing; there are: key-off, key-on, idle, "
            "idle-loaded. Type it like this: expect NODE [NODE] STATE",
        ),
        ("expect pump.plus nostate", "there are: key-off, key-on, idle, idle-loaded."),
    ],
)
def test_what_is_not_understood_is_told_in_plain_words(line: str, message: str) -> None:
    with pytest.raises(ReadingError) as refused:
        request(line)

    assert message in str(refused.value)


def test_a_number_without_a_step_says_how_to_tell_a_reading() -> None:
    with pytest.raises(ReadingError, match="no reading is asked for just now"):
        request("11.2", step=None)


def test_every_command_is_told_apart_by_two_letters() -> None:
    starts = {
        name: [n for n in COMMANDS if n.startswith(name[:2])] for name in COMMANDS
    }

    # Known exceptions need a third letter: read and renewed share "re", complaint and
    # context "co", wiggle and with "wi", what and why "wh", undo and unplug "un"; with
    # and without are told apart by a whole word.
    clashing = {name for name, found in starts.items() if len(found) > 1}
    assert clashing <= {
        *("complaint", "context", "causes", "cautions", "skip", "symptom"),
        *("read", "renewed"),
        *("with", "without", "wiggle", "what", "why", "undo", "unplug"),
    }


def test_every_command_says_how_it_is_typed_and_what_it_does() -> None:
    unexplained = [
        name
        for name, command in COMMANDS.items()
        if not command.usage.startswith(name) or not command.says
    ]

    assert unexplained == []


# What people type at the car: a value with its state, a letter with its answer.
@pytest.mark.parametrize(
    ("line", "step", "value"),
    [
        ("14.2 idle", "volts|idle|pump.plus|battery.minus", 14.2),
        ("7v4", VOLTS.step.name, 7.4),
        (".8", VOLTS.step.name, 0.8),
        ("12.4 volts", VOLTS.step.name, 12.4),
        ("no reading", VOLTS.step.name, 0.0),
        ("dead", VOLTS.step.name, 0.0),
        ("a 12.3", VOLTS.step.name, 12.3),
        ("b sound", LOOK.step.name, 0.0),
    ],
)
def test_a_value_is_understood_as_people_type_it(
    line: str, step: str, value: float
) -> None:
    fact = told(line)

    assert isinstance(fact, ReadingFact)
    assert (fact.step.name, fact.value) == (step, value)


def test_same_is_the_reading_before_and_is_asked_about() -> None:
    assert isinstance(PLUS_IDLE, Reading)
    before = ReadingFact(reading=PLUS_IDLE, value=14.1)
    desk = Desk(vocabulary=VOCABULARY, answer=ANSWER, step=VOLTS, latest=before)

    found = understand("same", desk)
    assert isinstance(found, Tell)
    assert isinstance(found.fact, ReadingFact)
    assert found.is_unsure
    assert (found.fact.step, found.fact.value) == (VOLTS.step, 14.1)
    with pytest.raises(ReadingError, match="the same as what"):
        understand("same", Desk(vocabulary=VOCABULARY, answer=ANSWER, step=VOLTS))


def test_path_is_that_of_the_reading_on_the_page_or_of_points() -> None:
    assert request("path") == Show(view=View.PATH, leads=("pump.plus", "battery.minus"))
    assert request("path pump.p") == Show(view=View.PATH, leads=("pump.plus", ""))
    assert request("path pump.plus battery.minus") == request("path")
    with pytest.raises(ReadingError, match=r"no reading is asked for just now"):
        request("path", step=None)
    with pytest.raises(ReadingError, match=r"path \[NODE \[NODE\]\]"):
        request("path pump.plus battery.minus pump.plus")
