"""Work that goes on while the person reads, types or is at the car.

One piece at a time, in a thread of its own; it has ended before a line is heard, so
nothing is asked of the diagnosis meanwhile. Leaves to `session` what is worked on: what
the latest answer did without, then what the likely next facts need.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType

# What is worked on: takes a callable that says whether to leave off.
Work = Callable[[Callable[[], bool]], None]


class Meanwhile:
    """Runs some work in the pauses of a conversation.

    Parameters
    ----------
    work : Callable
        Begun anew in each pause; called with what says whether the pause is over.

    Examples
    --------
    >>> done = []
    >>> with Meanwhile(lambda is_over: done.append("solved")) as meanwhile:
    ...     meanwhile.begin()
    ...     meanwhile.end()
    >>> done
    ['solved']
    """

    def __init__(self, work: Work) -> None:
        self._work = work
        self._is_over = threading.Event()
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._running: Future[None] | None = None

    def __enter__(self) -> Meanwhile:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._is_over.set()
        self._pool.shutdown(wait=True)

    def begin(self) -> None:
        """Let the work begin, unless it is going on already."""
        if self._running is None:
            self._is_over.clear()
            self._running = self._pool.submit(self._work, self._is_over.is_set)

    def end(self) -> None:
        """Wait until the piece of work in hand is done; what it raised is raised here.

        Ctrl-C does not cut it short: half of it would be of no use.
        """
        running, self._running = self._running, None
        if running is None:
            return
        self._is_over.set()
        was_interrupted = False
        while not running.done():
            try:
                running.exception()
            except KeyboardInterrupt:
                was_interrupted = True
        if was_interrupted:
            raise KeyboardInterrupt
        running.result()
