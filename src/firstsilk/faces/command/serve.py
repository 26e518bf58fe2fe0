"""How is the station put on the network, with its worker and its look-out for weather beside it?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import StationFault
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.minder import start_minder
from firstsilk.faces.command.station import build_books
from firstsilk.faces.command.watcher import start_watcher


def serve(
    host: Annotated[str, typer.Option(help="Address to listen at; 127.0.0.1 is this machine only.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen at.")] = 8000,
    worker: Annotated[bool, typer.Option(help="Run long jobs, and look for new weather, beside the server.")] = True,
) -> None:
    """Serve the desk pages and the pocket page; run long jobs and look for new weather beside them."""
    build_books()
    _let_go_of_books()
    if not _is_free(host, port):
        raise StationFault(f"port {port} at {host} is taken; stop what listens there, or choose another with --port")
    beside = [start_minder(), start_watcher()] if worker else []
    say(f"firstsilk is at http://{host}:{port} (stop it with Ctrl-C)")
    try:
        _listen(host, port)
    finally:
        for process in beside:
            process.terminate()


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
