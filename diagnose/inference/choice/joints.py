"""Joints: how likely each outcome of a reading and each thing to mend are together.

Knows which outcomes a person would tell apart in amps, ohms, volts AC, along a fuse, in
a test lamp and in a yes or no. Leaves volts to `volts_outcomes`, and what a joint is
worth to `information` and `reading_worth`.

An array of joints has the shape (n_readings, n_outcomes, n_groups). A group is what has
to be mended; the last one stands for nothing to mend.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.inference.choice.particles import Particles
from diagnose.measurement.probe_lamp import GRADES, answer_chance

# Where the outcomes of amps part. [A] Derived: steps of a few times the meter's and the
# model's spread.
AMP_EDGES = np.array([0.03, 0.1, 0.3, 1, 2, 4, 6, 9, 13, 18, 25, 35, 50, 80, 120, 180])

# Where the outcomes of a battery's ripple part. [V AC] Derived: steps of a few times
# the meter's and the model's spread.
AC_VOLT_EDGES = np.array([0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.35, 0.6, 1.0])

# Where the outcomes of ohms part; OL is the last one. [Ω] Derived: steps of a few times
# the meter's and the model's spread.
OHM_EDGES = np.array([0.3, 0.6, 1, 2, 4, 8, 16, 40, 100, 300, 1e3, 1e4, 1e5, 1e6, 4e7])

# How much drops along a fuse of 15 A for each ampere. [Ω] Derived: .075 V at its
# rating.
FUSE_OHMS = 0.005

# Where the outcomes of volts along a fuse part. [V] Derived: as for amps.
FUSE_VOLT_EDGES = FUSE_OHMS * AMP_EDGES

# Where the outcomes of a look at a fuse part: whole (0) or blown (1). [1] By
# definition.
LOOK_EDGES = np.array([0.5])

# The edges by the name of the kind of reading.
_EDGES: Mapping[str, FloatArray] = MappingProxyType(
    {
        "ac": AC_VOLT_EDGES,
        "amps": AMP_EDGES,
        "ohms": OHM_EDGES,
        "fuse": FUSE_VOLT_EDGES,
    }
)


def edges_for(unit: str) -> FloatArray:
    """Return where the outcomes of a kind of reading part.

    Parameters
    ----------
    unit : str
        Value of a `ReadingKind`, neither volts nor a test lamp.

    Returns
    -------
    FloatArray
        Rising, shape (n_edges,). [V, A, Ω or 1]
    """
    return _EDGES.get(unit, LOOK_EDGES)


def over_groups(joint: FloatArray) -> FloatArray:
    """Return the sums along the last axis.

    Parameters
    ----------
    joint : FloatArray
        Shape (..., n_groups). [1]

    Returns
    -------
    FloatArray
        Shape (...). [1]
    """
    # by a product: faster than a sum for rows this short
    return np.asarray(joint @ np.ones(joint.shape[-1]))


def binned_joint(
    values: FloatArray | StoredArray,
    particles: Particles,
    *,
    edges: FloatArray,
    n_groups: int,
) -> FloatArray:
    """Return the joints of many readings whose outcomes are bins.

    Parameters
    ----------
    values : FloatArray or StoredArray
        Simulated readings, shape (n_readings, n_particles). [unit of the edges]
    particles : Particles
        What the readings are simulated for.
    edges : FloatArray
        Rising bin edges, shape (n_edges,).
    n_groups : int
        How many groups there are. [1]

    Returns
    -------
    FloatArray
        Shape (n_readings, n_edges + 1, n_groups); each reading sums to 1. [1]
    """
    n_bins = len(edges) + 1
    outcome = np.searchsorted(edges, values, side="right")
    outcome *= n_groups
    outcome += particles.group
    return _counted(outcome, particles.share, n_bins=n_bins, n_groups=n_groups)


def _counted(
    outcome: IntArray, share: FloatArray, *, n_bins: int, n_groups: int
) -> FloatArray:
    """Return the share of each outcome, shape (n_readings, n_bins, n_groups).

    Parameters
    ----------
    outcome : IntArray
        Bin times groups plus group, shape (n_readings, n_particles); written over.
    """
    n_readings, n_cells = len(outcome), n_bins * n_groups
    outcome += (np.arange(n_readings) * n_cells)[:, None]
    counts = np.bincount(
        outcome.ravel(),
        np.broadcast_to(share, outcome.shape).ravel(),
        minlength=n_readings * n_cells,
    )
    return np.asarray(counts.reshape(n_readings, n_bins, n_groups))


def yes_no_joint(yes: FloatArray, particles: Particles, *, n_groups: int) -> FloatArray:
    """Return the joints of questions with a yes or no.

    Parameters
    ----------
    yes : FloatArray
        Chance of a yes for each particle, shape (n_symptoms, n_particles). [1]
    particles : Particles
        What the chances are for.
    n_groups : int
        How many groups there are. [1]

    Returns
    -------
    FloatArray
        Yes, then no, shape (n_symptoms, 2, n_groups); each symptom sums to 1. [1]
    """
    by_group = _share_by_group(particles, n_groups)
    return np.stack([yes @ by_group, (1.0 - yes) @ by_group], axis=1)


def graded_joint(
    grades: FloatArray | StoredArray, particles: Particles, *, n_groups: int
) -> FloatArray:
    """Return the joints of looks at a test lamp.

    Parameters
    ----------
    grades : FloatArray or StoredArray
        For each particle, shape (n_readings, n_particles); see `lamp_grade`. [1]
    particles : Particles
        What the grades are for.
    n_groups : int
        How many groups there are. [1]

    Returns
    -------
    FloatArray
        An outcome for each of `GRADES`, shape (n_readings, 3, n_groups); each reading
        sums to 1. [1]
    """
    by_group = _share_by_group(particles, n_groups)
    answers = [answer_chance(value, grades) @ by_group for value in GRADES.values()]
    return np.stack(answers, axis=1)


def shared_out(joint: FloatArray, apart: BoolArray, particles: Particles) -> FloatArray:
    """Return joints in which particles that show the same have the same outcomes.

    Parameters
    ----------
    joint : FloatArray
        With those particles as a last group of their own, shape (n_readings,
        n_outcomes, n_groups + 1).
    apart : BoolArray
        Which they are, shape (n_readings, n_particles).
    particles : Particles
        With the group that each is of.

    Returns
    -------
    FloatArray
        Shape (n_readings, n_outcomes, n_groups). [1]

    Examples
    --------
    Two particles of two groups show the same, though one of each outcome was counted:

    >>> both = Particles(
    ...     row=np.array([0, 1]),
    ...     draw=np.array([0, 1]),
    ...     share=np.array([0.75, 0.25]),
    ...     group=np.array([0, 1]),
    ... )
    >>> joint = np.array([[[0.0, 0.0, 0.75], [0.0, 0.0, 0.25]]])
    >>> shared_out(joint, np.array([[True, True]]), both).tolist()
    [[[0.5625, 0.1875], [0.1875, 0.0625]]]
    """
    by_group = _share_by_group(particles, joint.shape[-1] - 1)
    of_group = apart @ by_group
    total = of_group.sum(axis=1, keepdims=True)
    of_group = np.divide(of_group, total, out=of_group, where=total > 0.0)
    return np.asarray(joint[..., :-1] + joint[..., -1:] * of_group[:, None, :])


def _share_by_group(particles: Particles, n_groups: int) -> FloatArray:
    """Return each particle's share in its group's column, (n_particles, n_groups)."""
    result = np.zeros((len(particles.group), n_groups))
    result[np.arange(len(particles.group)), particles.group] = particles.share
    return result
