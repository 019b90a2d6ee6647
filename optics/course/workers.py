"""Marking in processes of their own, each submission within a bound of time and memory.

A submission that takes too long or too much ends with its process, and is named; the
next one goes on in a fresh process. The gradebook is left as it was before it.

Where a class outgrows one machine, the same is done by the workers of a scheduler of
`dask.distributed`.
"""

from __future__ import annotations

import hashlib
import logging
import multiprocessing
import os
import socket
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path
from threading import Event
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

from optics.errors import OpticsError

LONGEST_S = 60.0
"""Time for one submission. A whole chapter takes well under a second."""
MOST_MB = 3_000
"""Memory for one process beyond what it starts with."""
CONNECT_S = 20.0
"""Time for a scheduler to answer, and for its first worker to be there."""
START_S = 120.0
"""Time that a fresh process has to start in, on a slow machine."""


def _work(end: Connection, task: Callable[..., Any], most_mb: int) -> None:
    """Do one thing after the other, as asked."""
    _within(most_mb)
    sys.stdout = sys.stderr = open(os.devnull, "w", encoding="utf-8")
    end.send(None)
    while True:
        try:
            given = end.recv()
        except EOFError:
            return
        try:
            end.send((True, task(*given)))
        except MemoryError:
            end.send((False, "It takes more memory than a submission may."))
        except Exception as reason:
            end.send((False, _sentence(reason)))


def _within(most_mb: int) -> None:
    try:
        import resource
    except ImportError:  # Windows sets no such bound
        return
    bound = most_mb * 1_000_000
    with suppress(OSError):
        # Libraries reserve much for their threads, the more the larger the machine.
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
        bound += pages * resource.getpagesize()
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard == resource.RLIM_INFINITY or bound < hard:
        resource.setrlimit(resource.RLIMIT_AS, (bound, hard))


@dataclass(slots=True)
class _Worker:
    process: Any
    end: Connection
    busy: int | None = None
    until: float = 0.0
    ready: bool = False


def in_processes(
    task: Callable[..., Any],
    jobs: Sequence[tuple],
    processes: int,
    longest_s: float = LONGEST_S,
    most_mb: int = MOST_MB,
) -> Iterator[tuple[int, bool, Any]]:
    """Do every job in some process, and give what came of each as soon as it is there.

    Parameters
    ----------
    task : callable
        A function of a module, called with each job.
    jobs : sequence of tuple
        What it is called with.
    processes : int
        How many at once, at least 1.
    longest_s : float
        Seconds that one job may take.
    most_mb : int
        Memory that a process may take, megabytes; not on Windows.

    Yields
    ------
    number : int
        Which job.
    done : bool
        Whether it was done.
    result
        What the task gave, or a sentence why it did not.
    """
    context = multiprocessing.get_context("spawn")

    def start() -> _Worker:
        ours, theirs = context.Pipe()
        process = context.Process(target=_work, args=(theirs, task, most_mb), daemon=True)
        process.start()
        theirs.close()
        return _Worker(process, ours, until=monotonic() + START_S)

    waiting = list(range(len(jobs)))[::-1]
    workers = [start() for _ in range(min(max(processes, 1), len(jobs)))]
    failed_starts = 0
    try:
        while workers:
            soonest = min(worker.until for worker in workers)
            wait([worker.end for worker in workers], max(0.0, soonest - monotonic()))
            for worker in list(workers):
                said, gone = None, False
                try:
                    if worker.end.poll():
                        said = worker.end.recv()
                        if worker.ready and worker.busy is not None:
                            number, worker.busy = worker.busy, None
                            yield (number, *said)
                        worker.ready = True
                    elif worker.until <= monotonic():
                        gone = True
                        why = f"It took more than {longest_s:g} s, and was stopped."
                    else:
                        continue
                except (EOFError, OSError):
                    gone, why = True, "Its process broke off, for want of memory perhaps."
                if gone:
                    worker.process.kill()
                    worker.process.join()
                    workers.remove(worker)
                    if worker.busy is not None:
                        yield worker.busy, False, why
                    elif not worker.ready:
                        failed_starts += 1
                    if waiting and failed_starts < 3:
                        workers.append(start())
                    continue
                if waiting:
                    worker.busy, worker.until = waiting.pop(), monotonic() + longest_s
                    worker.end.send(jobs[worker.busy])
                else:
                    worker.end.close()
                    worker.process.join(5)
                    workers.remove(worker)
        for number in waiting:
            yield number, False, "No process could be started for it on this machine."
    finally:
        for worker in workers:
            worker.process.kill()


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
                    yield number, False, _sentence(fault)
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


def _sentence(reason: BaseException) -> str:
    """What went wrong in a job, in one line."""
    said = " ".join(str(reason).split()) or type(reason).__name__
    return f"It could not be marked ({said[:300]})."
