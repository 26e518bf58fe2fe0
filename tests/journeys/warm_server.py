"""A server that starts at once: the station is loaded, then a copy of this process is made for each start.

``python warm_server.py APPLICATION PORT`` answers each line of its input with the number of a new process that listens.
The application, its settings and its books are the station's own; only the program that speaks HTTP is Python's own
and not the one of `firstsilk serve`, so that fifty kills need no fifty loads. A copy is the leader of its own group.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
from io import BytesIO
from socketserver import ThreadingMixIn
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer


class Threads(ThreadingMixIn, WSGIServer):
    """One thread a request; none is waited for at the end."""

    daemon_threads = True

    def get_request(self):
        connection, address = super().get_request()
        connection.settimeout(10)
        return connection, address


class Quiet(WSGIRequestHandler):
    """Says nothing of what it answers."""

    def log_message(self, *_: object) -> None:
        pass

    def address_string(self) -> str:
        return str(self.client_address[0])


def main() -> None:
    module, _, name = sys.argv[1].partition(":")
    application = getattr(importlib.import_module(module), name)
    ask = {
        "REQUEST_METHOD": "GET",
        "PATH_INFO": "/pocket/manifest.json",
        "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": sys.argv[2],
        "SERVER_PROTOCOL": "HTTP/1.1",
        "HTTP_HOST": "127.0.0.1",
        "wsgi.url_scheme": "http",
        "wsgi.input": BytesIO(),
        "wsgi.errors": sys.stderr,
    }
    list(application(ask, lambda *_: None))
    from django.db import connections

    connections.close_all()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    print("loaded", flush=True)
    while sys.stdin.readline():
        listener = Threads(("127.0.0.1", int(sys.argv[2])), Quiet)
        listener.set_app(application)
        copy = os.fork()
        if copy == 0:
            sys.stdin.close()
            listener.serve_forever()
        os.setpgid(copy, copy)
        listener.server_close()
        print(copy, flush=True)


main()
