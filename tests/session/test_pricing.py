"""What steps cost an owner who lacks something, or whom they take longer."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.fact_rows import fact_to_row
from diagnose.session.facts import ComplaintFact, Fact, LimitFact, TakesFact, UndoFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Costs
from diagnose.session.steps.prices import Prices
from diagnose.session.steps.whereabouts import Whereabouts, whereabouts_after
from diagnose.store.journal import Journal

NO_CLAMP = LimitFact(limit="clamp", is_lacking=True)
ALONE = LimitFact(limit="helper", is_lacking=True)
NO_LIFT = LimitFact(limit="lift", is_lacking=True)
NOWHERE = Whereabouts()


def volts(state: str, red: str, black: str = "battery.minus") -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)


AMPS = Reading(kind=ReadingKind.AMPS, state="idle", red="charge-fuse", black="")
PUMP = volts("key-on", "fuel-pump.plus")
CRANKING = volts("cranking", "fuel-pump.plus")


def prices(model: Model, *facts: Fact) -> Prices:
    return Prices(model, facts)


def test_place_and_state_are_paid_by_who_is_not_there(model: Model) -> None:
    # By hand: the tank takes 8 min (car file), key on .3 min (states.yaml), a probe
    # half a minute and .2 to find its point.
    assert prices(model).minutes(PUMP, NOWHERE) == pytest.approx(9.0)


def test_reading_with_everything_unplugged_takes_two_minutes_more(
    model: Model,
) -> None:
    # By hand: .5 min of the probe, .2 to find its point, and a fuse, a relay and a
    # plug out and back.
    state = next(state.name for state in model.car.states if state.is_unplugged)
    unplugged = Reading(
        kind=ReadingKind.OHMS, state=state, red="fuel-pump.plus", black="battery.minus"
    )

    assert prices(model).probe_minutes(unplugged) == pytest.approx(2.7)


def test_other_readings_of_a_place_are_cheap(model: Model) -> None:
    here = Whereabouts(state="key-on", places=frozenset({"tank"}))

    assert prices(model).minutes(PUMP, here) == pytest.approx(0.7)


def test_who_complains_of_a_fuse_knows_which_it_is(sedan_model: Model) -> None:
    # By hand: its fuse box is 5 min away (car file); to say what one saw takes the .7
    # of a look.
    look = Reading(
        kind=ReadingKind.LOOK, state="key-off", red="brake-feed-fuse", black=""
    )
    blows = ComplaintFact(complaint="fuse-blows-again")
    dead = ComplaintFact(complaint="brake-lamps-dead")

    assert prices(sedan_model, blows).minutes(look, NOWHERE) == pytest.approx(0.7)
    assert prices(sedan_model, dead).minutes(look, NOWHERE) == pytest.approx(5.7)
    # tested by a sign of a fault that comes and goes
    cuts_out = ComplaintFact(complaint="engine-cuts-out")
    assert prices(sedan_model, cuts_out).minutes(look, NOWHERE) == pytest.approx(5.7)


def test_fuse_that_blows_is_asked_after_among_the_first(sedan_model: Model) -> None:
    diagnosis = Diagnosis(sedan_model)

    answer = diagnosis.tell(ComplaintFact(complaint="fuse-blows-again"))

    first = [step.step.name for step in answer.next_steps[:3]]
    assert any(name.startswith("look|") for name in first)


def test_amps_need_a_clamp(model: Model) -> None:
    assert prices(model).can_take(AMPS)
    assert not prices(model, NO_CLAMP).can_take(AMPS)


def test_a_car_is_left_alone_once_before_its_drain_is_read(model: Model) -> None:
    # By hand: 20 min to fall asleep that count as 3 (effort.yaml), .2 min for the key,
    # 1 min to the bay (car file), half a minute for the clamp and .2 to find where; the
    # next drain needs neither wait nor way.
    drain = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")
    after = whereabouts_after(drain, model)

    assert prices(model).minutes(drain, NOWHERE) == pytest.approx(4.9)
    assert prices(model).minutes(drain, after) == pytest.approx(0.7)
    assert prices(model).idle_minutes(drain, NOWHERE) == pytest.approx(17.0)
    assert prices(model).idle_minutes(drain, after) == 0.0
    assert whereabouts_after(volts("key-off", "battery.plus"), model) != after


def test_small_amps_with_the_key_off_are_read_in_series(model: Model) -> None:
    drain = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")
    without = prices(model, NO_CLAMP)

    assert without.can_take(drain)
    # effort.yaml: three minutes to open the circuit and close it again.
    assert without.entry_minutes(drain) == pytest.approx(
        prices(model).entry_minutes(drain) + 3.0
    )


def test_what_was_lacking_may_be_found(model: Model) -> None:
    found = LimitFact(limit="clamp", is_lacking=False)

    assert prices(model, NO_CLAMP, found).can_take(AMPS)


def test_alone_cranking_takes_the_minutes_of_a_remote_switch(model: Model) -> None:
    # By hand: the tank 8 min, cranking 1.5 min, the probe half, its point .2; alone 4
    # min (effort.yaml) to clip on a remote starter switch.
    assert prices(model).minutes(CRANKING, NOWHERE) == pytest.approx(10.2)
    assert prices(model, ALONE).minutes(CRANKING, NOWHERE) == pytest.approx(14.2)


def test_alone_the_switch_is_rigged_once(model: Model) -> None:
    here = Whereabouts(state="cranking", places=frozenset({"tank"}))

    # and the engine cranked again, with the leads on another point: 1.5 min
    assert prices(model, ALONE).minutes(CRANKING, here) == pytest.approx(2.2)


def test_a_state_of_seconds_is_brought_about_for_every_reading(model: Model) -> None:
    for state, again in (("cranking", 1.5), ("idle", 0.0), ("key-on", 0.0)):
        here = Whereabouts(state=state, places=frozenset({"tank"}))
        reading = volts(state, "fuel-pump.plus")
        costs = Costs([reading], prices(model))

        assert prices(model).minutes(reading, here) == pytest.approx(0.7 + again)
        assert costs.minutes(here).tolist() == pytest.approx([0.7 + again])


def test_alone_key_on_costs_nothing_more(model: Model) -> None:
    alone = prices(model, ALONE).minutes(PUMP, NOWHERE)

    assert alone == prices(model).minutes(PUMP, NOWHERE)


def test_without_a_lift_nothing_under_the_car_is_read(sedan_model: Model) -> None:
    found = prices(sedan_model, NO_LIFT)

    assert not found.can_take(volts("key-on", "starter.plus"))
    assert found.can_take(volts("key-on", "ignition.plus"))


def test_without_a_lift_a_repair_under_the_car_takes_longer(sedan_model: Model) -> None:
    starter = next(
        cause for cause in sedan_model.compiled.causes if cause.part.name == "starter"
    )
    # By hand: 90 min to replace it (fault-modes.yaml), 8 to get there (car file), 1 to
    # see that it works; 90 (effort.yaml) to get the car to someone who has a lift.
    assert prices(sedan_model).repair_minutes(starter) == pytest.approx(99.0)
    assert prices(sedan_model, NO_LIFT).repair_minutes(starter) == pytest.approx(189.0)


def test_repair_takes_its_minutes_the_way_there_and_its_proof(model: Model) -> None:
    ground = cause_named(model, "fuel-pump-ground:open_circuit")

    # By hand: 20 min to mend a wire (fault-modes.yaml), 8 to the tank (car file), 1 to
    # see that it works.
    assert prices(model).repair_minutes(ground) == pytest.approx(29.0)


def test_owner_says_what_a_repair_takes_him(model: Model) -> None:
    name = "fuel-pump-ground:open_circuit"
    told = TakesFact(subject=name, minutes=90.0)

    assert prices(model, told).repair_minutes(cause_named(model, name)) == 90.0


def test_owner_says_what_a_place_takes_him(model: Model) -> None:
    told = TakesFact(subject="tank", minutes=20.0)

    # By hand: 20 min instead of the 8 to the tank, .3 for key on, .7 for the probe.
    assert prices(model, told).minutes(PUMP, NOWHERE) == pytest.approx(21.0)


def test_dear_part_counts_more_than_a_terminal(model: Model) -> None:
    pump = cause_named(model, "fuel-pump:open_circuit")
    wire = cause_named(model, "fuel-pump-wire:open_circuit")

    # effort.yaml: a dear part counts as an hour, a terminal as three minutes.
    assert prices(model).price_minutes(pump) == pytest.approx(60.0)
    assert prices(model).price_minutes(wire) == pytest.approx(3.0)


def test_proof_is_the_longest_test_of_the_complaints(model: Model) -> None:
    # knowledge/symptoms.yaml and states.yaml: a minute to hear the pump and .3 to turn
    # the key; a minute to ask about the battery and .2 to turn the key off.
    pump = ComplaintFact(complaint="pump-does-not-run")
    flat = ComplaintFact(complaint="battery-goes-flat")

    assert prices(model).proof_minutes((pump, flat)) == pytest.approx(1.3)
    assert prices(model).proof_minutes(()) == 0.0


def cause_named(model: Model, name: str):  # type: ignore[no-untyped-def]
    return next(cause for cause in model.compiled.causes if cause.name == name)


def asked_places(diagnosis: Diagnosis) -> set[str]:
    return {step.reading.red for step in diagnosis.answer.next_steps if step.reading}


def test_diagnosis_asks_for_nothing_that_takes_too_long(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    before = [step.minutes for step in diagnosis.answer.next_steps]
    diagnosis.tell(TakesFact(subject="tank", minutes=300.0))

    assert max(before) > 0.5  # more than a probe: there was a way to go
    assert "fuel-pump.plus" not in asked_places(diagnosis)


def test_undone_limit_holds_no_longer(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="no-crank"))
    free = diagnosis.answer.next_steps
    diagnosis.tell(ALONE)
    diagnosis.tell(UndoFact())

    assert diagnosis.answer.next_steps == free


def test_limits_come_back_with_the_case(model: Model) -> None:
    told: Sequence[Fact] = (NO_CLAMP, ALONE, TakesFact(subject="tank", minutes=12.0))
    first = Diagnosis(model)
    for fact in told:
        first.tell(fact)
    casebook = Casebook(Diagnosis(model), Journal(None))

    assert casebook.restore([fact_to_row(fact) for fact in told]) == ()
    assert casebook.answer.facts == first.answer.facts


def test_unknown_limit_is_refused(model: Model) -> None:
    with pytest.raises(ReadingError, match=r'no limit "clam"; nearest: "clamp"'):
        Diagnosis(model).tell(LimitFact(limit="clam", is_lacking=True))


def test_time_beyond_a_day_is_refused(model: Model) -> None:
    with pytest.raises(ReadingError, match="can't be"):
        Diagnosis(model).tell(TakesFact(subject="tank", minutes=9999.0))


def test_terminal_in_a_socket_takes_longer_than_a_post(sedan_model: Model) -> None:
    # By hand: half a minute for the probe; a fuse is found in .2, a relay's terminal is
    # probed from behind in half a minute more; the solenoid has studs.
    found = prices(sedan_model)

    def minutes(red: str) -> float:
        return found.probe_minutes(volts("key-on", red))

    assert minutes("battery.plus") == pytest.approx(0.5)
    assert minutes("fan-fuse.out") == pytest.approx(0.7)
    assert minutes("fan-relay.87") == pytest.approx(1.2)
    assert minutes("starter-solenoid.30") == pytest.approx(0.7)
