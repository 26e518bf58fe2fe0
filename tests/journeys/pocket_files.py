"""The pocket's files alone, served without a station: for what the page can do by itself."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

from firstsilk.faces.pocket.views import FOLDER, TYPES

PAGE = b'<!doctype html><body data-root="/pocket/"><header id="counts"></header><main id="screen"></main></body>'


class _PocketFiles(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        path = FOLDER / Path(self.path).name
        known = path.suffix in TYPES and path.is_file()
        body = path.read_bytes() if known else PAGE
        self.send_response(200)
        self.send_header("Content-Type", TYPES[path.suffix] if known else "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: object) -> None:
        """Nothing is said of a request."""


@contextmanager
def serve_pocket_files() -> Iterator[str]:
    """Serve an empty page with the pocket's files below it; gives its address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _PocketFiles)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        server.server_close()
