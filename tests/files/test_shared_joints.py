"""Clamps, plugs and runs: joints that several circuits share, by Ohm's law."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.point_solver import solve_operating_point
from diagnose.circuit.tolerance_draws import Middle
from diagnose.faults.causes import Cause, catalogue, changed_values
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from tests.files.test_car_file_problems import changed

Load = Callable[[str], Car]
Problems = Callable[[str], list[str]]


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(str(shipped_cars()["sedan"])), knowledge)


class Faulty:
    """The middle car with one fault in one state, and what it shows."""

    def __init__(
        self, car: Car, knowledge: Knowledge, fault: str, state: str, level: float = 0.5
    ) -> None:
        cause = cause_of(car, knowledge, fault)
        model = CarModel(car, Middle(n_draws=1))
        self.values = changed_values(model, [cause], {cause.name: level})
        self._network = model.network(car.state(state), self.values)
        self._point = solve_operating_point(self._network)

    def volts(self, red: str, black: str) -> float:
        volts, nodes = self._point.volts[0], self._network.nodes
        return float(volts[nodes.index(red)] - volts[nodes.index(black)])

    def amps(self, branch: str) -> float:
        amps = self._point.branch_amps(self._network)[0]
        return float(abs(amps[self._network.branches.index(branch)]))


def cause_of(car: Car, knowledge: Knowledge, name: str) -> Cause:
    causes = catalogue(car, knowledge.modes)
    return next(cause for cause in causes if cause.name == name)


def test_all_leads_on_a_post_share_its_clamp(sedan: Car, knowledge: Knowledge) -> None:
    seen = Faulty(sedan, knowledge, "plus-clamp:high_resistance", "cranking")

    # .03 ohm in the middle, see fault-modes.yaml; all that leaves the battery goes
    # through it, by Ohm's law and Kirchhoff's law of currents
    leads = ("battery-cable", "main-feed", "charge-feed")
    amps = sum(seen.amps(lead) for lead in leads)
    assert amps > 80.0
    drop = seen.volts("battery.plus", "plus-clamp.clamp")
    assert drop == pytest.approx(0.03 * amps, rel=1e-3)
    # and the loads of the added panel lose it as well as the starter
    assert seen.volts("battery.plus", "main-fuse.in") > drop


def test_a_grounded_clamp_is_off_where_ohms_are_read(
    sedan: Car, knowledge: Knowledge
) -> None:
    assert sedan.part("minus-clamp").role == "grounded-clamp"
    model = CarModel(sedan, Middle(n_draws=1))
    cause = cause_of(sedan, knowledge, "minus-clamp:open_circuit")
    values = changed_values(model, [cause])

    def ohms(state: str) -> float:
        (clamp,) = model.part_branches(
            sedan.part("minus-clamp"), sedan.state(state), values
        )
        return float(1.0 / clamp.siemens[0, 0])

    assert ohms("key-off") == pytest.approx(1e9)
    assert ohms("isolated") == pytest.approx(1e-4)


def test_a_corroded_plug_is_in_all_its_circuits(
    sedan: Car, knowledge: Knowledge
) -> None:
    fault = "rear-plug:corroded"
    put = Faulty(sedan, knowledge, fault, "switched-on")
    held = Faulty(sedan, knowledge, fault, "held")

    # .4 ohm in the middle, in the feed of each and in the ground that they share
    others = {"tail-lamps": "brake-lamps", "brake-lamps": "tail-lamps"}
    for seen, load in ((put, "tail-lamps"), (held, "brake-lamps")):
        amps = seen.amps(f"{load}-wire")
        assert amps > 1.0
        feed = seen.volts(f"rear-plug.{load}-wire", f"{load}.plus")
        ground = seen.volts("rear-plug.tail-lamps-ground", "rear-stud.stud")
        assert feed == pytest.approx(0.4 * amps, rel=1e-3)
        # what the raised ground drives back through the other lamps goes another way
        back = seen.amps(f"{others[load]}-wire")
        assert ground == pytest.approx(0.4 * (amps - back), rel=1e-3)
    # nobody else is touched by it
    assert put.amps("headlamps") > 6.0


def test_small_joints_of_a_run_add_up(sedan: Car, knowledge: Knowledge) -> None:
    run = sedan.part("fuel-pump-run")
    assert run.members == (
        "fuel-pump-fuse",
        "fuel-pump-relay.contacts",
        "fuel-pump-relay-wire",
        "fuel-pump-wire",
        "fuel-pump-ground",
    )
    seen = Faulty(sedan, knowledge, "fuel-pump-run:poor_joints", "priming")

    # Two joints of each of three wires, the fuse's and the contacts': eight of .03 ohm,
    # of which five are between the fuse and the pump's plus.
    amps = seen.amps("fuel-pump")
    drop = seen.volts("fuse-panel.constant", "fuel-pump.plus")
    sound = 0.127 * 15**-1.22 + 0.004 + 16 * 1.588e-3 + 4 * 0.0019
    assert drop == pytest.approx(amps * (6 * 0.03 + sound), rel=0.03)
    # more than half a volt, and no joint of it loses a fifth of one
    assert drop > 0.5
    assert seen.volts("fuel-pump-relay.87", "fuel-pump.plus") < 0.6 * drop


def test_joints_of_a_run_are_as_bad_as_each_other(
    sedan: Car, knowledge: Knowledge
) -> None:
    for level in (0.1, 0.9):
        values = Faulty(
            sedan, knowledge, "fuel-pump-run:poor_joints", "key-off", level
        ).values
        model = CarModel(sedan, Middle(n_draws=1))
        added = [
            values[part][name] - model.values[part][name]
            for part, name in (
                ("fuel-pump-fuse", "ohms"),
                ("fuel-pump-relay.contacts", "contact_ohms"),
                ("fuel-pump-wire", "joint_a_ohms"),
                ("fuel-pump-ground", "joint_b_ohms"),
            )
        ]
        assert np.ptp(added) < 1e-12


def test_a_load_fed_through_the_coil_gets_milliamps(
    sedan: Car, knowledge: Knowledge
) -> None:
    fault = "fuel-pump-relay.contacts:coil_and_contacts_crossed"
    seen = Faulty(sedan, knowledge, fault, "key-on")

    # 12.4 V over 85 ohm of coil and about an ohm of pump
    assert seen.amps("fuel-pump") == pytest.approx(12.4 / 86.0, rel=0.05)


def test_a_cracked_fuse_looks_and_buzzes_sound_and_fails_under_load(
    sedan: Car, knowledge: Knowledge
) -> None:
    fault = "fuel-pump-fuse:cracked"
    seen = Faulty(sedan, knowledge, fault, "priming")

    assert seen.values["fuel-pump-fuse"]["is_blown"][0] == 0.0
    # an ohm: any meter calls that closed, and the pump loses volts over it
    assert seen.volts("fuse-panel.constant", "fuel-pump-fuse.out") == pytest.approx(
        seen.amps("fuel-pump") * 1.0, rel=0.01
    )
    assert seen.amps("fuel-pump") > 3.0


def test_small_wires_share_no_run_with_a_circuit_of_one_part(sedan: Car) -> None:
    runs = {part.name for part in sedan.parts if part.kind == "run"}

    # charge-lamp has its ground wire alone
    assert "charge-lamp-run" not in runs
    assert "headlamps-run" in runs


PLUG = "plugs:\n  gland: {place: bay, carries: [CARRIED]}\n"


def test_a_plug_of_no_wire_is_reported(small_car: str, problems: Problems) -> None:
    text = changed(small_car, "wires:\n", f"{PLUG}wires:\n").replace(
        "CARRIED", "horn-wir"
    )

    assert problems(text) == [
        '18:33: there is no wire "horn-wir" (did you mean "horn-wire"?)'
    ]


def test_wires_without_a_common_end_share_no_pin(
    small_car: str, problems: Problems
) -> None:
    text = changed(small_car, "wires:\n", f"{PLUG}wires:\n").replace(
        "CARRIED", "[horn-wire, ground-cable]"
    )

    (told,) = problems(text)
    assert told.endswith(
        "horn-wire and ground-cable have no end in common, so they can't share a pin; "
        "write each by itself"
    )


def test_a_clamp_on_nothing_is_reported(small_car: str, problems: Problems) -> None:
    text = changed(small_car, "wires:\n", "clamps: {lug: batery.plus}\nwires:\n")

    (told,) = problems(text)
    assert told.startswith('17:15: there is no terminal "batery.plus"')


def test_parts_of_one_assembly_may_each_carry_a_circuit(
    small_car: str, load: Load
) -> None:
    text = changed(
        small_car,
        "wires:\n",
        "parts:\n"
        "  pin-1: {kind: pin, assembly: gland, place: bay, "
        "terminals: {a: key.out via 14 AWG 1 ft, b: horn.plus via 14 AWG 8 ft}}\n"
        "  pin-2: {kind: pin, assembly: gland, place: bay, "
        "terminals: {a: key.out via 14 AWG 1 ft, b: horn.plus via 14 AWG 9 ft}}\n"
        "wires:\n",
    )

    car = load(text)
    assert car.part("pin-1").terminals == {"a": "gland.a", "b": "gland.b"}
    assert car.part("pin-2").terminals == {"a": "pin-2.a", "b": "pin-2.b"}
