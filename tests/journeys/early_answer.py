"""A planted fault: a server that answers a batch before its commit. It proves that the kill test can fail."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterable
from io import BytesIO

from firstsilk.station.wsgi import application as honest


def application(environ: dict[str, object], start_response: Callable[..., object]) -> Iterable[bytes]:
    """Say `stored` at once and store a little later."""
    if environ["PATH_INFO"] != "/pocket/api/v1/notes":
        return honest(environ, start_response)
    body = environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or 0))
    later = {**environ, "wsgi.input": BytesIO(body)}

    def store() -> None:
        time.sleep(0.2)
        list(honest(later, lambda *_: None))

    threading.Thread(target=store, daemon=True).start()
    ids = [note["id"] for note in json.loads(body)["notes"]]
    answer = {"format": 1, "stored": ids, "already": [], "aside": [], "gaps": [], "confirmed_to": 0, "server_time": ""}
    start_response("200 OK", [("Content-Type", "application/json")])
    return [json.dumps(answer).encode()]
