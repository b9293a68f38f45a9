"""Who calculates the chunks of a study: this process, more processes here, or a Dask cluster.

What comes of a chunk is the same to the bit in all three; the process that runs the study alone
writes.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, contextmanager, nullcontext
from functools import lru_cache
from itertools import islice
from multiprocessing import resource_tracker
from typing import Any

import numpy as np

from sim.errors import RunError
from sim.studies.engine import CaseTable
from sim.studies.kinds import AnyStudy, study_from_json
from sim.studies.parts import bits_of

__all__ = ["Calculate", "Chunk", "Work", "processors", "workers_for"]

Calculate = Callable[[Any, Sequence[int]], CaseTable]
Chunk = tuple[int, np.ndarray]  # number and cases
Work = Callable[[Iterable[Chunk]], Iterator[tuple[int, CaseTable]]]

CONTACT_S = 10.0  # to reach a scheduler, and to have its first worker
AHEAD = 2  # chunks that are under way for each worker, so that none waits for the writing
RETRIES = 3  # of a chunk whose worker on a cluster fails
ORPHAN_S = 1.0  # how often a process looks whether the one that started it is still there


def processors() -> int:
    """Processors that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def workers_for(
    study: AnyStudy,
    versions: Mapping[str, str],
    scheduler: str | None,
    workers: int,
    calculate: Calculate,
) -> AbstractContextManager[Work]:
    """Something that turns chunks into tables, finished ones first."""
    if scheduler is not None:
        return _cluster(study, versions, scheduler, calculate)
    if workers > 1:
        return _processes(study, workers, calculate)
    return nullcontext(_here(study, calculate))


def _here(study: AnyStudy, calculate: Calculate) -> Work:
    def work(chunks: Iterable[Chunk]) -> Iterator[tuple[int, CaseTable]]:
        for number, cases in chunks:
            yield number, calculate(study, cases.tolist())

    return work


# ------------------------------------------------------------------------------- processes here


@contextmanager
def _processes(study: AnyStudy, workers: int, calculate: Calculate) -> Iterator[Work]:
    """Processes of their own: between two steps a case needs Python, which runs one thread."""
    pool: ProcessPoolExecutor | None = None
    others = set(multiprocessing.active_children())

    def started() -> ProcessPoolExecutor:
        nonlocal pool
        if pool is None:
            pool = ProcessPoolExecutor(
                workers,
                # no fork: this process may have threads, and may be a user's own program
                mp_context=multiprocessing.get_context("spawn"),
                initializer=_begin,
                initargs=(study.to_json(), calculate, os.getpid()),
            )
        return pool

    def submit(number: int, cases: np.ndarray) -> Future[tuple[int, CaseTable]]:
        with _no_interrupt():
            return started().submit(_one, number, cases.tolist())

    def work(chunks: Iterable[Chunk]) -> Iterator[tuple[int, CaseTable]]:
        waiting = list(chunks)
        if len(waiting) < 2:  # not worth the start
            yield from _here(study, calculate)(waiting)
            return
        ahead = iter(waiting)
        under_way: set[Future[tuple[int, CaseTable]]] = set()
        try:
            for number, cases in islice(ahead, AHEAD * workers):
                under_way.add(submit(number, cases))
            while under_way:
                done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                for number, cases in islice(ahead, len(done)):
                    under_way.add(submit(number, cases))
                for future in done:
                    yield future.result()
        except BrokenProcessPool:
            raise RunError(
                "a process that calculates was ended from outside (memory?), or could not start (a"
                ' program that calls this needs if __name__ == "__main__"). What is done is kept:'
                " go on with --resume, with fewer side by side."
            ) from None

    try:
        yield work
    except BaseException:
        for child in set(multiprocessing.active_children()) - others:
            child.terminate()  # what they are at is lost anyway
        raise
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """Let processes that start here not hear Ctrl-C, not even before they can say so themselves."""
    if not hasattr(signal, "pthread_sigmask"):  # not on every system
        yield
        return
    resource_tracker.ensure_running()  # which would let it through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_mine: list[tuple[AnyStudy, Calculate]] = []  # of a process that calculates


def _begin(text: str, calculate: Calculate, parent: int) -> None:
    """Start of a process that calculates."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one that runs the study ends it
    _mine.append((study_from_json(text), calculate))
    threading.Thread(target=_leave_with, args=(parent,), daemon=True).start()


def _leave_with(parent: int) -> None:
    """End this process when the one that started it is gone, however it went."""
    while os.getppid() == parent:
        time.sleep(ORPHAN_S)
    os._exit(1)


def _one(number: int, cases: Sequence[int]) -> tuple[int, CaseTable]:
    study, calculate = _mine[0]
    return number, calculate(study, cases)


# ------------------------------------------------------------------------------------- a cluster


@contextmanager
def _cluster(
    study: AnyStudy, versions: Mapping[str, str], address: str, calculate: Calculate
) -> Iterator[Work]:
    """Calculate on the workers of a Dask cluster; results come back to this process alone."""
    try:
        from dask.distributed import Client, as_completed
    except ImportError:
        raise RunError(
            "--scheduler needs the package distributed, which is not installed. Install it: pip"
            " install 'runtrue[cluster]'"
        ) from None
    try:
        client = Client(address, timeout=CONTACT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise RunError(
            f"--scheduler {address}: no Dask scheduler answers there within {CONTACT_S:g} s"
            f" ({type(error).__name__}). Start one (dask scheduler), and give its address, such as"
            " tcp://192.168.0.5:8786."
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=CONTACT_S)
        except TimeoutError:
            raise RunError(
                f"--scheduler {address}: the scheduler has no workers. Start some: dask worker"
                f" {address}"
            ) from None
        text = study.to_json()
        prefix = f"runtrue-{study.study_digest[:12]}-{os.getpid()}-{time.time_ns()}"

        def submit(chunk: Chunk) -> Any:
            number, cases = chunk
            return client.submit(
                _remote, calculate, text, number, cases.tolist(),
                key=f"{prefix}-{number}", pure=False, retries=RETRIES,
            )  # fmt: skip

        def work(chunks: Iterable[Chunk]) -> Iterator[tuple[int, CaseTable]]:
            waiting = iter(chunks)
            most = AHEAD * max(1, sum(client.nthreads().values()))
            under_way = as_completed(map(submit, islice(waiting, most)), loop=client.loop)
            for done in under_way:
                number, theirs, table = _result(done, address)
                _check_worker(versions, theirs, address)
                del done  # the cluster forgets the result as soon as nobody holds it
                yield number, table
                for chunk in waiting:
                    under_way.add(submit(chunk))
                    break

        yield work


def _remote(
    calculate: Calculate, text: str, number: int, cases: Sequence[int]
) -> tuple[int, dict[str, str], CaseTable]:
    """What a worker does: a pure function of its arguments."""
    study = _study(text)
    return number, bits_of(study), calculate(study, cases)


@lru_cache(maxsize=2)
def _study(text: str) -> AnyStudy:
    return study_from_json(text)


def _result(done: Any, address: str) -> tuple[int, dict[str, str], CaseTable]:
    from dask.distributed import CancelledError, KilledWorker

    try:
        found: tuple[int, dict[str, str], CaseTable] = done.result()
    except KilledWorker:
        raise RunError(
            f"--scheduler {address}: workers died over and over on the same chunk. Look into their"
            " logs (memory?), then go on with --resume."
        ) from None
    except CancelledError:
        raise RunError(
            f"--scheduler {address}: the connection to the scheduler was lost. Go on with --resume."
        ) from None
    except ImportError as error:
        raise RunError(
            f"--scheduler {address}: its workers cannot load this program ({error}). Install the"
            " same version there, then go on with --resume."
        ) from None
    return found


def _check_worker(ours: Mapping[str, str], theirs: Mapping[str, str], address: str) -> None:
    other = [
        f"{key.replace('_', ' ')} {theirs.get(key, 'unknown')}, here {value}"
        for key, value in ours.items()
        if theirs.get(key) != value
    ]
    if other:
        raise RunError(
            f"--scheduler {address}: a worker runs other versions ({'; '.join(other)}), so that"
            " bits would differ. Install the same ones there, then go on with --resume."
        )
