"""Who does many independent computations: this process, several, or a cluster? The same bytes, whoever does them.

Each task is a value and gives a value; answers come back in the order asked. A task that is refused, or whose worker
is lost, gives a `Lost` and never stops the others.
"""

from __future__ import annotations

import concurrent.futures
import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from firstsilk.answers import FirstsilkError, refuse

T = TypeVar("T")
R = TypeVar("R")
Progress = Callable[[int, int], None]
"""Called with how many tasks are done, of how many; may raise to stop."""

# A task that takes longer than this is given up (a choice of ours: the largest fits measured take minutes).
LIMIT_S = 3_600.0
# How long a worker that was told to end may take.
ENDING_S = 10.0
# One thread of linear algebra in each worker: more would get into each other's way, and change the last digits.
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


@dataclass(frozen=True, slots=True)
class Done(Generic[R]):
    """The answer of one task."""

    value: R


@dataclass(frozen=True, slots=True)
class Lost:
    """Why a task has no answer: the code and sentence of a refusal, or of what became of its worker."""

    code: str
    sentence: str


class Workers(Protocol):
    """Whoever does tasks."""

    def spread(
        self, work: Callable[[T], R], tasks: Sequence[T], progress: Progress | None = None
    ) -> list[Done[R] | Lost]:
        """Do all tasks; answers in their order."""


def attempt(work: Callable[[T], R], task: T) -> Done[R] | Lost:
    """Do one task; a refusal or a fault of it becomes a `Lost`."""
    try:
        return Done(work(task))
    except FirstsilkError as no:
        told = no.as_json()
        return Lost(str(told.get("code", no.code)), str(no))
    except Exception as fault:
        # A fault of one task must not take the answers of a hundred others with it; it is told, not hidden.
        return Lost("fault", f"The computation failed: {type(fault).__name__}: {fault}")


@dataclass(frozen=True, slots=True)
class Here:
    """This process, one task after the other."""

    def spread(
        self, work: Callable[[T], R], tasks: Sequence[T], progress: Progress | None = None
    ) -> list[Done[R] | Lost]:
        """Do all tasks here."""
        answers = []
        for task in tasks:
            answers.append(attempt(work, task))
            if progress is not None:
                progress(len(answers), len(tasks))
        return answers


@dataclass(frozen=True, slots=True)
class Processes:
    """So many processes of this machine. A task that takes longer than `limit_s`, or that kills its worker, is lost.

    Workers are started anew (spawned), so that a script which asks for them keeps its own work under
    ``if __name__ == "__main__":``.
    """

    count: int
    limit_s: float = LIMIT_S

    def spread(
        self, work: Callable[[T], R], tasks: Sequence[T], progress: Progress | None = None
    ) -> list[Done[R] | Lost]:
        """Do all tasks in worker processes."""
        answers: dict[int, Done[R] | Lost] = {}
        with _one_thread():
            self._together(work, tasks, answers, progress)
            # Where a worker died, what it left is done one by one, so that only the culprit is lost.
            while len(answers) < len(tasks):
                self._one_by_one(work, tasks, answers, progress)
        return [answers[at] for at in range(len(tasks))]

    def _together(
        self,
        work: Callable[[T], R],
        tasks: Sequence[T],
        answers: dict[int, Done[R] | Lost],
        progress: Progress | None,
    ) -> None:
        with _pool(min(self.count, max(len(tasks), 1))) as pool:
            pending = {pool.submit(attempt, work, task): at for at, task in enumerate(tasks)}
            while pending:
                done, _ = concurrent.futures.wait(pending, self.limit_s, concurrent.futures.FIRST_COMPLETED)
                if not done:
                    answers.update(dict.fromkeys(pending.values(), _too_slow(self.limit_s)))
                    return
                for future in done:
                    at = pending.pop(future)
                    if isinstance(future.exception(), BrokenProcessPool):
                        return
                    answers[at] = _answer_of(future)
                    if progress is not None:
                        progress(len(answers), len(tasks))

    def _one_by_one(
        self,
        work: Callable[[T], R],
        tasks: Sequence[T],
        answers: dict[int, Done[R] | Lost],
        progress: Progress | None,
    ) -> None:
        """With one worker, until it dies: the task it died of is lost."""
        with _pool(1) as pool:
            for at in [at for at in range(len(tasks)) if at not in answers]:
                future = pool.submit(attempt, work, tasks[at])
                done, _ = concurrent.futures.wait([future], self.limit_s)
                broken = not done or isinstance(future.exception(), BrokenProcessPool)
                answers[at] = _answer_of(future) if done else _too_slow(self.limit_s)
                if progress is not None:
                    progress(len(answers), len(tasks))
                if broken:
                    return


def _answer_of(future: concurrent.futures.Future[Done[R] | Lost]) -> Done[R] | Lost:
    fault = future.exception()
    if isinstance(fault, BrokenProcessPool):
        return Lost("worker_died", "The process that worked on this was ended from outside, as for want of memory.")
    if fault is not None:
        return Lost("fault", f"The computation failed: {type(fault).__name__}: {fault}")
    return future.result()


def _too_slow(limit_s: float) -> Lost:
    return Lost("too_slow", f"This was given up: nothing was done within {limit_s:g} s.")


@contextmanager
def _pool(count: int) -> Iterator[concurrent.futures.ProcessPoolExecutor]:
    """A pool whose workers are gone when it is left, whatever they are doing."""
    spawned = multiprocessing.get_context("spawn")
    pool = concurrent.futures.ProcessPoolExecutor(count, spawned, initializer=_end_with_parent)
    try:
        yield pool
    finally:
        workers = list((pool._processes or {}).values())
        manager: threading.Thread | None = pool._executor_manager_thread  # type: ignore[assignment]
        idle = not pool._pending_work_items
        pool.shutdown(wait=idle, cancel_futures=True)
        for worker in workers:
            if not idle and worker.is_alive():
                worker.kill()
            worker.join(ENDING_S)
        # The pool's own thread waits for the same workers: until it has ended too, a worker gone may still count.
        if manager is not None:
            manager.join(ENDING_S)


def _end_with_parent() -> None:
    """In a worker: end when whoever asked for it is gone, killed too, instead of waiting for ever."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


@contextmanager
def _one_thread() -> Iterator[None]:
    """Workers take over what stands here when they start; it is as before afterwards."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def count_processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def find_workers(count: int, cluster: str = "", limit_s: float = LIMIT_S) -> Workers:
    """The workers that were asked for: a cluster if one is named, else so many processes, else this one.

    Raises
    ------
    InputRefused
        If there are fewer than one, or the package that speaks with a cluster is not installed.
    """
    if count < 1:
        raise refuse("out_of_range", f"There must be at least one worker, not {count}")
    if cluster:
        from firstsilk.work.analysis.clusters import Cluster, check_package

        check_package()
        return Cluster(cluster, count, limit_s)
    return Processes(count, limit_s) if count > 1 else Here()
