"""How does a phone get the root certificate before it can trust the station? From a plain page beside it.

The page is served without encryption, since nothing is trusted yet: it gives the certificate and the steps, and
nothing else of the station. The fingerprint on the phone is compared with the one at the desk.
"""

from __future__ import annotations

import threading
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import ClassVar

from django.template.loader import render_to_string

from firstsilk.faces.pocket.authority import read_as_der, read_fingerprint

CERTIFICATE = "/firstsilk-root.crt"
CERTIFICATE_TYPE = "application/x-x509-ca-cert"

STEPS = {
    "Android": (
        "Open Settings, Security, Encryption and credentials, Install a certificate, CA certificate.",
        "The words differ a little from phone to phone; the search of the settings finds “CA certificate”.",
        "Choose Install anyway, and the file firstsilk-root.crt among the downloads.",
        "Go back to the browser and open the station's address.",
    ),
    "iPhone and iPad": (
        "Open the certificate in Safari and allow the download.",
        "Open Settings, Profile Downloaded, and install it.",
        "Open Settings, General, About, Certificate Trust Settings, and switch full trust on for it.",
        "Open the station's address in Safari, then Share, Add to Home Screen.",
    ),
}
"""What to press, in the words of the phones (from memory, no stored source; they change with each version)."""


class _RootPage(BaseHTTPRequestHandler):
    """Answers what it was given, and nothing else."""

    given: ClassVar[dict[str, tuple[str, bytes]]] = {}
    timeout = 10
    server_version = "firstsilk"
    sys_version = ""

    def do_GET(self) -> None:
        self._answer(with_body=True)

    def do_HEAD(self) -> None:
        self._answer(with_body=False)

    def _answer(self, with_body: bool) -> None:
        kind, body = self.given.get(self.path.partition("?")[0], ("", b""))
        if not kind:
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
        self.end_headers()
        if with_body:
            self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        pass


def start_root_page(listen: str, port: int, root: Path, origin: str) -> ThreadingHTTPServer:
    """Serve the page and the certificate beside the station, until the process ends."""
    told = {"origin": origin, "fingerprint": read_fingerprint(root), "steps": STEPS, "certificate": CERTIFICATE}
    page = render_to_string("pocket/root_page.html", told).encode()
    given = {"/": ("text/html; charset=utf-8", page), CERTIFICATE: (CERTIFICATE_TYPE, read_as_der(root))}
    server = ThreadingHTTPServer((listen, port), type("RootPage", (_RootPage,), {"given": given}))
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server
