"""Branches: the one thing that every part becomes for the solver.

The current of a branch is piecewise linear in one control voltage, and one gate at most
may switch it:

    i = siemens[m] * x + amps[m]   for breaks[m-1] <= x < breaks[m],   0 while gated off

with x = v(control[0]) - v(control[1]). The solver, the fast path for small changes and
the netlist need to know nothing else.

Sign rule: the current flows through the branch from output[0] to output[1]. A load has
i > 0 when output[0] is the higher one; a source that feeds the car has i < 0.

A positive-ground car keeps its battery as it is; what has a side meant for ground
(alternator, starter, electronics, lamps) is turned round. Readings count from the
grounded post and come out negative, as a meter shows them with its black lead there.
Such a car is the exact mirror of the other one.

All arrays have one row per tolerance draw. Leaves to the other modules of this package
which branches a kind has, and to `solver` what currents flow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray
from diagnose.circuit.car import Part
from diagnose.circuit.operating_states import OperatingState

# Parameter of a part to its draws, shape (n_draws,), in the unit that ends its name.
Values = Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """What switches a branch: the volts between two nodes, with hysteresis.

    Parameters
    ----------
    watch : tuple[str, str]
        The two nodes; the magnitude of the voltage between them counts.
    on_volts, off_volts : FloatArray
        Pull-in and release volts, shape (n_draws,). [V]
    is_inverted : BoolArray or bool
        The branch conducts while the gate is off (an 87a contact), shape (n_draws,).
    is_self_holding : bool
        The branch feeds its own gate once it is on, so it has to prove that it starts.
    """

    watch: tuple[str, str]
    on_volts: FloatArray
    off_volts: FloatArray
    is_inverted: BoolArray | bool = False
    is_self_holding: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """When a branch opens by its own current.

    What opens first does so by its time-current curve: a blade fuse and a bolted fuse
    behind it may carry the same short circuit.

    Parameters
    ----------
    trip_amps : FloatArray
        Current above which it opens within the time the state lasts, shape (n_draws,).
        [A]
    a2s : FloatArray
        Current squared times the time to open; of several that carry too much, the one
        with the least of it for its own squared current opens first. Shape (n_draws,).
        [A² s]
    resets_itself : FloatArray
        1 where it closes again once it has cooled down, and so goes on and off; else 0.
        Shape (n_draws,).
    """

    trip_amps: FloatArray
    a2s: FloatArray
    resets_itself: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One current path between two nodes.

    Parameters
    ----------
    name : str
        The part's name, and for a second path a suffix, as in ``alternator/field``.
    part : str
        Name of the part it belongs to.
    output : tuple[str, str]
        Nodes the current flows from and to.
    control : tuple[str, str]
        Nodes whose voltage sets the current.
    breaks : FloatArray
        Control volts where one segment ends and the next begins, shape
        (n_draws, n_segments - 1), rising along the last axis. [V]
    siemens, amps : FloatArray
        Slope of each segment, and its current at no volts, shape
        (n_draws, n_segments). [S], [A]
    forced : FloatArray
        Shape (n_draws,): 1 always on, -1 always off, 0 as the gate says.
    gate : Gate or None
        What switches it.
    protection : Protection or None
        What opens it by its own current.
    """

    name: str
    part: str
    output: tuple[str, str]
    control: tuple[str, str]
    breaks: FloatArray
    siemens: FloatArray
    amps: FloatArray
    forced: FloatArray
    gate: Gate | None = None
    protection: Protection | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """All that a kind may look at when a part becomes branches.

    Parameters
    ----------
    part : Part
        The part itself.
    values : Values
        Its drawn values.
    gate_part, gate_values : Part or None, Values or None
        The part named by `Part.gate` and its values.
    state : OperatingState
        What the car is doing.
    position : str
        Position of the part's switch in this state.
    body : str
        Node that insulation leaks to.
    scale : float
        System volts over 12: thresholds in these modules are meant for a 12 V car. [1]
    is_mirrored : bool
        The part is the other way round, as in a positive-ground car; see
        `elements.Element.has_ground_side`.
    """

    part: Part
    values: Values
    gate_part: Part | None
    gate_values: Values | None
    state: OperatingState
    position: str
    body: str
    scale: float
    is_mirrored: bool

    def between(self, first: str, second: str) -> tuple[str, str]:
        """Return the nodes of two terminals, the more positive one first.

        Parameters
        ----------
        first, second : str
            Terminals, the positive one first as in a negative-ground car.

        Returns
        -------
        tuple[str, str]
            Their nodes, turned round in a mirrored part.
        """
        nodes = self.part.terminals[first], self.part.terminals[second]
        return nodes[::-1] if self.is_mirrored else nodes

    def linear(
        self,
        ohms: FloatArray,
        *,
        nodes: tuple[str, str],
        suffix: str = "",
        forced: FloatArray | None = None,
        gate: Gate | None = None,
        protection: Protection | None = None,
    ) -> Branch:
        """Return a branch that obeys Ohm's law between two nodes.

        Parameters
        ----------
        ohms : FloatArray
            Resistance, shape (n_draws,). [Ω]
        nodes : tuple[str, str]
            Its ends.
        suffix : str
            What its name has beyond the part's.
        forced, gate, protection
            As in `Branch`; always on when `forced` is None.

        Returns
        -------
        Branch
            With one segment.
        """
        return self.curve(
            breaks=np.empty((len(ohms), 0)),
            siemens=1.0 / ohms[:, None],
            amps=np.zeros((len(ohms), 1)),
            nodes=nodes,
            forced=forced,
            gate=gate,
            suffix=suffix,
            protection=protection,
        )

    def curve(
        self,
        *,
        breaks: FloatArray,
        siemens: FloatArray,
        amps: FloatArray,
        nodes: tuple[str, str],
        control: tuple[str, str] | None = None,
        forced: FloatArray | None = None,
        gate: Gate | None = None,
        suffix: str = "",
        protection: Protection | None = None,
    ) -> Branch:
        """Return a branch with a piecewise-linear characteristic.

        Parameters
        ----------
        breaks, siemens, amps : FloatArray
            As in `Branch`. [V], [S], [A]
        nodes : tuple[str, str]
            Its ends.
        control : tuple[str, str] or None
            Nodes of the control voltage; its ends when None.
        forced, gate, protection
            As in `Branch`; always on when `forced` is None.
        suffix : str
            What its name has beyond the part's.

        Returns
        -------
        Branch
            With as many segments as `siemens` has columns.
        """
        return Branch(
            name=self.part.name + suffix,
            part=self.part.name,
            output=nodes,
            control=nodes if control is None else control,
            breaks=breaks,
            siemens=siemens,
            amps=amps,
            forced=np.ones(len(siemens)) if forced is None else forced,
            gate=gate,
            protection=protection,
        )


def columns(*by_segment: FloatArray) -> FloatArray:
    """Return arrays side by side, one column each.

    Parameters
    ----------
    *by_segment : FloatArray
        What one segment or break has, shape (n_draws,).

    Returns
    -------
    FloatArray
        Shape (n_draws, n_arrays), in the unit of the arrays.
    """
    return np.stack(by_segment, axis=1)
