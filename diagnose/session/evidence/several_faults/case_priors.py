"""How likely causes are before any symptom or reading, by the car's history.

Leaves how the priors follow from rates and questions to `inference.prior`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, StoredArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.prior.several_faults import pair_lift


@dataclass(frozen=True, slots=True, kw_only=True)
class CasePriors:
    """Priors of one case: those under its answers about the car's history.

    Parameters
    ----------
    answers : tuple[tuple[str, str], ...]
        Each question and its answer, sorted.
    singles : FloatArray
        Of no fault and of every single cause, shape (1 + n_causes,). [1]
    odds : FloatArray
        Of every cause alone against no fault, shape (n_causes,). [1]
    log_lift : StoredArray
        Log of how much likelier pairs are than by the odds of each, shape (n_causes,
        n_causes); -inf for two causes of one part, and for two that come and go. [nat]
    """

    answers: tuple[tuple[str, str], ...]
    singles: FloatArray
    odds: FloatArray
    log_lift: StoredArray

    @staticmethod
    def under(answers: Mapping[str, str], compiled: Compiled) -> CasePriors:
        """Return the priors under some answers.

        Parameters
        ----------
        answers : Mapping[str, str]
            Question to answer; those not answered are averaged over.
        compiled : Compiled
            The car with its causes.
        """
        priors = compiled.priors
        alone = ((), *((cause,) for cause in range(len(compiled.causes))))
        log_lift = np.log(pair_lift(priors, answers))
        log_lift[compiled.n_lasting :, compiled.n_lasting :] = -np.inf
        log_lift[priors.part_of[:, None] == priors.part_of] = -np.inf
        return CasePriors(
            answers=tuple(sorted(answers.items())),
            singles=priors.set_probabilities(alone, answers),
            odds=priors.odds @ priors.given(answers),
            log_lift=log_lift,
        )
