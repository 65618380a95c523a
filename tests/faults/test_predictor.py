"""What the circuit shows under faults: blown fuses, dead loads, bad joints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.circuit.values import fixed
from diagnose.faults.causes import FaultSet, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predicted import SOURCE_UNIT_OHMS, Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from diagnose.session.ready_car import all_probes
from diagnose.terminal.preparation.car_files import open_car
from tests.circuit.nodal import transfer_ohms
from tests.lamp_car import CAR, METER, MODES

N_DRAWS = 4
HELD_OHMS = 1e4
AGREEMENT_VOLTS = np.array([1e-5, 1e-3])
# Single precision of the stored volts; a tenth of a count of the meter at nodes that
# nothing holds, whose resistance is stored in half precision.
CAUSES = catalogue(CAR, MODES)
STATES = tuple(state.name for state in CAR.states)
LIVE_STATES = ("key-off", "lit")
FUSES = ("main-fuse", "lamp-fuse")
PROBES = tuple(
    Probe(branch=fuse, state=state, is_current=is_current)
    for fuse in FUSES
    for state in STATES
    for is_current in (False, True)
)
SHORT = "feed:short_to_ground"
Shown = Callable[[str, str], FloatArray]


@pytest.fixture(scope="module")
def predictor() -> Predictor:
    return Predictor(CarModel(CAR, Sample(n_draws=N_DRAWS)), CAUSES, PROBES)


def fault_set(*names: str) -> FaultSet:
    return tuple(i for i, cause in enumerate(CAUSES) if cause.name in names)


def volts_under(predictor: Predictor, *names: str) -> Shown:
    """Return a look-up of node volts by state and node, shape (n_draws,)."""
    found = predictor.predict([fault_set(*names)])

    def look_up(state: str, node: str) -> FloatArray:
        index = predictor.state_index[state], predictor.node_index[node]
        return np.asarray(found.volts[index[0], 0, :, index[1]], dtype=np.float64)

    return look_up


def probe_under(predictor: Predictor, *names: str) -> Callable[[Probe], list[float]]:
    found = predictor.predict([fault_set(*names)])

    def look_up(probe: Probe) -> list[float]:
        values: list[float] = found.probes[0, :, PROBES.index(probe)].tolist()
        return values

    return look_up


def conducts(fuse: str, state: str) -> Probe:
    return Probe(branch=fuse, state=state, is_current=False)


def disagreement(
    found: Prediction, names: tuple[str, ...], state: str, row: int = 0
) -> tuple[float, float]:
    """Return how far volts are from those of the changed circuit, solved anew.

    Returns
    -------
    tuple
        Largest difference at nodes that something holds, and of what a meter shows at
        the others, which have next to no volts of their own. [V]
    """
    model = CarModel(CAR, Sample(n_draws=N_DRAWS))
    causes = [cause for cause in CAUSES if cause.name in names]
    network = model.network(CAR.state(state), changed_values(model, causes))
    point = solve_operating_point(network)
    ohms = np.diagonal(transfer_ohms(network, point.siemens), axis1=1, axis2=2)
    index = STATES.index(state)
    volts = found.volts[index, row].astype(np.float64)
    units = found.source_units[index, row].astype(np.float64)
    found_ohms = SOURCE_UNIT_OHMS * units
    is_held = ohms < HELD_OHMS
    shown = volts / (1.0 + found_ohms / METER.input_ohms)
    expected = point.volts / (1.0 + ohms / METER.input_ohms)
    return (
        float(np.abs(volts - point.volts).max(where=is_held, initial=0.0)),
        float(np.abs(shown - expected).max(where=~is_held, initial=0.0)),
    )


@pytest.mark.parametrize("state", STATES)
def test_every_fault_is_what_the_whole_solution_gives(
    state: str, predictor: Predictor
) -> None:
    names = [c.name for c in CAUSES if c.name != SHORT]
    found = predictor.predict([fault_set(name) for name in names])

    worst = [disagreement(found, (n,), state, row) for row, n in enumerate(names)]

    assert (np.max(worst, axis=0) < AGREEMENT_VOLTS).all()


@pytest.mark.parametrize(
    "names",
    [
        ("battery:discharged", "feed:high_resistance_a"),
        ("feed:high_resistance_a", "feed:high_resistance_b"),
        ("ground:open_circuit", "lamp-fuse:blown"),
        ("battery:discharged", "ground:high_resistance_a", "feed:high_resistance_b"),
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("state", STATES)
def test_faults_together_are_what_the_whole_solution_gives(
    state: str, names: tuple[str, ...], predictor: Predictor
) -> None:
    found = predictor.predict([fault_set(*names)])

    assert (np.array(disagreement(found, names, state)) < AGREEMENT_VOLTS).all()


def test_faults_that_leave_nothing_to_change_are_what_the_whole_solution_gives(
    knowledge: Knowledge,
) -> None:
    # the relay that would feed itself is off in one of the states, and with it off the
    # two faults change no branch that carries anything
    car = open_car("pickup", knowledge)
    causes = catalogue(car, knowledge.modes)
    model, probes = CarModel(car, Sample(n_draws=N_DRAWS)), all_probes(car, knowledge)
    predictor = Predictor(model, causes, probes)
    names = {
        "ignition-switch.start-contact:open_circuit",
        "fuel-pump-relay.diode:coil_ends_swapped",
    }
    pair = tuple(n for n, cause in enumerate(causes) if cause.name in names)
    values = changed_values(model, [causes[number] for number in pair])

    found = predictor.predict([pair])

    for number, state in enumerate(car.states):
        if not state.after:
            whole = solve_operating_point(model.network(state, values))
            apart = np.abs(found.volts[number, 0] - whole.volts)
            assert apart.max() < AGREEMENT_VOLTS.max()


@pytest.mark.parametrize("state", STATES)
def test_short_is_what_the_whole_solution_gives_with_its_fuse_blown(
    state: str, predictor: Predictor
) -> None:
    found = predictor.predict([fault_set(SHORT)])

    both = (SHORT, "lamp-fuse:blown")
    assert (np.array(disagreement(found, both, state)) < AGREEMENT_VOLTS).all()


@pytest.mark.parametrize("state", STATES)
def test_short_blows_the_fuse_before_it_for_good(
    state: str, predictor: Predictor
) -> None:
    # .02 to .2 ohm on 12.6 V is over 45 A, twice what the 15 A fuse holds; it blows
    # with the lamp on, and is blown with the lamp off too.
    found = probe_under(predictor, SHORT)

    assert found(conducts("lamp-fuse", state)) == [0.0] * N_DRAWS


@pytest.mark.parametrize("state", STATES)
def test_short_leaves_the_bigger_fuse_behind_it_whole(
    state: str, predictor: Predictor
) -> None:
    # At 12.5/(.02 + .04) = 200 A the main fuse is over its 81 A too; the lamp fuse at
    # ten times its 20 A is sooner.
    found = probe_under(predictor, SHORT)

    assert found(conducts("main-fuse", state)) == [1.0] * N_DRAWS


@pytest.mark.parametrize("state", LIVE_STATES)
def test_blown_fuse_keeps_its_battery_side_alive(
    state: str, predictor: Predictor
) -> None:
    shown = volts_under(predictor, SHORT)

    assert shown(state, "main-fuse.out") == pytest.approx(
        shown(state, "battery.plus"), abs=1e-4
    )


def test_short_behind_too_big_a_fuse_blows_the_main_fuse() -> None:
    # A lamp fuse of 300 A holds what a main fuse of 20 A does not.
    sizes = {"lamp-fuse": 300.0, "main-fuse": 20.0}
    parts = tuple(
        replace(
            part,
            values={
                **part.values,
                "rating_amps": replace(
                    part.values["rating_amps"], distribution=fixed(sizes[part.name])
                ),
            },
        )
        if part.name in sizes
        else part
        for part in CAR.parts
    )
    model = CarModel(replace(CAR, parts=parts), Sample(n_draws=N_DRAWS))
    found = Predictor(model, CAUSES, PROBES).predict([fault_set(SHORT)])

    blown = found.probes[0, :, PROBES.index(conducts("main-fuse", "lit"))]
    assert blown.tolist() == [0.0] * N_DRAWS


def test_open_fuse_gives_no_volts_at_the_lamp(predictor: Predictor) -> None:
    shown = volts_under(predictor, "lamp-fuse:blown")

    assert np.abs(shown("lit", "lamp.plus")).max() < 1e-3


def test_sound_circuit_gives_the_lamp_most_of_the_volts(predictor: Predictor) -> None:
    # By hand: 110 W at 13.5 V take some 7.8 A at 12.3 V; wires of .11 ohm and the
    # fuses of .006 drop .9 V of it.
    shown = volts_under(predictor)
    across = shown("lit", "lamp.plus") - shown("lit", "lamp.minus")

    lost = shown("key-off", "battery.plus") - across

    assert lost == pytest.approx(np.full(N_DRAWS, 1.05), abs=0.15)


def test_bad_joint_drops_volts_under_load(predictor: Predictor) -> None:
    # .3 ohm and up at up to 8 A.
    sound = volts_under(predictor)
    bad = volts_under(predictor, "feed:high_resistance_a")

    lost = sound("lit", "lamp.plus") - bad("lit", "lamp.plus")

    assert lost.min() > 1.0


def test_bad_joint_does_not_show_without_current(predictor: Predictor) -> None:
    # The same joint with the lamp out: 30 ohm at the microamps of the insulation.
    sound = volts_under(predictor, "lamp:burnt_out")
    bad = volts_under(predictor, "lamp:burnt_out", "feed:high_resistance_a")

    assert np.abs(sound("lit", "lamp.plus") - bad("lit", "lamp.plus")).max() < 1e-4


def test_open_ground_lifts_the_lamp_to_battery_volts(predictor: Predictor) -> None:
    shown = volts_under(predictor, "ground:open_circuit")

    assert shown("lit", "lamp.minus") == pytest.approx(
        shown("lit", "battery.plus"), abs=1e-3
    )


def test_discharged_battery_reads_its_rest_volts(predictor: Predictor) -> None:
    # By hand: 11.8 + .8 x state of charge between .1 and .4.
    shown = volts_under(predictor, "battery:discharged")("key-off", "battery.plus")

    assert 11.88 <= shown.min() < shown.max() <= 12.12


def test_lamp_current_flows_through_both_fuses(predictor: Predictor) -> None:
    found = probe_under(predictor)
    main, lamp = (
        found(Probe(branch=fuse, state="lit", is_current=True)) for fuse in FUSES
    )

    # a microamp of insulation between them
    assert main == pytest.approx(lamp, abs=1e-5)


def test_battery_is_out_of_the_circuit_when_isolated(predictor: Predictor) -> None:
    shown = volts_under(predictor)

    assert np.abs(shown("isolated", "battery.plus")).max() < 1e-6


def between(predictor: Predictor, red: str, black: str, *names: str) -> FloatArray:
    found = predictor.between_ohms(
        [fault_set(*names)],
        predictor.state_index["isolated"],
        predictor.node_index[red],
        predictor.node_index[black],
    )
    return np.asarray(found[0])


def test_ohms_between_the_ends_of_a_wire_are_the_wires(predictor: Predictor) -> None:
    wire = predictor.model.values["feed"]
    own = wire["wire_ohms"] + wire["joint_a_ohms"] + wire["joint_b_ohms"]

    found = between(predictor, "light-switch.out", "lamp.plus")

    # 1e-6: 20 Mohm of insulation beside it
    assert found == pytest.approx(own, rel=1e-6)


def test_ohms_of_a_bad_joint_are_its_severity_more(predictor: Predictor) -> None:
    name = "feed:high_resistance_a"
    (cause,) = (c for c in CAUSES if c.name == name)
    changed = changed_values(predictor.model, [cause])["feed"]["joint_a_ohms"]
    added = changed - predictor.model.values["feed"]["joint_a_ohms"]
    sound = between(predictor, "light-switch.out", "lamp.plus")

    found = between(predictor, "light-switch.out", "lamp.plus", name)

    assert found - sound == pytest.approx(added, rel=1e-5)


def test_ohms_do_not_depend_on_which_lead_is_where(predictor: Predictor) -> None:
    forward = between(predictor, "battery.plus", "lamp.minus")

    backward = between(predictor, "lamp.minus", "battery.plus")

    assert forward == pytest.approx(backward, rel=1e-9)


def test_ohms_across_an_open_wire_are_insulation(predictor: Predictor) -> None:
    # By hand: 20 Mohm from each wire's start to the body, 1 Gohm beside them.
    found = between(predictor, "lamp.minus", "body.metal", "ground:open_circuit")

    assert (found > 9e6).all()


def test_predictions_do_not_depend_on_their_neighbours(predictor: Predictor) -> None:
    alone = predictor.predict([fault_set(SHORT)])
    names = ("lamp:burnt_out", SHORT, "feed:open_circuit")

    beside = predictor.predict([fault_set(name) for name in names])

    assert beside.volts[:, 1] == pytest.approx(alone.volts[:, 0], abs=1e-6)


def test_kept_prediction_holds_its_rows(predictor: Predictor) -> None:
    every = predictor.predict([fault_set(SHORT), fault_set("lamp:burnt_out"), ()])

    found = every.kept(np.array([2, 0]))

    for name in ("volts", "source_units", "is_settled"):
        kept, whole = getattr(found, name), getattr(every, name)
        assert kept.tolist() == [state[[2, 0]].tolist() for state in whole]
    assert found.probes.tolist() == every.probes[[2, 0]].tolist()


def test_draw_that_was_left_out_is_stood_for(predictor: Predictor) -> None:
    every = predictor.predict([fault_set("lamp:burnt_out")])

    found = predictor.predict([fault_set("lamp:burnt_out")], every=2)

    stands_for = every.volts[:, :, [0, 0, 2, 2]]
    assert found.volts == pytest.approx(stands_for, abs=1e-6)
