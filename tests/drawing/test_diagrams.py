"""Diagrams: every part once, references that lead somewhere, and nothing overlaps."""

from __future__ import annotations

import itertools
import re
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.cli import main
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.resources import shipped_cars
from diagnose.paperwork.drawing.graph import graph_of
from diagnose.paperwork.drawing.labels import Overlay, size_words, wire_words
from diagnose.paperwork.drawing.lanes import Lane, lanes_of
from diagnose.paperwork.drawing.layout import LANE_BOTTOM_MM, scenes_of
from diagnose.paperwork.drawing.scene import (
    Box,
    Circle,
    Ink,
    Line,
    Scene,
    Text,
    wrapped,
)
from diagnose.paperwork.drawing.sheets import LANES_A_SHEET, References, sheets_of
from diagnose.paperwork.drawing.shown_state import shown_state
from diagnose.paperwork.drawing.svg import svg_of
from tests.circuit.random_cars import STATES, entangled_parts, random_model
from tests.circuit.small_circuits import make_car
from tests.drawing.long_car import SOUND, long_car
from tests.drawing.overlaps import meets, overlaps, touches

TEST_CARS = Path(__file__).parents[1] / "cars"
FILES = {
    **{name: str(file) for name, file in shipped_cars().items()},
    **{path.stem: str(path) for path in sorted(TEST_CARS.glob("*.yaml"))},
    "sound": str(SOUND),
}


@pytest.fixture(scope="module", params=[*FILES, "long"])
def car(
    request: pytest.FixtureRequest,
    knowledge: Knowledge,
    tmp_path_factory: pytest.TempPathFactory,
) -> Car:
    if request.param == "long":
        path = tmp_path_factory.mktemp("long") / "long.yaml"
        path.write_text(long_car(), encoding="utf-8")
        return load_car(path, knowledge)
    return load_car(Path(FILES[request.param]), knowledge)


@pytest.fixture(scope="module")
def sedan(knowledge: Knowledge) -> Car:
    return load_car(Path(FILES["sedan"]), knowledge)


def drawn(car: Car, overlay: Overlay) -> tuple[Scene, ...]:
    graph = graph_of(car)
    return scenes_of(graph, sheets_of(graph, lanes_of(graph)), overlay)


def lane_with(lanes: tuple[Lane, ...], part: str) -> Lane:
    return next(one for one in lanes if part in [e.part.name for e in one.edges])


def test_every_part_is_in_one_lane_and_each_lane_hangs_together(car: Car) -> None:
    graph = graph_of(car)
    lanes = lanes_of(graph)

    counted = Counter(edge.part.name for lane in lanes for edge in lane.edges)
    assert counted == Counter(edge.part.name for edge in graph.edges)
    for lane in lanes:
        for one, two in itertools.pairwise(lane.edges):
            assert one.bottom == two.top


def test_a_coil_stands_left_of_its_contacts_on_the_same_sheet(car: Car) -> None:
    graph = graph_of(car)
    sheets = sheets_of(graph, lanes_of(graph))
    references = References(sheets)

    for edge in graph.edges:
        if edge.part.kind == "contacts" and not edge.part.is_normally_closed:
            assert edge.part.gate is not None
            coil = references.of_part(edge.part.gate)
            assert references.of_part(edge.part.name) == coil + 1
            together = [
                {placed.number for placed in sheet.lanes} >= {coil, coil + 1}
                for sheet in sheets
            ]
            assert any(together)
    assert all(len(sheet.lanes) <= LANES_A_SHEET for sheet in sheets)


def test_no_text_meets_a_text_a_line_or_the_edge(car: Car) -> None:
    scenes = drawn(car, Overlay())

    assert [found for scene in scenes for found in overlaps(scene)] == []
    assert not any(runs_past_the_ground(scene) for scene in scenes)


def test_no_text_meets_anything_with_volts_and_amps_beside(
    car: Car, knowledge: Knowledge
) -> None:
    causes = catalogue(car, knowledge.modes)
    fuses = {one.part.name: one for one in causes if one.part.kind == "fuse"}
    # a load with a fuse of its own: the pump, and on a car without one another
    loads = [part for part in car.parts if f"{part.name}-fuse" in fuses]
    pump = min(loads, key=lambda part: part.role != "fuel-pump")
    cause = fuses[f"{pump.name}-fuse"]
    for state in car.states[1:6]:
        overlay = shown_state(
            car, state, cause=cause, leads=(pump.terminals["a"], car.reference)
        )
        scenes = drawn(car, overlay)
        found = [found for scene in scenes for found in overlaps(scene)]
        assert found == [], state.name
        assert not any(runs_past_the_ground(scene) for scene in scenes)


@pytest.mark.parametrize("seed", range(12))
def test_any_circuit_is_drawn_without_overlap(seed: int) -> None:
    parts = entangled_parts(np.random.default_rng(seed))
    tangled = make_car(parts, *STATES, body="body.metal")
    for random_car in (random_model(seed).car, tangled):
        graph = graph_of(random_car)
        lanes = lanes_of(graph)

        counted = Counter(edge.part.name for lane in lanes for edge in lane.edges)
        assert counted == Counter(edge.part.name for edge in graph.edges)
        for scene in drawn(random_car, Overlay()):
            assert list(overlaps(scene)) == []


def runs_past_the_ground(scene: Scene) -> bool:
    """Return whether a lane is too long and runs through the ground at its foot."""
    upright = [line for line in scene.lines if line.x1 == line.x2]
    return max(max(one.y1, one.y2) for one in upright) > LANE_BOTTOM_MM + 1e-6


def test_a_large_car_is_split_over_sheets_with_references_between_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "long.yaml"
    path.write_text(long_car(), encoding="utf-8")
    out = tmp_path / "long.svg"

    assert main(["draw", str(path), "--out", str(out)]) == 0

    written = capsys.readouterr().out.split()
    assert written == [
        str(tmp_path / f"long-{n}.svg") for n in range(1, len(written) + 1)
    ]
    assert len(written) > 5
    # each sheet but the first says on its rails which path of another feeds them
    sheets = [(tmp_path / f"long-{n}.svg").read_text("utf-8") for n in (2, 3, 4)]
    for sheet in sheets:
        low, high = re.search(r">paths (\d+) to (\d+), sheet", sheet).groups()  # type: ignore[union-attr]
        referred = [int(one) for one in re.findall(r">paths? (\d+)[,<]", sheet)]
        assert any(not int(low) <= one <= int(high) for one in referred)


def test_the_circuit_of_the_pump_is_one_lane_from_panel_to_ground(sedan: Car) -> None:
    graph = graph_of(sedan)
    lane = lane_with(lanes_of(graph), "fuel-pump")

    assert [edge.part.name for edge in lane.edges] == [
        "fuel-pump-fuse",
        "fuel-pump-relay-wire",
        "fuel-pump-relay.contacts",
        "fuel-pump-wire",
        "fuel-pump",
        "fuel-pump-ground",
    ]
    assert lane.top == "fuse-panel.constant"
    assert graph.grounds[lane.bottom] == "rear-stud on body"


def test_where_a_point_goes_on_stands_beside_it(sedan: Car) -> None:
    graph = graph_of(sedan)
    lanes = lanes_of(graph)
    references = References(sheets_of(graph, lanes))
    pump_coil = references.of_part("fuel-pump-relay.coil")
    fan_coil = references.of_part("fan-relay.coil")
    controller = references.of_part("engine-controller")

    words = references.words("engine-controller-feed-fuse.out", pump_coil)

    assert words == f"paths {controller}, {fan_coil}"


def test_a_rail_names_the_lane_that_feeds_it(sedan: Car) -> None:
    graph = graph_of(sedan)
    references = References(sheets_of(graph, lanes_of(graph)))
    hanging = [references.of_part(name) for name in ("ignition-fuse", "injectors-fuse")]

    # others hang on that half too, with lower numbers
    assert min(references.others("fuse-panel.switched", 0)) < min(hanging)
    assert references.source("fuse-panel.switched", hanging) == references.of_part(
        "panel-relay.contacts"
    )


def test_a_splice_inside_a_lane_has_its_name(sedan: Car) -> None:
    texts = [text.text for scene in drawn(sedan, Overlay()) for text in scene.texts]

    at = texts.index("old-coil-terminal.")
    assert texts[at + 1] == "splice"


def test_the_lanes_of_a_car_are_shared_out_evenly(car: Car) -> None:
    graph = graph_of(car)
    lanes = lanes_of(graph)

    sizes = [len(sheet.lanes) for sheet in sheets_of(graph, lanes)]

    assert len(sizes) <= -(-len(lanes) // (LANES_A_SHEET - 1))
    # the last sheet has what is left, and one lane fewer each would need one more
    assert max(sizes) - min(sizes) <= len(sizes) + 2


def test_sizes_are_written_as_they_are_bought(sedan: Car) -> None:
    assert wire_words(sedan.part("fuel-pump-wire")) == ["12 AWG 4.6 m"]
    # 4 ft of .35 ohm/ft
    assert wire_words(sedan.part("resistance-wire")) == ["1.4 ohm wire"]
    assert size_words(sedan.part("main-fuse")) == "60 A slow-fuse"
    assert size_words(sedan.part("headlamps")) == "110 W"


def test_a_fault_stands_beside_the_sound_car_in_red(
    sedan: Car, knowledge: Knowledge
) -> None:
    causes = catalogue(sedan, knowledge.modes)
    blown = next(one for one in causes if one.name == "fuel-pump-fuse:blown")
    overlay = shown_state(sedan, sedan.state("priming"), cause=blown)

    texts = [text for scene in drawn(sedan, overlay) for text in scene.texts]

    # the pump primes, the battery at some 12.4 V: the pump's plus has .2 V less, and
    # nothing with its fuse blown
    (plus,) = [t for t in texts if re.fullmatch(r"\+  12\.[0-4]/0 V", t.text)]
    assert plus.colour == "#c00000"
    # what the fault does not touch has one figure
    assert any(re.fullmatch(r"86  12\.[0-4] V", t.text) for t in texts)


def test_what_a_fault_hardly_moves_is_not_marked(
    sedan: Car, knowledge: Knowledge
) -> None:
    causes = catalogue(sedan, knowledge.modes)
    loose = next(one for one in causes if one.name == "fan-ground:high_resistance_a")
    overlay = shown_state(sedan, sedan.state("idle-loaded"), cause=loose)

    # the fan takes less, so everywhere else there are some hundredths of a volt more
    assert not overlay.volts("headlamps.plus")[1]
    assert overlay.volts("fan.minus")[1]


def test_the_probes_are_marked_where_they_are(sedan: Car) -> None:
    overlay = Overlay(red="fuel-pump.plus", black="battery.minus")

    circles = [c for scene in drawn(sedan, overlay) for c in scene.circles]

    assert [c.colour for c in circles].count("#d00000") == 1
    assert [c.colour for c in circles].count("#202020") >= 1


def test_an_svg_is_well_formed_and_escapes_what_a_file_says() -> None:
    from xml.etree import ElementTree

    scene = Scene(title='a <b> & "c"')
    scene.texts.append(Text(10.0, 10.0, "<script>&"))
    scene.line((0.0, 0.0), (1.0, 1.0), ink=Ink(is_dashed=True))

    root = ElementTree.fromstring(svg_of(scene).encode())

    assert [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")] == [
        "<script>&"
    ]


def test_a_pdf_has_a_page_for_each_sheet_and_a_png_is_sharp(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("reportlab")
    image = pytest.importorskip("PIL.Image")
    out = tmp_path / "car.pdf"

    assert main(["draw", "sedan", "--out", str(out)]) == 0
    assert main(["draw", "sedan", "--out", str(tmp_path / "car.png")]) == 0

    pages = re.findall(rb"/Type /Page\b", out.read_bytes())
    pictures = sorted(tmp_path.glob("car-*.png"))
    assert len(pages) == len(pictures) == 4
    with image.open(pictures[0]) as picture:
        # A4 lying at 200 dots an inch
        assert picture.size == (2339, 1654)
    assert capsys.readouterr().out.splitlines()[0] == str(out)


def test_a_missing_library_is_told_with_what_to_install(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "reportlab.pdfgen.canvas", None)
    monkeypatch.setitem(sys.modules, "PIL", None)

    for ending in ("pdf", "png"):
        assert main(["draw", "sedan", "--out", str(tmp_path / f"car.{ending}")]) == 1
        assert 'pip install ".[drawing]"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            ["--out", "car.doc"],
            'car.doc: a diagram ends in .svg, .pdf, .png, found ".doc"',
        ),
        (["--state", "idling"], 'no operating state "idling" on this car'),
        (["--fault", "fuel-pump-fuse:blwn"], 'no cause "fuel-pump-fuse:blwn"'),
        (["--probe", "fuel-pump.pls", "body"], 'no terminal "fuel-pump.pls"'),
    ],
)
def test_a_slip_in_an_option_is_told(
    options: list[str],
    message: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)

    assert main(["draw", "sedan", *options]) == 1
    assert message in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_overlaps_are_found_where_they_are() -> None:
    scene = Scene(title="")
    scene.texts += [Text(50.0, 50.0, "one"), Text(51.0, 50.5, "two")]
    scene.line((40.0, 49.0), (60.0, 49.0))
    scene.texts.append(Text(100.0, 100.0, "alone"))

    found = list(overlaps(scene))

    assert any("'one' on 'two'" in one for one in found)
    assert sum("on a line" in one for one in found) == 2
    assert not any("alone" in one for one in found)


def test_a_line_meets_a_box_it_enters_and_none_it_passes() -> None:
    box = Box(0.0, 0.0, 2.0, 1.0)

    assert meets(Line(-1.0, 0.5, 3.0, 0.5), box)  # through it
    assert meets(Line(1.0, 0.5, 1.2, 0.6), box)  # inside
    assert not meets(Line(-1.0, 1.5, 3.0, 1.5), box)  # below
    assert not meets(Line(-1.0, 0.5, 2.0, 3.5), box)  # past its corner: y = 1.5 at 0
    assert touches(Circle(3.0, 0.5, 1.1), box)
    assert not touches(Circle(3.0, 2.0, 1.1), box)  # 1.41 from the corner


def test_words_are_broken_at_hyphens_and_lose_no_letter() -> None:
    lines = wrapped("transmission-controller-feed-fuse.out", 15.0, 2.1)

    assert "".join(lines) == "transmission-controller-feed-fuse.out"
    assert len(lines) > 1
    assert all(Text(0.0, 0.0, line).width <= 15.0 for line in lines)
    assert "".join(wrapped("w" * 40, 10.0, 2.1)) == "w" * 40
