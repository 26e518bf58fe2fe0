"""Who keeps the worker for long jobs running while the station is served?

A process of its own, started by `firstsilk serve`: it starts the worker, starts it again when it dies, and ends with
the server, even one that was killed. It is a process and not a thread, because the server forks, and a fork beside a
running thread can stand still for ever.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime

from firstsilk.faces.command.station import prepare_books

LOOK_S = 0.5
STEADY_S = 60.0
LONGEST_PAUSE_S = 60.0


def mind_worker(parent: int) -> None:
    """Keep one worker running until the process `parent` is gone, or this one is asked to end."""
    signal.signal(signal.SIGTERM, _end_quietly)
    signal.signal(signal.SIGINT, _end_quietly)
    prepare_books()
    _compile_ahead()
    pause_s = 1.0
    while os.getppid() == parent:
        _bury_dead_jobs()
        began = time.monotonic()
        if not _watch(_start_worker(), parent):
            return
        pause_s = 1.0 if time.monotonic() - began > STEADY_S else min(LONGEST_PAUSE_S, pause_s * 2)
        print(f"the worker ended; it is started again in {pause_s:.0f} s", file=sys.stderr, flush=True)
        time.sleep(pause_s)


def _end_quietly(number: int, frame: object) -> None:
    sys.exit(0)


def _compile_ahead() -> None:
    """On the first start of a version, have what pages need compiled beside the server, not on the way to a page."""
    subprocess.Popen(
        [sys.executable, "-m", "firstsilk.faces.command.compile_ahead"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _watch(worker: subprocess.Popen[bytes], parent: int) -> bool:
    """Wait until the worker ends by itself (True), or until there is nobody left to work for (False)."""
    try:
        while worker.poll() is None and os.getppid() == parent:
            time.sleep(LOOK_S)
        return worker.poll() is not None
    finally:
        if worker.poll() is None:
            _end(worker)


def _bury_dead_jobs() -> None:
    from django.db import connections

    from firstsilk.work.jobs import bury_dead_jobs

    bury_dead_jobs(datetime.now(UTC))
    connections.close_all()


def _start_worker() -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "django", "db_worker", "--no-reload", "--no-startup-delay"],
        env={"DJANGO_SETTINGS_MODULE": "firstsilk.station.settings", **os.environ},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
    )


def _end(worker: subprocess.Popen[bytes]) -> None:
    worker.terminate()
    try:
        worker.wait(timeout=10)
    except subprocess.TimeoutExpired:
        worker.kill()


def start_minder() -> subprocess.Popen[bytes]:
    """Start the minder as a process of this one."""
    return subprocess.Popen([sys.executable, "-m", "firstsilk.faces.command.minder"], stdin=subprocess.DEVNULL)


if __name__ == "__main__":
    mind_worker(os.getppid())
