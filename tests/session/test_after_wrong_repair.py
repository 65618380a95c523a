"""Two faults at once, the first repair a wrong one: what is told after it counts."""

from __future__ import annotations

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, Fact, ReadingFact, RepairFact
from diagnose.session.ready_car import Model


def volts(red: str, state: str, value: float) -> Fact:
    reading = Reading(
        kind=ReadingKind.DC_VOLTS, state=state, red=red, black="battery.minus"
    )
    return ReadingFact(reading=reading, value=value)


def test_fault_seen_after_a_wrong_repair_stays_in_all_that_is_believed(
    sedan_model: Model,
) -> None:
    # horn and pump are dead, each by a fault of its own, and the horn's wire was
    # renewed in vain. Then the pump's fuse is seen to be blown, and the horn's relay
    # gets nothing though its fuse has volts.
    look = Reading(
        kind=ReadingKind.LOOK, state="key-off", red="fuel-pump-fuse", black=""
    )
    diagnosis = Diagnosis(sedan_model)
    told: tuple[Fact, ...] = (
        ComplaintFact(complaint="pump-does-not-run"),
        ComplaintFact(complaint="horn-dead"),
        RepairFact(cause="horn-wire:open_circuit"),
        ReadingFact(reading=look, value=1.0),
        volts("horn-fuse.out", "key-off", 12.4),
        volts("horn-relay.30", "key-off", 0.1),
    )
    answer = [diagnosis.tell(fact) for fact in told][-1]

    chance = {cause.name: cause.probability for cause in answer.causes}
    blows_the_fuse = [
        name
        for name in chance
        if name.startswith("fuel-pump")
        and name.endswith(("blown", "stalled", ":shorted", "short_to_ground"))
    ]
    assert answer.causes[0].name == "horn-relay-wire:open_circuit"
    assert chance["horn-relay-wire:open_circuit"] > 0.8
    assert sum(chance[name] for name in blows_the_fuse) > 0.8
