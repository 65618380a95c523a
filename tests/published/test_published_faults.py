"""The published faults are told in words the program has, and rightly scored."""

from __future__ import annotations

from fnmatch import fnmatchcase

import pytest

from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.car_files import open_car
from tests.conftest import TESTS
from tests.published.__main__ import summed_up
from tests.published.fault_file import Observed, PublishedFault, published_faults
from tests.published.typing_in import FIRST, Outcome, typed_in

FAULTS = published_faults()

# The families that owners come with, by a word of what they complained of or observed.
FAMILIES = {
    "does not crank": ("no response", "nothing at all", "neither starter", "dead"),
    "clicks": ("click", "clonk"),
    "cranks slowly": ("too slowly", "slowly"),
    "cranks and does not start": ("does not start",),
    "stalls": ("dies", "coasts"),
    "dim": ("dim", "death's door"),
    "does not charge": ("charge",),
    "battery flat": ("flat", "drained", "dying"),
    "fuse blows": ("fuse",),
    "one load dead": ("does not run", "silent", "horn"),
    "comes and goes": ("at times", "now and then", "come back", "starts again"),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_of_complaints_has_a_published_fault(family: str) -> None:
    told = [fault.says.lower() for fault in FAULTS]

    assert any(word in words for word in FAMILIES[family] for words in told)


def test_there_are_thirty_and_more_and_each_has_its_own_name() -> None:
    assert len({fault.name for fault in FAULTS}) == len(FAULTS) >= 30


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_fault_is_told_in_words_the_program_has(
    fault: PublishedFault, knowledge: Knowledge
) -> None:
    complaints = set(knowledge.complaints)
    answers = {context.name: context.states for context in knowledge.contexts}

    assert fault.complaint in complaints or fault.lacks
    for question, answer in fault.history.items():
        assert answer in answers[question]


@pytest.mark.parametrize("car", sorted({fault.car for fault in FAULTS}))
def test_each_cure_is_a_cause_of_the_car_it_is_told_on(
    car: str, knowledge: Knowledge
) -> None:
    path = TESTS / "cars" / f"{car}.yaml"
    loaded = open_car(str(path) if path.exists() else car, knowledge)
    names = [cause.name for cause in catalogue(loaded, knowledge.modes)]

    for fault in FAULTS:
        for pattern in fault.cures:
            if fault.car == car:
                assert any(fnmatchcase(name, pattern) for name in names), pattern


def fault(*told: Observed, cures: tuple[str, ...] = ()) -> PublishedFault:
    return PublishedFault(
        name="dead-pump-wire",
        subject="made up for this test",
        car="hill-climber",
        says="The pump does not run",
        complaint="pump-does-not-run",
        lacks="",
        history={"wiring": "fresh"},
        told=told,
        cured_by="a new wire",
        cures=cures,
    )


def test_typed_fault_is_ranked_by_what_was_told(model: Model) -> None:
    # 12 V leave the fuse and none arrive: only what lies between is left.
    outcome = typed_in(
        fault(
            Observed(typed="read fuel-pump-fuse.out key-on 12.4", saw="12.4 V"),
            Observed(
                typed="read fuel-pump.plus key-on 0",
                saw="nothing",
                decides=("volts|key-on|fuel-pump.plus|*",),
            ),
            cures=("fuel-pump-wire:*",),
        ),
        model,
    )

    assert outcome.place == 1
    assert outcome.is_cure_found
    assert 0 < len(outcome.proposed) <= FIRST
    assert outcome.not_understood == ()


def test_line_that_tells_nothing_is_named_and_nothing_decided(model: Model) -> None:
    outcome = typed_in(
        fault(Observed(typed="polish the bonnet", saw="it shines")), model
    )

    assert outcome.not_understood == ("polish the bonnet",)
    assert outcome.is_reading_proposed is None
    assert outcome.place is None
    assert not outcome.is_cure_found


@pytest.mark.parametrize(
    ("proposed", "is_proposed"),
    [
        ("volts|key-on|fuel-pump.plus|battery.minus", True),
        ("volts|idle|fuel-pump.plus|battery.minus", False),
    ],
)
def test_reading_is_proposed_if_a_step_says_as_much(
    proposed: str, is_proposed: bool
) -> None:
    deciding = Observed(typed="read", saw="", decides=("volts|key-on|*",))

    outcome = Outcome(
        fault=fault(deciding), ranked=(), proposed=(proposed,), not_understood=()
    )

    assert outcome.is_reading_proposed is is_proposed


def test_shares_count_each_fault_and_only_readings_that_decided() -> None:
    deciding = Observed(typed="read", saw="", decides=("volts|*",))
    found = Outcome(
        fault=fault(deciding, cures=("a:*",)),
        ranked=(("b:open",), ("a:open",)),
        proposed=("symptom|engine-cranks",),
        not_understood=(),
    )
    missed = Outcome(
        fault=fault(cures=("a:*",)),
        ranked=(("b:x",), ("c:x",), ("d:x",), ("a:x",)),
        proposed=(),
        not_understood=(),
    )

    assert summed_up([found, missed]) == [
        "cure among the first 3: 1 of 2, 50% (wanted 80%)",
        "deciding reading among the first 3: 0 of 1, 0% (wanted 60%)",
    ]
