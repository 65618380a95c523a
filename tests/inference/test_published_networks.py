"""Published networks: the figures in print, and a second exact library.

The networks asia, alarm and win95pts come with pgmpy. They pass through the program's
own door to pgmpy, its evidence code where the joint is small enough to write out, its
export, and pyagrum.
"""

from __future__ import annotations

import gzip
import itertools
import math
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diagnose.inference.belief.beliefs import Beliefs, update
from diagnose.inference.prior.network import Form, written
from diagnose.session.explanation.weight_of_evidence import decibans
from tests.elimination import ImpossibleFindingsError, evidence_probability, marginals
from tests.second_library import agrum, read_network

TOLERANCE = 1e-9
XRAY = {"xray": "yes"}
THREE = {"asia": "yes", "dysp": "yes", "xray": "yes"}
ALARM = {
    "HRBP": "HIGH",
    "CVP": "LOW",
    "EXPCO2": "LOW",
    "BP": "LOW",
    "SAO2": "LOW",
}
PRINTING = {
    "Problem1": "No_Output",
    "PrtStatOff": "No_Error",
    "PrtIcon": "Normal",
    "TnrSpply": "Adequate",
    "NetPrint": "Yes__Network_printer_",
}


def shipped_network(name: str, folder: Path) -> Any:
    """Return a network that comes with pgmpy.

    pyagrum reads its BIF and writes XMLBIF, which takes a fiftieth of the time that
    pgmpy's own reader of BIF needs.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # pgmpy warns at its own import
        import pgmpy
        from pgmpy.readwrite import XMLBIFReader
    models = Path(pgmpy.__file__).parent / "utils" / "example_models"
    text = gzip.decompress((models / f"{name}.bif.gz").read_bytes()).decode()
    path = folder / "shipped.bifxml"
    agrum().saveBN(read_network(text, "bif", folder), str(path))
    network = XMLBIFReader(path=str(path)).get_model()
    for table in network.get_cpds():
        table.normalize()  # read in single precision, so off by some 1e-8
    return network


@pytest.fixture(scope="module")
def asia(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return shipped_network("asia", tmp_path_factory.mktemp("asia"))


# S. L. Lauritzen and D. J. Spiegelhalter, Local computations with probabilities on
# graphical structures and their application to expert systems, Journal of the Royal
# Statistical Society B 50, 1988: the network; the figures were computed from it.
@pytest.mark.parametrize(
    ("node", "evidence", "expected"),
    [
        ("lung", XRAY, 0.488711),
        ("tub", XRAY, 0.092411),
        ("lung", THREE, 0.444271),
        ("tub", THREE, 0.391712),
    ],
)
def test_asia_has_its_published_posteriors(
    node: str, evidence: Mapping[str, str], expected: float, asia: Any
) -> None:
    found = marginals(asia, [node], evidence)

    assert found[node]["yes"] == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(
    ("evidence", "expected"), [(XRAY, 0.110290), (THREE, 0.000988)]
)
def test_asia_has_its_published_evidence(
    evidence: Mapping[str, str], expected: float, asia: Any
) -> None:
    assert evidence_probability(asia, evidence) == pytest.approx(expected, abs=5e-7)


def enumerated(asia: Any, evidence: Mapping[str, str]) -> tuple[list[str], Beliefs]:
    """Return the beliefs of the program's own evidence code over the whole joint.

    A fault set is the set of nodes that are yes; each finding is a fact.
    """
    nodes = [str(node) for node in asia.nodes()]
    worlds = list(itertools.product(("yes", "no"), repeat=len(nodes)))
    prior = np.ones((len(worlds), 1))
    for row, world in enumerate(worlds):
        state = dict(zip(nodes, world, strict=True))
        for table in asia.get_cpds():
            wanted = {name: state[name] for name in table.variables}
            prior[row] *= table.get_value(**wanted)
    facts = [
        np.array([[float(world[nodes.index(node)] == state)] for world in worlds])
        for node, state in evidence.items()
    ]
    sets = [
        tuple(i for i, state in enumerate(world) if state == "yes") for world in worlds
    ]
    beliefs = update(sets, prior, facts)
    assert beliefs is not None
    return nodes, beliefs


@pytest.mark.parametrize("evidence", [XRAY, THREE], ids=["one finding", "three"])
def test_evidence_code_agrees_with_elimination_on_asia(
    evidence: Mapping[str, str], asia: Any
) -> None:
    nodes, beliefs = enumerated(asia, evidence)

    open_nodes = [node for node in nodes if node not in evidence]
    found = dict(
        zip(nodes, beliefs.cause_probabilities(len(nodes)).tolist(), strict=True)
    )
    expected = marginals(asia, open_nodes, evidence)
    for node in open_nodes:
        assert found[node] == pytest.approx(expected[node]["yes"], abs=TOLERANCE)


def test_evidence_code_has_the_published_evidence(asia: Any) -> None:
    _, beliefs = enumerated(asia, THREE)

    assert math.exp(beliefs.log_evidence) == pytest.approx(0.000988, abs=5e-7)


@pytest.mark.parametrize(
    ("name", "evidence"),
    [("asia", THREE), ("alarm", ALARM), ("win95pts", PRINTING)],
    ids=["asia", "alarm", "win95pts"],
)
def test_all_marginals_agree_with_a_second_library(
    name: str, evidence: Mapping[str, str], tmp_path: Path
) -> None:
    network = shipped_network(name, tmp_path)
    # XMLBIF keeps every digit in both libraries
    second = read_network(written(network, name, Form.XMLBIF), "bifxml", tmp_path)
    nodes = [str(node) for node in network.nodes() if node not in evidence]

    found = marginals(network, nodes, evidence)

    engine = agrum().LazyPropagation(second)
    engine.setEvidence(dict(evidence))
    engine.makeInference()
    for node in nodes:
        states = second.variable(node).labels()
        expected = dict(zip(states, engine.posterior(node).tolist(), strict=True))
        assert found[node] == pytest.approx(expected, abs=TOLERANCE, rel=0.0)
    told = evidence_probability(network, evidence)
    assert told == pytest.approx(engine.evidenceProbability(), rel=TOLERANCE)


# I. J. Good, Probability and the Weighing of Evidence, 1950: the measure; computed.
def test_weight_of_evidence_moves_the_log_odds_on_asia(asia: Any) -> None:
    given = {
        state: marginals(asia, ["xray"], {"lung": state})["xray"]["yes"]
        for state in ("yes", "no")
    }
    prior = marginals(asia, ["lung"], {})["lung"]
    posterior = marginals(asia, ["lung"], XRAY)["lung"]

    weight = decibans(given["yes"], given["no"])

    assert weight == pytest.approx(12.155, abs=5e-4)
    assert decibans(prior["yes"], prior["no"]) == pytest.approx(-12.351, abs=5e-4)
    after = decibans(posterior["yes"], posterior["no"])
    assert after == pytest.approx(-0.196, abs=5e-4)


# F. V. Jensen, B. Chamberlain, T. Nordahl and F. Jensen on data conflict, 6th
# Conference on Uncertainty in Artificial Intelligence, 1990 (from memory): the measure,
# log2 of the product of P(finding) over P(findings).
@pytest.mark.parametrize(("dyspnoea", "expected"), [("yes", -0.5556), ("no", 0.6508)])
def test_conflict_tells_findings_that_fit_from_findings_that_do_not(
    dyspnoea: str, expected: float, asia: Any
) -> None:
    findings = {"xray": "yes", "dysp": dyspnoea}
    alone = [evidence_probability(asia, {n: s}) for n, s in findings.items()]

    conflict = math.log2(math.prod(alone) / evidence_probability(asia, findings))

    assert conflict == pytest.approx(expected, abs=5e-5)


def test_impossible_findings_are_refused(asia: Any) -> None:
    # `either` is certain once there is tuberculosis.
    with pytest.raises(ImpossibleFindingsError):
        marginals(asia, ["lung"], {"tub": "yes", "either": "no"})
