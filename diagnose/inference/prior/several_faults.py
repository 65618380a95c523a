"""How likely several faults at once are, by the priors alone.

Knows a bound for three and more, and about how much likelier a pair is than by its two
causes. Leaves exact chances of a few sets to `priors`: all triples of a car of some 650
causes would be forty million.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.arrays import FloatArray, StoredArray
from diagnose.inference.prior.priors import Priors


def more_than_two(priors: Priors, answers: Mapping[str, str]) -> float:
    """Return a bound on the chance of three causes or more, if there is any.

    Parameters
    ----------
    priors : Priors
        Of one car.
    answers : Mapping[str, str]
        As for `Priors.given`.

    Returns
    -------
    float
        Given that something is wrong; at least as large as the chance itself. [1]

    Raises
    ------
    ValueError
        As `Priors.given`.

    Notes
    -----
    For each configuration the sets of at most two causes are counted by the product
    over parts of ok + broken z up to z^2, summed over the conditions of each spot. A
    parent makes a set without the child of its links less likely (with two parents of
    one link that is taken off twice) and one with it likelier.
    """
    chances = priors.mode_probability.copy()
    more = np.zeros(chances.shape[2])
    for cause in np.flatnonzero(priors.link_parents.any(axis=0)).tolist():
        ratio = np.exp(priors.links.log_ratio((cause,)))
        more += priors.odds[cause] * ratio * _with_children(priors, cause)
        chances[:, cause] *= ratio
    more *= np.exp(priors.log_all_sound)
    few = float((_at_most_two(priors, chances) + more) @ priors.given(answers))
    return max(1.0 - few, 0.0) / (1.0 - priors.healthy_probability(answers))


def pair_lift(priors: Priors, answers: Mapping[str, str]) -> StoredArray:
    """Return about how much likelier pairs are than by the odds of each cause.

    Parameters
    ----------
    priors : Priors
        Of one car.
    answers : Mapping[str, str]
        As for `Priors.given`.

    Returns
    -------
    StoredArray
        The share of the spots and links, at the mean over the configurations: for the
        order of a search. Shape (n_causes, n_causes), symmetric. [1]

    Raises
    ------
    ValueError
        As `Priors.given`.
    """
    weights = priors.given(answers)
    n_causes = len(priors.part_of)
    result = np.ones((n_causes, n_causes), dtype=np.float32)
    odds = priors.mode_odds @ weights
    shares = priors.spot_shares @ weights
    spot = priors.spot_of[priors.part_of]
    for number in range(len(priors.spot_probability)):
        here = np.flatnonzero(spot == number)
        some = odds[:, here]
        both = np.einsum("d,di,dj->ij", shares[:, number], some, some)
        alone = shares[:, number] @ some
        result[np.ix_(here, here)] = both / np.outer(alone, alone)
    for parents, children, factor in zip(
        priors.link_parents, priors.link_children, priors.link_factor, strict=True
    ):
        tied = np.outer(parents, children)
        result[tied | tied.T] *= factor
    return result


def _with_children(priors: Priors, cause: int) -> FloatArray:
    """Return how much likelier a parent's children are beside it, summed.

    In odds, over those beside it without links; shape (n_configurations,).
    """
    links = priors.links
    result = np.zeros(priors.mode_probability.shape[2])
    for part, at_work in links.by_child(np.flatnonzero(links.parents[:, cause])):
        strained, modes = links.strained(part, at_work), priors.part_of == part
        without = (1.0 - strained.sum(axis=0)) / priors.ok_probability[0, part]
        lift = strained / priors.mode_probability[0, modes] / without - 1.0
        result += (priors.odds[modes] * lift).sum(axis=0)
    return result


def _at_most_two(priors: Priors, chances: FloatArray) -> FloatArray:
    """Return the chance of at most two causes, shape (n_configurations,).

    Parameters
    ----------
    chances : FloatArray
        Of each cause, like `Priors.mode_probability`; links are left out.
    """
    ok = priors.ok_probability
    broken = np.zeros_like(ok)
    np.add.at(broken.swapaxes(0, 1), priors.part_of, chances.swapaxes(0, 1))
    odds = broken / ok
    free = priors.spot_of < 0
    counts = _counts(ok[0, free], odds[0, free])
    for spot, chance in enumerate(priors.spot_probability):
        here = priors.spot_of == spot
        dry, spoilt = (_counts(ok[c, here], odds[c, here]) for c in (0, 1))
        mixed = (1.0 - chance) * dry + chance * spoilt
        counts = np.stack(
            [(counts[: n + 1] * mixed[n::-1]).sum(axis=0) for n in range(3)]
        )
    return np.asarray(counts.sum(axis=0))


def _counts(ok: FloatArray, odds: FloatArray) -> FloatArray:
    """Return the chance that none, one or two of some parts are broken.

    Parameters
    ----------
    ok, odds : FloatArray
        Chance of each to be ok, and its odds to be broken, shape (n_parts, n_some).

    Returns
    -------
    FloatArray
        Shape (3, n_some): the elementary symmetric sums of the odds.
    """
    one = odds.sum(axis=0)
    two = 0.5 * (one**2 - (odds**2).sum(axis=0))
    return np.asarray(ok.prod(axis=0) * np.stack([np.ones_like(one), one, two]))
