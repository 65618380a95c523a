"""Runs netlists through ngspice, all of them in one process."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None, reason="ngspice is not installed; it is the outside reference"
)
OPTIONS = ".options reltol=1e-10 abstol=1e-14 vntol=1e-12 itl1=1000\n.end\n"


def ngspice_volts(netlists: Sequence[str], *, folder: Path) -> list[list[float]]:
    """Return the operating points of netlists: the volts of each, node by node.

    Parameters
    ----------
    netlists : Sequence[str]
        With nodes ``0``, ``n1``, ``n2`` and so on.
    folder : Path
        Where files may be written.
    """
    script = ["many", ".control", "set numdgt=16"]
    for number, netlist in enumerate(netlists):
        path = folder / f"{number}.cir"
        path.write_text(netlist.replace(".end\n", OPTIONS), encoding="utf-8")
        names = " ".join(f"v(n{k})" for k in range(1, _n_nodes(netlist)))
        script += [f"source {path}", "op", f"echo circuit {number}", f"print {names}"]
        script += ["remcirc"]
    path = folder / "many.cir"
    path.write_text("\n".join([*script, "quit", ".endc", ".end", ""]), encoding="utf-8")
    result = subprocess.run(
        [NGSPICE or "ngspice", "-b", str(path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    blocks = re.split(r"^circuit \d+$", result.stdout, flags=re.MULTILINE)[1:]
    assert len(blocks) == len(netlists), result.stdout + result.stderr
    return [_volts(*pair) for pair in zip(netlists, blocks, strict=True)]


def _n_nodes(netlist: str) -> int:
    """Return the number of nodes, the reference included."""
    return 1 + max(int(node) for node in re.findall(r"\bn(\d+)\b", netlist))


def _volts(netlist: str, block: str) -> list[float]:
    pairs = re.findall(r"^v\(n(\d+)\) = (\S+)$", block, re.MULTILINE)
    found = {int(index): float(volts) for index, volts in pairs}
    assert set(found) == set(range(1, _n_nodes(netlist))), block
    return [0.0, *(found[k] for k in range(1, _n_nodes(netlist)))]
