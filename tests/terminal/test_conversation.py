"""A conversation with the real engine on a small car: nothing told is ever lost."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.casebook import Casebook
from diagnose.session.facts import (
    ComplaintFact,
    LimitFact,
    ReadingFact,
    SkipFact,
    SymptomFact,
)
from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import CaseStore
from diagnose.store.journal import Journal
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.dialogue.side_pages import path_of
from diagnose.terminal.dialogue.typed.commands import COMMANDS
from diagnose.terminal.pages.plain import plain_text

OPEN_PUMP_FEED = ("1", "skip all", "read fuel-pump-fuse.out key-on 12.3")


def text(conversation: Conversation, *lines: str) -> str:
    """Say lines and return the page that answers the last one."""
    page = conversation.open()
    for line in lines:
        page = conversation.hear(line)
    return plain_text(page, width=100)


def test_the_first_question_is_what_is_wrong(casebook: Casebook) -> None:
    shown = text(Conversation(casebook))

    assert "What is wrong with the car?\n  Group: it cranks, but does not" in shown
    assert "\n  1. It cranks but does not start\n" in shown


def test_a_number_chooses_the_complaint(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "1")

    assert shown.startswith("Noted:\n  complaint: It cranks but does not start\n")
    first = next(iter(casebook.diagnosis.vocabulary.complaints))
    assert casebook.standing == (ComplaintFact(complaint=first),)


def test_trouble_described_in_words_is_looked_up(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "the starter just clicks")

    number = 1 + list(casebook.diagnosis.vocabulary.complaints).index(
        "starter-clicks-only"
    )
    assert f"Trouble:\n  {number}. The starter only clicks\n" in shown
    assert "  starter-clicks-only: At the key's start position" in shown
    assert shown.endswith("type the number of what is meant, or other words for it\n")


def test_list_before_the_first_start_can_be_asked_for(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "prestart")

    assert "Before the first start: 0 of " in shown
    assert "reading 1 of " in shown
    assert "Type: the number, skip, undo, help, leave" in shown


def test_owner_who_lacks_something_is_still_asked_what_is_wrong(
    casebook: Casebook,
) -> None:
    casebook.tell(LimitFact(limit="clamp", is_lacking=True))

    assert "What is wrong with the car?" in text(Conversation(casebook))


def test_complaint_alone_lists_their_names(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "1", "skip all", "complaint")

    vocabulary = casebook.diagnosis.vocabulary
    of_groups = {one for names in vocabulary.complaint_groups.values() for one in names}
    for name in vocabulary.complaints:
        assert (f"{name}:" if name in of_groups else name) in shown


def test_limit_can_be_told_at_any_time(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "1", "skip all", "without helper")

    assert shown.startswith("Noted:\n  without helper: nobody to turn the key")


def test_trouble_may_be_described_after_none_was_chosen(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    conversation.open()
    conversation.hear("")

    shown = plain_text(conversation.hear("pump dead"), width=100)
    number = shown.split("Trouble:\n  ")[1].split(".")[0]
    conversation.hear(number)

    assert casebook.standing[0] == ComplaintFact(complaint="pump-does-not-run")


def test_words_that_match_nothing_are_told_so(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "xyzzy")

    assert '"xyzzy" is not understood' in shown


def test_skip_skips_a_question_about_the_past(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    conversation.hear("1")
    shown = text(conversation, *["skip"] * len(casebook.answer.contexts_open))

    assert "Suspects:\n  1. " in shown
    assert "History:" not in shown


def test_all_questions_about_the_past_are_skipped_at_once(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "1", "1", "skip all")

    assert "Suspects:\n  1. " in shown
    assert "History:" not in shown
    assert len(casebook.standing) == 2


def test_no_more_questions_may_be_said_where_none_is_left(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, "1", "skip all")

    assert text(conversation, "skip all").startswith("Suspects:\n")


def test_questions_about_the_past_can_be_skipped(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    conversation.hear("1")
    shown = text(conversation, *[""] * len(casebook.answer.contexts_open))

    assert "Suspects:\n  1. " in shown
    assert "  Measure: " in shown or "  Look for: " in shown
    assert len(casebook.standing) == 1


def test_an_answer_about_the_past_is_told(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "1", "1")

    assert shown.startswith("Noted:\n  began: suddenly\n")


def test_only_telling_questions_about_the_past_are_asked(casebook: Casebook) -> None:
    text(Conversation(casebook), "1")
    asked = list(casebook.answer.contexts_open)

    assert asked[0] == "began"
    assert 1 < len(asked) < len(casebook.diagnosis.vocabulary.contexts)


def test_without_a_complaint_symptoms_can_be_told(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "", "skip all", "symptom engine-cranks no")

    assert shown.startswith("Noted:\n  engine-cranks: no\n")
    assert "Suspects:\n  1. " in shown


def test_each_fact_is_stored_before_its_page_is_returned(
    casebook: Casebook, store: CaseStore
) -> None:
    conversation = Conversation(casebook)
    counts = []
    for line in OPEN_PUMP_FEED:
        conversation.hear(line)
        counts.append(len(store.facts("sunday")))

    # By hand: the complaint, the questions skipped, one reading.
    assert counts == [1, 1, 2]


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("read fuel-pump.plus key-on 900", "900 V can't be"),
        ("read fuel-pmup.plus key-on 3", 'nearest is "fuel-pump.plus"'),
        ("read fuel-pump.plus noon 3", 'no operating state "noon"'),
        ("read fuel-pump.plus fuel-pump.minus idle -5 ohm", "-5 ohm can't be"),
        ("read fuel-pump.plus fuel-pump.minus idle 2 ohm", "disconnect the battery"),
        ("hello", '"hello" is not understood'),
    ],
)
def test_a_mistake_is_told_and_nothing_is_lost(
    casebook: Casebook, store: CaseStore, line: str, message: str
) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)
    before = (casebook.answer, store.facts("sunday"))

    shown = plain_text(conversation.hear(line), width=200)
    assert message in shown
    assert (casebook.answer, store.facts("sunday")) == before


def test_a_symptom_told_both_ways_is_asked_about(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    shown = text(
        conversation, "", "", "", "", "symptom engine-cranks yes", "symptom eng n"
    )

    assert '"eng" fits several' in shown
    shown = plain_text(conversation.hear("symptom engine-cranks no"), width=100)
    assert "Which holds?\n  1. yes, as before\n  2. no, as just typed\n" in shown


@pytest.mark.parametrize(("choice", "holds"), [("", True), ("1", True), ("2", False)])
def test_the_answer_that_holds_is_kept(
    casebook: Casebook, choice: str, holds: bool
) -> None:
    told = ("", "", "", "", "symptom engine-cranks yes", "symptom pump-primes yes")
    text(Conversation(casebook), *told, "symptom engine-cranks no", choice)

    standing = {
        fact.symptom: fact.is_present
        for fact in casebook.standing
        if isinstance(fact, SymptomFact)
    }
    assert standing == {"engine-cranks": holds, "pump-primes": True}


def test_a_struck_out_fact_no_longer_counts(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, *OPEN_PUMP_FEED, "symptom engine-cranks yes", "strike 2")

    assert shown.startswith("Struck:\n  12.3 V at fuel-pump-fuse.out, key-on\n")
    assert [type(fact) for fact in casebook.standing] == [ComplaintFact, SymptomFact]


def test_undo_brings_back_the_answer_before(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED[:-1])
    before = casebook.answer
    conversation.hear(OPEN_PUMP_FEED[-1])

    shown = plain_text(conversation.hear("undo"), width=100)
    assert shown.startswith("Undone:\n  12.3 V at fuel-pump-fuse.out, key-on\n")
    assert casebook.answer == before


def test_undoing_everything_asks_again_what_is_wrong(casebook: Casebook) -> None:
    assert "What is wrong with the car?" in text(Conversation(casebook), "1", "undo")


def test_a_restored_case_gives_the_same_answer(
    casebook: Casebook, new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    text(Conversation(casebook), *OPEN_PUMP_FEED, "symptom engine-cranks yes", "undo")
    restored = new_casebook()

    assert restored.restore(store.facts("sunday")) == ()
    assert restored.answer == casebook.answer


def test_a_stored_skip_of_no_known_step_is_struck_out(
    casebook: Casebook, new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    text(Conversation(casebook), "1", "skip all")
    skip = FactRow(kind="skip", content={"step": "the pump"})
    count = len(store.facts("sunday"))
    store.append("sunday", [skip], after=count, standing="")
    restored = new_casebook()

    (reason,) = restored.restore(store.facts("sunday"))
    assert reason == '"the pump" is not a step; expected kind|state|red|black'
    assert restored.standing == casebook.standing
    assert new_casebook().restore(store.facts("sunday")) == ()


def test_a_restored_case_goes_on_where_it_stood(
    casebook: Casebook, new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    text(Conversation(casebook), *OPEN_PUMP_FEED)
    restored = new_casebook()
    restored.restore(store.facts("sunday"))
    shown = text(Conversation(restored), "symptom engine-cranks yes")

    assert "Noted:\n  engine-cranks: yes\n" in shown
    assert [row.kind for row in store.facts("sunday")] == [
        "complaint",
        "reading",
        "symptom",
    ]


def test_a_repair_is_proven_by_the_complaint_itself(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    first = casebook.diagnosis.vocabulary.causes
    cause = next(name for name in first if name.startswith("fuel-pump-wire:open"))
    shown = text(
        conversation, *OPEN_PUMP_FEED, f"done {cause}", "symptom engine-starts yes"
    )

    assert "Advice: The complaint is gone" in shown
    assert conversation.prompt == "next"


def test_leave_ends_the_conversation_and_says_how_to_go_on(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    conversation.hear("leave")

    assert conversation.is_over
    assert plain_text(conversation.farewell(), width=100) == (
        "End:\n  Case sunday is kept. Go on by: diagnose resume sunday\n"
    )


def test_a_case_that_can_not_be_saved_is_told_once(casebook: Casebook) -> None:
    unsaved = Casebook(casebook.diagnosis, Journal(None, failure="disk is full"))
    conversation = Conversation(unsaved)

    assert text(conversation).startswith("Saving:\n  The case can't be saved (disk is")
    assert "saved" not in plain_text(conversation.hear("1"), width=100)
    assert "not saved" in plain_text(conversation.farewell(), width=100)


@pytest.mark.parametrize("line", ["help", "causes", "facts", "why 1", "expect", "next"])
def test_pages_that_only_show_tell_nothing(
    casebook: Casebook, store: CaseStore, line: str
) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)

    assert plain_text(conversation.hear(line), width=100)
    assert len(store.facts("sunday")) == 2


def test_striking_the_complaint_asks_again_what_is_wrong(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), *OPEN_PUMP_FEED, "strike 1")

    assert "What is wrong with the car?" in shown
    assert len(casebook.standing) == 1


def test_undoing_the_last_symptom_asks_again_what_is_wrong(casebook: Casebook) -> None:
    told = (
        "",
        "skip all",
        "read battery.plus key-off 12.5",
        "symptom engine-cranks no",
    )
    shown = text(Conversation(casebook), *told, "undo")

    assert "What is wrong with the car?" in shown


def test_a_question_which_holds_outlives_a_line_not_understood(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    told = ("", "", "", "", "symptom engine-cranks yes", "symptom engine-cranks no")
    text(conversation, *told, "xyzzy", "2")

    (standing,) = (f for f in casebook.standing if isinstance(f, SymptomFact))
    assert not standing.is_present


def test_a_number_is_no_reading_where_a_repair_is_advised(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED, "read fuel-pump.plus key-on 0.01")
    for _ in range(100):
        if conversation.prompt == "done":
            break
        text(conversation, "skip")
    before = casebook.answer.facts

    assert conversation.prompt == "done"
    assert "no reading is asked for just now" in text(conversation, "12.3")
    assert casebook.answer.facts == before
    text(conversation, "a")
    assert conversation.prompt != "done"


def test_answer_is_about_the_step_on_the_screen(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)
    on_screen = casebook.answer.next_steps[0].step
    # what completing an answer may do meanwhile: another step comes first
    casebook.diagnosis.tell(SkipFact(step=on_screen))

    assert casebook.answer.next_steps[0].step != on_screen
    conversation.hear("no" if isinstance(on_screen, SymptomCheck) else "0.02")
    told = casebook.standing[-1]
    if isinstance(told, SymptomFact):
        assert SymptomCheck(symptom=told.symptom) == on_screen
    else:
        assert isinstance(told, ReadingFact)
        assert told.reading == on_screen


def test_next_shows_an_answer_completed_meanwhile(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)
    casebook.diagnosis.tell(SkipFact(step=casebook.answer.next_steps[0].step))
    page = plain_text(conversation.hear("next"), width=100)

    assert "worked out further since the page before" in page
    on_screen = casebook.answer.next_steps[0]
    conversation.hear("yes")
    told = casebook.standing[-1]
    assert isinstance(told, SymptomFact)
    assert SymptomCheck(symptom=told.symptom) == on_screen.step


def test_farewell_says_how_to_go_on_where_the_case_is_kept(casebook: Casebook) -> None:
    conversation = Conversation(casebook, kept_where="--data-folder here")

    end = plain_text(conversation.farewell(), width=200)
    assert end.rstrip().endswith(" --data-folder here")


def test_help_has_every_command(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "help").replace("\n    ", " ")

    assert [one.usage for one in COMMANDS.values() if one.usage not in shown] == []


def test_enter_after_another_page_shows_the_question_and_answers_nothing(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    asked = text(conversation, "1")
    conversation.hear("help")

    shown = plain_text(conversation.hear(""), width=100)
    assert shown in asked
    assert plain_text(conversation.hear(""), width=100) != shown


@pytest.mark.parametrize("line", ["suddenly", "1)", "1.", "#1", "sud"])
def test_a_choice_is_typed_as_people_do(casebook: Casebook, line: str) -> None:
    assert text(Conversation(casebook), "1", line).startswith(
        "Noted:\n  began: suddenly"
    )


def test_none_of_the_complaints_is_taken_back_and_asks_no_history(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, "")
    assert "Say what is wrong: choose a complaint, or name a symptom." in shown
    assert "History:" not in shown

    again = text(conversation, "undo")

    assert again.startswith("Undone:\n  the question is open again\n")
    assert "What is wrong with the car?" in again
    assert "nothing to take back" in text(conversation, "undo")


def test_volts_across_the_posts_have_no_path(casebook: Casebook) -> None:
    car, diagnosis = casebook.diagnosis.car, casebook.diagnosis
    steps = {
        red: diagnosis.expect(
            Reading(
                kind=ReadingKind.DC_VOLTS,
                state="cranking",
                red=red,
                black="battery.minus",
            )
        )
        for red in ("battery.plus", "starter.plus")
    }

    assert path_of(steps["battery.plus"], car) == ()
    assert path_of(steps["starter.plus"], car)


def test_the_same_as_before_is_asked_once_and_not_offered_twice(
    casebook: Casebook,
) -> None:
    shown = text(
        Conversation(casebook), "4", "skip all", "12.1", "skip", "skip", "same"
    )

    assert shown.startswith("Sure?:\n  Did you mean 12.1 V at ")
    assert "(the reading before)?\n" in shown
    assert "as typed" not in shown


def test_a_group_of_complaints_is_shown_by_its_letter(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "b")

    assert "It does not crank" in shown
    assert "It cranks but does not start" not in shown


def test_undo_takes_back_that_questions_were_skipped(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    asked = text(conversation, "1")
    conversation.hear("skip all")

    shown = plain_text(conversation.hear("undo"), width=100)
    assert shown.startswith("Undone:\n  the question is open again\n")
    assert asked.partition("History:")[2] == shown.partition("History:")[2]
    assert len(casebook.standing) == 1


TWO_READINGS = "read battery.plus key-off 12.5; read fuel-pump-fuse.out key-on 12.3"


def test_several_readings_in_one_line_are_told_and_taken_back_together(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, *OPEN_PUMP_FEED[:-1], TWO_READINGS)

    assert shown.startswith(
        "Noted:\n  12.5 V at battery.plus, key-off\n"
        "  12.3 V at fuel-pump-fuse.out, key-on\n"
    )
    assert len(casebook.standing) == 3
    conversation.hear("undo")
    assert len(casebook.standing) == 1


def test_of_several_readings_all_are_taken_or_none(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    pasted = TWO_READINGS.replace("; ", "\n") + "\nread nowhere key-on 3"
    shown = text(conversation, *OPEN_PUMP_FEED[:-1], pasted)

    assert "answer 3: " in shown
    assert "None of them was taken" in " ".join(shown.split())
    assert len(casebook.standing) == 1


# The battery's own volts can't be below zero on this car.
SWAPPED = (
    "1",
    "skip all",
    "read battery.plus key-off 12.5",
    "read battery.plus key-on -12.3",
)


@pytest.mark.parametrize("line", ["", "1", "yes"])
def test_a_reading_with_its_leads_swapped_is_asked_about(
    casebook: Casebook, line: str
) -> None:
    conversation = Conversation(casebook)
    asked = text(conversation, *SWAPPED)
    assert "Did you mean 12.3 V at battery.plus, key-on?" in asked
    assert "leads swapped" in asked
    assert len(casebook.standing) == 2

    shown = plain_text(conversation.hear(line), width=100)
    assert shown.startswith(
        "Noted:\n  12.3 V at battery.plus, key-on (told as -12.3 V)"
    )


def test_a_reading_that_is_told_twice_is_believed(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, *SWAPPED, SWAPPED[-1])

    assert "told twice, so it is believed" in shown
    assert casebook.answer.facts[-1] == "-12.3 V at battery.plus, key-on"


def test_a_reading_that_was_asked_about_is_restored_as_taken(
    casebook: Casebook, new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    text(Conversation(casebook), *SWAPPED, "")
    restored = new_casebook()
    restored.restore(store.facts("sunday"))

    assert restored.answer.facts == casebook.answer.facts


def test_a_case_gone_on_with_has_the_page_that_was_left(
    casebook: Casebook, new_casebook: Callable[[], Casebook], store: CaseStore
) -> None:
    left = text(Conversation(casebook), *OPEN_PUMP_FEED, "b")
    at_step = store.find("sunday").at_step
    restored = new_casebook()
    restored.restore(store.facts("sunday"))

    shown = text(Conversation(restored, resumed_at=at_step))
    assert shown.startswith("Before:\n  you were about to ")
    card = shown[shown.index("Suspects:") :]
    assert card == left[left.index("Suspects:") :]


def test_a_step_no_longer_proposed_is_on_the_page_of_who_comes_back(
    casebook: Casebook,
) -> None:
    text(Conversation(casebook), *OPEN_PUMP_FEED)
    at_step = "volts|key-off|battery.plus|battery.minus"

    conversation = Conversation(casebook, resumed_at=at_step)
    assert "Red: battery.plus" in text(conversation)
    conversation.hear("12.5")
    assert casebook.answer.facts[-1] == "12.5 V at battery.plus, key-off"


def test_a_better_step_is_offered_and_the_page_stays(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, *OPEN_PUMP_FEED)
    assert conversation.offer == ""
    casebook.tell(SymptomFact(symptom="engine-cranks", is_present=True))
    casebook.tell(LimitFact(limit="clamp", is_lacking=True))

    page = plain_text(conversation.hear(""), width=100)
    assert page.partition("Suspects:")[2] == shown.partition("Suspects:")[2]


def test_the_end_says_what_was_wrong_what_proved_it_and_what_it_took(
    casebook: Casebook,
) -> None:
    cause = next(
        name
        for name in casebook.diagnosis.vocabulary.causes
        if name.startswith("fuel-pump-wire:open")
    )
    told = (*OPEN_PUMP_FEED, f"done {cause}", "symptom engine-starts yes")

    shown = text(Conversation(casebook), *told)
    says = casebook.diagnosis.vocabulary.causes[cause]
    assert f"  Wrong: {says}\n" in shown
    assert "  Proof: engine-starts: yes\n" in shown
    assert "  Took: 1 reading, 1 thing seen or heard, 1 repair\n" in shown
    assert "Learning: it counts as a closed case" in shown


def test_skipping_the_proof_offers_another_or_the_complaint_itself(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, *OPEN_PUMP_FEED, "done 1")
    seen = set()
    for _ in range(12):
        step = conversation.prompt
        card = shown[shown.index("Advice:") :].partition("  Type:")[0]
        assert card not in seen
        seen.add(card)
        if step == "yes or no":
            break
        shown = plain_text(conversation.hear("skip"), width=100)

    assert "the complaint itself has to be gone" in " ".join(shown.split())


def test_path_shows_the_way_of_a_point_at_the_prompt(casebook: Casebook) -> None:
    shown = text(Conversation(casebook), "path fuel-pump.plus battery.minus")

    order = ["switch-feed, 12 AWG 0.61 m", "fuel-pump-fuse, 15 A", "<- red lead"]
    order += ["fuel-pump, 7 A", "battery.minus <- black lead"]
    places = [" ".join(shown.split()).index(words) for words in order]
    assert places == sorted(places)


def test_a_part_is_complained_of_by_its_letter_name_and_number(
    casebook: Casebook,
) -> None:
    conversation = Conversation(casebook)
    words = casebook.diagnosis.vocabulary
    letter = "abcdefghij"[len(words.complaint_groups)]
    part, names = next(iter(words.part_complaints.items()))
    number = tuple(words.complaints).index(names[-1]) + 1

    listed = text(conversation, letter)
    of_part = text(conversation, part)
    text(conversation, str(number))

    assert all(one in " ".join(listed.split()) for one in words.part_complaints)
    assert f"{number}. {words.complaints[names[-1]]}" in of_part
    assert ComplaintFact(complaint=names[-1]) in casebook.standing


def test_what_comes_and_goes_is_asked_when_it_comes(casebook: Casebook) -> None:
    vocabulary = casebook.diagnosis.vocabulary
    conversation = Conversation(casebook)
    shown = text(conversation, "1", "context began comes_and_goes")

    assert "History:\n  When does it come?\n  1. in turns or over bumps\n" in shown
    shown = text(conversation, "2")
    assert shown.startswith("Noted:\n  starts-again-after-cooling: yes\n")
    assert "When does it come?" not in shown
    # taken back, the question is open again
    assert "When does it come?" in text(conversation, "undo")
    assert tuple(vocabulary.whens)[1] == "starts-again-after-cooling"


@pytest.mark.parametrize(
    ("complaint", "is_asked_when"),
    [("engine-cuts-out", True), ("dies-when-hot", False)],
)
def test_a_complaint_that_says_how_it_began_is_not_asked(
    complaint: str, is_asked_when: bool, casebook: Casebook
) -> None:
    conversation = Conversation(casebook)
    shown = text(conversation, f"complaint {complaint}")
    asked = 0
    while "History:" in shown:
        assert "How did it begin" not in shown
        asked += "When does it come?" in shown
        shown = text(conversation, "")

    assert asked == is_asked_when


def test_a_complaint_is_chosen_without_the_word_it_begins_with(
    casebook: Casebook,
) -> None:
    shown = text(Conversation(casebook), "does not crank")

    assert shown.startswith("Noted:\n  complaint: It does not crank\n")


def test_a_part_stands_for_the_likeliest_of_its_causes(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)
    best = casebook.answer.causes[0].name
    shown = text(conversation, f"done {best.split(':')[0]}")

    assert shown.startswith(f"Noted:\n  repaired: {best}\n")


def test_undo_at_a_question_drops_the_line_that_brought_it(casebook: Casebook) -> None:
    conversation = Conversation(casebook)
    text(conversation, *OPEN_PUMP_FEED)
    standing = casebook.standing
    asked = text(conversation, "read fuel-pump-fuse.out key-on 41")
    assert asked.startswith("Sure?:\n")

    assert text(conversation, "undo").startswith("Forgotten:\n")
    assert casebook.standing == standing
    assert text(conversation, "undo").startswith("Undone:\n  12.3 V at")
