"""Root before consequence: what blew a fuse, and with what odds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import RankedCause
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact, SymptomFact
from diagnose.session.ready_car import Model, open_model
from diagnose.terminal.pages import explanations, suspects
from diagnose.terminal.pages.plain import plain_text
from tests.lamp_car import CAR, MODES, make_knowledge

RARE = tuple(replace(mode, rate=0.05 * mode.rate) for mode in MODES)
DARK = SymptomFact(symptom="lamp-shines", is_present=False)
LOOKS_BLOWN = ReadingFact(
    reading=Reading(kind=ReadingKind.LOOK, state="key-off", red="lamp-fuse", black=""),
    value=1.0,
)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(RARE), n_draws=16)


@pytest.fixture(scope="module")
def diagnosis(lamp_model: Model) -> Diagnosis:
    diagnosis = Diagnosis(lamp_model)
    diagnosis.recall((DARK, LOOKS_BLOWN))
    return diagnosis


@pytest.fixture(scope="module")
def blown(diagnosis: Diagnosis) -> RankedCause:
    return diagnosis.why("lamp-fuse:blown")


def test_blown_fuse_is_blown_by_the_short_behind_it_or_by_nothing(
    blown: RankedCause,
) -> None:
    assert [origin.cause for origin in blown.origins] == ["feed:short_to_ground", ""]
    assert blown.origins[-1].says == "nothing found"
    assert sum(o.probability for o in blown.origins) == pytest.approx(1.0, abs=0.02)


def test_odds_of_what_blew_it_are_those_of_the_priors(
    lamp_model: Model, diagnosis: Diagnosis, blown: RankedCause
) -> None:
    # Both blow the fuse and darken the lamp for certain, so nothing told tells them
    # apart; a short blows it unless its draw is too mild.
    causes = [cause.name for cause in lamp_model.compiled.causes]
    pair = [causes.index("feed:short_to_ground"), causes.index("lamp-fuse:blown")]
    priors = lamp_model.compiled.priors.odds @ lamp_model.compiled.priors.given({})
    short, nothing = priors[pair]

    found = blown.origins[0].probability / blown.origins[-1].probability

    assert found == pytest.approx(float(short / nothing), rel=0.05)
    shorted = diagnosis.why("feed:short_to_ground")
    assert shorted.probability / blown.probability == pytest.approx(found, rel=0.05)


def test_root_itself_is_brought_about_by_nothing_else(diagnosis: Diagnosis) -> None:
    assert diagnosis.why("feed:short_to_ground").origins == ()


def test_page_says_what_blew_the_fuse(blown: RankedCause) -> None:
    shown = plain_text(explanations.why_page(blown), width=100)

    assert "it was brought about by:\n" in shown
    assert ": feed: short_to_ground\n" in shown
    assert ": nothing found\n" in shown


def test_ranking_says_whether_something_blew_it(diagnosis: Diagnosis) -> None:
    shown = plain_text(suspects.causes_page(diagnosis.answer, 0.05), width=300)

    line = next(one for one in shown.splitlines() if "lamp-fuse: blown" in one)
    assert "brought about by something, most likely feed: short_to_ground" in line


def test_flat_battery_of_a_car_that_does_not_charge_is_left_so_by_the_alternator(
    model: Model,
) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="charge-lamp-stays-lit"))

    origins = diagnosis.why("battery:discharged").origins

    roots = {origin.cause for origin in origins}
    assert "alternator:dead" in roots
    assert origins[-1].cause == ""
    assert np.argmax([o.probability for o in origins]) != len(origins) - 1
