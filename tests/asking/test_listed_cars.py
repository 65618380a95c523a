"""Every shipped car as a list of wires, and the car that such a list is read back into.

Who answers knows what is at the ends of the wires; all else comes from the list.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import ELEMENTS
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.car.writing.car_text import car_text
from diagnose.files.car.writing.car_wires import left_out, wire_list
from diagnose.files.car.writing.wire_list import read_wire_list
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.paperwork.asking.entries.car_entries import car_entries
from diagnose.paperwork.asking.entries.wire_list_entries import listed_entries
from diagnose.paperwork.asking.questions import Interview
from diagnose.paperwork.asking.wire_list_questions import ask_wire_list
from diagnose.terminal.preparation.car_files import car_file
from tests.asking.test_random_cars import answered

SHIPPED = ("sedan", "pickup", "roadster", "van", "truck")
LAYOUTS = load_layouts()

# The word that a list's reader has for a kind of load, with the parameter of its size.
LOADS = {
    "motor": ("motor_amps", "A motor"),
    "load": ("load_amps", "A load"),
    "electronics": ("load_amps", "A electronics"),
    "lamp": ("lamp_watts", "W lamps"),
    "led-lamp": ("led_watts", "W led-lamp"),
}


def shipped(name: str, knowledge: Knowledge) -> Car:
    with car_file(name) as path:
        return load_car(path, knowledge)


def known(place: str) -> str:
    return place if place in LAYOUTS.places else "starter"


def what_it_is(name: str, car: Car) -> str:
    """Return the answer to what an end is, from the car; empty for the usual one."""
    parts = [part for part in car.parts if part.assembly == name]
    for part in parts:
        if ELEMENTS[part.kind].is_load and part.name == name:
            parameter, word = LOADS[part.kind]
            size = part.values[parameter].distribution.nominal
            return f"{size:g} {word} at {known(part.place)}"
        if part.kind == "resistor":
            ohms = part.values["ohms"].distribution.nominal
            return f"{ohms:g} ohm resistor at {known(part.place)}"
    return ""


def read_back(car: Car, folder: Path, knowledge: Knowledge) -> Car:
    """Return the car that its own list of wires makes."""
    (folder / "wires.csv").write_text(wire_list(car), encoding="utf-8")
    rows = read_wire_list(folder / "wires.csv")
    interview = Interview(lambda: ask_wire_list(LAYOUTS, rows))
    while (question := interview.question) is not None:
        interview.answer(what_it_is(question.key.removeprefix("end-"), car))
    path = folder / "again.yaml"
    text = car_text(listed_entries(interview.outcome, LAYOUTS))
    path.write_text(text, encoding="utf-8")
    return load_car(path, knowledge)


def built(part: Part) -> tuple[object, ...]:
    """Return what a list says of a part: where it is joined, and what it passes on."""
    return (part.name, part.kind, tuple(sorted(part.terminals.items())), part.members)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_car_is_read_back_from_its_list_of_wires(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    car = shipped(name, knowledge)

    again = read_back(car, tmp_path, knowledge)

    assert wire_list(again).splitlines()[0] == wire_list(car).splitlines()[0]
    assert set(wire_list(again).splitlines()) == set(wire_list(car).splitlines())


@pytest.mark.parametrize("name", SHIPPED)
def test_a_car_read_back_has_the_same_circuit(
    name: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    car = shipped(name, knowledge)

    again = read_back(car, tmp_path, knowledge)

    # the diode across a coil is no end of a wire, and said to be left out
    kept = {built(part) for part in car.parts if not part.name.endswith(".diode")}
    made = {built(part) for part in again.parts}
    assert kept == made
    of_wires = {part.name: part.role for part in car.parts if part.kind == "wire"}
    assert of_wires == {p.name: p.role for p in again.parts if p.kind == "wire"}


@pytest.mark.parametrize("name", SHIPPED)
def test_plugs_and_clamps_of_a_shipped_car_are_in_its_list(
    name: str, knowledge: Knowledge
) -> None:
    car = shipped(name, knowledge)
    cells = [line.split(",") for line in wire_list(car).splitlines()]

    for part in car.parts:
        if part.kind == "clamp":
            assert [part.name, part.terminals["a"], "none"] in [c[:3] for c in cells]
        if part.kind == "plug":
            through = [c for c in cells if c[6].partition(".")[0] == part.name]
            assert len(through) >= len(part.members) > 0


def test_what_a_list_leaves_out_is_told(knowledge: Knowledge) -> None:
    told = "; ".join(left_out(shipped("pickup", knowledge)))

    assert "diodes across coils (fuel-pump-relay)" in told
    assert "light-switch" in told
    assert "operating states (run-on)" in told
    assert "starter-solenoid.coil coil_ohms" in told
    assert "fuel-pump motor_amps" not in told  # asked for


HERE = Path(__file__).parents[1]
OTHERS = sorted(HERE.glob("cars/*.yaml")) + sorted(HERE.glob("asking/described/*.yaml"))


@pytest.mark.parametrize("path", OTHERS, ids=lambda path: path.stem)
def test_a_car_written_by_hand_is_read_back_from_its_list(
    path: Path, tmp_path: Path, knowledge: Knowledge
) -> None:
    car = load_car(path, knowledge)

    again = read_back(car, tmp_path, knowledge)

    assert set(wire_list(again).splitlines()) == set(wire_list(car).splitlines())


@pytest.mark.parametrize("seed", range(12))
def test_whatever_car_is_asked_for_is_read_back_from_its_list(
    seed: int, tmp_path: Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(car_text(car_entries(answered(seed), LAYOUTS)), encoding="utf-8")
    car = load_car(path, knowledge)

    again = read_back(car, tmp_path, knowledge)

    assert set(wire_list(again).splitlines()) == set(wire_list(car).splitlines())


ON_ANOTHER = """\
from,to,size,length,fuse,plug,name
battery.minus,engine,2 AWG,3 ft,,,
engine,body,4 AWG,1 ft,,,
battery.plus,box.supply,8 AWG,3 ft,60 A slow-fuse,,main
box.supply,lamp.plus,none,,5 A,,lamp
lamp.minus,body,none,,,,
box.supply,pump.plus,14 AWG,9 ft,10 A,tank-plug.1,
pump.minus,body,14 AWG,2 ft,,tank-plug.2,
"""


def test_a_fuse_without_a_wire_is_read_back(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "wires.csv"
    path.write_text(ON_ANOTHER, encoding="utf-8")
    rows = read_wire_list(path)
    interview = Interview(lambda: ask_wire_list(LAYOUTS, rows))
    while interview.question is not None:
        interview.answer("")

    text = car_text(listed_entries(interview.outcome, LAYOUTS))

    (tmp_path / "car.yaml").write_text(text, encoding="utf-8")
    car = load_car(tmp_path / "car.yaml", knowledge)
    assert car.part("lamp-fuse").terminals["a"] == "box.supply"
    assert car.part("lamp").terminals["a"] == car.part("lamp-fuse").terminals["b"]
    assert car.part("tank-plug").members == (
        "tank-plug.pump-wire-pin",
        "tank-plug.pump-ground-pin",
    )
    assert "box.supply,lamp.plus,none,,,5 A,,lamp," in wire_list(car).splitlines()


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("body,horn.minus,none,,,", "row 2, column from: body sits on nothing else"),
        ("horn.minus,body,none,3 ft,,", "row 2, column length: is of no use"),
        ("horn.minus,body,,3 ft,,", "row 2, column size: is empty"),
        ("horn.minus,body,14 AWG,3 ft,,no plug!", "row 2, column plug: "),
    ],
)
def test_a_broken_row_names_row_and_column(row: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "wires.csv"
    path.write_text(f"from,to,size,length,fuse,plug\n{row}\n", encoding="utf-8")

    with pytest.raises(Exception, match=told):
        read_wire_list(path)


def test_a_panel_that_sits_on_something_is_asked_about_again(tmp_path: Path) -> None:
    path = tmp_path / "wires.csv"
    rows = (
        "from,to,size,length\nbox.in,battery.plus,none,\nbox.in,coil.plus,4 AWG,1 ft\n"
    )
    path.write_text(rows, encoding="utf-8")
    interview = Interview(lambda: ask_wire_list(LAYOUTS, read_wire_list(path)))
    while interview.question is not None and interview.question.key != "end-box":
        interview.answer("")

    with pytest.raises(ValueError, match=r"box\.in sit on battery\.plus"):
        interview.answer("panel at fender")
