"""The ten recorded cases worked on paper, by Ohm's law and the loads' ratings alone.

Nothing here is solved: what the car file says of its loads, and the readings of the
hidden car of each case, have to go together as they do on paper. A load's amps are
those at 13.5 V; a resistive one takes less at less.
"""

from __future__ import annotations

import pytest

from diagnose.files.cases.case_file import load_case
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import HiddenCars
from diagnose.trial.truth import cause_indices
from tests.conftest import TESTS
from tests.trial.foreign_steps import shown_on

# Of the sedan's file: what takes current. [A] at 13.5 V; the controllers at any.
PUMP, IGNITION, INJECTORS, FAN, BLOWER, GAUGES = 7.0, 5.0, 2.0, 18.0, 8.0, 0.6
CONTROLLERS = 0.8 + 0.9
HEADLAMPS, SMALL_LAMPS = 110.0 / 13.5, 50.0 / 13.5
RATED = 13.5

# The ignition as a resistance: 13.5 V / 5 A = 2.7. [ohm]
IGNITION_OHMS = RATED / IGNITION

# Loads and resistors of one car differ from their file by some percent each (a part's
# default spread): what several of them make together is within a fifth. [1]
TOGETHER = 0.2


class Paper:
    """Readings of the hidden car of a recorded case, by an exact meter."""

    def __init__(self, name: str, model: Model) -> None:
        self._case = load_case(TESTS.parent / "cases" / f"{name}.yaml")
        making = self._case.making
        self._stock = HiddenCars(model, n_cars=making.cars, seed=making.seed)
        self._faults = cause_indices(making.faults, model)

    def volts(self, state: str, red: str, black: str = "battery.minus") -> float:
        return self._shown(ReadingKind.DC_VOLTS, state, red, black)

    def amps(self, state: str, part: str) -> float:
        return self._shown(ReadingKind.AMPS, state, part, "")

    def _shown(self, kind: ReadingKind, state: str, red: str, black: str) -> float:
        reading = Reading(kind=kind, state=state, red=red, black=black)
        return shown_on(reading, self._stock, self._faults, self._case.making.car)


@pytest.mark.parametrize(
    "name", ["forgotten-resistor", "two-faults-at-the-first-start"]
)
def test_what_the_ignition_lacks_is_lost_in_a_dropping_resistor(
    name: str, sedan_model: Model
) -> None:
    paper = Paper(name, sedan_model)
    fed = paper.volts("cranking", "ignition-fuse.out")
    there = paper.volts("cranking", "ignition.plus")
    across = there - paper.volts("cranking", "ignition.minus")

    # I = U / R at the load; the same current through what is in the line. A dropping
    # resistor has 1 to 2 ohm.
    ohms = (fed - there) / (across / IGNITION_OHMS)
    assert 1.0 * (1 - TOGETHER) < ohms < 2.0 * (1 + TOGETHER)


def test_second_fault_of_the_first_start_has_no_volts_behind_the_fuse(
    sedan_model: Model,
) -> None:
    paper = Paper("two-faults-at-the-first-start", sedan_model)

    # No current, so nothing drops but across the gap.
    assert abs(paper.volts("cranking", "fuel-pump-fuse.out")) < 0.3


def test_coil_that_takes_all_an_output_gives_keeps_too_few_volts(
    sedan_model: Model,
) -> None:
    paper = Paper("coil-overloads-its-output", sedan_model)
    fed = paper.volts("cranking", "fuel-pump-relay.86")
    across = fed - paper.volts("cranking", "fuel-pump-relay.85")

    # The output limits at 1.5 A: R = U / I is the shorted coil's, a sound one of 80 ohm
    # or so would keep nearly all of the supply. The rest is lost in the output.
    ohms = across / 1.5
    assert 1.5 < ohms < 6.0
    assert across < 0.6 * fed


def test_loose_stud_lifts_by_the_currents_through_it(sedan_model: Model) -> None:
    paper = Paper("stalls-by-a-loose-ground-stud", sedan_model)
    at_rest, idling = (
        paper.volts(state, "engine-stud.stud", "engine.block")
        for state in ("key-on", "idle")
    )

    # Key on: the two controllers. Idling: ignition and injectors too, at the volts that
    # the stud leaves them. The same ohms in both: U2 / U1 = I2 / I1.
    left = (14.2 - idling) / RATED
    ratio = (CONTROLLERS + (IGNITION + INJECTORS) * left) / CONTROLLERS
    assert idling / at_rest == pytest.approx(ratio, rel=TOGETHER)


def test_poor_main_joint_has_the_same_ohms_in_every_state(sedan_model: Model) -> None:
    paper = Paper("stalls-by-a-poor-main-joint", sedan_model)
    ohms = [
        paper.volts(state, "plus-clamp.clamp", "main-fuse.in")
        / paper.amps(state, "main-fuse")
        for state in ("key-on", "priming", "idle")
    ]

    # R = U / I, three times; idling the panel feeds pump, controllers, ignition and
    # injectors: 15.7 A. With fan and headlamps it would be 42 A, and the joint would
    # lose 8 V and more: the controllers reset.
    assert ohms == pytest.approx([ohms[0]] * 3, rel=0.02)
    drawn = PUMP + CONTROLLERS + IGNITION + INJECTORS
    assert paper.amps("idle", "main-fuse") == pytest.approx(drawn, rel=TOGETHER)
    assert ohms[0] * (drawn + FAN + HEADLAMPS) > 14.2 - 6.5


def test_bad_crimp_of_the_charge_wire_has_the_same_ohms_in_every_state(
    sedan_model: Model,
) -> None:
    paper = Paper("charge-wire-joint", sedan_model)
    ohms = [
        paper.volts(state, "alternator.output", "charge-fuse.out")
        / paper.amps(state, "charge-fuse")
        for state in ("idle", "idle-loaded", "fast-idle")
    ]

    # 5 ft of 4 AWG have .0012 ohm; the crimp has all the rest.
    assert ohms == pytest.approx([ohms[0]] * 3, rel=0.02)
    assert ohms[0] > 100 * 0.0012


def test_short_behind_a_fuse_is_beyond_its_rating(sedan_model: Model) -> None:
    paper = Paper("pump-fuse-blown-by-a-short", sedan_model)
    supply = paper.volts("priming", "fuse-panel.constant")

    # The hardest short there is to blow it by: .6 ohm take 20 A of a 15 A fuse. Blown,
    # it has the whole supply across itself.
    assert supply / 0.6 > 15.0
    across = paper.volts("priming", "fuse-panel.constant", "fuel-pump-fuse.out")
    assert across == pytest.approx(supply, abs=0.1)


def test_trigger_that_dies_while_cranking_leaves_the_whole_supply_at_the_relay(
    sedan_model: Model,
) -> None:
    paper = Paper("ignition-dies-while-cranking", sedan_model)
    supply = paper.volts("cranking", "fuse-panel.constant")
    across = paper.volts("cranking", "fuse-panel.constant", "fuse-panel.switched")

    # An open contact: no current behind it, so all of the supply across it.
    assert across == pytest.approx(supply, abs=0.3)
    assert abs(paper.volts("cranking", "panel-relay.86")) < 0.3


def test_relay_that_does_not_close_has_the_supply_across_its_contacts(
    sedan_model: Model,
) -> None:
    paper = Paper("headlamps-lit-by-another-relay", sedan_model)
    supply = paper.volts("switched-on", "headlamps-relay.30")
    contacts = paper.volts("switched-on", "headlamps-relay.30", "headlamps-relay.87")

    assert contacts == pytest.approx(supply, abs=0.1)
    # Its coil is fed, at more than the 8 V that pull a relay in.
    coil = paper.volts("switched-on", "headlamps-relay.86", "headlamps-relay.85")
    assert coil > 8.0


def test_alternator_that_is_too_small_leaves_the_rest_to_the_battery(
    sedan_model: Model,
) -> None:
    paper = Paper("alternator-too-small", sedan_model)

    # 54 A with everything on. What the alternator lacks the battery gives: its posts
    # then lie below its rest volts and a little surface charge, not at 14 V.
    drawn = PUMP + CONTROLLERS + IGNITION + INJECTORS + FAN + HEADLAMPS + BLOWER
    drawn += SMALL_LAMPS + GAUGES
    assert drawn == pytest.approx(54.2, abs=0.1)
    rest = paper.volts("key-off", "battery.plus")
    assert paper.volts("idle", "battery.plus") > rest + 1.0
    assert paper.volts("idle-loaded", "battery.plus") < rest + 0.6
