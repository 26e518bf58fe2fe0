"""How do more machines than one take part? A Dask cluster does the tasks; `local` starts one on this machine."""

from __future__ import annotations

import asyncio
import concurrent.futures
import importlib
import importlib.util
import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from firstsilk import __version__
from firstsilk.answers import refuse
from firstsilk.work.analysis.workers import LIMIT_S, Done, Lost, Progress, attempt

T = TypeVar("T")
R = TypeVar("R")

LOCAL = "local"
# How long a scheduler may take to answer and a first worker to be there.
MEETING_S = 60.0
# Signs of what the connection said that a sentence repeats.
SAID = 120


def check_package() -> None:
    """Refuse where the package that speaks with a cluster is not installed.

    Raises
    ------
    InputRefused
        Saying how to install it.
    """
    if importlib.util.find_spec("distributed") is None:
        raise refuse(
            "cluster_missing",
            "The package that speaks with a cluster is not installed here",
            "Install it with: pip install 'firstsilk[cluster]' - or leave --cluster out and use --workers.",
        )


@dataclass(frozen=True, slots=True)
class Cluster:
    """A Dask cluster at an address, or `local`: `count` single-threaded processes of this machine."""

    address: str
    count: int = 1
    limit_s: float = LIMIT_S

    def spread(
        self, work: Callable[[T], R], tasks: Sequence[T], progress: Progress | None = None
    ) -> list[Done[R] | Lost]:
        """Do all tasks on the cluster.

        Raises
        ------
        InputRefused
            If no cluster answers, it has no workers, or they run another version.
        """
        check_package()
        answers: dict[int, Done[R] | Lost] = {}
        with _client(self.address, self.count) as client:
            _check_versions(client)

            def tell() -> None:
                if progress is not None:
                    progress(sum(1 for answer in answers.values() if not _may_be_innocent(answer)), len(tasks))

            self._together(client, work, tasks, list(range(len(tasks))), answers, tell)
            # A worker that dies takes its neighbours' tasks along; alone, only the culprit is lost.
            for at in [at for at, answer in answers.items() if _may_be_innocent(answer)]:
                self._together(client, work, tasks, [at], answers, tell)
        return [answers[at] for at in range(len(tasks))]

    def _together(
        self,
        client: Any,
        work: Callable[[T], R],
        tasks: Sequence[T],
        wanted: Sequence[int],
        answers: dict[int, Done[R] | Lost],
        tell: Callable[[], None],
    ) -> None:
        pending = {client.submit(attempt, work, tasks[at], pure=False): at for at in wanted}
        while pending:
            done = _wait(client, list(pending), self.limit_s)
            if isinstance(done, Lost):
                client.cancel(list(pending), force=True)
                answers.update(dict.fromkeys(pending.values(), done))
                return
            for future in done:
                answers[pending.pop(future)] = _answer_of(future)
                tell()


def _may_be_innocent(answer: object) -> bool:
    return isinstance(answer, Lost) and answer.code == "worker_died"


def _answer_of(future: Any) -> Any:
    if future.status == "finished":
        return future.result(timeout=MEETING_S)
    return Lost("worker_died", f"The cluster lost this: {type(future.exception(timeout=MEETING_S)).__name__}.")


def _wait(client: Any, futures: list[Any], limit_s: float) -> list[Any] | Lost:
    """The tasks that are done, as soon as there are any; or why none ever will be."""
    distributed = importlib.import_module("distributed")
    try:
        with client.as_current():
            return list(distributed.wait(futures, timeout=limit_s, return_when="FIRST_COMPLETED").done)
    except TimeoutError:
        return Lost("too_slow", f"This was given up: nothing was done within {limit_s:g} s.")
    except (asyncio.CancelledError, concurrent.futures.CancelledError):
        return Lost("cluster_gone", "The cluster went away before this was done.")


@contextmanager
def _client(address: str, count: int) -> Iterator[Any]:
    """A client that is closed when it is left, and with it the cluster if it was started here."""
    distributed = importlib.import_module("distributed")
    cluster = None
    # What the cluster says while it is closed in haste is of no use to whoever asked for a fit.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        if address == LOCAL:
            # A task whose worker died is not tried again and again; it is done once more alone.
            with importlib.import_module("dask").config.set({"distributed.scheduler.allowed-failures": 0}):
                cluster = distributed.LocalCluster(
                    n_workers=count,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address=None,
                    silence_logs=logging.CRITICAL,
                )
        try:
            client = distributed.Client(
                address if cluster is None else cluster, timeout=MEETING_S, set_as_default=False
            )
        except (OSError, TimeoutError, ValueError) as fault:
            said = (str(fault).splitlines() or ["no answer"])[0]
            raise refuse(
                "cluster_silent",
                f"No Dask scheduler answers at {address} ({said[:SAID]})",
                "Start one with: dask scheduler - and workers with: dask worker ADDRESS --nthreads 1.",
            ) from None
        try:
            client.wait_for_workers(1, timeout=MEETING_S)
            yield client
        except TimeoutError:
            raise refuse(
                "cluster_empty",
                f"The cluster at {address} has no workers",
                "Start some with: dask worker ADDRESS --nthreads 1.",
            ) from None
        finally:
            client.close(timeout=MEETING_S)
    finally:
        if cluster is not None:
            cluster.close(timeout=MEETING_S)


def _tell_versions() -> tuple[str, str, str]:
    numpy, scipy = importlib.import_module("numpy"), importlib.import_module("scipy")
    return __version__, str(numpy.__version__), str(scipy.__version__)


def _check_versions(client: Any) -> None:
    """Refuse workers whose versions differ from ours: their last digits could."""
    ours = _tell_versions()
    for worker, theirs in client.run(_tell_versions, on_error="return").items():
        # A worker without firstsilk answers with the fault of importing it.
        told = tuple(theirs) if isinstance(theirs, tuple | list) else type(theirs).__name__
        if told != ours:
            raise refuse(
                "cluster_differs",
                f"The worker {worker} has other versions of firstsilk, numpy, scipy ({told}; here {ours})",
                "Install the same ones there.",
            )
