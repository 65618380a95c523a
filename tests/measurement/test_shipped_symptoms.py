"""The shipped symptoms on a whole car: what a sound car and single faults show.

The limits in knowledge/ are few and simple; these tests hold them to what a mechanic
expects of one well-known fault at a time, through the circuit of the shipped car.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import Origin, Value, fixed
from diagnose.faults.causes import Cause, catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predicted import Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.measurement.quantities import Observed, Probe, needed_probes
from diagnose.measurement.symptom_chances import symptom_probability
from diagnose.measurement.symptoms import Claim

N_DRAWS = 16

SHOWN: tuple[tuple[str, str, float], ...] = (
    ("fan-fuse:blown", "fan-does-not-run", 0.95),
    ("fan:fan_stalled", "fan-does-not-run", 0.95),
    ("blower:stalled", "blower-does-not-run", 0.95),
    ("wipers:stalled", "wipers-dead", 0.95),
    ("fuel-pump:pump_stalled", "pump-does-not-run", 0.95),
    ("fan-relay.contacts:welded", "fan-does-not-stop", 0.95),
    ("fuel-pump-fuse:blown", "pump-does-not-run", 0.95),
    ("fuel-pump-relay.coil:open_circuit", "pump-does-not-run", 0.95),
    ("fuel-pump-relay.contacts:welded", "pump-does-not-stop", 0.95),
    ("fuel-pump:pump_delivers_nothing", "first-start-fails", 0.95),
    ("engine-controller:dead", "first-start-fails", 0.95),
    ("engine:flooded", "first-start-fails", 0.95),
    ("engine:does_not_idle", "starts-then-dies", 0.95),
    ("old-main-fuse:open_circuit", "dead-at-key", 0.95),
    ("starter:open_circuit", "no-crank", 0.95),
    ("starter:does_not_engage", "no-crank", 0.95),
    ("battery:discharged", "cranks-slowly", 0.80),
    ("battery:worn_out", "no-crank", 0.95),
    ("alternator:dead", "charge-lamp-stays-lit", 0.95),
    ("alternator:dead", "does-not-charge", 0.95),
    # By hand: of 109 A at idle a fifth to a half is left, 22 to 55 A; loads of 52 A
    # with everything on take 14 A out of the battery below 38 A: .49, scattered by .12.
    ("alternator:weak", "battery-goes-flat", 0.35),
    ("alternator:too_small", "lights-dim-at-idle", 0.80),
    ("alternator:set_point_high", "overcharges", 0.60),
    # By hand: 3.1 V lost to 34 A stalls it from .09 ohm on, 3.1 V lost to 16 A while
    # cranking keeps it from starting from .2 ohm on; ln(.2/.09) of ln(3/.05) is .2,
    # and 16 draws scatter that by .1.
    ("main-fuse:poor_contact", "stalls-when-fan-cuts-in", 0.10),
    ("headlamps:open_circuit", "headlamps-dead", 0.95),
    ("charge-lamp:open_circuit", "battery-goes-flat", 0.95),
    ("fuel-pump-relay.diode:coil_ends_swapped", "pump-does-not-run", 0.95),
    ("fuel-pump-relay.contacts:load_on_87a", "pump-does-not-stop", 0.95),
    ("ignition-switch.ignition-contact:dead_in_run", "starts-then-dies", 0.95),
    ("ignition-switch.ignition-contact:dead_while_cranking", "first-start-fails", 0.95),
    # By hand: a battery of .1 to 5 ohm that a 1.3 ohm solenoid and the starter hang on;
    # a third of the severities break down so far that the solenoid lets go, and are
    # good enough for it to pull in again.
    ("battery:inner_connection", "starter-clatters", 0.20),
    ("fuel-pump:pump_weak", "first-start-fails", 0.95),
    # By hand: 8 A of headlamps trip a 20 A breaker in ten minutes (133 %) when it is
    # worn to .30 of its rating, a quarter of .15 to .8; 16 draws scatter that by .1.
    ("headlamps-fuse:weak", "cuts-in-and-out", 0.10),
    ("ignition-switch.ignition-contact:stuck_closed", "runs-on-after-key-off", 0.95),
    ("panel-relay.contacts:welded", "runs-on-after-key-off", 0.95),
    # A motor that is dead or held clicks as well as one that gets no volts.
    ("starter:open_circuit", "starter-clicks-only", 0.95),
    ("starter:jammed", "starter-clicks-only", 0.95),
    # By hand: under 5 V of some 11 V are left to 180 A from .035 ohm on;
    # ln(.06/.035) of 1.7 is .32, which 62 % of the severities are beyond.
    ("starter-solenoid.contacts:solenoid_burnt", "starter-clicks-only", 0.45),
    ("starter:high_resistance", "cranks-slowly", 0.60),
    ("alternator:dead", "does-not-charge", 0.95),
    ("alternator:belt_off", "does-not-charge", 0.95),
    ("charge-lamp:open_circuit", "does-not-charge", 0.95),
    # By hand: .6 to 1.4 V under 14.1 V is 12.7 to 13.5 V, under 13.2 V for five in
    # eight, of which one in ten is not noticed; 16 draws scatter that by .12.
    ("alternator:set_point_low", "battery-goes-flat", 0.30),
    ("battery:seldom_driven", "battery-goes-flat", 0.95),
    # 5 mA fifteen to two hundred times is .075 to 1 A.
    ("engine-controller.memory:stays_awake", "battery-goes-flat", 0.95),
    ("engine:no_spark_at_plugs", "first-start-fails", 0.95),
    ("panel-relay-86-wire:diode_blocks", "first-start-fails", 0.95),
    ("fuel-pump-wire:short_to_ground", "fuse-blows-again", 0.95),
    ("ignition-switch.start-contact:stuck_closed", "starter-runs-by-itself", 0.95),
    (
        "ignition-switch.ignition-contact:dead_while_cranking",
        "controller-dies-while-cranking",
        0.95,
    ),
    # By hand: the blower's 8 A take an eighth of 14 V off the gauges from .2 ohm on.
    # The solenoid's coil, 1.3 ohm, hangs on the same wire and pulls in at 8 V: of 12.2
    # V that leaves .5 ohm beside the sound .15; beyond it nothing cranks the engine.
    # From .2 to .5 ohm are 16 % of the severities; 16 draws scatter that by .09.
    ("old-switch-feed:high_resistance_a", "gauges-move-together", 0.07),
)
"""A fault of the shipped car, the complaint it brings, and how surely (rule)."""


@pytest.fixture(scope="module")
def car(knowledge: Knowledge) -> Car:
    """Return the shipped sedan, its alternator big enough for all loads at idle.

    It also has the state in which the key is turned off while the engine idles, with
    the outputs that are on at idle; and a breaker of 20 A before its headlamps.
    """
    found = load_car(Path(str(shipped_cars()["sedan"])), knowledge)
    ample = Value(distribution=fixed(150.0), origin=Origin.CAR_FILE)
    run_on = replace(knowledge.states["run-on"], commands=found.state("idle").commands)
    fuse = found.part("headlamps-fuse")
    usual = knowledge.defaults["breaker"]
    rating = {"rating_amps": fuse.values["rating_amps"]}
    alternator = found.part("alternator")
    changed = {
        "headlamps-fuse": replace(
            fuse, kind="breaker", role="breaker", values={**usual, **rating}
        ),
        "alternator": replace(
            alternator, values={**alternator.values, "rated_amps": ample}
        ),
    }
    return replace(
        found,
        states=(*found.states, run_on),
        parts=tuple(changed.get(part.name, part) for part in found.parts),
    )


@pytest.fixture(scope="module")
def shown(car: Car, knowledge: Knowledge) -> Mapping[str, FloatArray]:
    """Return each symptom's probability, sound car first, then `SHOWN`'s faults."""
    names = {name for name, _, _ in SHOWN}
    causes = [c for c in catalogue(car, knowledge.modes) if c.name in names]
    order = [next(c for c in causes if c.name == name) for name, _, _ in SHOWN]
    predictor = Predictor(
        CarModel(car, Sample(n_draws=N_DRAWS)),
        causes,
        needed_probes(car, knowledge.symptoms),
    )
    rows = [(), *((causes.index(cause),) for cause in order)]
    seen = observed(predictor, [None, *order], predictor.predict(rows))
    return {
        name: np.broadcast_to(
            symptom_probability(
                symptom, symptoms=knowledge.symptoms, car=car, seen=seen
            ),
            (len(rows), N_DRAWS),
        )
        for name, symptom in knowledge.symptoms.items()
        # what gathers that of single parts has its own test
        if not symptom.any_part
    }


def observed(
    predictor: Predictor, rows: list[Cause | None], prediction: Prediction
) -> Observed:
    """Return what `symptom_probability` looks at, one row per cause."""

    def volts(state: str, node: str) -> FloatArray:
        row = prediction.volts[predictor.state_index[state]]
        return np.asarray(row[:, :, predictor.node_index[node]], dtype=np.float64)

    def probe(wanted: Probe) -> FloatArray:
        column = predictor.probes.index(wanted)
        return np.asarray(prediction.probes[:, :, column], dtype=np.float64)

    def mechanical(name: str, part: str) -> FloatArray:
        values = [
            c.mode.mechanical.get(name, 1.0)
            if c is not None and part in ("", c.part.name)
            else 1.0
            for c in rows
        ]
        return np.repeat(np.array(values)[:, None], N_DRAWS, axis=1)

    return Observed(volts=volts, probe=probe, mechanical=mechanical)


def complaint_probability(
    shown: Mapping[str, FloatArray], answers: Mapping[str, bool], row: int
) -> float:
    """Return the chance that all the answers hold, averaged over the draws."""
    chances = [
        shown[name][row] if answer else 1.0 - shown[name][row]
        for name, answer in answers.items()
    ]
    return float(np.multiply.reduce(chances).mean())


def test_a_sound_car_gives_no_complaint(
    shown: Mapping[str, FloatArray], knowledge: Knowledge
) -> None:
    chances = {
        name: complaint_probability(shown, complaint.answers, 0)
        for name, complaint in knowledge.complaints.items()
        if set(complaint.answers) <= set(shown)
    }

    # Rule: one sound car in a hundred may look faulty to its owner. By hand: a battery
    # at six tenths of charge with a resistance two deviations above the middle, one in
    # forty, leaves the starter 12.28 V less 180 A times .0126 and .004 ohm, 9.3 V.
    allowed = {"cranks-slowly": 0.025}
    assert {n: c for n, c in chances.items() if c > allowed.get(n, 0.01)} == {}


@pytest.mark.parametrize(
    "row", range(len(SHOWN)), ids=lambda row: "->".join(SHOWN[row][:2])
)
def test_a_fault_brings_its_complaint(
    shown: Mapping[str, FloatArray], knowledge: Knowledge, row: int
) -> None:
    _, complaint, surely = SHOWN[row]
    answers = knowledge.complaints[complaint].answers

    assert complaint_probability(shown, answers, row + 1) >= surely


def test_fuse_that_was_blown_while_working_does_not_blow_again(
    shown: Mapping[str, FloatArray],
) -> None:
    faults = [name for name, _, _ in SHOWN]
    blown = 1 + faults.index("fuel-pump-fuse:blown")

    assert shown["fuse-blows-again"][blown].max() < 0.1


# By hand: such a relay is pulled in from key on, through idle with nothing switched on.
def test_the_relay_of_a_fan_that_runs_with_the_key_clicks(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    text = shipped_cars()["sedan"].read_text(encoding="utf-8")
    old = "85: engine-controller.fan-output via"
    assert text.count(old) == 1
    path = tmp_path / "car.yaml"
    path.write_text(text.replace(old, "85: body-stud via"), encoding="utf-8")
    car = load_car(path, knowledge)
    welded = next(
        cause
        for cause in catalogue(car, knowledge.modes)
        if cause.name == "fan-relay.contacts:welded"
    )
    symptom = knowledge.symptoms["fan-relay-clicks"]
    predictor = Predictor(
        CarModel(car, Sample(n_draws=N_DRAWS)),
        [welded],
        needed_probes(car, {symptom.name: symptom}),
    )
    seen = observed(predictor, [None, welded], predictor.predict([(), (0,)]))

    sound, stuck = symptom_probability(
        symptom, symptoms=knowledge.symptoms, car=car, seen=seen
    )

    assert sound.min() > 0.95
    assert stuck.max() < 0.05


def test_dim_light_is_worked_out_by_the_published_power(knowledge: Knowledge) -> None:
    # Fink & Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8: light
    # goes with volts**3.4; a quarter of the light lost is 8 % of the volts.
    claim = knowledge.symptoms["lights-dim-when-fan-cuts-in"].when.members[0]

    assert isinstance(claim, Claim)
    assert claim.limit**3.4 == pytest.approx(0.75, abs=0.03)
