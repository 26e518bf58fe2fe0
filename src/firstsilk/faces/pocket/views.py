"""What does a phone load once, so that it opens ever after without a network?

All that the pocket needs lies under its own address: a service worker answers only for what is below it, and that
includes the script of a worker.
"""

from __future__ import annotations

import gzip
import json
from functools import cache
from hashlib import sha256
from pathlib import Path

from csp.constants import SELF, WASM_UNSAFE_EVAL
from csp.decorators import csp_update
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_safe

from firstsilk import __version__
from firstsilk.faces.pocket.scripts import find_parts, join_scripts

FOLDER = Path(__file__).resolve().parent / "static" / "pocket"
TYPES = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".wasm": "application/wasm",
}
PACKED = {".js", ".css", ".json", ".svg", ".wasm"}
"""What gets smaller on its way to a phone; over a field's network the reader of codes takes long enough as it is."""
PAGE = "pocket/page.html"
JOINED = ("app.js", "log_worker.js")
"""The scripts that start something. Each travels with all that it imports as one file."""


@cache
def _read_files() -> dict[str, bytes]:
    """Every file that the phone holds, by name, read once."""
    parts = {part for name in JOINED for part in find_parts(name, _read_script)}
    files = {path.name: path.read_bytes() for path in sorted(FOLDER.iterdir()) if path.suffix in TYPES}
    joined = {name: join_scripts(name, _read_script).encode("utf-8") for name in JOINED}
    return {name: joined.get(name, content) for name, content in files.items() if name in joined or name not in parts}


def _read_script(name: str) -> str:
    return (FOLDER / name).read_text("utf-8")


@cache
def pack_file(name: str) -> bytes:
    """One file of the pocket as it travels, by gzip; always the same bytes."""
    return gzip.compress(_read_files()[name], 9, mtime=0)


@cache
def _read_edition() -> str:
    """A name for exactly this set of files: what the phone holds is of one edition, never a mixture."""
    digest = sha256(__version__.encode())
    for name, content in _read_files().items():
        digest.update(name.encode() + b"\0" + sha256(content).digest())
    for template in (PAGE, "pocket/sw.js"):
        digest.update(render_to_string(template, {"app": __version__, "names": "", "edition": ""}).encode())
    return digest.hexdigest()[:16]


@require_safe
def show_page(request: HttpRequest) -> HttpResponse:
    """The page itself: the same for everybody, and nothing of the station on it."""
    response = render(request, PAGE, {"app": __version__})
    response["Cache-Control"] = "no-cache"
    return response


@require_safe
def give_service_worker(request: HttpRequest) -> HttpResponse:
    """The service worker with the list of all that it must hold, or nothing."""
    names = [reverse("pocket"), reverse("pocket-manifest")]
    names += [reverse("pocket-file", args=[name]) for name in _read_files()]
    text = render_to_string("pocket/sw.js", {"names": json.dumps(names), "edition": _read_edition()})
    return HttpResponse(text, content_type=TYPES[".js"], headers={"Cache-Control": "no-cache"})


@require_safe
def give_file(request: HttpRequest, name: str) -> HttpResponse:
    """One file of the pocket."""
    content = _read_files().get(name)
    if content is None:
        raise Http404(name)
    kind = Path(name).suffix
    headers = {"Cache-Control": "no-cache"}
    if kind in PACKED:
        headers["Vary"] = "Accept-Encoding"
        if "gzip" in request.headers.get("Accept-Encoding", ""):
            content = pack_file(name)
            headers["Content-Encoding"] = "gzip"
    return HttpResponse(content, content_type=TYPES[kind], headers=headers)


@csp_update({"script-src": [SELF, WASM_UNSAFE_EVAL]})
@require_safe
def give_reader(request: HttpRequest) -> HttpResponse:
    """The worker that reads codes: the one script of all that may run compiled code, and only ours."""
    return give_file(request, "scan_worker.js")


@require_safe
def give_manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to put the page on its home screen."""
    manifest = {
        "name": "firstsilk field notes",
        "short_name": "firstsilk",
        "lang": "en",
        "start_url": reverse("pocket"),
        "scope": reverse("pocket"),
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#ffffff",
        "icons": [
            {"src": reverse("pocket-file", args=["icon.svg"]), "sizes": "any", "type": "image/svg+xml"},
        ],
    }
    return HttpResponse(
        json.dumps(manifest), content_type="application/manifest+json", headers={"Cache-Control": "no-cache"}
    )
