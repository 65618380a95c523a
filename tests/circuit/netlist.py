"""A solved operating point as a SPICE netlist, so that another solver can check it.

Every branch is written as the line it lies on: a resistor where its own volts control
it, a controlled source where the volts of other nodes do, and a current source for the
fixed part. Leaves running the netlist to whoever has a SPICE.
"""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.solver.network import NODE_LEAK_SIEMENS, Network
from diagnose.circuit.solver.operating_point import OperatingPoint


def spice_netlist(
    network: Network,
    point: OperatingPoint,
    *,
    row: int = 0,
    title: str = "operating point",
) -> str:
    """Return the netlist of one solved operating point.

    Parameters
    ----------
    network : Network
        One car in one operating state.
    point : OperatingPoint
        Its solution.
    row : int
        Which of the points.
    title : str
        First line of the netlist, a comment to every SPICE.

    Returns
    -------
    str
        Elements and comments up to ``.end``, without a control section. Node ``n3`` is
        ``network.nodes[3]``, and the reference is ``0``.

    Notes
    -----
    Both here and in SPICE a current source ``I1 a b 2`` and a controlled source
    ``G1 a b c d 2`` drive their current through themselves from ``a`` to ``b``, which
    is the sign rule of `elements`.

    References
    ----------
    T. Quarles, D. Pederson, R. Newton, A. Sangiovanni-Vincentelli, C. Wayne, *SPICE3
    Version 3f User's Manual*, University of California, Berkeley, 1993 (from memory).
    """
    lines = [" ".join(title.split())]
    lines += [f"* {_node(k)} = {name}" for k, name in enumerate(network.nodes)]
    for branch in range(len(network.branches)):
        lines += _branch_lines(network, point, row=row, branch=branch)
    hold_ohms = 1.0 / NODE_LEAK_SIEMENS
    lines += [
        f"Rhold{k} {_node(k)} 0 {hold_ohms!r}" for k in range(1, len(network.nodes))
    ]
    return "\n".join([*lines, ".end", ""])


def _node(index: int) -> str:
    return f"n{index}" if index else "0"


def _branch_lines(
    network: Network, point: OperatingPoint, *, row: int, branch: int
) -> Iterator[str]:
    output = [_node(index) for index in network.output[branch].tolist()]
    control = [_node(index) for index in network.control[branch].tolist()]
    siemens = float(point.siemens[row, branch])
    amps = float(point.amps[row, branch])
    ends = " ".join(output)
    yield f"* {network.branches[branch]}"
    if siemens != 0.0 and control == output:
        yield f"R{branch} {ends} {1.0 / siemens!r}"
    elif siemens != 0.0:
        yield f"G{branch} {ends} {' '.join(control)} {siemens!r}"
    if amps != 0.0:
        yield f"I{branch} {ends} {amps!r}"
