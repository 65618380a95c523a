"""The case being worked on: stored when the disk allows, kept in memory when not.

A read-only folder or a full disk must not end a diagnosis: the facts stay here, each
new fact tries the disk again with all that are waiting, and the person is told once.
A case that another window added to is another matter: its facts are not those that this
diagnosis was concluded from, so nothing more is taken in.

Decision that binds this module: what is kept is one record, and what is being written
is noted in it first. Whatever interrupts a write, `settle` finds out from the disk
whether it happened.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from diagnose.errors import StoreError
from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import CaseChangedError, CaseStore


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """What is kept of a case.

    Parameters
    ----------
    on_disk : int
        How many facts are on the disk.
    waiting : tuple[FactRow, ...]
        Those that the disk refused.
    writing : tuple[FactRow, ...]
        Those given to the disk, until it is known whether it took them.
    failure : str
        Why the disk refused; empty when it did not.
    warning : str
        What to tell the person about saving.
    """

    on_disk: int
    failure: str
    warning: str
    waiting: tuple[FactRow, ...] = ()
    writing: tuple[FactRow, ...] = ()


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
        self._at_step = ""
        self._kept = _Kept(
            on_disk=fact_count,
            failure=failure,
            warning=_not_saved(failure) if failure else "",
        )

    @property
    def is_saved(self) -> bool:
        """True when every fact so far is on disk."""
        return self._store is not None and not self._kept.waiting

    def append(self, rows: Sequence[FactRow], *, standing: str) -> None:
        """Store facts, and those that are still waiting.

        Parameters
        ----------
        rows : Sequence[FactRow]
            The new facts, oldest first.
        standing : str
            Where the case stands now, in words.

        Raises
        ------
        CaseChangedError
            If another window added facts to the case; the new ones are not kept.
        """
        self.settle()
        kept = self._kept
        facts = (*kept.waiting, *rows)
        if self._store is None:
            self._kept = replace(kept, waiting=facts)
            return
        self._kept = replace(kept, writing=facts)
        try:
            count = self._store.append(
                self.name, facts, after=kept.on_disk, standing=standing
            )
        except CaseChangedError:
            self._kept = kept
            raise
        except StoreError as error:
            warning = kept.warning if kept.failure else _not_saved(str(error))
            self._kept = replace(
                kept, waiting=facts, failure=str(error), warning=warning
            )
            return
        self._kept = _Kept(
            on_disk=count,
            failure="",
            warning=_SAVED_AGAIN if kept.failure else kept.warning,
        )

    def note_step(self, step: str) -> None:
        """Note the step on the page; where the disk refuses, nobody misses it now.

        Parameters
        ----------
        step : str
            Its name; empty for none.
        """
        if self._store is None or step == self._at_step:
            return
        with contextlib.suppress(StoreError):
            self._store.note_step(self.name, step)
            self._at_step = step

    def settle(self) -> int:
        """Find out what an interrupted `append` left behind.

        Returns
        -------
        int
            How many facts are kept, on the disk and in memory.

        Raises
        ------
        StoreError
            If the disk does not say; it may be asked again.
        """
        kept = self._kept
        if kept.writing and self._store is not None:
            found = self._store.facts(self.name)[kept.on_disk :]
            if found[: len(kept.writing)] == kept.writing:
                kept = _Kept(
                    on_disk=kept.on_disk + len(kept.writing),
                    failure="",
                    warning=_SAVED_AGAIN if kept.failure else kept.warning,
                )
            self._kept = kept = replace(kept, writing=())
        return kept.on_disk + len(kept.waiting)

    def take_warning(self) -> str:
        """Return what to tell the person about saving, once; then empty."""
        warning = self._kept.warning
        self._kept = replace(self._kept, warning="")
        return warning


# Told once when the disk takes facts again. Own words.
_SAVED_AGAIN = "The case can be saved again; nothing is missing from it."


def _not_saved(failure: str) -> str:
    return (
        f"The case can't be saved ({failure}). "
        "The diagnosis goes on, but ends with this window."
    )
