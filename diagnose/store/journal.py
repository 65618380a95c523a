"""The case being worked on: stored when the disk allows, kept in memory when not.

A read-only folder or a full disk must not end a diagnosis: the facts stay here, each
new fact tries the disk again with all that are waiting, and the person is told once.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.errors import StoreError
from diagnose.store.case_store import CaseStore, FactRow


class Journal:
    """Writes one case's facts.

    Parameters
    ----------
    store : CaseStore or None
        None when the store could not be opened.
    name : str
        The case; empty without a store.
    fact_count : int
        How many facts the case has on disk already.
    failure : str
        Why there is no store; told once, by `take_warning`.
    """

    def __init__(
        self,
        store: CaseStore | None,
        *,
        name: str = "",
        fact_count: int = 0,
        failure: str = "",
    ) -> None:
        self.name = name
        self._store = store
        self._fact_count = fact_count
        self._waiting: tuple[FactRow, ...] = ()
        self._failure = failure
        self._warning = _not_saved(failure) if failure else ""

    @property
    def is_saved(self) -> bool:
        """True when every fact so far is on disk."""
        return self._store is not None and not self._waiting

    def append(self, rows: Sequence[FactRow], *, standing: str) -> None:
        """Store facts, and those that are still waiting; never raises.

        Parameters
        ----------
        rows : Sequence[FactRow]
            The new facts, oldest first.
        standing : str
            Where the case stands now, in words.
        """
        self._waiting = (*self._waiting, *rows)
        if self._store is None:
            return
        try:
            self._fact_count = self._store.append(
                self.name, self._waiting, after=self._fact_count, standing=standing
            )
        except StoreError as error:
            if not self._failure:
                self._warning = _not_saved(str(error))
            self._failure = str(error)
            return
        if self._failure:
            self._warning = "The case can be saved again; nothing is missing from it."
        self._failure = ""
        self._waiting = ()

    def take_warning(self) -> str:
        """Return what to tell the person about saving, once; then empty."""
        warning, self._warning = self._warning, ""
        return warning


def _not_saved(failure: str) -> str:
    return (
        f"The case can't be saved ({failure}). "
        "The diagnosis goes on, but ends with this window."
    )
