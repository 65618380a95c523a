"""Questions and answers: the way back, what can't be, what is not known."""

from __future__ import annotations

import pytest

from diagnose.files.knowledge.layouts import load_layouts
from diagnose.paperwork.asking.added_circuits import around_of
from diagnose.paperwork.asking.answers import (
    Fact,
    Told,
    read_changes,
    read_load,
    read_wire,
)
from diagnose.paperwork.asking.car_questions import ask_car
from diagnose.paperwork.asking.entries.car_entries import car_entries
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Interview, Question, Script

LAYOUTS = load_layouts()


def _read_number(text: str) -> int:
    if not text.isdigit():
        raise ValueError(f'"{text}" is no number')
    return int(text)


def _count() -> Script[list[int]]:
    """Ask how many numbers there are, then for each."""
    how_many = yield Question(key="how-many", asks="?", default="2", read=_read_number)
    numbers = []
    for index in range(how_many):
        key = f"number-{index}"
        numbers.append(
            (yield Question(key=key, asks="?", default="0", read=_read_number))
        )
    return numbers


@pytest.fixture
def interview() -> Interview[list[int]]:
    return Interview(_count)


def test_an_empty_line_answers_the_default(interview: Interview[list[int]]) -> None:
    for line in ("", "7", ""):
        interview.answer(line)

    assert interview.question is None
    assert interview.outcome == [7, 0]


def test_an_answer_that_cannot_be_changes_nothing(
    interview: Interview[list[int]],
) -> None:
    with pytest.raises(ValueError, match='"x" is no number'):
        interview.answer("x")

    assert interview.question is not None
    assert interview.question.key == "how-many"
    assert interview.trail == []


def test_back_asks_again_and_keeps_the_answer_as_default(
    interview: Interview[list[int]],
) -> None:
    interview.answer("3")
    interview.answer("5")

    interview.back(is_forgotten=False)

    assert interview.default == "5"
    interview.answer("")
    assert [one.text for one in interview.trail] == ["3", "5"]


def test_undo_forgets_the_answer(interview: Interview[list[int]]) -> None:
    interview.answer("3")
    interview.answer("5")

    interview.back(is_forgotten=True)

    assert interview.default == "0"


def test_answers_gone_back_from_come_up_again(interview: Interview[list[int]]) -> None:
    for line in ("2", "5"):
        interview.answer(line)
    for _ in range(2):
        interview.back(is_forgotten=False)

    interview.answer("3")

    assert interview.default == "5"


def test_there_is_nothing_before_the_first_question(
    interview: Interview[list[int]],
) -> None:
    assert not interview.back(is_forgotten=False)


FACTS = {
    "wire": Fact(says="its wire", usual="14 AWG 6 ft", read=read_wire),
    "load": Fact(says="what it draws", usual="5 A load", read=read_load),
}


def test_what_differs_is_told_in_one_line() -> None:
    told = read_changes(FACTS, "load 110 W bulbs, wire: 10 gauge 5 feet red/white")

    assert told == {
        "load": Told("110 W lamps"),
        "wire": Told("10 AWG 5 ft red/white"),
    }


def test_amps_alone_are_those_of_a_plain_load() -> None:
    assert read_changes(FACTS, "load 8 amps") == {"load": Told("8 A load")}


def test_a_question_mark_is_the_usual_value_and_marked() -> None:
    told = read_changes(FACTS, "wire don't know")

    assert told == {"wire": Told("14 AWG 6 ft", is_assumed=True)}


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("wier 14 AWG 6 ft", 'did you mean "wire"'),
        ("wire 14 AWG", "has no length"),
        ("wire 99 AWG 6 ft", "wire: "),
        ("load", "say what load is"),
        ("load 5 parsecs", "expected a load"),
    ],
)
def test_what_cannot_be_is_told_with_its_reason(line: str, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        read_changes(FACTS, line)


def _asked_until(key: str, answers: dict[str, str]) -> Interview[object]:
    interview: Interview[object] = Interview(lambda: ask_car(LAYOUTS, {}))
    while interview.question is not None and interview.question.key != key:
        interview.answer(answers.get(interview.question.key, ""))
    return interview


@pytest.mark.parametrize(
    ("key", "line", "reason"),
    [
        ("system", "13 V", "6 V, 12 V, 24 V"),
        ("layouts", "rocket", "none of them"),
        ("battery", "place moon", "no place"),
        ("battery", "cca lots", "cca: "),
        ("battery", "age 200", "no battery lasts 200 years"),
        ("battery", "cca 600 A, cca 700 A", "cca is told twice"),
        ("alternator", "rated 70/28 A", "stands first"),
        ("alternator", "rated 5/70 A", "at least a 7th of it"),
        ("cables", "engine-strap none", "no car goes without it"),
        ("fuel-pump", "inertia-switch yes", "say where it is"),
        ("blower", "resistor 5 Mohm", "slows no motor"),
        ("blower", "resistor 0", "must be greater than 0"),
        ("controllers", "battery", "is there already"),
        ("controllers", "fan", "is a load"),
        ("added", "fan, fan", "there twice"),
        ("added", "fan!", "can't be a name"),
        ("added", "fan, fuse 20 A", "says what a load is like"),
        ("fan", "feed somewhere", "no feed"),
        ("fan", "relay gearbox low", "no controller"),
        ("fan", "relay yes", "say what makes it pull in"),
        ("fan", "ground moon", "no ground"),
    ],
)
def test_an_impossible_answer_has_a_reason(key: str, line: str, reason: str) -> None:
    interview = _asked_until(key, {"layouts": "injection"})

    with pytest.raises(ValueError, match=reason):
        interview.answer(line)

    assert interview.question is not None
    assert interview.question.key == key


@pytest.mark.parametrize(
    ("key", "line", "meant"),
    [
        ("grounded", "negative", "minus"),
        ("grounded", "positive ground", "plus"),
        ("coil-feed", "straight", "straight wire"),
        ("panel", "no", "none"),
        ("panel", "both", "both halves"),
    ],
)
def test_other_words_for_a_choice_are_understood(
    key: str, line: str, meant: str
) -> None:
    interview = _asked_until(key, {"layouts": "injection"})

    assert interview.question is not None
    assert interview.question.read(line) == meant


def test_a_load_nobody_knows_is_told_with_what_it_may_be() -> None:
    interview = _asked_until("amplifyer", {"added": "amplifyer"})

    assert interview.question is not None
    assert 'a load of your own (did you mean "amplifier"?)' in interview.question.asks


def test_facts_are_asked_one_by_one_where_wanted() -> None:
    interview = _asked_until("fan", {"layouts": "injection"})

    interview.answer("ask")

    asked = []
    while interview.question is not None and interview.question.key.startswith("fan"):
        asked.append(interview.question.key)
        interview.answer("?" if interview.question.key == "fan-wire" else "")
    assert asked[:4] == ["fan-feed", "fan-relay", "fan-fuse", "fan-load"]
    assert "fan-ground" in asked


@pytest.mark.parametrize(
    ("line", "lead"),
    [
        ("wire 8 AWG 4 ft red", "8 AWG 1 ft"),
        ("wire ?", "about 10 AWG 1 ft"),
        ("wire 8 AWG 4 ft, feed-wire 12 AWG 2 ft", "12 AWG 2 ft"),
        ("fuse 25 A", "10 AWG 1 ft"),
    ],
)
def test_the_lead_to_a_fuse_has_the_size_of_the_wire_behind_it(
    line: str, lead: str
) -> None:
    outcome = _finished({"layouts": "injection", "fan": line})

    fan = next(circuit for circuit in outcome.circuits if circuit.name == "fan")
    assert fan.wire("feed-wire") == lead


def test_a_lead_asked_for_by_itself_offers_the_size_of_its_wire() -> None:
    interview = _asked_until("fan", {"layouts": "injection"})
    interview.answer("ask")

    while interview.question is not None and interview.question.key != "fan-feed-wire":
        is_wire = interview.question.key == "fan-wire"
        interview.answer("6 AWG 4 ft" if is_wire else "")

    assert interview.default == "6 AWG 1 ft"


@pytest.mark.parametrize(
    ("system", "load", "fuse"),
    # 18 A at 12 V is 216 W, and its fuse of 30 A half or twice that
    [("6 V", "36 A motor", "60 A slow-fuse"), ("24 V", "9 A motor", "15 A")],
)
def test_loads_and_fuses_are_offered_for_the_volts_of_the_car(
    system: str, load: str, fuse: str
) -> None:
    outcome = _finished({"layouts": "injection", "system": system})

    fan = next(circuit for circuit in outcome.circuits if circuit.name == "fan")
    assert (fan.text("load"), fan.text("fuse")) == (load, fuse)


def test_a_circuit_that_is_not_there_is_left_out() -> None:
    outcome = _finished({"layouts": "injection", "fan": "none"})

    assert "fan" not in [circuit.name for circuit in outcome.circuits]


def _finished(answers: dict[str, str]) -> CarPlan:
    interview = Interview(lambda: ask_car(LAYOUTS, {}))
    while interview.question is not None:
        interview.answer(answers.get(interview.question.key, ""))
    return interview.outcome


def test_a_switch_of_one_circuit_is_a_feed_by_its_own_name() -> None:
    live = {"off": [], "on": ["out"]}
    data = {"switches": {"fan-switch": {"live": live}, "horn-switch": {"live": live}}}

    around = around_of(data, hot="plus")

    assert around.feeds["fan-switch"] == "fan-switch.out"
    assert around.feeds["horn-switch"] == "horn-switch.out"


PUMPED = {"layouts": "injection", "grounded": "minus"}


def _entries(answers: dict[str, str]) -> dict[str, object]:
    """Return the entries by section and name that answers make of an injected car."""
    plan = _finished({**PUMPED, **answers})
    return {
        ".".join((*entry.path, entry.name)): entry.value
        for entry in car_entries(plan, LAYOUTS)
    }


@pytest.mark.parametrize(
    ("relay", "terminal", "goes", "lead"),
    [
        ("high", "85", "inertia-switch.feed via 18 AWG 4 ft", "inertia-ground"),
        ("ignition", "85", "inertia-switch.feed via 18 AWG 4 ft", "inertia-ground"),
        # a controller's low side is on 85, so the switch is on the coil's other side
        ("low", "86", "inertia-switch.out via 18 AWG 4 ft", "inertia-feed"),
    ],
)
def test_an_inertia_switch_is_in_the_coil_of_the_pumps_relay(
    relay: str, terminal: str, goes: str, lead: str
) -> None:
    made = _entries({"fuel-pump": f"relay {relay}, inertia-switch trunk"})

    pump, wire = made["circuits.fuel-pump"], made[f"wires.{lead}"]
    assert isinstance(pump, dict)
    assert isinstance(wire, dict)
    assert pump["relay"][terminal] == goes
    assert "inertia-switch" in f"{wire['from']} {wire['to']}"
    assert made["switches.inertia-switch"] == {
        "place": "trunk",
        "live": {"set": ["out"], "tripped": []},
    }


def test_an_inertia_switch_is_in_the_feed_of_a_pump_without_a_relay() -> None:
    made = _entries({"fuel-pump": "feed switched, relay none, inertia-switch dash"})

    feed, pump = made["circuits.inertia-feed"], made["circuits.fuel-pump"]
    assert isinstance(feed, dict)
    assert isinstance(pump, dict)
    assert (feed["fuse"], feed["to"]) == ("15 A", "inertia-switch.feed")
    assert (pump["from"], "fuse" in pump) == ("inertia-switch.out", False)


def test_a_blower_is_slowed_by_a_resistor_of_its_switch() -> None:
    made = _entries({"blower": "resistor 1.5"})

    resistor, switch = made["parts.blower-resistor"], made["switches.blower-switch"]
    assert isinstance(resistor, dict)
    assert isinstance(switch, dict)
    assert resistor["values"] == {"ohms": "1.5 ohm"}
    assert switch["live"] == {"off": [], "low": ["low"], "on": ["out"]}


def test_a_resistor_without_a_switch_is_left_out_and_said() -> None:
    plan = _finished({**PUMPED, "blower": "resistor 1.5, switch none"})
    made = {entry.name: entry for entry in car_entries(plan, LAYOUTS)}

    assert "blower-resistor" not in made
    assert made["blower"].comment == "left out: resistor, as no switch is in its feed"


@pytest.mark.parametrize(
    ("grounded", "anode"), [("minus", "exciter-joint"), ("plus", "alternator.exciter")]
)
def test_a_diode_in_the_exciter_wire_lets_the_lamps_current_through(
    grounded: str, anode: str
) -> None:
    made = _entries({"alternator": "exciter-diode yes", "grounded": grounded})

    lamp, diode = made["circuits.charge-lamp"], made["parts.exciter-diode"]
    assert isinstance(lamp, dict)
    assert isinstance(diode, dict)
    assert lamp["ground"] == "exciter-joint via 18 AWG 1 ft"
    assert diode["terminals"]["a"].partition(" ")[0] == anode


def test_an_engine_that_runs_on_keeps_its_pumps_output_on() -> None:
    made = _entries({"ignition-switch": "run-on yes"})

    controller = made["controllers.engine-controller"]
    assert isinstance(controller, dict)
    outputs = controller["outputs"]
    assert made["states.run-on"] == {}
    assert "run-on" in outputs["fuel-pump-output"]["on-in"]
    assert "run-on" not in outputs["fan-output"]["on-in"]


def test_what_only_some_circuits_have_is_asked_of_them_alone() -> None:
    asked = _asked_until("headlamps", {"added": "headlamps"})

    assert asked.question is not None
    assert not any("crash" in line or "ohms" in line for line in asked.question.says)
