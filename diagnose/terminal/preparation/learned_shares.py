"""What was learned, put to use when a diagnosis begins.

Leaves learning to `reports.learn_listing`; a file that can't be used never stops a
diagnosis. What was learned beside other published rates is not used: a rate that was
corrected since would be moved twice for one reason.
"""

from __future__ import annotations

from pathlib import Path

from diagnose.errors import StoreError
from diagnose.faults.knowledge import Knowledge
from diagnose.inference.learning.factors import Learned, rates_digest, with_learned
from diagnose.store.learned_rates import latest_learned

# Told where what was learned can't be used, since the rates it moved have changed.
OUTDATED = (
    "what was learned belongs to other published shares and is not used; "
    "learn again by: diagnose learn"
)


def usable(folder: Path, knowledge: Knowledge) -> tuple[Learned | None, str]:
    """Return what was learned last, or None and why it can't be used.

    Parameters
    ----------
    folder : Path
        The data folder.
    """
    try:
        learned = latest_learned(folder)
    except StoreError as error:
        return None, f"what was learned is not used: {error}"
    if learned is not None and learned.rates_digest != rates_digest(knowledge):
        return None, OUTDATED
    return learned, ""


def knowledge_in_use(
    folder: Path, published: Knowledge
) -> tuple[Knowledge, tuple[str, ...]]:
    """Return the knowledge with what was learned, and remarks for the reader.

    Parameters
    ----------
    folder : Path
        The data folder.
    published : Knowledge
        With the published rates.
    """
    learned, reason = usable(folder, published)
    if learned is None:
        return published, (reason,) if reason else ()
    return with_learned(published, learned), ()
