"""The cause network turned into arrays.

Knows both forms of the priors, the network's tables and `Priors`. A context that none
of the car's causes follows drops out here: seven questions make 768 configurations of
answers, and each costs time in every answer.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.faults.links import Spot
from diagnose.inference.prior.cause_network import CauseNetwork
from diagnose.inference.prior.priors import Priors
from diagnose.inference.prior.xmlbif import NodeTable


def priors_of(causes: CauseNetwork) -> Priors:
    """Return the tables of a cause network in compiled form.

    Parameters
    ----------
    causes : CauseNetwork
        Of one car.

    Returns
    -------
    Priors
        Its numbers are those of the network's tables. [1]
    """
    tables = {part: causes.tables[causes.nodes[part]] for part in causes.parts}
    followed = {parent for table in tables.values() for parent in table.parents}
    contexts = [c for c in causes.contexts if c.name in followed]
    shape = [len(c.states) for c in contexts]
    states = np.indices(shape).reshape(len(shape), -1)
    rows = {c.name: row for c, row in zip(contexts, states, strict=True)}
    weights = np.ones(states.shape[1])
    for context in contexts:
        weights *= np.array(list(context.states.values()))[rows[context.name]]
    number = {cause.name: i for i, cause in enumerate(causes.causes)}
    part_number = {part: i for i, part in enumerate(causes.parts)}
    mode = np.empty((2, len(causes.causes), len(weights)))
    for part, table in tables.items():
        in_part = [number[cause.name] for cause in causes.modes[part]]
        mode[:, in_part] = _unlinked(causes, part, table, rows)
    spots, links = causes.ties.spots, causes.ties.links
    n_causes = len(causes.causes)
    return Priors(
        contexts=tuple(c.name for c in contexts),
        configurations=tuple(itertools.product(*(c.states for c in contexts))),
        configuration_probability=weights,
        part_of=np.array([part_number[c.part.name] for c in causes.causes]),
        mode_probability=mode,
        spot_of=np.array([_spot_number(spots, part) for part in causes.parts]),
        spot_probability=_spot_chances(causes, rows, len(weights)),
        link_parents=_membership([one.parents for one in links], n_causes),
        link_children=_membership([one.children for one in links], n_causes),
        link_factor=np.array([link.factor for link in links], dtype=np.float64),
    )


def _unlinked(
    causes: CauseNetwork, part: str, table: NodeTable, rows: Mapping[str, IntArray]
) -> FloatArray:
    """Return the chance of each mode without and with the spot's condition.

    While no link is at work; shape (2, n_modes, n_configurations).
    """
    values = table.values
    for _ in causes.links_of(part):
        values = values[..., 0]
    in_spot = causes.spot_of(part) is not None
    both = [values[..., 0], values[..., 1]] if in_spot else [values, values]
    picked = [rows[parent] for parent in table.parents if parent in rows]
    n_configurations = len(next(iter(rows.values()))) if rows else 1
    return np.stack([_picked(one[1:], picked, n_configurations) for one in both])


def _picked(
    values: FloatArray, rows: Sequence[IntArray], n_configurations: int
) -> FloatArray:
    """Return a table's column for each configuration, shape (n_rows, n_columns).

    Parameters
    ----------
    values : FloatArray
        Shape (n_rows, one axis per parent).
    rows : Sequence[IntArray]
        For each parent its state in every configuration.
    """
    found = np.moveaxis(values, 0, -1)[tuple(rows)]
    wide = found.reshape(-1, len(values)).T
    return np.broadcast_to(wide, (len(values), n_configurations))


def _spot_chances(
    causes: CauseNetwork, rows: Mapping[str, IntArray], n_configurations: int
) -> FloatArray:
    """Return the chance of each spot's condition, (n_spots, n_configurations)."""
    spots = causes.ties.spots
    result = np.empty((len(spots), n_configurations))
    for number, spot in enumerate(spots):
        chances = [spot.chances[s] for s in causes.context_states(spot.context)]
        result[number] = np.array(chances)[rows[spot.context]]
    return result


def _spot_number(spots: Sequence[Spot], part: str) -> int:
    return next((n for n, spot in enumerate(spots) if part in spot.parts), -1)


def _membership(rows: Sequence[Sequence[int]], n_causes: int) -> BoolArray:
    result = np.zeros((len(rows), n_causes), dtype=np.bool_)
    for number, members in enumerate(rows):
        result[number, list(members)] = True
    return result
