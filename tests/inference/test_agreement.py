"""Four ways to one posterior: compiled form, elimination in two libraries, whole joint.

The lamp car has 384 combinations of fault-node states, so nothing is left out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.belief.beliefs import update
from diagnose.inference.belief.evidence import (
    look_likelihood,
    reading_likelihood,
    symptom_likelihood,
)
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.inference.belief.slips import Slips
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.network import Form, written
from diagnose.measurement.readings import Reading, ReadingKind
from tests.elimination import ImpossibleFindingsError, fault_sets, posterior, with_facts
from tests.lamp_car import (
    BLOWN,
    BURNT_OUT,
    CONTEXTS,
    DISCHARGED,
    GROUND,
    METER,
    OPEN,
    RESISTANCE_A,
    SHORT,
    STUCK_OPEN,
    SYMPTOMS,
    compiled_car,
)
from tests.second_library import agrum, read_network

MODES = (DISCHARGED, BLOWN, STUCK_OPEN, OPEN, RESISTANCE_A, SHORT, BURNT_OUT)
N_DRAWS = 5
TOLERANCE = 1e-9

DARK = ("lamp-shines", False)
DIM = ("lamp-is-dim", True)
NO_VOLTS = (("volts", "lit", "lamp.plus", GROUND), 0.02)
LOW_VOLTS = (("volts", "lit", "lamp.plus", "lamp.minus"), 7.4)
REST = (("volts", "key-off", "battery.plus", GROUND), 12.55)
LOOKS_BLOWN = (("look", "key-off", "lamp-fuse", ""), 1.0)
LOOKS_SOUND = (("look", "key-off", "lamp-fuse", ""), 0.0)
OVER_RANGE = (("ohms", "isolated", "lamp.minus", GROUND), math.inf)
FEW_OHMS = (("ohms", "isolated", "lamp.minus", GROUND), 3.4)
NO_AMPS = (("amps", "lit", "lamp-fuse", ""), 0.1)

Told = tuple[str, bool] | tuple[tuple[str, str, str, str], float]
CASES: Mapping[str, tuple[tuple[Told, ...], Mapping[str, str]]] = {
    "a symptom": ((DARK,), {}),
    "a symptom on wet wiring": ((DARK,), {"water": "wet"}),
    "both contexts answered": ((DARK,), {"water": "dry", "wiring": "fresh"}),
    "volts": ((DARK, NO_VOLTS), {}),
    "two readings, dim": ((DIM, LOW_VOLTS, REST), {"wiring": "in_service"}),
    "a blown fuse": ((DARK, LOOKS_BLOWN, NO_AMPS), {}),
    "over range": ((DARK, LOOKS_SOUND, OVER_RANGE), {"water": "wet"}),
    "few ohms": ((DIM, FEW_OHMS), {}),
}


@pytest.fixture(scope="module")
def both_forms() -> tuple[CauseNetwork, Compiled]:
    return compiled_car(N_DRAWS, MODES)


@pytest.fixture(scope="module")
def network(both_forms: tuple[CauseNetwork, Compiled]) -> CauseNetwork:
    return both_forms[0]


@pytest.fixture(scope="module")
def compiled(both_forms: tuple[CauseNetwork, Compiled]) -> Compiled:
    return both_forms[1]


@pytest.fixture(scope="module")
def everything(network: CauseNetwork, compiled: Compiled) -> Hypotheses:
    """Return every combination of fault-node states with what it shows."""
    return compiled.hypotheses(fault_sets(network))


def likelihood(told: Told, everything: Hypotheses, compiled: Compiled) -> FloatArray:
    """Return one fact's likelihood under every fault set and draw."""
    where, value = told
    if isinstance(where, str):
        chance = everything.symptoms[:, :, compiled.symptom_index[where]]
        return symptom_likelihood(
            SYMPTOMS[where], bool(value), chance.astype(np.float64)
        )
    kind, state, red, black = where
    reading = Reading(kind=ReadingKind(kind), state=state, red=red, black=black)
    predicted = compiled.readings.predicted(everything, reading)
    if reading.kind is ReadingKind.LOOK:
        return look_likelihood(value > 0.5, predicted)
    return reading_likelihood(
        value,
        predicted,
        spread=spread_of(reading.kind, METER, system_volts=12.0),
        slips=Slips(probability=METER.slip_probability),
    )


def by_compiled_form(
    compiled: Compiled,
    everything: Hypotheses,
    likelihoods: Sequence[FloatArray],
    answers: Mapping[str, str],
) -> dict[str, float]:
    chances = compiled.priors.set_probabilities(everything.sets, answers)
    prior = np.repeat(chances[:, None] / N_DRAWS, N_DRAWS, axis=1)
    beliefs = update(everything.sets, prior, likelihoods)
    assert beliefs is not None
    found = beliefs.cause_probabilities(len(compiled.causes)).tolist()
    return dict(zip((c.name for c in compiled.causes), found, strict=True))


def by_whole_joint(
    compiled: Compiled,
    everything: Hypotheses,
    likelihoods: Sequence[FloatArray],
    answers: Mapping[str, str],
) -> dict[str, float]:
    """Sum the joint term by term, straight from rates and factors."""
    seen = np.prod(np.stack(likelihoods), axis=0).mean(axis=1).tolist()
    parts = list(dict.fromkeys(cause.part.name for cause in compiled.causes))
    found = dict.fromkeys((cause.name for cause in compiled.causes), 0.0)
    total = 0.0
    for history in itertools.product(*(context.states for context in CONTEXTS)):
        told = dict(zip((c.name for c in CONTEXTS), history, strict=True))
        if any(told[context] != answer for context, answer in answers.items()):
            continue
        chance = math.prod(c.states[told[c.name]] for c in CONTEXTS)
        rates = [
            cause.mode.rate
            * math.prod(
                by_answer.get(told[context], 1.0)
                for context, by_answer in cause.mode.factors.items()
            )
            for cause in compiled.causes
        ]
        sound = {
            part: 1.0
            - sum(
                rate
                for rate, cause in zip(rates, compiled.causes, strict=True)
                if cause.part.name == part
            )
            for part in parts
        }
        for fault_set, evidence in zip(everything.sets, seen, strict=True):
            faulty = {compiled.causes[c].part.name for c in fault_set}
            term = chance * evidence
            term *= math.prod(rates[c] for c in fault_set)
            term *= math.prod(sound[part] for part in parts if part not in faulty)
            total += term
            for cause in fault_set:
                found[compiled.causes[cause].name] += term
    return {name: value / total for name, value in found.items()}


@pytest.mark.parametrize("case", CASES, ids=str)
def test_compiled_form_agrees_with_variable_elimination(
    case: str, network: CauseNetwork, compiled: Compiled, everything: Hypotheses
) -> None:
    facts, answers = CASES[case]
    likelihoods = [likelihood(fact, everything, compiled) for fact in facts]

    found = by_compiled_form(compiled, everything, likelihoods, answers)

    expected = posterior(network, likelihoods, answers)
    assert found == pytest.approx(expected, abs=TOLERANCE, rel=0.0)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_compiled_form_agrees_with_a_second_library(
    case: str,
    network: CauseNetwork,
    compiled: Compiled,
    everything: Hypotheses,
    tmp_path: Path,
) -> None:
    facts, answers = CASES[case]
    likelihoods = [likelihood(fact, everything, compiled) for fact in facts]
    text = written(with_facts(network, likelihoods), "lamp-car", Form.XMLBIF)
    second = read_network(text, "bifxml", tmp_path)

    found = by_compiled_form(compiled, everything, likelihoods, answers)

    evidence = {**answers, **{f"fact_{i}": "seen" for i in range(len(facts))}}
    engine = agrum().LazyPropagation(second)
    engine.setEvidence(evidence)
    engine.makeInference()
    for cause in compiled.causes:
        node = network.nodes[cause.part.name]
        states = second.variable(node).labels()
        expected = engine.posterior(node).tolist()[states.index(cause.mode.name)]
        assert found[cause.name] == pytest.approx(expected, abs=TOLERANCE, rel=0.0)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_compiled_form_agrees_with_the_whole_joint(
    case: str, compiled: Compiled, everything: Hypotheses
) -> None:
    facts, answers = CASES[case]
    likelihoods = [likelihood(fact, everything, compiled) for fact in facts]

    found = by_compiled_form(compiled, everything, likelihoods, answers)

    expected = by_whole_joint(compiled, everything, likelihoods, answers)
    assert found == pytest.approx(expected, abs=TOLERANCE, rel=0.0)


def test_posterior_follows_the_circuit(
    compiled: Compiled, everything: Hypotheses
) -> None:
    # A dark lamp and a fuse found blown: the fuse itself, or the short behind it.
    # By hand: short .01 x (.5 x 2 + .5) = .015; fuse .01 x (.7 + .3 x 3) = .016.
    likelihoods = [
        likelihood(fact, everything, compiled) for fact in (DARK, LOOKS_BLOWN)
    ]

    found = by_compiled_form(compiled, everything, likelihoods, {})

    ratio = found["lamp-fuse:blown"] / found["feed:short_to_ground"]
    # 3 %: beside the blown fuse others may be present, and both at once
    assert ratio == pytest.approx(0.016 / 0.015, rel=0.03)


def test_evidence_is_the_sum_over_the_joint(
    compiled: Compiled, everything: Hypotheses
) -> None:
    likelihoods = [
        likelihood(fact, everything, compiled) for fact in (DIM, LOW_VOLTS, REST)
    ]
    chances = compiled.priors.set_probabilities(everything.sets, {})

    prior = np.repeat(chances[:, None] / N_DRAWS, N_DRAWS, axis=1)
    beliefs = update(everything.sets, prior, likelihoods)

    joint = prior * np.prod(np.stack(likelihoods), axis=0)
    assert beliefs is not None
    assert beliefs.log_evidence == pytest.approx(math.log(joint.sum()), abs=TOLERANCE)


def test_impossible_evidence_is_refused_by_the_network(network: CauseNetwork) -> None:
    never = np.zeros((len(fault_sets(network)), N_DRAWS))

    with pytest.raises(ImpossibleFindingsError):
        posterior(network, [never], {})


def test_facts_impossible_only_together_are_refused_by_the_network(
    network: CauseNetwork,
) -> None:
    first = np.zeros((len(fault_sets(network)), N_DRAWS))
    second = first.copy()
    first[1] = 0.5
    second[2] = 0.5

    with pytest.raises(ImpossibleFindingsError):
        posterior(network, [first, second], {})


def test_impossible_evidence_has_no_beliefs(everything: Hypotheses) -> None:
    prior = np.full((len(everything.sets), N_DRAWS), 1.0)

    assert update(everything.sets, prior, [np.zeros_like(prior)]) is None
