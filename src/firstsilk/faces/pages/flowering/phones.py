"""How does a phone join at the desk, and which phones bring notes?"""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import refuse
from firstsilk.faces.files.carried import read_carried
from firstsilk.faces.files.film_photos import is_picture, read_film
from firstsilk.faces.pages.forms import read_form_text, read_form_whole
from firstsilk.faces.pocket.authority import ROOT, read_as_der, read_fingerprint
from firstsilk.faces.pocket.qr import draw_address
from firstsilk.faces.pocket.root_page import CERTIFICATE_TYPE, STEPS
from firstsilk.work.flowering.carried import carry_in
from firstsilk.work.flowering.devices import list_devices, open_enrolment, revoke_device
from firstsilk.work.occasion import Occasion


def show_phones(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The phones of the station; sent, one more may join, one is shut out, or a phone's file is brought."""
    told: dict[str, object] = {"room": "flowering", "on": on}
    if request.method == "POST" and "revoke" in request.POST:
        gone = revoke_device(on, read_form_whole(request, "revoke", 1) or 0)
        messages.success(request, f"Phone {gone.number} ({gone.label}) may send no more. What it sent stays.")
        return redirect("devices")
    if "notes" in request.FILES:
        messages.success(request, carry_in(on, _read_brought(request)).as_text())
        return redirect("devices")
    if request.method == "POST":
        address = request.build_absolute_uri(reverse("pocket"))
        code = open_enrolment(on, read_form_text(request, "label"))
        # Behind the hash sign the code never leaves the phone but in the request that joins.
        told |= {"code": code, "address": address, "picture": draw_address(f"{address}#join={code.code}")}
        told["reach"] = _tell_reach(address)
    told |= _tell_root()
    told["devices"] = list_devices(on)
    response = render(request, "flowering/phones.html", told)
    response["Cache-Control"] = "no-store"
    return response


def _tell_reach(address: str) -> str:
    """Why a phone cannot use this address as it should; empty where it can."""
    where = urlsplit(address)
    if where.hostname in ("127.0.0.1", "localhost", "::1"):
        return "This address reaches this machine alone."
    return "" if where.scheme == "https" else "A phone does not work without a network by this address: it lacks HTTPS."


def _read_brought(request: HttpRequest) -> list[object]:
    """The notes of the files that were chosen: a phone's file, or pictures of its film."""
    files = [(str(file.name), file.read()) for file in request.FILES.getlist("notes")]
    if all(is_picture(name) for name, _ in files):
        return read_film(files, "The pictures")
    return [wire for name, content in files for wire in read_carried(content, name)]


def give_root_certificate(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The root certificate as a file, for a phone that takes it from a cable or a stick."""
    root = _find_root()
    if root is None:
        raise refuse("no_root", "This station has no root certificate.", "Serve it by firstsilk serve --lan.")
    name = 'attachment; filename="firstsilk-root.crt"'
    return HttpResponse(read_as_der(root), content_type=CERTIFICATE_TYPE, headers={"Content-Disposition": name})


def _find_root() -> Path | None:
    path = Path(settings.HOME) / "lan" / ROOT
    return path if path.is_file() else None


def _tell_root() -> dict[str, object]:
    """What the page says of the root certificate, where the station is on its own network."""
    root = _find_root()
    if root is None or not settings.ROOT_PAGE:
        return {}
    return {
        "root_page": settings.ROOT_PAGE,
        "root_picture": draw_address(settings.ROOT_PAGE),
        "fingerprint": read_fingerprint(root),
        "steps": STEPS,
    }
