"""Work done in a second process of the same program, where the system can fork.

A forked child sees everything its parent holds, so nothing has to be packed up; arrays
made by `shared_array` are seen by both. Where forking is not to be had, or the child is
lost, the work is done in this process.

Decision that binds this module: a child ends with its parent, in every way a parent can
end. It watches a pipe that the parent alone holds open; Ctrl-C, which a terminal sends
to both, is left to the parent.
"""

from __future__ import annotations

import contextlib
import math
import mmap
import multiprocessing
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import IO, Any, Protocol, TypeVar, runtime_checkable

import numpy as np
import numpy.typing as npt

ResultT = TypeVar("ResultT")

# What the start of an array in `Parcels` is a multiple of. [byte] Derived: the size of
# the largest kind of number.
_ALIGNED_BYTES = 8


def can_fork() -> bool:
    """Return whether a forked child is safe here and would find a processor.

    Returns
    -------
    bool
        False with other threads about that can't rest, for a child would inherit their
        locks, on systems whose libraries do not survive a fork, and in a child.
    """
    has_fork = "fork" in multiprocessing.get_all_start_methods()
    return (
        has_fork
        and all(isinstance(thread, CanRest) for thread in _other_threads())
        and sys.platform != "darwin"
        and (os.cpu_count() or 1) > 1
        and not multiprocessing.current_process().daemon
    )


@runtime_checkable
class CanRest(Protocol):
    """A thread that need not be there while a second process begins."""

    def at_rest(self) -> contextlib.AbstractContextManager[None]:
        """Have no such thread for a while.

        Returns
        -------
        AbstractContextManager[None]
            What holds meanwhile.
        """


def _other_threads() -> list[threading.Thread]:
    this = threading.current_thread()
    return [thread for thread in threading.enumerate() if thread is not this]


def shared_array(shape: tuple[int, ...], dtype: npt.DTypeLike) -> npt.NDArray[Any]:
    """Return an array of zeros that forked children write to as well.

    Parameters
    ----------
    shape : tuple[int, ...]
        Its shape.
    dtype : DTypeLike
        Its kind of number.

    Returns
    -------
    NDArray
        Of that shape; its memory is freed with it.
    """
    kind = np.dtype(dtype)
    room = mmap.mmap(-1, max(1, math.prod(shape) * kind.itemsize))
    return np.frombuffer(room, dtype=kind, count=math.prod(shape)).reshape(shape)


class Parcels:
    """Arrays that a forked child hands to its parent, of any size.

    They lie in memory that grows as they come and that both see; make it before the
    child is started.
    """

    def __init__(self) -> None:
        make = getattr(os, "memfd_create", None)
        self._file: IO[bytes] = (
            tempfile.TemporaryFile()  # noqa: SIM115 - closed by `__exit__`
            if make is None
            else os.fdopen(make("parcels"), "w+b")
        )

    def put(self, arrays: Sequence[npt.NDArray[Any]]) -> tuple[Parcel, ...]:
        """Write arrays behind what is there.

        Parameters
        ----------
        arrays : Sequence[NDArray]
            Of any shape.

        Returns
        -------
        tuple[Parcel, ...]
            Where each lies, to be handed to the parent.
        """
        found = []
        for array in arrays:
            start = self._file.seek(0, os.SEEK_END)
            # aligned, so that they can be used where they lie
            start = self._file.seek(-(-start // _ALIGNED_BYTES) * _ALIGNED_BYTES)
            self._file.write(np.ascontiguousarray(array).data)
            found.append(Parcel(start, array.shape, array.dtype.str))
        self._file.flush()
        return tuple(found)

    def get(self, parcels: Sequence[Parcel]) -> tuple[npt.NDArray[Any], ...]:
        """Return arrays where they lie.

        Parameters
        ----------
        parcels : Sequence[Parcel]
            As `put` returned them, here or in a child.

        Returns
        -------
        tuple[NDArray, ...]
            Not to be written to.
        """
        size = self._file.seek(0, os.SEEK_END)
        if not size:
            return tuple(np.empty(one.shape, one.kind) for one in parcels)
        room = mmap.mmap(self._file.fileno(), size, access=mmap.ACCESS_READ)
        return tuple(
            np.frombuffer(
                room, one.kind, count=math.prod(one.shape), offset=one.start
            ).reshape(one.shape)
            if math.prod(one.shape)
            else np.empty(one.shape, one.kind)
            for one in parcels
        )

    def __enter__(self) -> Parcels:
        return self

    def __exit__(self, *_raised: object) -> None:
        """Take no more; the memory goes when no array in it is used any more."""
        self._file.close()


@dataclass(frozen=True, slots=True)
class Parcel:
    """Where an array lies among `Parcels`, its shape, and its kind of number."""

    start: int
    shape: tuple[int, ...]
    kind: str


def start_in_child(work: Callable[[], ResultT]) -> Callable[[], ResultT]:
    """Start work in a forked child and return what waits for its result.

    Parameters
    ----------
    work : Callable
        Its result must be small and picklable.

    Returns
    -------
    Callable
        Waits for the result and returns it; what the work raised is raised there.
        Without a child it is the work itself.
    """
    if not can_fork():
        return work
    context = multiprocessing.get_context("fork")
    receiver, sender = context.Pipe(duplex=False)
    watched, held = context.Pipe(duplex=False)

    def in_child() -> None:
        receiver.close()
        held.close()
        _end_with(watched)
        _send(sender, work)

    # a daemon: ended when its parent exits without waiting for it
    child = context.Process(target=in_child, daemon=True)
    with _interruption_held_back(), contextlib.ExitStack() as rests:
        for thread in _other_threads():
            if isinstance(thread, CanRest):
                rests.enter_context(thread.at_rest())
        child.start()
    sender.close()
    watched.close()

    def wait() -> ResultT:
        try:
            is_done, result = receiver.recv()
        except EOFError:
            return work()
        finally:
            held.close()
            child.join()
        if not is_done:
            raise result
        finished: ResultT = result
        return finished

    return wait


@contextmanager
def _interruption_held_back() -> Iterator[None]:
    """Let a child begin without Ctrl-C; this process gets it afterwards."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with(watched: Connection) -> None:
    """End this child when nobody holds the other end of a pipe any more."""

    def watch() -> None:
        with contextlib.suppress(EOFError, OSError):
            watched.recv_bytes()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _send(sender: Connection, work: Callable[[], object]) -> None:
    try:
        message: tuple[bool, object] = (True, work())
    except Exception as error:  # noqa: BLE001 - raised again by the parent
        message = (False, error)
    sender.send(message)
    sender.close()
