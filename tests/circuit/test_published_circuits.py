"""Published circuits and figures, worked again by the solver.

Each test names its source and its basis: read (in the document), copy (in a secondary
copy), memory, or rule (of the trade).
"""

from __future__ import annotations

import pytest

from tests.circuit.small_circuits import (
    GROUND,
    IDEAL_OHMS,
    OPEN_OHMS,
    make_resistor,
    make_source,
    solve_circuit,
)

SHORT_OHMS = IDEAL_OHMS


# Lessons in Electric Circuits, volume DC, chapter 5 (read, exact): 9 V over 100, 300
# and 50 ohm in series; the middle one sound, shorted, open.
@pytest.mark.parametrize(
    ("middle_ohms", "amps", "drops_volts"),
    [
        (300.0, 0.020, (2.0, 6.0, 1.0)),
        (SHORT_OHMS, 0.060, (6.0, 0.0, 3.0)),
        (OPEN_OHMS, 0.0, (0.0, 9.0, 0.0)),
    ],
)
def test_series_circuit_gives_the_published_current_and_drops(
    middle_ohms: float, amps: float, drops_volts: tuple[float, float, float]
) -> None:
    solved = solve_circuit(
        [
            make_source("a", 9.0),
            make_resistor("a", "b", 100.0),
            make_resistor("b", "c", middle_ohms),
            make_resistor("c", GROUND, 50.0),
        ]
    )

    assert solved.branch_amps[f"c-{GROUND}"] == pytest.approx(amps, abs=1e-7)
    found = [
        solved.drop_volts("a", "b"),
        solved.drop_volts("b", "c"),
        solved.drop_volts("c"),
    ]
    assert found == pytest.approx(drops_volts, abs=5e-6)


# Lessons in Electric Circuits, DC, chapter 5 (read, exact): 9 V over 90, 45 and 180
# ohm in parallel; with the second one open the total is 150 mA.
@pytest.mark.parametrize(
    ("second_ohms", "branch_amps", "total_amps"),
    [(45.0, (0.1, 0.2, 0.05), 0.35), (OPEN_OHMS, (0.1, 0.0, 0.05), 0.15)],
)
def test_parallel_circuit_gives_the_published_currents(
    second_ohms: float, branch_amps: tuple[float, ...], total_amps: float
) -> None:
    ohms = (90.0, second_ohms, 180.0)
    feeds = [make_resistor("a", node, IDEAL_OHMS) for node in "bcd"]
    loads = [make_resistor(n, GROUND, r) for n, r in zip("bcd", ohms, strict=True)]

    solved = solve_circuit([make_source("a", 9.0), *feeds, *loads])

    found = [solved.branch_amps[load.name] for load in loads]
    assert found == pytest.approx(branch_amps, abs=1e-7)
    assert -solved.branch_amps["source-a"] == pytest.approx(total_amps, abs=1e-7)


# Lessons in Electric Circuits, DC, chapter 10 (read, exact): 28 V behind 4 ohm and 7
# V behind 1 ohm into 2 ohm: 8 V; 5 A from the first, 4 A in the load, 1 A into the
# second.
def test_two_sources_share_a_load_and_the_weaker_is_charged() -> None:
    solved = solve_circuit(
        [
            make_source("a", 28.0),
            make_resistor("a", "m", 4.0),
            make_source("b", 7.0),
            make_resistor("b", "m", 1.0),
            make_resistor("m", GROUND, 2.0),
        ]
    )

    assert solved.node_volts["m"] == pytest.approx(8.0, rel=1e-6)
    assert solved.branch_amps["a-m"] == pytest.approx(5.0, rel=1e-6)
    assert solved.branch_amps[f"m-{GROUND}"] == pytest.approx(4.0, rel=1e-6)
    assert solved.branch_amps["source-b"] == pytest.approx(1.0, rel=1e-5)


# Lessons in Electric Circuits, DC, chapter 11 (read, exact): 10 V, 0.2 ohm source; 1
# ohm load 8.333 A, shorted 50 A.
@pytest.mark.parametrize(("load_ohms", "amps"), [(1.0, 10.0 / 1.2), (SHORT_OHMS, 50.0)])
def test_source_resistance_limits_the_current(load_ohms: float, amps: float) -> None:
    solved = solve_circuit(
        [make_source("a", 10.0, ohms=0.2), make_resistor("a", GROUND, load_ohms)]
    )

    assert solved.branch_amps[f"a-{GROUND}"] == pytest.approx(amps, rel=1e-5)


# Lessons in Electric Circuits, DC, chapter 8 (read, 0.01 %): 24 V across two 250
# Mohm, a 10 Mohm meter on one shows 0.8889 V and not 12 V. The 1 pS by which the solver
# holds every node takes 0.001 % (1 pS of 108 nS, derived).
def test_meter_loads_a_divider_of_high_resistance() -> None:
    solved = solve_circuit(
        [
            make_source("a", 24.0),
            make_resistor("a", "m", 250e6),
            make_resistor("m", GROUND, 250e6),
            make_resistor("m", GROUND, 10e6, name="meter"),
        ]
    )

    assert solved.node_volts["m"] == pytest.approx(0.8889, rel=1e-4)


# US Army subcourse MM0455, figure 5-1 (read, 1 %): 10 V over two 10 kohm, a 10 kohm
# meter on one shows 3.3 V and not 5 V. The figure is rounded: 3.333 V is 1.01 % off.
def test_meter_of_low_resistance_pulls_the_reading_down() -> None:
    solved = solve_circuit(
        [
            make_source("a", 10.0),
            make_resistor("a", "m", 10e3),
            make_resistor("m", GROUND, 10e3),
            make_resistor("m", GROUND, 10e3, name="meter"),
        ]
    )

    assert solved.node_volts["m"] == pytest.approx(3.3, abs=0.05)
