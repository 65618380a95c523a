"""Predictions: what fault sets would show, as arrays that are kept.

Knows how the arrays lie and how a resistance is kept in half precision. Leaves to
`predictor` how they are worked out, to `inference` what they say of the causes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from diagnose.arrays import FloatArray, HalfArray, IntArray, StoredArray
from diagnose.faults.predictions.second_process import shared_array
from diagnose.measurement.quantities import Probe

# Resistance that one unit of `Prediction.source_units` stands for. [Ω] Derived: half
# precision then spans 6 mohm to 6.5 Gohm, from leads to insulation.
SOURCE_UNIT_OHMS = 1e5

# Most that is kept as a resistance. [Ω] Derived: 65504 units are the largest number of
# half precision.
MOST_SOURCE_OHMS = 6.5e9

# Least number that half precision keeps with all its digits, in units of
# `SOURCE_UNIT_OHMS`. IEEE 754-2019, binary16: the least exponent is -14.
LEAST_NORMAL_HALF = np.float32(2.0**-14)

# Binary digits that half precision drops. IEEE 754-2019: binary32 has 23 digits behind
# the point, binary16 has 10.
_DROPPED = np.uint32(13)

# Which fault sets of a prediction are meant.
Rows = IntArray | slice

# What is added to round to nearest, ties to even; the last digit kept is added as well.
# Derived: half of the last digit kept, less one.
_NEARLY_HALF_STEP = np.uint32(2**12 - 1)

# What turns one exponent into the other, in place. IEEE 754-2019: binary32 counts from
# 127, binary16 from 15.
_EXPONENT_SHIFT = np.uint32((127 - 15) << 10)

# The bits of one half in single precision. Derived.
_HALF_BITS = np.float32(0.5).view(np.uint32)

# Every number of half precision in single precision, by its bits. Derived.
_SINGLE_OF = np.arange(2**16, dtype=np.uint16).view(np.float16).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What a list of fault sets would show.

    Parameters
    ----------
    volts : StoredArray
        Open-circuit voltage of each node against the reference, shape
        (n_states, n_sets, n_draws, n_nodes), float32. [V]
    source_units : HalfArray
        Resistance each node shows to the reference, same shape, float16. [units of
        `SOURCE_UNIT_OHMS`]
    probes : StoredArray
        Currents and on/off facts, shape (n_sets, n_draws, n_probes), float32; columns
        as in `Predictor.probes`. [A or 1]
    is_settled : StoredArray
        Share of time in which `volts` hold, shape (n_states, n_sets, n_draws): 1 at
        rest; 0 where a gate chatters (`volts` are a mean); `overloads.OPEN_SHARE` where
        a breaker goes on and off (`volts` are those with it open). [1]
    """

    volts: StoredArray
    source_units: HalfArray
    probes: StoredArray
    is_settled: StoredArray

    @property
    def n_rows(self) -> int:
        """Number of fault sets. [1]."""
        return len(self.probes)

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws. [1]."""
        return int(self.probes.shape[1])

    def volts_at(self, state: int, node: int, rows: Rows) -> StoredArray:
        """Return the volts of one node in one state.

        Parameters
        ----------
        state, node : int
            Their numbers.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        StoredArray
            Shape (n_wanted, n_draws). [V]
        """
        return self.volts[state, rows, :, node]

    def units_at(self, state: int, node: int, rows: Rows) -> HalfArray:
        """Return the resistance that one node shows in one state.

        Parameters
        ----------
        state, node : int
            Their numbers.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        HalfArray
            Shape (n_wanted, n_draws). [units of `SOURCE_UNIT_OHMS`]
        """
        return self.source_units[state, rows, :, node]

    def probes_at(self, column: int, rows: Rows) -> StoredArray:
        """Return one probe.

        Parameters
        ----------
        column : int
            Of the probe.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        StoredArray
            Shape (n_wanted, n_draws). [A or 1]
        """
        return self.probes[rows, :, column]

    def seen_volts(self, state: int, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return the volts of all nodes, each point in a row and a draw of its own.

        Parameters
        ----------
        state : int
            Its number.
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_nodes, n_points). [V]
        """
        return np.ascontiguousarray(self.volts[state, rows, draws].T)

    def seen_units(self, state: int, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return the resistance that all nodes of points show, in single precision.

        Parameters
        ----------
        state : int
            Its number.
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_nodes, n_points). [units of `SOURCE_UNIT_OHMS`]
        """
        units = self.source_units[state, rows, draws]
        return np.ascontiguousarray(in_single(units).T)

    def seen_probes(self, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return all probes of points.

        Parameters
        ----------
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_probes, n_points). [A or 1]
        """
        return np.ascontiguousarray(self.probes[rows, draws].T)

    def put(self, row: int, given: Prediction, given_row: int) -> None:
        """Write one fault set of another prediction over a row.

        Parameters
        ----------
        row : int
            Written over.
        given : Prediction
            Where it is copied from.
        given_row : int
            The row there.
        """
        self.volts[:, row] = given.volts[:, given_row]
        self.source_units[:, row] = given.source_units[:, given_row]
        self.probes[row] = given.probes[given_row]
        self.is_settled[:, row] = given.is_settled[:, given_row]

    def front(self, rows: slice) -> Prediction:
        """Return the prediction of fault sets that follow each other.

        Parameters
        ----------
        rows : slice
            Which.

        Returns
        -------
        Prediction
            Views of the same numbers.
        """
        return Prediction(
            volts=self.volts[:, rows],
            source_units=self.source_units[:, rows],
            probes=self.probes[rows],
            is_settled=self.is_settled[:, rows],
        )

    def kept(self, rows: IntArray) -> Prediction:
        """Return the prediction of some of the fault sets.

        Parameters
        ----------
        rows : IntArray
            Which sets, in the order wanted, shape (n_kept,).

        Returns
        -------
        Prediction
            Of n_kept sets.
        """
        return Prediction(
            volts=self.volts[:, rows],
            source_units=self.source_units[:, rows],
            probes=self.probes[rows],
            is_settled=self.is_settled[:, rows],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictionInMaking:
    """A prediction while it is filled, with set and draw on one axis, the point.

    A forked child may fill some of its points: the arrays are shared with it.

    Parameters
    ----------
    volts : StoredArray
        Shape (n_states, n_points, n_nodes). [V]
    source_units : HalfArray
        Same shape. [units of `SOURCE_UNIT_OHMS`]
    probes : StoredArray
        Shape (n_points, n_probes). [A or 1]
    is_settled : StoredArray
        Shape (n_states, n_points). [1]
    """

    volts: StoredArray
    source_units: HalfArray
    probes: StoredArray
    is_settled: StoredArray

    @staticmethod
    def empty(
        n_states: int, n_points: int, *, n_nodes: int, n_probes: int, is_shared: bool
    ) -> PredictionInMaking:
        """Return one that holds zeros.

        Parameters
        ----------
        n_states, n_points : int
            How many operating states and points.
        n_nodes, n_probes : int
            How many nodes and probes.
        is_shared : bool
            Whether it lies in memory that a forked child shares.

        Returns
        -------
        PredictionInMaking
            To be filled.
        """
        array = shared_array if is_shared else np.zeros
        return PredictionInMaking(
            volts=array((n_states, n_points, n_nodes), np.float32),
            source_units=array((n_states, n_points, n_nodes), np.float16),
            probes=array((n_points, n_probes), np.float32),
            is_settled=array((n_states, n_points), np.float32),
        )

    def finished(self, n_sets: int, stands_for: IntArray) -> Prediction:
        """Return the prediction, with set and draw on axes of their own.

        Parameters
        ----------
        n_sets : int
            How many fault sets there are.
        stands_for : IntArray
            For each draw wanted the solved one that stands for it, shape (n_draws,).

        Returns
        -------
        Prediction
            Of n_sets fault sets and n_draws draws.
        """

        def apart(array: Any, axis: int) -> Any:
            shape = array.shape
            apart = array.reshape(*shape[:axis], n_sets, -1, *shape[axis + 1 :])
            if len(stands_for) == apart.shape[axis + 1]:
                return apart
            return apart.take(stands_for, axis=axis + 1)

        return Prediction(
            volts=apart(self.volts, 1),
            source_units=apart(self.source_units, 1),
            probes=apart(self.probes, 0),
            is_settled=apart(self.is_settled, 1),
        )


def in_single(units: HalfArray) -> StoredArray:
    """Return half-precision numbers in single precision.

    Parameters
    ----------
    units : HalfArray
        Of any shape.

    Returns
    -------
    StoredArray
        The same numbers, same shape.

    Notes
    -----
    Looked up in a table of all 65,536. `astype` takes five times as long (measured)
    where most are below the least number with all its digits.

    Examples
    --------
    >>> in_single(np.array([0.5, 12.0], dtype=np.float16)).tolist()
    [0.5, 12.0]
    """
    return _SINGLE_OF.take(units.view(np.uint16))


def in_source_units(ohms: FloatArray) -> HalfArray:
    """Return resistances in units of `SOURCE_UNIT_OHMS`, in half precision.

    Parameters
    ----------
    ohms : FloatArray
        Of any shape, not negative. [Ω]

    Returns
    -------
    HalfArray
        Rounded to nearest, ties to even, same shape; at most `MOST_SOURCE_OHMS`.
        [units of `SOURCE_UNIT_OHMS`]

    Notes
    -----
    `astype` rounds alike and takes five to fifty times as long (measured), because
    most are below the least number with all its digits. Those are multiples of 2^-24,
    which is the last digit of a single-precision number between a half and one: a half
    is added and its bits are taken off again.

    References
    ----------
    IEEE 754-2019, Standard for Floating-Point Arithmetic, clause 3.6, table 3.5
    (from memory).

    Examples
    --------
    >>> in_source_units(np.array([5e4, 1.2e6, 1e12])).tolist()
    [0.5, 12.0, 64992.0]
    """
    units = np.minimum(ohms, MOST_SOURCE_OHMS).astype(np.float32)
    units *= np.float32(1.0 / SOURCE_UNIT_OHMS)
    low = (units + np.float32(0.5)).view(np.uint32) - _HALF_BITS
    bits = units.view(np.uint32)
    last = (bits >> _DROPPED) & np.uint32(1)
    high = ((bits + _NEARLY_HALF_STEP + last) >> _DROPPED) - _EXPONENT_SHIFT
    halves = np.where(units < LEAST_NORMAL_HALF, low, high)
    return halves.astype(np.uint16).view(np.float16)


def probe_columns(probes: Sequence[Probe]) -> Mapping[Probe, int]:
    """Return the column that each probe has in `Prediction.probes`.

    Parameters
    ----------
    probes : Sequence[Probe]
        As in `Predictor.probes`.

    Returns
    -------
    Mapping[Probe, int]
        Probe to column.
    """
    return {probe: column for column, probe in enumerate(probes)}
