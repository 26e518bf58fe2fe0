"""A small server of weather on this machine, which can also misbehave in the ways servers do."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class WeatherServer:
    """Its address, what it gives by path, and the paths that were asked for."""

    port: int = 0
    pages: dict[str, bytes | Callable[[BaseHTTPRequestHandler], None]] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)

    def at(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"


@contextmanager
def serve_weather() -> Iterator[WeatherServer]:
    """Serve until the block ends."""
    told = WeatherServer()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            told.asked.append(self.path)
            page = told.pages.get(self.path)
            if callable(page):
                page(self)
                return
            self.send_response(200 if page is not None else 404)
            self.send_header("Content-Length", str(len(page or b"")))
            self.end_headers()
            self.wfile.write(page or b"")

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    told.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield told
    finally:
        server.shutdown()
        server.server_close()


def send_on(target: str, code: int = 302) -> Callable[[BaseHTTPRequestHandler], None]:
    """Answer with another address."""

    def answer(request: BaseHTTPRequestHandler) -> None:
        request.send_response(code)
        request.send_header("Location", target)
        request.send_header("Content-Length", "0")
        request.end_headers()

    return answer


def give_too_much(request: BaseHTTPRequestHandler) -> None:
    """Never stop giving."""
    request.send_response(200)
    request.end_headers()
    try:
        for _ in range(30):
            request.wfile.write(b"x" * 1024 * 1024)
    except OSError:
        pass


def drip(request: BaseHTTPRequestHandler) -> None:
    """Send a sign now and then, before the answer has even begun."""
    try:
        for _ in range(200):
            request.wfile.write(b"H")
            request.wfile.flush()
            time.sleep(0.05)
    except OSError:
        pass


def break_off(request: BaseHTTPRequestHandler) -> None:
    """Promise more than is given."""
    request.send_response(200)
    request.send_header("Content-Length", "1000")
    request.end_headers()
    request.wfile.write(b"date,tmin_c")
