"""Volts beside those of a point that moves with them: the difference is what tells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.compared import moving_together
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ComplaintFact, Fact, ReadingFact
from diagnose.session.ready_car import Model, open_model
from tests.lamp_car import CAR, GROUND, MODES, make_knowledge

RARE = tuple(replace(mode, rate=0.05 * mode.rate) for mode in MODES)


def volts(red: str, value: float, state: str = "lit") -> ReadingFact:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=GROUND)
    return ReadingFact(reading=reading, value=value)


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(RARE), n_draws=16)


def of_sound_car(model: Model, fact: ReadingFact, other: ReadingFact | None) -> float:
    """Return the likelihood of a reading on the sound car, over its draws."""
    noted = Noted(0, fact, is_complaint=False, beside=other)
    rows = np.array([0])
    hypotheses = model.compiled.bank.all
    return float(Weigher(model).likelihood(hypotheses, noted, rows=rows).mean())


def test_what_no_fault_moves_is_weighed_as_the_sound_car(lamp_model: Model) -> None:
    bank, weigher = lamp_model.compiled.bank, Weigher(lamp_model)
    first, second = volts("main-fuse.out", 12.0), volts("lamp-fuse.out", 11.98)
    for beside in (None, first):
        noted = Noted(0, second, is_complaint=False, beside=beside)

        together = weigher.likelihood(bank.all, noted, rows=slice(0, bank.n_singles))

        for row in range(bank.n_singles):
            alone = weigher.likelihood(bank.all, noted, rows=np.array([row]))
            assert together[row].tolist() == pytest.approx(alone[0].tolist(), rel=1e-9)


# Both ends of a fuse, and the battery half a volt lower than in any draw. By itself the
# second is as unlikely as the first; beside it, it lies where it should.
def test_what_strays_together_strays_once(lamp_model: Model) -> None:
    first, second = volts("main-fuse.out", 12.0), volts("lamp-fuse.out", 11.98)

    alone = of_sound_car(lamp_model, second, None)
    beside = of_sound_car(lamp_model, second, first)

    assert alone < 0.02
    assert beside > 1.0


def test_a_drop_between_two_points_still_tells(lamp_model: Model) -> None:
    first, second = volts("main-fuse.out", 12.3), volts("lamp-fuse.out", 11.6)

    near = of_sound_car(lamp_model, volts("lamp-fuse.out", 12.28), first)
    far = of_sound_car(lamp_model, second, first)

    assert near > 1.0
    assert far < 0.02 * near


# The first was read at a wrong point, 0 V where 12 V are: what the second shows is then
# judged by itself.
def test_slip_says_nothing_of_the_next_reading(lamp_model: Model) -> None:
    slip, second = volts("main-fuse.out", 0.0), volts("lamp-fuse.out", 12.28)

    alone = of_sound_car(lamp_model, second, None)

    assert of_sound_car(lamp_model, second, slip) == pytest.approx(alone, rel=1e-6)


def test_points_that_stand_still_are_not_compared() -> None:
    still = np.full((1, 8), 5.0)
    moving = np.linspace(4.0, 6.0, 8)[None]

    assert not moving_together(still, moving).any()
    assert not moving_together(moving, still).any()
    assert moving_together(moving, moving + 3.0).all()
    # twice as far with each volt: the difference moves as much as the point itself
    assert not moving_together(2.0 * moving, moving).any()


def test_a_floating_stud_read_in_two_states_is_named(sedan_model: Model) -> None:
    # The stud of the dash is off. Its current finds its way through the cold filaments
    # of dash and tail lamps: 2.6 V at these, more than in any draw of that fault (up to
    # 1.8 V), in one state as in the other.
    told: tuple[Fact, ...] = (
        ComplaintFact(complaint="gauges-move-together"),
        volts("old-coil-terminal.splice", 14.03, "idle-loaded"),
        volts("blower.minus", 0.17, "idle-loaded"),
        volts("tail-lamps.plus", 2.59, "key-on"),
        volts("tail-lamps.plus", 11.78, "switched-on"),
        volts("tail-lamps.plus", 2.6, "priming"),
    )
    told = tuple(
        replace(fact, reading=replace(fact.reading, black="battery.minus"))
        if isinstance(fact, ReadingFact)
        else fact
        for fact in told
    )
    diagnosis = Diagnosis(sedan_model)

    answer = [diagnosis.tell(fact) for fact in told][-1]

    assert answer.causes[0].name.startswith("dash-stud:")
    assert answer.causes[0].probability > 0.8
    assert answer.advice.verdict not in (Verdict.NOTHING_FITS, Verdict.STOP)


def test_ohms_of_one_panel_read_at_many_points_fit_together(sedan_model: Model) -> None:
    # What hangs on the switched half has a third more than the file says: 4.2 ohm for
    # 3.2. Read at four fuses of it, that is one surprise, not four.
    points = ("engine-controller-feed", "ignition", "injectors")
    told: list[Fact] = [ComplaintFact(complaint="first-start-fails")]
    told += [
        ReadingFact(
            reading=Reading(
                kind=ReadingKind.OHMS,
                state="isolated",
                red=red,
                black="battery.minus",
            ),
            value=value,
        )
        for red, value in zip(
            ("fuse-panel.switched", *(f"{point}-fuse.out" for point in points)),
            (4.2, 4.3, 4.2, 4.4),
            strict=True,
        )
    ]
    diagnosis = Diagnosis(sedan_model)

    answers = [diagnosis.tell(fact) for fact in told]

    verdicts = {answer.advice.verdict for answer in answers}
    assert not verdicts & {Verdict.NOTHING_FITS, Verdict.STOP}
    # and the second to fourth tell next to nothing
    first, last = answers[1].causes, answers[-1].causes
    chance = {cause.name: cause.probability for cause in last}
    assert chance[first[0].name] == pytest.approx(first[0].probability, abs=0.05)


def test_point_that_follows_in_ohms_is_not_proposed(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)
    panel = Reading(
        kind=ReadingKind.OHMS,
        state="isolated",
        red="fuse-panel.constant",
        black="battery.minus",
    )
    told = (
        ComplaintFact(complaint="battery-goes-flat"),
        ReadingFact(reading=panel, value=2360.0),
    )
    answer = [diagnosis.tell(fact) for fact in told][-1]

    proposed = {step.step.name for step in answer.next_steps}
    assert "ohms|isolated|main-fuse.out|battery.minus" not in proposed


def test_two_readings_that_agree_were_no_slips(sedan_model: Model) -> None:
    # What hangs on the constant half has three times what the file says, at two points
    # that follow from one another: a third point is not worth a look to tell a slip.
    diagnosis = Diagnosis(sedan_model)
    at = [
        Reading(kind=ReadingKind.OHMS, state="isolated", red=red, black="battery.minus")
        for red in ("fuse-panel.constant", "main-fuse.out", "charge-fuse.in")
    ]
    diagnosis.tell(ComplaintFact(complaint="battery-goes-flat"))
    told = [
        ReadingFact(reading=reading, value=value)
        for reading, value in zip(at[:2], (9100.0, 9150.0), strict=True)
    ]

    answer = [diagnosis.tell(fact) for fact in told][-1]

    assert at[2].name not in {step.step.name for step in answer.next_steps}
