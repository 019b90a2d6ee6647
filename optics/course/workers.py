"""Marking in processes of their own, each submission within a bound of time and memory.

A submission that takes too long or too much ends with its process, and is named; the
next one goes on in a fresh process. The gradebook is left as it was before it.
Where a class outgrows one machine: `optics.course.scheduler`.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path
from time import monotonic
from typing import Any

LONGEST_S = 60.0
"""Time for one submission. A whole chapter takes well under a second."""
MOST_MB = 3_000
"""Memory for one process beyond what it starts with."""
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
            end.send((False, what_went_wrong(reason)))


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


def what_went_wrong(reason: BaseException) -> str:
    """What went wrong in a job, in one line."""
    said = " ".join(str(reason).split()) or type(reason).__name__
    return f"It could not be marked ({said[:300]})."
