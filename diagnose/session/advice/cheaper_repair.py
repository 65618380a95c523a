"""Which repair is advised where two are about as likely, and what to look for there."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.session.answer import RankedCause

# A repair is about as likely as another from this share of its chance on. [1] Own
# choice: the chances are no better known.
ABOUT_AS_LIKELY = 0.8

# It is clearly cheaper up to this share of the other's minutes. [1] Own choice.
CLEARLY_CHEAPER = 0.7

# Below this chance no other fault of a part is looked for while it is mended. [1] Own
# choice: one in a hundred, for the look costs next to nothing.
LEAST_LOOKED_FOR = 0.01


def cheaper_repair(
    mendable: Sequence[RankedCause], *, is_sure: float
) -> tuple[RankedCause, RankedCause | None]:
    """Return what to mend: the likeliest, or what is about as likely and cheaper.

    Parameters
    ----------
    mendable : Sequence[RankedCause]
        Likeliest first; at least one.
    is_sure : float
        From this chance on the likeliest is mended whatever it takes. [1]

    Returns
    -------
    tuple[RankedCause, RankedCause or None]
        The repair, and the one passed over for what it takes, if there is one.
    """
    first = mendable[0]
    cheaper = [
        one
        for one in mendable
        if one.probability >= ABOUT_AS_LIKELY * first.probability
        and one.repair_minutes <= CLEARLY_CHEAPER * first.repair_minutes
    ]
    if first.probability >= is_sure or not cheaper:
        return first, None
    return min(cheaper, key=lambda one: one.repair_minutes), first


def looked_for_there(best: RankedCause, mendable: Sequence[RankedCause]) -> str:
    """Return what else of the same part to look for while it is mended.

    Parameters
    ----------
    best : RankedCause
        What is mended.
    mendable : Sequence[RankedCause]
        The ranking, as for `cheaper_repair`.

    Returns
    -------
    str
        A sentence with a blank before it; empty where nothing else of it is likely.
    """
    part = _part_of(best)
    others = [
        f"{one.says.removeprefix(f'{part}: ')} ({one.probability:.0%})"
        for one in mendable
        if one is not best and _part_of(one) == part
        if one.probability > LEAST_LOOKED_FOR
    ]
    return f" Look there as well for: {'; '.join(others)}." if others else ""


def _part_of(cause: RankedCause) -> str:
    """Return the part that a cause is of: what its name begins with."""
    return cause.name.split(":")[0]
