"""Marking on several machines, by the workers of a scheduler of `dask.distributed`.

They do what processes of one's own do (`optics.course.workers`), within the same time.
"""

from __future__ import annotations

import hashlib
import logging
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Event
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

from optics.course.workers import what_went_wrong
from optics.errors import OpticsError

CONNECT_S = 20.0
"""Time for a scheduler to answer, and for its first worker to be there."""


def program() -> str:
    """A fingerprint of this package: the same program gives the same marks."""
    root = Path(__file__).parents[1]
    found = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        found.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return found.hexdigest()


def _unfit(folder: Path, same: str) -> str:
    """Why a worker cannot mark what lies in a folder; "" where it can."""
    if not folder.is_dir():
        return f"does not see the folder {folder}"
    return "" if program() == same else "has another version of the workbook"


def _answers(address: str) -> None:
    """Raise at once where nobody listens: a client that fails while it starts holds the program up at its end."""
    parts = urlsplit(address if "://" in address else f"tcp://{address}")
    if parts.scheme not in ("tcp", "tls") or not parts.hostname or not parts.port:
        raise ValueError("that is no address with a port")
    socket.create_connection((parts.hostname, parts.port), CONNECT_S).close()


def on_scheduler(
    task: Callable[..., Any], jobs: Sequence[tuple], address: str, longest_s: float, folder: Path
) -> Iterator[tuple[int, bool, Any]]:
    """Do every job on a worker of a scheduler, as `in_processes` does in some process.

    Parameters
    ----------
    task, jobs, longest_s
        As for `in_processes`.
    address : str
        The scheduler's, such as "tcp://192.0.2.7:8786".
    folder : Path
        What every worker must see under the same path.

    Yields
    ------
    number, done, result
        As `in_processes` does. What a lost worker had in hand is done by another.

    Raises
    ------
    OpticsError
        Where the scheduler cannot be reached, or a worker cannot do the work.
    """
    try:
        from distributed import Client
    except ImportError:
        raise OpticsError(
            "Marking on other machines needs the package distributed, which is not installed.",
            "One machine needs nothing more.",
            'Install it with `python -m pip install "optics-workbook[cluster]"`, or mark without --scheduler.',
        ) from None
    try:
        _answers(address)
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as reason:
        raise OpticsError(
            f"No scheduler answers at {address} ({' '.join(str(reason).split())[:120]}).",
            'It is started with `dask scheduler`, which says its address, such as "tcp://192.0.2.7:8786".',
            "Nothing was marked. Start it, or check the address.",
        ) from None
    # It would tell its own story of a scheduler that went away, beside our sentence.
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        with client:
            yield from _given_out(client, task, jobs, address, longest_s, folder)
    except OSError:
        raise _broke_off(f"The scheduler at {address} went away.") from None


def _broke_off(what: str) -> OpticsError:
    return OpticsError(
        what,
        "What was marked until then is kept.",
        "Start what is missing, and run this again without --again: it goes on where it stopped.",
    )


def _given_out(
    client: Any, task: Callable[..., Any], jobs: Sequence[tuple], address: str, longest_s: float, folder: Path
) -> Iterator[tuple[int, bool, Any]]:
    """Do every job on the workers of a client that has reached its scheduler."""
    from distributed import KilledWorker

    with suppress(TimeoutError):
        client.wait_for_workers(1, timeout=CONNECT_S)
    unfit = {where: why for where, why in client.run(_unfit, folder, program()).items() if why}
    if unfit or not client.nthreads():
        where, why = next(iter(unfit.items()), (address, "has no workers"))
        raise OpticsError(
            f"{where} {why}.",
            "Every worker needs this version of the workbook, and the course's folder under the same "
            "path, on a disk that they share.",
            "Nothing was marked. Mend it, and run this again.",
        )
    waiting = list(range(len(jobs)))[::-1]
    busy: dict[Any, tuple[int, float]] = {}
    news = Event()
    while waiting or busy:
        # No more than are worked on at once, so that each one's time begins when it is given out.
        while waiting and len(busy) < max(len(client.nthreads()), 1):
            number = waiting.pop()
            given = client.submit(task, *jobs[number], pure=False)
            given.add_done_callback(lambda _: news.set())
            busy[given] = number, monotonic() + longest_s
        news.wait(0.5)
        news.clear()
        for future, (number, until) in list(busy.items()):
            if future.done():
                del busy[future]
                if future.cancelled():  # by its client, which has lost the scheduler
                    raise ConnectionError
                fault = None if future.status == "finished" else future.exception()
                if fault is None:
                    yield number, True, future.result()
                elif isinstance(fault, KilledWorker):
                    yield number, False, "One worker after the other broke off over it."
                else:
                    yield number, False, what_went_wrong(fault)
            elif until <= monotonic():
                del busy[future]
                where = [at for at, held in client.processing().items() if future.key in held]
                future.cancel()
                if not client.nthreads():
                    raise _broke_off(f"No worker is left at {address}.")
                if where:
                    client.restart_workers(where, raise_for_error=False)
                late = f"It took more than {longest_s:g} s, and was stopped."
                yield number, False, late if where else "No worker was left to mark it."
