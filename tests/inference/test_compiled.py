"""What the meter would show: loading, leads, over range, looks and clamps."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import catalogue, changed_values
from diagnose.inference.compiled import shown_readings
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import joined
from diagnose.inference.compiled.meter_loading import loaded_volts, over_range
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.symptoms import Claim, Join, Quantity
from tests.lamp_car import (
    BLOWN,
    BURNT_OUT,
    CAR,
    COMES_AND_GOES,
    GROUND,
    METER,
    MODES,
    OPEN,
    SHAKEN,
    SYMPTOMS,
    cause_number,
    compiled_car,
    make_part,
    make_symptom,
)

N_DRAWS = 4
TRIGGERS = {"vibration": SHAKEN}
LIT_NODES = tuple(node for node in CAR.nodes if node != GROUND)
FAULTS = (
    (),
    ("feed:open_circuit",),
    ("ground:open_circuit",),
    ("lamp:burnt_out",),
    ("lamp:burnt_out", "feed:open_circuit"),
    ("lamp:burnt_out", "ground:open_circuit"),
    ("lamp-fuse:blown", "feed:high_resistance_a"),
    ("light-switch:stuck_open", "lamp:burnt_out"),
)


@pytest.fixture(scope="module")
def compiled() -> Compiled:
    return compiled_car(N_DRAWS)[1]


def volts(red: str, black: str = GROUND, state: str = "lit") -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)


def shown(compiled: Compiled, reading: Reading, *causes: str) -> list[float]:
    """Return what the meter shows under some causes, draw by draw."""
    fault_set = tuple(sorted(cause_number(compiled, name) for name in causes))
    found = compiled.readings.predicted(compiled.hypotheses([fault_set]), reading)
    return [float(value) for value in found[0]]


@pytest.mark.parametrize(
    ("open_volts", "source_ohms", "input_ohms", "expected", "tolerance"),
    [
        # Lessons in Electric Circuits, DC, ch. 8: 24 V across 250 + 250 Mohm.
        (12.0, 125e6, 10e6, 0.8889, 1e-4),
        # US Army subcourse MM0455, fig. 5-1: 10 V across 10 + 10 kohm, not 5 but 3.3.
        (5.0, 5e3, 10e3, 3.3, 0.04),
    ],
    ids=["megohms", "kilohms"],
)
def test_meter_loads_its_source(
    open_volts: float,
    source_ohms: float,
    input_ohms: float,
    expected: float,
    tolerance: float,
) -> None:
    meter = replace(METER, input_ohms=input_ohms)

    found = loaded_volts(np.array(open_volts), np.array(source_ohms), meter)

    assert float(found) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("names", FAULTS, ids=" ".join)
def test_meter_reads_what_it_would_as_a_part_of_the_circuit(
    names: tuple[str, ...], compiled: Compiled, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compiled.readings, "leak_factor", np.ones(N_DRAWS))
    # The second way: a resistor of 10 Mohm is wired in where the leads are.
    causes = [c for c in catalogue(CAR, MODES) if c.name in names]
    for node in LIT_NODES:
        meter = make_part("resistor", "meter", node, GROUND, ohms=METER.input_ohms)
        car = replace(CAR, parts=(*CAR.parts, meter))
        model = CarModel(car, Sample(n_draws=N_DRAWS))
        network = model.network(car.state("lit"), changed_values(model, causes))
        point = solve_operating_point(network)
        expected = point.volts[:, network.nodes.index(node)].tolist()

        # 100 uV: single precision of the stored volts, half of the resistances
        assert shown(compiled, volts(node), *names) == pytest.approx(expected, abs=1e-4)


def test_far_side_of_an_open_wire_reads_what_leaks(compiled: Compiled) -> None:
    # By hand: some 12.5 V through 1 Gohm into 10 Mohm leave a hundredth; insulation
    # that is ten thousandfold from car to car, of 1 Mohm to 10 Gohm where the tables
    # have 20 Mohm, leaves .00025 to 2.1 V.
    found = shown(compiled, volts("lamp.plus"), "lamp:burnt_out", "feed:open_circuit")

    by_hand = [
        12.5 / (1.0 + 100.0 * factor) for factor in compiled.readings.leak_factor
    ]
    assert found == pytest.approx(by_hand, rel=0.03)
    assert 0.00025 < min(found) < 0.03 < max(found) < 2.1


def test_phantom_volts_are_no_news_where_nothing_holds_a_wire(
    compiled: Compiled,
) -> None:
    def stray(node: str, *causes: str) -> list[float]:
        names = [cause.name for cause in compiled.causes]
        fault_set = tuple(sorted(names.index(cause) for cause in causes))
        hypotheses = compiled.hypotheses([fault_set])
        return [
            float(one)
            for one in compiled.readings.ghost_volts(hypotheses, volts(node))[0]
        ]

    # Open at its feed and at its lamp: by hand, half of what a neighbour at 12 V leaves
    # on 10 Mohm behind the car's insulation, 1 Mohm to 10 Gohm.
    found = stray("lamp.plus", "lamp:burnt_out", "feed:open_circuit")
    ohms = [2e7 * factor for factor in compiled.readings.leak_factor]
    by_hand = [0.5 * 12.0 / (1.0 + one / 1e7) for one in ohms]
    assert all(one >= 0.99 * hand for one, hand in zip(found, by_hand, strict=True))
    assert max(found) > 3.0
    assert min(found) < 0.1
    # the other side of the same open is held by the battery, and the lamp's by ground
    assert max(stray("light-switch.out", "feed:open_circuit")) < 1e-3
    assert max(stray("lamp.plus", "feed:open_circuit")) < 1e-3


def test_leakage_moves_nothing_on_copper(
    compiled: Compiled, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_drawn = shown(compiled, volts("lamp.plus"))
    monkeypatch.setattr(compiled.readings, "leak_factor", np.full(N_DRAWS, 10.0))

    assert shown(compiled, volts("lamp.plus")) == pytest.approx(as_drawn, abs=1e-6)


def test_near_side_of_an_open_wire_reads_full_volts(compiled: Compiled) -> None:
    battery = shown(compiled, volts("battery.plus"), "feed:open_circuit")

    found = shown(compiled, volts("light-switch.out"), "feed:open_circuit")

    assert found == pytest.approx(battery, abs=1e-3)


def test_ground_side_of_a_lamp_with_an_open_ground_reads_full_volts(
    compiled: Compiled,
) -> None:
    # No current, so no drop along the filament; the meter takes 1.25 uA.
    battery = shown(compiled, volts("battery.plus"), "ground:open_circuit")

    found = shown(compiled, volts("lamp.minus"), "ground:open_circuit")

    assert found == pytest.approx(battery, abs=1e-3)


def test_swapped_leads_read_the_same_with_the_other_sign(compiled: Compiled) -> None:
    forward = shown(compiled, volts("lamp.plus", "lamp.minus"))

    backward = shown(compiled, volts("lamp.minus", "lamp.plus"))

    assert backward == pytest.approx([-value for value in forward], abs=1e-9)


def ohms(red: str, black: str = GROUND) -> Reading:
    return Reading(kind=ReadingKind.OHMS, state="isolated", red=red, black=black)


def test_ohms_of_a_ground_wire_are_its_own_and_the_leads(compiled: Compiled) -> None:
    values = compiled.predictor.model.values
    wire = values["ground"]
    own = wire["wire_ohms"] + wire["joint_a_ohms"] + wire["joint_b_ohms"]
    stud = values["body-stud"]["joint_ohms"]

    found = shown(compiled, ohms("lamp.minus"))

    # 6 mohm: half precision of the stored resistances
    expected = (own + stud + METER.lead_ohms).tolist()
    assert found == pytest.approx(expected, abs=6e-3)


def test_ohms_between_two_terminals_leave_the_rest_out(compiled: Compiled) -> None:
    wire = compiled.predictor.model.values["feed"]
    own = wire["wire_ohms"] + wire["joint_a_ohms"] + wire["joint_b_ohms"]

    found = shown(compiled, ohms("light-switch.out", "lamp.plus"))

    assert found == pytest.approx((own + METER.lead_ohms).tolist(), abs=1e-6)


@pytest.mark.parametrize("node", LIT_NODES)
def test_ohms_are_the_same_with_swapped_leads(node: str, compiled: Compiled) -> None:
    others = [one for one in CAR.nodes if one != node]

    forwards = [shown(compiled, ohms(node, other)) for other in others]
    backwards = [shown(compiled, ohms(other, node)) for other in others]

    # 6 mohm: half precision of what is stored against the reference
    assert backwards == [pytest.approx(one, abs=6e-3) for one in forwards]


def test_ohms_of_an_open_wire_are_over_range(compiled: Compiled) -> None:
    # What is left is insulation, 20 Mohm of each wire: no path worth the name.
    found = shown(compiled, ohms("lamp.minus"), "ground:open_circuit")

    assert found == [math.inf] * N_DRAWS


def test_insulation_counts_as_over_range() -> None:
    found = over_range(np.array([0.3, 0.9e6, 1.1e6]))

    assert found.tolist() == [0.3, 0.9e6, math.inf]


def test_clamp_reads_the_lamps_current(compiled: Compiled) -> None:
    # The second way: what drops along the ground wire over its ohms.
    wire = compiled.predictor.model.values["ground"]
    own = wire["wire_ohms"] + wire["joint_a_ohms"] + wire["joint_b_ohms"]
    drop = np.array(shown(compiled, volts("lamp.minus", "body.metal")))
    reading = Reading(kind=ReadingKind.AMPS, state="lit", red="lamp-fuse", black="")

    # 1e-4: single precision of some half a volt
    assert shown(compiled, reading) == pytest.approx((drop / own).tolist(), rel=1e-4)


def test_lamp_between_two_points_is_held_back_by_both(compiled: Compiled) -> None:
    sound = compiled.hypotheses([()])
    held = sound.whole()
    volts, units = held.volts.copy(), held.source_units.copy()
    lit = compiled.predictor.state_index["lit"]
    red, black = (compiled.predictor.node_index[n] for n in ("lamp.plus", "lamp.minus"))
    volts[lit, ..., red], volts[lit, ..., black] = 12.0, 0.0
    units[lit, ..., red], units[lit, ..., black] = 7.3 / 1e5, 2.5 / 1e5
    made_up = replace(sound, prediction=replace(held, volts=volts, source_units=units))

    found = compiled.readings.predicted(
        made_up,
        Reading(
            kind=ReadingKind.LAMP, state="lit", red="lamp.plus", black="lamp.minus"
        ),
    )

    # By hand: half of a lamp's light is .8156 of its 12 V, at .9031 of its .25 A;
    # 2.213 V are lost in 9.80 ohm. At half of the light half the people say lit rather
    # than dim, and nearly none dark: .75.
    assert found == pytest.approx(np.full((1, N_DRAWS), 0.75), abs=3e-3)


@pytest.mark.parametrize(
    ("names", "expected"),
    [((), 0.0), (("lamp-fuse:blown",), 1.0)],
    ids=["sound", "blown"],
)
def test_look_at_a_fuse(
    names: tuple[str, ...], expected: float, compiled: Compiled
) -> None:
    look = Reading(kind=ReadingKind.LOOK, state="key-off", red="lamp-fuse", black="")

    assert shown(compiled, look, *names) == [expected] * N_DRAWS


def test_some_rows_are_those_of_all_rows(compiled: Compiled) -> None:
    rows = np.array([4, 0, 2])
    every = compiled.readings.predicted(compiled.singles, volts("lamp.plus"))

    found = compiled.readings.predicted(compiled.singles, volts("lamp.plus"), rows=rows)

    assert found.tolist() == every[rows].tolist()


def test_symptom_comes_from_the_lamps_light_and_current(compiled: Compiled) -> None:
    # By hand: dark, the logistic curves at .05 of light and .5 A lost are .159 and
    # .0067; with the lamp out only the second.
    names = ("lamp-fuse:blown", "lamp:burnt_out")
    sets = [(), *((cause_number(compiled, name),) for name in names)]
    column = compiled.symptom_index["lamp-shines"]

    found = compiled.hypotheses(sets).symptoms[:, :, column].mean(axis=1)

    assert found == pytest.approx([1.0, 0.0011, 0.0067], abs=1e-4)


def test_volts_along_a_fuse_are_its_amps_times_its_ohms(compiled: Compiled) -> None:
    # By hand: .075 V at its 15 A, .005 V an ampere, whichever way it flows.
    amps = Reading(kind=ReadingKind.AMPS, state="lit", red="lamp-fuse", black="")
    fuse = replace(amps, kind=ReadingKind.FUSE)

    found = shown(compiled, fuse)

    expected = [0.005 * value for value in shown(compiled, amps)]
    assert found == pytest.approx(expected, rel=1e-6)
    assert min(found) > 0.03


def test_reading_kept_for_one_state_is_not_that_of_another(compiled: Compiled) -> None:
    lit = compiled.readings.predicted(compiled.singles, volts("lamp.plus"))
    off = compiled.readings.predicted(
        compiled.singles, volts("lamp.plus", state="key-off")
    )

    again = compiled.readings.predicted(compiled.singles, volts("lamp.plus"))

    assert again.tolist() == lit.tolist()
    assert lit[0].min() > 11.0
    assert abs(off[0]).max() < 0.01


# More readings than are kept, each asked for again and again, in another order.
def test_what_is_kept_of_single_causes_is_what_is_looked_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shown_readings, "KEPT_LEADS", 3)
    monkeypatch.setattr(shown_readings, "KEPT_READINGS", 2)
    fresh = compiled_car(N_DRAWS)[1]
    readings = [
        volts(red, black, state)
        for state in ("lit", "key-off")
        for red in LIT_NODES
        for black in (GROUND, *LIT_NODES[:2])
        if red != black
    ]
    every = np.arange(fresh.bank.n_singles)
    looked_up = [
        fresh.readings.predicted(fresh.singles, one, rows=every) for one in readings
    ]
    turns = np.random.default_rng(2).integers(0, len(readings), 120).tolist()

    for turn in turns:
        found = fresh.readings.predicted(fresh.singles, readings[turn])
        assert found.tolist() == looked_up[turn].tolist()


def test_singles_of_the_bank_show_what_the_singles_show(compiled: Compiled) -> None:
    rows, reading = compiled.bank, volts("lamp.plus")
    front = compiled.readings.predicted(
        rows.all, reading, rows=slice(0, rows.n_singles)
    )
    fewer = compiled.readings.predicted(rows.all, reading, rows=slice(0, 3))

    expected = compiled.readings.predicted(compiled.singles, reading)

    assert front.tolist() == expected.tolist()
    assert fewer.tolist() == expected[:3].tolist()


def test_rows_of_other_hypotheses_are_their_own(compiled: Compiled) -> None:
    reading, n_singles = volts("lamp.plus"), compiled.bank.n_singles
    compiled.readings.predicted(compiled.singles, reading)
    dark = compiled.hypotheses([(cause_number(compiled, "lamp-fuse:blown"),)])

    found = compiled.readings.predicted(dark, reading, rows=slice(0, n_singles))

    assert found.shape == (1, N_DRAWS)
    assert abs(found).max() < 0.01


def test_causes_that_act_alike_show_the_same(compiled: Compiled) -> None:
    # A bad joint at either end of the feed: solved once, and both have their row.
    rows = np.array(
        [
            1 + cause_number(compiled, f"feed:high_resistance_{end}")
            for end in ("a", "b")
        ]
    )

    one, other = compiled.readings.predicted(
        compiled.singles, volts("lamp.plus"), rows=rows
    ).tolist()

    assert one == other
    assert 0.0 < min(one) < max(one) < 12.0
    symptoms = compiled.singles.symptoms[rows]
    assert symptoms[0].tolist() == symptoms[1].tolist()


def test_cause_that_comes_and_goes_is_shown_by_what_it_acts_as() -> None:
    compiled = compiled_car(2, (*MODES, COMES_AND_GOES), triggers=TRIGGERS)[1]
    fleeting = cause_number(compiled, "ground:comes_and_goes")
    lasting = cause_number(compiled, "ground:open_circuit")

    assert compiled.n_lasting == cause_number(compiled, "feed:comes_and_goes")
    assert compiled.shown_by(fleeting) == compiled.shown_by(lasting) == 1 + lasting
    assert len(compiled.singles.sets) == 1 + compiled.n_lasting


def test_every_second_draw_solved_stands_for_the_next_one(compiled: Compiled) -> None:
    sets = [(cause_number(compiled, "feed:high_resistance_a"),)]
    full = compiled.hypotheses(sets)
    few = compiled.hypotheses(sets, every=2, is_compact=True)

    stretched = few.stretched(2)

    place = [0, 0, 2, 2]
    # 1 uV: the same systems solved together with others
    for one, axis in (("volts", 2), ("probes", 1), ("is_settled", 2)):
        held = getattr(full.whole(), one).take(place, axis=axis)
        assert getattr(stretched.whole(), one) == pytest.approx(held, abs=1e-6)
    assert stretched.symptoms == pytest.approx(
        full.symptoms.take(place, axis=1), abs=1e-6
    )
    assert few.symptoms == pytest.approx(full.some_draws(2).symptoms, abs=1e-6)
    assert few.whole().volts == pytest.approx(
        full.some_draws(2).whole().volts, abs=1e-6
    )


def test_hypotheses_are_joined_one_behind_the_other(compiled: Compiled) -> None:
    first = compiled.hypotheses([(0,), (1,)])
    second = compiled.hypotheses([(4,)])

    found = joined([first, second])

    assert found.sets == ((0,), (1,), (4,))
    reading = volts("lamp.plus")
    expected = [
        *compiled.readings.predicted(first, reading).tolist(),
        *compiled.readings.predicted(second, reading).tolist(),
    ]
    assert compiled.readings.predicted(found, reading).tolist() == expected
    assert found.symptoms[2].tolist() == second.symptoms[0].tolist()
    backwards = found.kept(np.array([2, 0]))
    assert backwards.sets == ((4,), (0,))
    assert compiled.readings.predicted(backwards, reading).tolist() == expected[2::-2]


def test_worst_of_two_mechanical_faults_counts() -> None:
    # A claim that compression is at least half of a good engine's. By hand: .3 of the
    # lamp's made-up mode is under it, .8 of the fuse's is not; both together are as
    # bad as the worst of them, and a fault that is not mechanical leaves it at 1.
    weak = replace(BURNT_OUT, mechanical={"compression": 0.3})
    worn = replace(BLOWN, mechanical={"compression": 0.8})
    claim = Claim(
        role="compression",
        quantity=Quantity.MECHANICAL,
        state="lit",
        at_least=True,
        limit=0.5,
        blur=0.1,
    )
    pulls = make_symptom("engine-pulls", claim, "lamp-shines", join=Join.ANY)
    _, plain = compiled_car(2, (weak, worn, OPEN))
    knowledge = replace(plain.knowledge, symptoms={**SYMPTOMS, "engine-pulls": pulls})
    compiled = Compiled(plain.predictor, knowledge, plain.priors)
    names = ("lamp:burnt_out", "lamp-fuse:blown", "feed:open_circuit")
    lamp, fuse, feed = (cause_number(compiled, name) for name in names)
    sets = [(feed,), (fuse,), (lamp,), tuple(sorted((fuse, lamp)))]
    column = compiled.symptom_index["engine-pulls"]

    found = compiled.hypotheses(sets).symptoms[:, :, column].mean(axis=1)

    # logistic curves 5, 3, -2 and -2 blurs from the limit, .9933, .9526 and .1192; or a
    # lamp that seems to shine, .0011 without volts and .0067 with them, see above
    assert found == pytest.approx([0.9933, 0.9526, 0.1251, 0.1202], abs=2e-4)
