"""Fuses, links and breakers against the time-current bands of the standards.

The bands of blade fuses are those of a data sheet for 35 and 40 A, copied in a public
repository. Those of slow ones are DIN 72581-3 form E, an extract on a club page, and
for 600 % a data sheet of a large blade fuse of 40 A. Both hold 100 h at their rating,
which is asked for at 110 % here. Those of breakers are SAE J553, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import (
    OPENING_PARAMETERS,
    PERCENTS,
    PROTECTIVE_KINDS,
    opening_a2s,
    opening_multiple,
)
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predictor import Predictor
from diagnose.measurement.quantities import Probe
from tests.circuit.small_circuits import (
    GROUND,
    make_car,
    make_fuse,
    make_resistor,
    make_source,
    solve_circuit,
)

HOUR = 3600.0
BANDS_SECONDS = {
    ("fuse", 110): (100 * HOUR, np.inf),
    ("fuse", 135): (0.75, 600.0),
    ("fuse", 200): (0.15, 5.0),
    ("fuse", 350): (0.08, 0.5),
    ("fuse", 600): (0.0, 0.15),
    ("slow-fuse", 110): (100 * HOUR, np.inf),
    ("slow-fuse", 135): (60.0, 1800.0),
    ("slow-fuse", 200): (2.0, 60.0),
    ("slow-fuse", 350): (0.2, 7.0),
    ("slow-fuse", 600): (0.04, 1.0),
    ("breaker", 135): (0.0, 1800.0),
    ("breaker", 200): (5.0, 60.0),
}


@pytest.fixture(scope="module")
def points(knowledge: Knowledge) -> dict[str, np.ndarray]:
    """Return the usual opening times of each kind, shape (1, 5)."""
    defaults = knowledge.defaults
    return {
        kind: np.array(
            [[defaults[kind][name].distribution.first for name in OPENING_PARAMETERS]]
        )
        for kind in PROTECTIVE_KINDS
    }


@pytest.mark.parametrize(("kind", "percent"), BANDS_SECONDS)
def test_usual_part_opens_within_its_standards_band(
    kind: str, percent: int, points: dict[str, np.ndarray]
) -> None:
    least, longest = BANDS_SECONDS[kind, percent]

    assert least <= points[kind][0, PERCENTS.index(percent)] <= longest


@pytest.mark.parametrize("kind", PROTECTIVE_KINDS)
def test_more_current_opens_sooner(kind: str, points: dict[str, np.ndarray]) -> None:
    assert (np.diff(points[kind][0]) < 0.0).all()


@pytest.mark.parametrize("place", range(len(PERCENTS)))
def test_least_opening_current_goes_through_the_points(
    place: int, points: dict[str, np.ndarray]
) -> None:
    seconds = float(points["fuse"][0, place])

    multiple = opening_multiple(seconds, points["fuse"])

    assert multiple == pytest.approx(PERCENTS[place] / 100.0, rel=1e-9)


def test_nothing_opens_below_110_percent(points: dict[str, np.ndarray]) -> None:
    for kind in PROTECTIVE_KINDS:
        assert opening_multiple(1e9, points[kind]) == pytest.approx(1.1)


def test_far_beyond_the_points_heat_alone_counts(
    points: dict[str, np.ndarray],
) -> None:
    # By hand: a hundredth of the time takes ten times the current.
    last = float(points["fuse"][0, -1])

    assert opening_multiple(last / 100.0, points["fuse"]) == pytest.approx(60.0)


# By hand: ten seconds of cranking lie between 21 s at 135 % and .87 s at 200 %:
# 1.35 x (2 / 1.35)^(ln 2.1 / ln 24.1) = 1.48; ten minutes between 100 h at 110 %
# and 21 s: 1.1 x (1.35 / 1.1)^(ln 600 / ln 17143) = 1.26.
@pytest.mark.parametrize(("seconds", "multiple"), [(10.0, 1.48), (600.0, 1.26)])
def test_short_overload_takes_more_current_than_a_long_one(
    seconds: float, multiple: float, points: dict[str, np.ndarray]
) -> None:
    found = opening_multiple(seconds, points["fuse"])

    assert found == pytest.approx(multiple, rel=0.005)


def test_blade_fuse_opens_before_the_slow_fuse_of_its_rating(
    points: dict[str, np.ndarray],
) -> None:
    rating_amps = np.array([60.0])
    blade, slow = (opening_a2s(rating_amps, points[k]) for k in ("fuse", "slow-fuse"))

    assert (blade < slow).all()


# By hand: 8 A through .075 V / 15 A = 5 milliohm is 40 mV.
def test_millivolts_across_a_sound_fuse_tell_the_amps() -> None:
    solved = solve_circuit(
        [
            make_source("a", 12.0),
            make_fuse("fuse", "a", "b", rating_amps=15.0),
            make_resistor("b", GROUND, 1.495),
        ]
    )

    assert solved.drop_volts("a", "b") == pytest.approx(0.040, rel=1e-3)
    assert solved.drop_volts("a", "b") / 0.005 == pytest.approx(
        solved.branch_amps["fuse"], rel=1e-6
    )


# By hand: six times 10 A for .045 s are 3600 x .045 = 162 A² s.
def test_a_short_circuit_opens_a_fuse_by_its_heat(
    points: dict[str, np.ndarray],
) -> None:
    seconds = points["fuse"].copy()
    seconds[0, -1] = 0.045

    assert opening_a2s(np.array([10.0]), seconds).tolist() == pytest.approx([162.0])


# The points of the bench's fuse: 135 % of 10 A for 21 s, of 5 A where it opens at half.
@pytest.mark.parametrize(("blow_factor", "most_amps"), [(1.0, 13.5), (0.5, 6.75)])
@pytest.mark.parametrize(("share", "opens"), [(0.98, False), (1.02, True)])
def test_a_fuse_opens_in_a_state_that_lasts_as_long_as_it_takes(
    *, blow_factor: float, most_amps: float, share: float, opens: bool
) -> None:
    state = OperatingState(
        name="on", label="on", switch_positions={}, lasts_seconds=21.0
    )
    fuse = make_fuse("fuse", "a", "b", rating_amps=10.0, blow_factor=blow_factor)
    load_ohms = 12.0 / (most_amps * share) - 0.0075
    parts = [make_source("a", 12.0), fuse, make_resistor("b", GROUND, load_ohms)]

    model = CarModel(make_car(parts, state), Sample(n_draws=1))
    probe = Probe(branch="fuse", state="on", is_current=True)
    amps = Predictor(model, [], [probe]).predict([()]).probes.item()

    assert amps == pytest.approx(0.0 if opens else most_amps * share, abs=1e-3)
