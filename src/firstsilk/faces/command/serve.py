"""How is the station put on the network, with its worker beside it?"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from typing import Annotated

import typer

from firstsilk.answers import StationFault
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.station import build_books


def serve(
    host: Annotated[str, typer.Option(help="Address to listen at; 127.0.0.1 is this machine only.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen at.")] = 8000,
    worker: Annotated[bool, typer.Option(help="Start and mind the worker that runs long jobs.")] = True,
) -> None:
    """Serve the desk pages and the pocket page; start and mind the worker for long jobs."""
    build_books()
    _let_go_of_books()
    if not _is_free(host, port):
        raise StationFault(f"port {port} at {host} is taken; stop what listens there, or choose another with --port")
    minder = Minder() if worker else None
    if minder is not None:
        minder.start()
    say(f"firstsilk is at http://{host}:{port} (stop it with Ctrl-C)")
    try:
        _listen(host, port)
    finally:
        if minder is not None:
            minder.stop()


def _let_go_of_books() -> None:
    """Close our own connection: the server's processes open theirs."""
    from django.db import connections

    connections.close_all()


def _is_free(host: str, port: int) -> bool:
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _listen(host: str, port: int) -> None:
    from granian import Granian
    from granian.constants import Interfaces

    Granian(
        "firstsilk.station.wsgi:application",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=4,
        log_access=False,
        websockets=False,
    ).serve()


class Minder:
    """Keeps one worker process running: starts it, starts it again when it dies, ends it with the server."""

    def __init__(self) -> None:
        self._stopping = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._mind, name="worker-minder", daemon=True)

    def start(self) -> None:
        """Start minding."""
        self._thread.start()

    def stop(self) -> None:
        """End the worker and stop minding."""
        self._stopping.set()
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                self._process.kill()

    def _mind(self) -> None:
        from datetime import UTC, datetime

        from django.db import connections

        from firstsilk.work.jobs import bury_dead_jobs

        pause = 1.0
        while not self._stopping.is_set():
            bury_dead_jobs(datetime.now(UTC))
            connections.close_all()
            started = time.monotonic()
            self._process = subprocess.Popen(
                [sys.executable, "-m", "django", "db_worker", "--no-reload"],
                env={**os.environ, "DJANGO_SETTINGS_MODULE": "firstsilk.station.settings"},
                stdout=subprocess.DEVNULL,
            )
            self._process.wait()
            if self._stopping.is_set():
                return
            pause = 1.0 if time.monotonic() - started > 60 else min(60.0, pause * 2)
            say(f"the worker ended; it is started again in {pause:.0f} s")
            self._stopping.wait(pause)
