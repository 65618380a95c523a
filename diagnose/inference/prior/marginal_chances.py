"""How likely each cause is by itself, whatever else is wrong.

Knows how to sum the priors over the conditions of spots and the parents of links.
Leaves the chances of whole fault sets to `priors`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.prior.priors import Priors


def cause_probabilities(priors: Priors, answers: Mapping[str, str]) -> FloatArray:
    """Return the marginal chance of each cause.

    Parameters
    ----------
    priors : Priors
        Of one car.
    answers : Mapping[str, str]
        As for `Priors.given`.

    Returns
    -------
    FloatArray
        Shape (n_causes,). [1]

    Raises
    ------
    ValueError
        As `Priors.given`.
    """
    result = _over_spots(priors)
    links = priors.links
    for part, ending in links.by_child(np.arange(len(links.factor))):
        causes = np.flatnonzero(priors.part_of == part)
        result[causes] = sum(
            chance * links.strained(part, at_work)
            if at_work
            else chance * priors.mode_probability[0, causes]
            for at_work, chance in _chances_at_work(priors, ending)
        )
    return np.asarray(result @ priors.given(answers))


def _over_spots(priors: Priors) -> FloatArray:
    """Return chances of causes averaged over the conditions of their spots."""
    without, spoilt = priors.mode_probability
    result: FloatArray = without.copy()
    spot = priors.spot_of[priors.part_of]
    tied = np.flatnonzero(spot >= 0)
    chance = priors.spot_probability[spot[tied]]
    result[tied] += chance * (spoilt[tied] - without[tied])
    return result


def _chances_at_work(
    priors: Priors, links: tuple[int, ...]
) -> Iterator[tuple[tuple[int, ...], FloatArray]]:
    """Yield every choice of links with the chance that just these are at work.

    Notes
    -----
    The chance that none of some links is at work is a product over parts and spots;
    those of exact choices follow by inclusion and exclusion.
    """
    for size in range(len(links) + 1):
        for at_work in itertools.combinations(links, size):
            rest = tuple(link for link in links if link not in at_work)
            chance = np.zeros(priors.mode_probability.shape[2])
            for some in range(size + 1):
                for also in itertools.combinations(at_work, some):
                    chance += (-1.0) ** some * _none_at_work(priors, (*rest, *also))
            yield at_work, chance


def _none_at_work(priors: Priors, links: tuple[int, ...]) -> FloatArray:
    """Return the chance that no parent of some links is present."""
    parents = np.flatnonzero(priors.link_parents[list(links)].any(axis=0))
    spot_of = priors.spot_of
    sound = np.ones((2, len(spot_of), priors.mode_probability.shape[2]))
    by_cause = priors.mode_probability[:, parents].swapaxes(0, 1)
    np.subtract.at(sound.swapaxes(0, 1), priors.part_of[parents], by_cause)
    result = np.asarray(sound[0, spot_of < 0].prod(axis=0))
    for spot in np.unique(spot_of[spot_of >= 0]).tolist():
        of_spot = sound[:, spot_of == spot].prod(axis=1)
        chance = priors.spot_probability[spot]
        result = result * ((1.0 - chance) * of_spot[0] + chance * of_spot[1])
    return result
