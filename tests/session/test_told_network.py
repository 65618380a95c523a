"""A diagnosis as a network: another library finds the same probabilities in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.inference.prior.network import Form
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.explanation.case_network import diagnosis_network_text
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from tests.second_library import posterior, read_network
from tests.trial.lamp_trial import lamp_model

LOW_VOLTS = ReadingFact(
    reading=Reading(
        kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black="lamp.minus"
    ),
    value=0.1,
)
FULL_VOLTS = ReadingFact(
    reading=Reading(
        kind=ReadingKind.DC_VOLTS,
        state="lit",
        red="lamp-fuse.out",
        black="battery.minus",
    ),
    value=12.4,
)
FACTS: tuple[Fact, ...] = (
    ComplaintFact(complaint="lamp-dead"),
    ContextFact(context="water", answer="wet"),
    LOW_VOLTS,
    FULL_VOLTS,
)


@pytest.fixture(scope="module")
def lamp() -> Model:
    return lamp_model()


@pytest.mark.parametrize("n_facts", [1, 3, 4])
def test_faults_have_the_probabilities_of_the_diagnosis(
    n_facts: int, lamp: Model, tmp_path: Path
) -> None:
    facts = FACTS[:n_facts]
    text = diagnosis_network_text(lamp, facts, form=Form.XMLBIF)
    network = read_network(text, "bifxml", tmp_path)
    nodes = [name for name in network.names() if name.startswith("fact_")]

    found = posterior(network, "faults", dict.fromkeys(nodes, "as_told"))

    beliefs = Reasoner(lamp).conclude(facts).beliefs
    expected: dict[str, float] = {}
    for fault_set, share in zip(
        beliefs.sets, beliefs.set_probabilities().tolist(), strict=True
    ):
        words = "_and_".join(
            lamp.compiled.causes[c].name.replace("-", "_").replace(":", "_")
            for c in fault_set
        )
        expected[words or "none"] = expected.get(words or "none", 0.0) + share
    assert {name: expected[name] for name in found} == pytest.approx(found, abs=1e-9)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-9)


def test_facts_are_named_after_what_was_told(lamp: Model, tmp_path: Path) -> None:
    text = diagnosis_network_text(lamp, FACTS, form=Form.BIF)

    network = read_network(text, "bif", tmp_path)

    assert sorted(network.names()) == [
        "fact_1_symptom_lamp_shines",
        "fact_2_volts_lit_lamp_plus_lamp_minus",
        "fact_3_volts_lit_lamp_fuse_out_battery_minus",
        "faults",
    ]


def test_network_is_that_before_the_first_repair(lamp: Model) -> None:
    repaired = (
        *FACTS,
        RepairFact(cause="feed:open_circuit"),
        SymptomFact(symptom="lamp-shines", is_present=True),
    )

    before = diagnosis_network_text(lamp, FACTS, form=Form.BIF)

    assert diagnosis_network_text(lamp, repaired, form=Form.BIF) == before
