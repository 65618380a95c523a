from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.changes import thevenin
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.runs import Runs
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.network import Network, stacked
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car

CAR = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"
N_DRAWS = 4

# How far numbers may lie apart that were added up in another order, no unit. Derived:
# some roundings of a double.
ROUNDINGS = 1e-12


@pytest.fixture(scope="module")
def network(knowledge: Knowledge) -> Network:
    model = CarModel(load_car(CAR, knowledge), Sample(n_draws=N_DRAWS))
    return stacked([model.network(state) for state in model.car.states])


# Those that carry nearly all of what flows between their ends are solved apart; what is
# kept of that must be what would be solved again.
@pytest.mark.parametrize("kept", [0, 10**9])
def test_what_branches_see_does_not_depend_on_what_is_kept_or_asked_before(
    kept: int, network: Network, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = np.arange(len(network.branches))
    pairs = np.stack([every, np.roll(every, 5)])
    runs = Runs.of_points(np.full(len(every), 3), N_DRAWS, 1)
    whole = CompensationSolver(network, block_length=N_DRAWS).base_case.thevenin
    whole.prepare(10**9)
    monkeypatch.setattr(thevenin, "kept_bytes", lambda _: kept)
    monkeypatch.setattr(thevenin, "LOOSE_BYTES", kept)
    other = CompensationSolver(network, block_length=N_DRAWS).base_case.thevenin

    for start in range(0, len(every), 7):
        if start % 2:
            other.forget()
        some = np.arange(start, min(start + 7, len(every)))[::-1]
        found = other.ports(runs.take(some), every[some][None])
        expected = whole.ports(runs.take(some), every[some][None])
        for name in thevenin.Ports.__dataclass_fields__:
            one, same = getattr(found, name), getattr(expected, name)
            assert np.allclose(one, same, rtol=ROUNDINGS, atol=0.0), name
        seen = other.transfer_ohms(runs.take(some), pairs[:, some])
        again = whole.transfer_ohms(runs.take(some), pairs[:, some])
        sizes = whole.transfer_sizes(runs.take(some), pairs[:, some])
        assert (np.abs(seen - again) <= ROUNDINGS * sizes).all()
