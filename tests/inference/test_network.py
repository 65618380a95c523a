"""The cause network: its names, its tables, and what it hands to the priors."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.faults.causes import Cause, catalogue
from diagnose.faults.modes import FaultMode
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.compilation import priors_of
from diagnose.inference.prior.marginal_chances import cause_probabilities
from diagnose.inference.prior.network import node_table
from diagnose.inference.prior.node_names import node_name
from diagnose.inference.prior.priors import Priors
from diagnose.measurement.symptoms import Context
from diagnose.session.ready_car import Model
from tests.elimination import fault_sets, posterior
from tests.lamp_car import (
    BLOWN,
    BURNT_OUT,
    CAR,
    CONTEXTS,
    MODES,
    OPEN,
    RESISTANCE_A,
    SHORT,
)

TOLERANCE = 1e-9


@pytest.fixture(scope="module")
def causes() -> tuple[Cause, ...]:
    return catalogue(CAR, MODES)


@pytest.fixture(scope="module")
def network(causes: tuple[Cause, ...]) -> CauseNetwork:
    return CauseNetwork(CONTEXTS, causes)


@pytest.fixture(scope="module")
def priors(network: CauseNetwork) -> Priors:
    return priors_of(network)


def chance_of(
    name: str, answers: Mapping[str, str], priors: Priors, causes: Sequence[Cause]
) -> float:
    index = next(i for i, cause in enumerate(causes) if cause.name == name)
    return float(cause_probabilities(priors, answers)[index])


def test_node_names_are_plain_identifiers(network: CauseNetwork) -> None:
    # Interchange formats read nothing else.
    nodes = [str(node) for node in network.network.nodes()]

    assert [node for node in nodes if not node.isidentifier()] == []


def test_state_names_are_plain_identifiers(network: CauseNetwork) -> None:
    states = {
        state
        for table in network.network.get_cpds()
        for state in table.state_names[table.variable]
    }

    assert [state for state in states if not state.isidentifier()] == []


def test_every_part_of_the_shipped_car_has_a_node_of_its_own(
    sedan_model: Model,
) -> None:
    parts = {cause.part.name for cause in sedan_model.compiled.causes}

    assert len({node_name(part) for part in parts}) == len(parts)


def test_every_table_of_the_shipped_car_sums_to_one(sedan_model: Model) -> None:
    # The library lets a column be off by .01; at 638 causes that would be seen.
    compiled = sedan_model.compiled
    network = CauseNetwork(sedan_model.knowledge.contexts, compiled.causes)

    sums = np.concatenate(
        [table.get_values().sum(axis=0) for table in network.network.get_cpds()]
    )

    assert sums == pytest.approx(np.ones_like(sums), abs=TOLERANCE)


def test_mode_has_its_rate_where_no_factor_applies(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    found = chance_of("lamp:burnt_out", {}, priors, causes)

    assert found == pytest.approx(BURNT_OUT.rate, abs=TOLERANCE)


def test_factors_of_two_contexts_multiply(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand: .03 x 2 on fresh wiring x 4 in the wet.
    answers = {"wiring": "fresh", "water": "wet"}

    found = chance_of("feed:high_resistance_a", answers, priors, causes)

    assert found == pytest.approx(0.24, abs=TOLERANCE)


def test_skipped_context_is_averaged_over_its_answers(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    # By hand: .01 x (.7 dry + .3 wet x 3) = .016.
    found = chance_of("lamp-fuse:blown", {}, priors, causes)

    assert found == pytest.approx(0.016, abs=TOLERANCE)


def test_skipped_context_is_averaged_for_sets_of_causes(
    network: CauseNetwork, priors: Priors
) -> None:
    sets = fault_sets(network)
    wet = priors.set_probabilities(sets, {"water": "wet"})
    dry = priors.set_probabilities(sets, {"water": "dry"})

    found = priors.set_probabilities(sets, {})

    assert found == pytest.approx(0.3 * wet + 0.7 * dry, abs=1e-12)


def test_chances_of_all_fault_sets_sum_to_one(
    network: CauseNetwork, priors: Priors
) -> None:
    found = priors.set_probabilities(fault_sets(network), {})

    assert float(found.sum()) == pytest.approx(1.0, abs=TOLERANCE)


def test_two_modes_of_one_part_are_impossible_together(
    priors: Priors, causes: tuple[Cause, ...]
) -> None:
    of_feed = [i for i, cause in enumerate(causes) if cause.part.name == "feed"]

    assert priors.set_probabilities([tuple(of_feed[:2])], {}).tolist() == [0.0]


def test_sound_car_is_the_product_over_its_parts(priors: Priors) -> None:
    # By hand, dry and in service: battery .02, fuses 2 x .01, switch .005, feed .02 +
    # .03 + .03 + .01, lamp .03, ground the same but for the short.
    expected = 0.98 * 0.99**2 * 0.995 * 0.91 * 0.97 * 0.92

    found = priors.healthy_probability({"wiring": "in_service", "water": "dry"})

    assert found == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize(
    "answers",
    [{}, {"water": "wet"}, {"wiring": "fresh", "water": "dry"}],
    ids=["skipped", "one", "both"],
)
def test_marginals_are_those_of_variable_elimination(
    answers: Mapping[str, str],
    network: CauseNetwork,
    priors: Priors,
    causes: tuple[Cause, ...],
) -> None:
    expected = posterior(network, [], answers)

    found = dict(
        zip(
            (cause.name for cause in causes),
            cause_probabilities(priors, answers).tolist(),
            strict=True,
        )
    )
    assert found == pytest.approx(expected, abs=TOLERANCE, rel=0.0)


def test_part_is_never_likelier_broken_than_sound() -> None:
    # Five times the rate, wet and fresh: .3 + .1 + 1.2 and more would be over 1.
    often = tuple(replace(mode, rate=5 * mode.rate) for mode in MODES)
    priors = priors_of(CauseNetwork(CONTEXTS, catalogue(CAR, often)))

    assert priors.ok_probability.min() == pytest.approx(0.5, abs=TOLERANCE)


@pytest.mark.parametrize("excess", [-0.005, 0.005, 0.3])
def test_table_that_does_not_sum_to_one_is_refused(
    excess: float, causes: tuple[Cause, ...]
) -> None:
    # Half a percent is what the library's own check lets pass.
    off = Context(name="water", question="?", states={"dry": 0.7, "wet": 0.3 + excess})

    with pytest.raises(ValueError, match=r"water|[Ss]um"):
        CauseNetwork((CONTEXTS[0], off), causes)


def test_context_that_shifts_nothing_in_a_car_drops_out(
    causes: tuple[Cause, ...],
) -> None:
    season = Context(name="season", question="?", states={"warm": 0.7, "cold": 0.3})
    network = CauseNetwork((season, *CONTEXTS), causes)

    priors = priors_of(network)

    assert priors.contexts == ("wiring", "water")
    assert len(priors.configurations) == 4
    told = cause_probabilities(priors, {"season": "cold", "water": "wet"})
    expected = posterior(network, [], {"season": "cold", "water": "wet"})
    assert told == pytest.approx([expected[c.name] for c in causes], abs=TOLERANCE)


def test_unknown_context_answer_is_our_own_mistake(priors: Priors) -> None:
    with pytest.raises(ValueError, match="no configuration"):
        priors.given({"water": "salty"})


def test_fault_sets_are_every_combination(network: CauseNetwork) -> None:
    # By hand: battery, two fuses, switch and lamp 2 each; feed 1 + 4; ground 1 + 3.
    sets = fault_sets(network)

    assert (len(sets), len(set(sets))) == (2**5 * 5 * 4, len(sets))


@pytest.mark.parametrize(
    "modes",
    [(OPEN,), (OPEN, SHORT), (BLOWN, RESISTANCE_A, BURNT_OUT)],
    ids=["one mode", "two modes", "three kinds"],
)
def test_random_likelihoods_agree_on_other_networks(
    modes: Sequence[FaultMode],
) -> None:
    causes = catalogue(CAR, modes)
    network = CauseNetwork(CONTEXTS, causes)
    sets = fault_sets(network)
    random = np.random.default_rng(len(sets))
    facts = [random.random((len(sets), 3)) ** 6 for _ in range(3)]
    joint = priors_of(network).set_probabilities(sets, {})
    joint = joint * np.prod(np.stack(facts), axis=0).mean(axis=1)
    joint /= joint.sum()

    expected = posterior(network, facts, {})

    for index, cause in enumerate(causes):
        found = sum(
            chance
            for fault_set, chance in zip(sets, joint.tolist(), strict=True)
            if index in fault_set
        )
        assert found == pytest.approx(expected[cause.name], abs=TOLERANCE)


def test_part_whose_modes_never_happen_is_sound() -> None:
    never = [replace(mode, rate=0.0) for mode in (BLOWN, BURNT_OUT)]
    causes = catalogue(CAR, [*never, OPEN])

    found = cause_probabilities(priors_of(CauseNetwork(CONTEXTS, causes)), {})

    # By hand: .02 x 1.5 of feed and ground are open, on half of the cars twice as often
    names = [cause.name for cause in causes]
    assert dict(zip(names, found.tolist(), strict=True)) == {
        "main-fuse:blown": 0.0,
        "lamp-fuse:blown": 0.0,
        "feed:open_circuit": pytest.approx(0.03, abs=TOLERANCE),
        "lamp:burnt_out": 0.0,
        "ground:open_circuit": pytest.approx(0.03, abs=TOLERANCE),
    }


def test_priors_of_a_car_wait_for_no_pgmpy() -> None:
    asked = (
        "import sys\n"
        "from diagnose.inference.prior.compilation import priors_of\n"
        "from diagnose.inference.prior.cause_network import CauseNetwork\n"
        "from diagnose.faults.causes import catalogue\n"
        "from tests.lamp_car import CAR, CONTEXTS, MODES\n"
        "priors_of(CauseNetwork(CONTEXTS, catalogue(CAR, MODES)))\n"
        "print('pgmpy' in sys.modules)\n"
    )

    ran = subprocess.run(
        [sys.executable, "-c", asked], capture_output=True, text=True, check=True
    )

    assert ran.stdout.split() == ["False"]


def test_tables_are_those_of_the_network_in_pgmpys_form(network: CauseNetwork) -> None:
    held = {name: node_table(network.network, name) for name in network.tables}

    assert len(held) == len(network.network.nodes())
    for name, table in network.tables.items():
        assert held[name].states == table.states
        assert held[name].parents == table.parents
        assert (held[name].values == table.values).all()


def test_a_table_that_does_not_sum_to_one_is_refused(
    causes: tuple[Cause, ...],
) -> None:
    off = replace(CONTEXTS[0], states={"yes": 0.5, "no": 0.4})

    with pytest.raises(ValueError, match="columns sum to"):
        CauseNetwork((off, *CONTEXTS[1:]), causes)
