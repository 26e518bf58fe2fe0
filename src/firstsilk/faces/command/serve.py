"""How is the station put on the network, with its worker and its look-out for weather beside it?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from firstsilk.answers import StationFault, refuse
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.minder import start_minder
from firstsilk.faces.command.station import build_books, refresh_statistics
from firstsilk.faces.command.watcher import start_watcher

if TYPE_CHECKING:
    from firstsilk.faces.command.lan import Lan

HOST, PORT = "127.0.0.1", 8000


def serve(
    host: Annotated[
        str, typer.Option(help="Address to listen at; this machine only if absent. With --lan: name for the season.")
    ] = "",
    port: Annotated[
        int | None, typer.Option(help="Port to listen at; 8000 if absent. With --lan: port for the season, 8443.")
    ] = None,
    worker: Annotated[bool, typer.Option(help="Run long jobs, and look for new weather, beside the server.")] = True,
    lan: Annotated[
        bool, typer.Option("--lan", help="For phones on the farm's own network: HTTPS by an own certificate authority.")
    ] = False,
    address: Annotated[str, typer.Option(help="With --lan: this machine's number, such as 192.168.1.20.")] = "",
    new_address: Annotated[
        str, typer.Option(help="With --lan: the new HOST:PORT typed out, where the season's address is to change.")
    ] = "",
    root_port: Annotated[
        int, typer.Option(help="With --lan: port of the plain page with the root certificate.")
    ] = 8080,
) -> None:
    """Serve the desk pages and the pocket page; run long jobs and look for new weather beside them."""
    if not lan and (address or new_address):
        raise refuse("lan_only", "--address and --new-address belong to --lan.", "Add --lan, or leave them out.")
    on_lan = _prepare_lan(host, port, address, new_address, root_port) if lan else None
    listen, at = (on_lan.listen, on_lan.fixed.port) if on_lan else (host or HOST, port or PORT)
    for wanted in (at, root_port) if on_lan else (at,):
        if not _is_free(listen, wanted):
            told = "choose another with --root-port" if on_lan and wanted == root_port else "choose another with --port"
            raise StationFault(f"port {wanted} at {listen} is taken; stop what listens there, or {told}")
    build_books()
    refresh_statistics()
    if on_lan:
        _tell(on_lan)
    _let_go_of_books()
    beside = [start_minder(), start_watcher()] if worker else []
    say(f"firstsilk is at {on_lan.fixed.origin if on_lan else f'http://{listen}:{at}'} (stop it with Ctrl-C)")
    try:
        _listen(listen, at, _make_tls(on_lan) if on_lan else {})
    finally:
        for process in beside:
            process.terminate()


def _prepare_lan(host: str, port: int | None, address: str, new_address: str, root_port: int) -> Lan:
    from firstsilk.faces.command.lan import prepare_lan

    return prepare_lan(host, port, address, new_address, root_port)


def _tell(lan: Lan) -> None:
    """Tell the crew leader how phones get on, and give the root certificate from now on."""
    from firstsilk.faces.command.lan import tell_lan
    from firstsilk.faces.pocket.root_page import start_root_page

    tell_lan(lan)
    start_root_page(lan.listen, lan.root_port, lan.certificates.root, lan.fixed.origin)


def _make_tls(lan: Lan) -> dict[str, Any]:
    from granian.constants import SSLProtocols

    # Phones of ten years ago know TLS 1.2 only.
    return {
        "ssl_cert": lan.certificates.server,
        "ssl_key": lan.certificates.server_key,
        "ssl_protocol_min": SSLProtocols.tls12,
    }


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


def _listen(host: str, port: int, tls: dict[str, Any]) -> None:
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
        **tls,
    ).serve()
