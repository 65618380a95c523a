"""Pages say what matters, the caution first, and fit a screen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from io import StringIO
from types import SimpleNamespace
from typing import cast

import pytest
from rich.console import Console

from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.steps import step_of_name
from diagnose.paperwork.drawing.path_rows import PathRow
from diagnose.session.answer import Advice, Answer, ExpectedValue, Verdict, Weight
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.terminal.pages import (
    answers,
    complaints,
    explanations,
    questions,
    suspects,
)
from diagnose.terminal.pages.notebook import UNICODE_INK, Notebook
from diagnose.terminal.pages.page import Page
from diagnose.terminal.pages.plain import plain_text
from tests.terminal.sample_records import ANSWER, CRANK_CAUTION, RELAY, VOCABULARY, WIRE


def page(
    answer: Answer = ANSWER,
    *,
    step_index: int | None = 0,
    seen: frozenset[str] = frozenset(),
    path: Sequence[PathRow] = (),
) -> Page:
    return answers.answer_page(
        answer,
        step_index=step_index,
        seen_cautions=seen,
        vocabulary=VOCABULARY,
        path=path,
    )


def plain(shown: Page) -> str:
    return plain_text(shown, width=100)


def advised(verdict: Verdict, says: str) -> Answer:
    advice = Advice(
        verdict=verdict, says=says, cautions=("Battery off first.",), cause=RELAY.name
    )
    return replace(ANSWER, advice=advice)


def repair_with_a_step_of_the_same_caution() -> Answer:
    answer = advised(Verdict.REPAIR, "Mend it now: replace pump-relay.")
    advice = replace(answer.advice, cautions=(CRANK_CAUTION,))
    return replace(answer, advice=advice)


def test_a_page_holds_suspects_step_expectations_and_other_steps() -> None:
    assert plain(page(seen=answers.shown_cautions(ANSWER, 0))) == (
        "Suspects:\n"
        "  1. 62 %: pump-relay: contacts burnt\n"
        "  2. 30 %: pump-wire: open circuit\n"
        "  anything else: about 8 %\n"
        "\n"
        "  Caution: Stand clear.\n"
        "  Measure: DC volts\n"
        "  Place: tank\n"
        "  Red: pump.plus\n"
        "  Black: battery.minus\n"
        "  Car: key on, pump priming\n"
        "  Good: 11.9 to 12.4 V\n"
        "  Suspects 1, 2: 0 to 4 V\n"
        "  Why: what is good clears the two suspects; takes 4 min\n"
        "Or:\n"
        "  b: look at pump-fuse, key off (1 min)\n"
        "  c: Does the pump hum at key on? (key on; 1 min)\n"
        "  Type: the number, skip, why, undo, help, leave\n"
    )


def test_the_whole_caution_and_its_line_stand_before_the_step() -> None:
    text = plain(page())

    assert (
        text.index(CRANK_CAUTION)
        < text.index("Caution: Stand clear.")
        < text.index("Red: pump.plus")
    )


def test_a_caution_read_before_comes_again_in_one_line() -> None:
    text = plain(page(seen=answers.shown_cautions(ANSWER, 0)))

    assert "  Caution: Stand clear.\n" in text
    assert CRANK_CAUTION not in text


def test_a_caution_without_a_line_of_its_own_is_always_told_in_full() -> None:
    (first, *rest) = ANSWER.next_steps
    step = replace(first, cautions=("Out from under it, then crank.",))
    answer = replace(ANSWER, next_steps=(step, *rest))

    text = plain(page(answer, seen=answers.shown_cautions(answer, 0)))
    assert "  Caution: Out from under it, then crank.\n" in text


def test_a_caution_read_for_measuring_comes_again_in_full_for_mending() -> None:
    answer = repair_with_a_step_of_the_same_caution()
    seen = answers.shown_cautions(ANSWER, 0)

    assert CRANK_CAUTION in plain(page(answer, step_index=None, seen=seen))


def values(*shown: tuple[float, float]) -> str:
    """Return what the page says of two suspects' values, good being 12 to 12.4 V."""
    bands = ((12.0, 12.4), *shown)
    (first, *rest) = ANSWER.next_steps
    told = tuple(
        replace(value, low=low, high=high, words=f"{low:g} to {high:g} V")
        for value, (low, high) in zip(first.expected, bands, strict=True)
    )
    answer = replace(ANSWER, next_steps=(replace(first, expected=told), *rest))
    text = plain(page(answer, seen=answers.shown_cautions(answer, 0)))
    return text[text.index("  Good:") : text.index("Or:")]


def test_every_suspect_has_its_value_or_is_the_same_as_good() -> None:
    assert values((0.0, 4.0), (12.1, 12.5)) == (
        "  Good: 12 to 12.4 V\n"
        "  Suspect 1: 0 to 4 V\n"
        "  Suspect 2: the same as good\n"
        "  Why: tells the two suspects apart; takes 4 min\n"
    )


# By hand: 0.05 V and 2 % of 12.6 V are 0.3 V; two millivolts are nothing.
def test_ranges_that_a_meter_hardly_tells_apart_are_one() -> None:
    assert "Suspects 1, 2: 0 to 0.001 V\n" in values((0.0, 0.001), (-0.002, 0.0))
    assert "Suspect 1: the same as good\n" in values((12.2, 12.6), (0.0, 4.0))
    assert "Suspects 1, 2" not in values((0.0, 0.001), (0.0, 0.2))


def test_ranges_that_lie_over_each_other_do_not_tell_suspects_apart() -> None:
    assert "Why: splits the two suspects in 2; " in values((0.0, 4.0), (3.0, 9.0))
    assert "Why: tells the two suspects apart; " in values((0.0, 4.0), (5.0, 9.0))


def test_ohms_far_below_good_are_another_value() -> None:
    (first, *rest) = ANSWER.next_steps
    bands = {"": (150.0, 8000.0), RELAY.name: (20.0, 8000.0), WIRE.name: (20.0, 30.0)}
    told = tuple(
        replace(value, low=bands[value.cause][0], high=bands[value.cause][1])
        for value in first.expected
    )
    ohms = replace(
        first, step=step_of_name("ohms|isolated|pump.plus|battery.minus"), expected=told
    )
    answer = replace(ANSWER, next_steps=(ohms, *rest))

    assert "the same as good" not in plain(page(answer))


# A short where a sound car is open, and a break where it is not.
@pytest.mark.parametrize("good", [math.inf, 80.0])
def test_a_value_is_never_the_same_as_none(good: float) -> None:
    (first, *rest) = ANSWER.next_steps
    shown = {"": good, RELAY.name: 0.5, WIRE.name: math.inf if good == 80.0 else 90.0}
    told = tuple(
        replace(value, low=shown[value.cause], high=shown[value.cause])
        for value in first.expected
    )
    ohms = replace(
        first, step=step_of_name("ohms|isolated|pump.plus|battery.minus"), expected=told
    )

    assert "the same as good" not in plain(
        page(replace(ANSWER, next_steps=(ohms, *rest)))
    )


def test_chances_about_as_high_are_one_answer() -> None:
    hums = ANSWER.next_steps[2]
    chances = {"": 1.0, RELAY.name: 0.62, WIRE.name: 0.67}
    told = tuple(
        ExpectedValue(cause=cause, says=cause, low=one, high=one, words=f"{one:.0%}")
        for cause, one in chances.items()
    )
    answer = replace(ANSWER, next_steps=(replace(hums, expected=told),))

    assert "  Suspects 1, 2: 62%\n" in plain(page(answer))


def test_where_a_repair_is_stands_below_it() -> None:
    repair = advised(Verdict.REPAIR, "Mend it now: replace pump-relay.")
    advice = replace(repair.advice, where="between a (tank) and b (dash)")
    text = plain(page(replace(repair, advice=advice), step_index=None))

    assert "\n  Place: between a (tank) and b (dash)\n  Then: " in text


def test_two_complaints_are_all_of_it_mended() -> None:
    facts = ("complaint: one", "complaint: two", "repaired: pump-relay:burnt")
    answer = replace(ANSWER, facts=facts, sound_probability=0.3)

    assert "Suspects:\n  all of it mended: 30 %\n" in plain(page(answer))


def test_a_range_that_reaches_good_is_not_the_same_as_good() -> None:
    assert "Suspect 1: 0 to 12.4 V\n" in values((0.0, 12.4), (0.0, 4.0))


def test_the_cautions_page_has_all_of_it() -> None:
    assert CRANK_CAUTION in plain(answers.cautions_page(ANSWER, 0))


def test_another_step_taken_up_is_shown_in_full() -> None:
    text = plain(page(step_index=1))

    assert "  Look: blown or sound?\n  Fuse: pull pump-fuse, look at its link\n" in text
    assert "a: volts at pump.plus, key on (4 min)" in text


def test_repair_advice_has_its_caution_before_it() -> None:
    text = plain(page(advised(Verdict.REPAIR, "Mend it now: replace pump-relay.")))

    assert text.index("Battery off first.") < text.index("Mend: Replace pump-relay.")


def test_the_caution_of_a_repair_does_not_wait_for_that_of_the_next_step() -> None:
    text = plain(page(repair_with_a_step_of_the_same_caution()))

    assert text.index("Caution: Stand clear.\n  Mend: Replace") < text.index(
        "Caution: Stand clear.\n  Measure: "
    )


def test_a_repaired_car_is_told_and_no_step_is_asked() -> None:
    text = plain(page(advised(Verdict.FIXED, "The complaint is gone.")))

    assert "The complaint is gone." in text
    assert "Measure:" not in text


def test_notes_come_first() -> None:
    text = plain(page(replace(ANSWER, notes=("This reading tells nothing.",))))

    assert text.startswith("Mind:\n  This reading tells nothing.\n")


def test_a_cause_under_one_percent_is_not_worth_a_line() -> None:
    text = plain(
        page(replace(ANSWER, causes=(RELAY, replace(WIRE, probability=0.004))))
    )

    assert "Suspects:\n  1. 62 %: pump-relay: contacts burnt\n  anything else" in text


def test_what_the_shown_causes_leave_over_is_told() -> None:
    # By hand: 1 - 0.62 - 0.30 = 0.08.
    assert "  anything else: about 8 %\n" in plain(page())


def test_why_tells_how_strongly_each_fact_speaks() -> None:
    # By the steps in `_weight_words`: 14 dB is strong, under 1 dB neither, 6 dB plain.
    assert plain(explanations.why_page(RELAY)) == (
        "Why:\n"
        "  pump-relay: contacts burnt\n"
        "  now 62 %\n"
        "\n"
        "Evidence:\n"
        "  strongly for: 0.2 V at pump.plus, key-on; it would give 0 to 0.4 V\n"
        "  neither way: pump-hums: no; it would give no\n"
        "  against: engine-cranks: yes; it would give yes\n"
        "\n"
        "Repair:\n"
        "  Replace pump-relay. (12 min)\n"
        "\n"
        "Same:\n"
        "  the same repair mends: pump-relay.contacts:dirty\n"
    )


@pytest.mark.parametrize(
    ("decibans", "fact", "words"),
    [
        # By hand: a yes in 98 of 100 is a no in 2 of 100.
        (12.0, "no", "no; it would give no in 2 of 100 cars, the other causes less"),
        (-12.0, "no", "no; it would give no in 2 of 100 cars, the other causes more"),
        (0.2, "yes", "it would give yes in 98 of 100 cars, the other causes about as"),
    ],
)
def test_why_a_yes_or_no_speaks_for_or_against_is_told(
    decibans: float, fact: str, words: str
) -> None:
    weight = Weight(
        fact=f"runs-with-loads-on: {fact}",
        decibans=decibans,
        expected="yes in 98 of 100",
    )

    text = plain(explanations.why_page(replace(RELAY, evidence=(weight,))))
    assert words in text.replace("\n    ", " ")


def test_after_a_repair_the_first_line_is_how_surely_it_is_mended() -> None:
    told = (*ANSWER.facts, "repaired: pump-wire:open_circuit")
    answer = replace(
        ANSWER,
        facts=told,
        causes=(replace(RELAY, probability=0.05),),
        sound_probability=0.89,
    )

    # By hand: 1 - 0.05 - 0.89 = 0.06.
    assert (
        "Suspects:\n  mended: 89 %\n  1. 5 %: pump-relay: contacts burnt\n"
        "  anything else: about 6 %\n"
    ) in plain(page(answer))


def test_a_proven_repair_has_no_suspects() -> None:
    assert "Suspects:" not in plain(page(advised(Verdict.FIXED, "It is gone.")))


def test_repair_advice_says_what_to_type_when_it_is_done() -> None:
    text = plain(page(advised(Verdict.REPAIR, "Mend it now: replace pump-relay.")))

    assert text.index("Mend: Replace pump-relay.") < text.index(
        "when it is mended type done"
    )


def test_causes_shows_every_line_it_gets_and_says_so() -> None:
    many = tuple(replace(WIRE, name=f"wire-{n}:open") for n in range(17))
    text = plain(suspects.causes_page(replace(ANSWER, causes=many), 0.048))

    assert "  17. " in text
    assert "these are all 17 in the ranking" in text
    assert "at most 5 % before anything was told" in " ".join(text.split())


@pytest.mark.parametrize(
    ("chances", "is_said"), [((0.9, 0.7), True), ((0.9, 0.1), False)]
)
def test_chances_that_add_up_to_more_than_one_are_explained(
    chances: tuple[float, float], is_said: bool
) -> None:
    causes = tuple(replace(ANSWER.causes[0], probability=chance) for chance in chances)

    text = plain(suspects.causes_page(replace(ANSWER, causes=causes), 0.048))
    assert ("two faults may be there together" in " ".join(text.split())) == is_said


def test_symptoms_can_be_asked_about_one_thing() -> None:
    text = plain(questions.symptoms_page(VOCABULARY, "starter"))

    assert "engine-cranks: Does the starter turn the engine?" in text
    assert "pump-hums" not in text


@pytest.mark.parametrize("width", [80, 120])
def test_one_decision_fits_on_a_screen_of_thirty_lines(width: int) -> None:
    console = Console(file=StringIO(), width=width, color_system=None)
    Notebook(console, UNICODE_INK).draw(page())

    assert isinstance(console.file, StringIO)
    assert len(console.file.getvalue().splitlines()) <= 30


def test_a_repair_that_is_advised_leaves_readings_to_their_letters() -> None:
    answer = advised(Verdict.REPAIR, "Mend it now: replace pump-relay.")

    text = plain(page(answer, step_index=None))
    assert "Measure:" not in text
    assert "Or:\n  a: volts at pump.plus" in text
    assert text.endswith(
        "  Type: done, a (to measure more first), why 1, undo, help, leave\n"
    )


def test_a_step_gives_no_number_to_a_cause_that_the_page_does_not_list() -> None:
    unlikely = replace(WIRE, probability=0.004)
    answer = replace(ANSWER, causes=(RELAY, unlikely))

    text = plain(page(answer))
    assert "  Suspect 1: 0 to 4 V\n" in text
    assert "2: 0 to 4 V" not in text


def screen(width: int, height: int, shown: Page) -> list[str]:
    """Return the first screenful of a page."""
    console = Console(
        file=StringIO(),
        width=width,
        height=height,
        force_terminal=True,
        color_system=None,
    )
    return [line.plain for line in Notebook(console, UNICODE_INK).screenfuls(shown)[0]]


def test_on_eighty_by_twenty_four_step_and_suspects_fit_above_the_prompt() -> None:
    lines = screen(80, 24, page(seen=answers.shown_cautions(ANSWER, 0)))

    assert len(lines) <= 23
    shown = "\n".join(lines)
    assert "pump-relay: contacts burnt" in shown
    assert "good │ 11.9 to 12.4 V" in shown
    assert "other steps: b and c" in shown or "look at pump-fuse" in shown


def test_where_it_does_not_fit_the_whole_caution_is_a_screen_of_its_own() -> None:
    lines = screen(80, 12, page())

    assert any(CRANK_CAUTION in line for line in lines)
    assert not any("DC volts" in line for line in lines)


def test_on_a_wide_screen_the_suspects_stand_beside_the_step() -> None:
    lines = screen(120, 40, page(seen=answers.shown_cautions(ANSWER, 0)))

    (line,) = (one for one in lines if "pump-relay: contacts burnt" in one)
    assert "│" in line
    assert line.index("pump-relay") > 70


PATH = (
    PathRow(sign=".", text="battery.plus"),
    PathRow(sign="[=]", text="pump-fuse 15 A"),
    PathRow(sign="o", text="pump.plus  red lead", is_probed=True),
)


def test_on_a_wide_screen_the_path_of_the_reading_stands_under_the_suspects() -> None:
    lines = screen(120, 40, page(seen=answers.shown_cautions(ANSWER, 0), path=PATH))

    (suspect,) = (n for n, one in enumerate(lines) if "contacts burnt" in one)
    (fuse,) = (n for n, one in enumerate(lines) if "pump-fuse 15 A" in one)
    assert fuse > suspect
    assert lines[fuse].index("[=]") > 70


@pytest.mark.parametrize(("width", "height"), [(80, 40), (120, 30)])
def test_the_path_takes_no_room_where_there_is_none(width: int, height: int) -> None:
    seen = answers.shown_cautions(ANSWER, 0)
    lines = screen(width, height, page(seen=seen, path=PATH * 8))

    assert any("contacts burnt" in one for one in lines)
    assert not any("pump-fuse 15 A" in one for one in lines)
    assert not any(one.endswith("path") for one in lines)


def test_of_words_typed_the_rarest_decides() -> None:
    listed = {
        "a": "The gauges are dead",
        "b": "The heater blower does not run",
        "c": "The controller is dead",
        "d": "The radiator fan does not run",
        "e": "Nothing at all happens: it is dead",
    }
    words = replace(VOCABULARY, complaints=listed, symptoms={})

    assert plain(complaints.matches_page("blower dead", words)) == (
        "Trouble:\n  2. The heater blower does not run\n"
        "  type the number of what is meant, or other words for it\n"
    )
    # a word of three letters counts as well
    assert "4. The radiator fan" in plain(complaints.matches_page("fan dead", words))
    assert complaints.matches_page("does not", words) == ()


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("wont crank", "no-crank"),
        ("headlights dont work", "headlamps-dead"),
        ("pump not running", "pump-does-not-run"),
        ("lights dim when idling", "lights-dim-at-idle"),
        ("stalls with fan", "stalls-when-fan-cuts-in"),
        ("battery keeps dying", "battery-goes-flat"),
        ("no charging", "does-not-charge"),
        ("blower dead", "blower-does-not-run"),
        ("horn doesn't work", "horn-dead"),
    ],
)
def test_trouble_is_found_by_the_words_people_use(
    typed: str, name: str, knowledge: Knowledge
) -> None:
    said = {one.name: one.says for one in knowledge.complaints.values()}
    asked = {one.name: one.question for one in knowledge.symptoms.values()}
    also = {one.name: one.also for one in knowledge.complaints.values()}
    names = cast(
        Vocabulary,
        SimpleNamespace(complaints=said, also_said=also, symptoms=asked, seen={}),
    )

    shown = plain_text(complaints.matches_page(typed, names), width=200)

    first = 1 + list(said).index(name)
    assert shown.startswith(f"Trouble:\n  {first}. {said[name]}\n")


def test_words_that_only_one_complaint_has_name_it() -> None:
    said = {
        "panel-relay-silent": "Panel relay: silent, no click",
        "panel-relay-for-nothing": "Panel relay: clicks, but nothing follows",
        "blower-slow": "Blower: runs slowly",
    }
    names = replace(VOCABULARY, complaints=said)

    assert complaints.meant("panel relay silent", names) == 0
    assert complaints.meant("my blower is slow", names) == 2
    # two have them; one word names a part at most
    assert complaints.meant("panel relay", names) is None
    assert complaints.meant("blower", names) is None
    assert complaints.meant("horn silent", names) is None
