"""What mending each line of causes takes an owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.session.facts import ComplaintFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.prices import Prices


@dataclass(frozen=True, slots=True, kw_only=True)
class LineMinutes:
    """What mending each line of causes takes.

    Parameters
    ----------
    repair : tuple[float, ...]
        With getting there and the reading on the spot, one a line. [min]
    counted : FloatArray
        What it counts as when steps are chosen: with the price of what is bought, the
        test of the complaint, and what a needless repair would cost, shape (n_lines,).
        [min]
    """

    repair: tuple[float, ...]
    counted: FloatArray


def line_minutes(
    prices: Prices, complaints: Sequence[ComplaintFact], model: Model
) -> LineMinutes:
    """Return what mending each line of causes takes an owner.

    Parameters
    ----------
    prices : Prices
        His.
    complaints : Sequence[ComplaintFact]
        Those told: each is tested after a repair.
    model : Model

    Returns
    -------
    LineMinutes
    """
    causes = model.compiled.causes
    mended = [[causes[cause] for cause in line] for line in model.lines]
    repair = tuple(max(prices.repair_minutes(one) for one in line) for line in mended)
    bought = [max(prices.price_minutes(one) for one in line) for line in mended]
    # One that is right ends the search, so that what it counts as is the same for all
    # orders of repairs; each before it was needless.
    proof = prices.proof_minutes(complaints)
    needless = model.knowledge.effort.needless_minutes
    return LineMinutes(repair=repair, counted=np.add(repair, bought) + proof + needless)
