"""Faults drawn at random by the priors, for trials.

Leaves what a car with them does to `trial`.
"""

from __future__ import annotations

import numpy as np

from diagnose.faults.causes import FaultSet
from diagnose.inference.prior.priors import Priors


def drawn_fault_set(priors: Priors, random: np.random.Generator) -> FaultSet:
    """Return the causes of a car drawn from the priors.

    Parameters
    ----------
    priors : Priors
        Of one kind of car.
    random : np.random.Generator
        Where chance comes from; moved on.

    Returns
    -------
    FaultSet
        Numbers of causes, rising; mostly none. Perhaps two causes of one part, as
        each is drawn by itself.
    """
    weights = priors.configuration_probability
    config = random.choice(len(weights), p=weights / weights.sum())
    spot_level = random.random(len(priors.spot_probability))
    is_spoilt = spot_level < priors.spot_probability[:, config]
    spot_of_cause = priors.spot_of[priors.part_of]
    # the last entry stands for no spot, -1
    spoilt = np.append(is_spoilt, False)[spot_of_cause].astype(np.int64)
    chances = priors.mode_probability[spoilt, np.arange(len(spoilt)), config]
    level = random.random(len(chances))
    at_work = priors.link_parents[:, level < chances].any(axis=1)
    for children, factor in zip(
        priors.link_children[at_work], priors.link_factor[at_work], strict=True
    ):
        chances = np.where(children, factor * chances, chances)
    return tuple(np.flatnonzero(level < chances).tolist())
