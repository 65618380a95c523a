"""Leads, exchanges and parts taken off, as they are typed and noted."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.store.case_store import CaseStore
from diagnose.store.journal import Journal
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.dialogue.typed.completion import suggestions
from diagnose.terminal.pages.plain import plain_text

COMPLAINT = "complaint no-crank"


def told(casebook: Casebook, line: str) -> SubstitutionFact:
    """Return the fact that a line tells of a car that does not crank."""
    conversation = Conversation(casebook)
    conversation.open()
    conversation.hear("1")
    conversation.hear("skip all")
    conversation.hear(COMPLAINT)
    page = conversation.hear(line)
    fact = casebook.standing[-1]
    assert isinstance(fact, SubstitutionFact), plain_text(page, width=100)
    return fact


def heard(casebook: Casebook, line: str) -> str:
    conversation = Conversation(casebook)
    conversation.open()
    conversation.hear("1")
    conversation.hear("skip all")
    return plain_text(conversation.hear(line), width=300)


@pytest.mark.parametrize(
    "line",
    [
        "bridge battery.minus engine.block engine-cranks yes",
        "bridge battery.minus to engine.block: engine-cranks yes",
        "bridge battery.minus engine.block cranking engine-cranks yes",
        "bridge battery.minus engine.block helps",
        "bridged battery.minus to engine.block and it worked",
    ],
)
def test_lead_is_understood_in_every_wording(casebook: Casebook, line: str) -> None:
    fact = told(casebook, line)

    assert fact.substitution.kind is SubstitutionKind.BRIDGE
    assert fact.substitution.ends == {"battery.minus", "engine.block"}
    assert fact.seen == SymptomFact(symptom="engine-cranks", is_present=True)


@pytest.mark.parametrize(
    "line",
    [
        "swap starter-solenoid: no change",
        "swap starter-solenoid engine-cranks no",
        "swapped starter-solenoid, still dead",
    ],
)
def test_no_change_is_that_of_the_complaint(casebook: Casebook, line: str) -> None:
    fact = told(casebook, line)

    assert fact.substitution.kind is SubstitutionKind.SWAP
    assert fact.seen == SymptomFact(symptom="engine-cranks", is_present=False)


def test_a_terminal_alone_is_that_of_the_only_part_that_has_it(
    casebook: Casebook,
) -> None:
    fact = told(casebook, "bridged 30 to starter.plus and it ran")

    assert fact.substitution.ends == {"starter-solenoid.30", "starter.plus"}


def test_of_several_parts_with_a_terminal_it_is_asked_which(
    sedan_model: Model,
) -> None:
    casebook = Casebook(Diagnosis(sedan_model), Journal(None))

    shown = heard(casebook, "bridged 30 to 87 and it ran")

    assert "30 of which part? It is at " in shown
    assert "fan-relay.30" in shown


@pytest.mark.parametrize(("word", "value"), [("holds", 0.0), ("blows", 1.0)])
def test_fuse_holds_or_blows(casebook: Casebook, word: str, value: float) -> None:
    seen = told(casebook, f"unplug fuel-pump fuse fuel-pump-fuse {word}").seen

    assert isinstance(seen, ReadingFact)
    assert seen.reading.kind is ReadingKind.LOOK
    assert seen.reading.red == "fuel-pump-fuse"
    assert seen.value == value


@pytest.mark.parametrize(
    "line",
    [
        "unplug fuel-pump fuel-pump.plus key-on 12.4",
        "unplug fuel-pump read fuel-pump.plus key-on 12.4",
        "unplug fuel-pump 12.4 at fuel-pump.plus key-on",
    ],
)
def test_reading_is_told_of_the_changed_car(casebook: Casebook, line: str) -> None:
    seen = told(casebook, line).seen

    assert isinstance(seen, ReadingFact)
    assert (seen.reading.red, seen.reading.state) == ("fuel-pump.plus", "key-on")
    assert seen.value == 12.4


def test_a_bare_number_with_the_battery_off_is_ohms(casebook: Casebook) -> None:
    seen = told(casebook, "unplug fuel-pump fuel-pump.plus isolated 0.3").seen

    assert isinstance(seen, ReadingFact)
    assert seen.reading.kind is ReadingKind.OHMS
    assert seen.value == 0.3


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("bridge battery.plus", "type it like this: bridge NODE NODE SYMPTOM yes|no"),
        ("swap starter-solenoid", "And what did the car do then?"),
        ("swap starter-solenod engine-cranks yes", "starter-solenoid"),
        ("bridge battery.plus battery.minus engine-cranks no", "short the battery"),
    ],
)
def test_mistake_is_one_message_and_nothing_is_noted(
    casebook: Casebook, line: str, says: str
) -> None:
    shown = heard(casebook, line)

    assert says in shown
    assert not any(isinstance(f, SubstitutionFact) for f in casebook.standing)


def test_test_is_on_disk_and_comes_back(
    new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    first = new_casebook()
    fact = told(first, "swap starter-solenoid no change")
    assert store.facts("sunday")[-1].kind == "substitution"

    again = new_casebook()
    again.restore(store.facts("sunday"))

    assert again.standing[-1] == fact


def test_test_is_listed_and_taken_back(casebook: Casebook) -> None:
    told(casebook, "swap starter-solenoid no change")
    conversation = Conversation(casebook)
    conversation.open()

    listed = plain_text(conversation.hear("facts"), width=100)
    conversation.hear("undo")

    assert "with another starter-solenoid: engine-cranks: no" in listed
    assert not any(isinstance(f, SubstitutionFact) for f in casebook.standing)


def test_parts_and_symptoms_are_completed(casebook: Casebook) -> None:
    vocabulary = casebook.diagnosis.vocabulary

    parts = [one.word for one in suggestions("swap starter", vocabulary)]
    seen = [one.word for one in suggestions("swap starter-solenoid engine", vocabulary)]

    assert "starter-solenoid" in parts
    assert "start-wire" not in parts
    assert "engine-cranks" in seen


# As people tell it: the relay named behind its terminals, and a comma.
@pytest.mark.parametrize(
    "line",
    [
        "bridged 30 to 87 of the fan relay and it did not run",
        "bridged 30 to 87 on fan-relay, it did not run",
    ],
)
def test_relay_is_named_behind_its_terminals(sedan_model: Model, line: str) -> None:
    casebook = Casebook(Diagnosis(sedan_model), Journal(None))
    heard(casebook, "complaint fan-does-not-run")
    shown = heard(casebook, line)

    fact = casebook.standing[-1]
    assert isinstance(fact, SubstitutionFact), shown
    assert fact.substitution.ends == {"fan-relay.30", "fan-relay.87"}
    assert fact.seen == SymptomFact(symptom="fan-runs", is_present=False)
