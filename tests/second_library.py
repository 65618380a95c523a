"""pyagrum, a second exact library for Bayesian networks, for comparison only."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest


def agrum() -> Any:
    """Return the library; skip the test where the system can't load it.

    Its import ends the process where a warning is an error. It needs the OpenMP library
    of the system (libgomp), which a machine with only Python may lack.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("pyagrum", exc_type=ImportError)


def read_network(text: str, ending: str, folder: Path) -> Any:
    """Return a network read by the library.

    Parameters
    ----------
    ending : str
        ``bif`` or ``bifxml``.
    """
    path = folder / f"network.{ending}"
    path.write_text(text, encoding="utf-8")
    return agrum().loadBN(str(path))


def posterior(
    network: Any, node: str, evidence: Mapping[str, str] | None = None
) -> dict[str, float]:
    """Return the probability of each state of a node, exactly inferred."""
    engine = agrum().LazyPropagation(network)
    engine.setEvidence(dict(evidence or {}))
    engine.makeInference()
    states = network.variable(node).labels()
    return dict(zip(states, engine.posterior(node).tolist(), strict=True))
