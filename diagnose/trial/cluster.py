"""Work sent to a Dask cluster, given by its address; results in the order it was sent.

Knows nothing of what the work is. Needs the optional package `distributed`.

Decision that binds it: results are yielded in the order the work was sent in. Sums of
floating-point numbers then come out the same to the last digit, here and there.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from diagnose.errors import DiagnoseError

if TYPE_CHECKING:
    from distributed import Client, Future

Given = TypeVar("Given")
Made = TypeVar("Made")

# How Dask writes the address of a scheduler: a protocol, a host and a port.
ADDRESS = re.compile(r"(?:tcp|tls|wss?)://[^/\s]+:\d+|inproc://\S+")
# How long a scheduler may take to answer. [s] Own choice: a person waits.
CONNECT_SECONDS = 10

# How long the first worker may take to be ready. [s] Own choice: it has to import the
# program.
WORKER_SECONDS = 30

# How many pieces of work are under way for each thread. [1] Own choice: one being done,
# one ready.
WAITING_PER_THREAD = 2


class ClusterError(DiagnoseError):
    """The cluster can't be reached, or has nobody to work."""


class Cluster:
    """A cluster that is connected.

    Parameters
    ----------
    client : Client
        Of the package `distributed`.
    """

    def __init__(self, client: Client) -> None:
        self._client = client

    def map(
        self, work: Callable[[Given], Made], pieces: Iterable[Given]
    ) -> Iterator[Made]:
        """Yield what comes of each piece, in order, with only a few under way.

        Parameters
        ----------
        work : Callable
            Must be importable on the workers; what it raises is raised here.
        """
        threads = max(sum(self._client.nthreads().values()), 1)
        under_way: deque[Future[Made]] = deque()
        for piece in pieces:
            # not pure: a piece is never the same as another that looks like it
            under_way.append(self._client.submit(work, piece, pure=False))
            if len(under_way) >= WAITING_PER_THREAD * threads:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()


@contextmanager
def connected(address: str) -> Iterator[Cluster]:
    """Give the cluster whose scheduler is at an address.

    Parameters
    ----------
    address : str
        As Dask writes it, ``tcp://host:8786``.

    Raises
    ------
    ClusterError
        If the package is missing, nothing answers there, or no worker is ready.
    """
    # a client with an address that it can't read takes long to end
    if not ADDRESS.fullmatch(address):
        raise ClusterError(
            f'"{address}" is no address of a Dask scheduler; expected one such as '
            "tcp://host:8786"
        )
    try:
        from distributed import Client
    except ImportError as error:
        raise ClusterError(
            "a cluster needs the optional package: pip install 'diagnose[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except OSError as error:
        raise ClusterError(
            f"no Dask scheduler answers at {address}: {error}"
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=WORKER_SECONDS)
        except TimeoutError as error:
            raise ClusterError(
                f"the Dask scheduler at {address} has no worker; start one on each "
                "machine with this program installed"
            ) from error
        yield Cluster(client)
