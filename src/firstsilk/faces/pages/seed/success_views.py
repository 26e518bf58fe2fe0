"""How do success and set of lines get onto a page, with the pollinations that a wish needs?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.answers import refuse, shorten_value
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.success import read_success

SURES = ((0.5, "50 %"), (0.8, "80 %"), (0.9, "90 %"), (0.95, "95 %"), (0.99, "99 %"))
MOST_LINES = 200
MOST_SIGNS = 8


def show_success(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Good ears a pollination and kernels an ear by line, and pollinations and rows for what is wished."""
    text = request.GET.get("text", "").strip()
    ears, kernels = (_read_wish(request, name) for name in ("ears", "kernels"))
    asked = request.GET.get("assurance", "")
    assurance = next((sure for sure, _ in SURES if asked == f"{sure:g}"), 0.95)
    found = read_success(on, "", ears, kernels, assurance, text, MOST_LINES)
    told = {
        "room": "seed",
        "found": found,
        "text": text,
        "is_wished": bool(ears or kernels),
        "sures": [(f"{sure:g}", said, sure == assurance) for sure, said in SURES],
    }
    return render(request, "seed/success.html", told)


def _read_wish(request: HttpRequest, name: str) -> int:
    """A whole number of the address, 0 if there is none; thousands may be parted."""
    given = request.GET.get(name, "").strip()
    plain = given.replace(",", "").replace(" ", "")
    if not plain:
        return 0
    if not (plain.isascii() and plain.isdigit() and len(plain) <= MOST_SIGNS):
        told = f"{name}: {shorten_value(given)!r} is no whole number that can be wished."
        raise refuse("not_whole", told, "Write 400.")
    return int(plain)
