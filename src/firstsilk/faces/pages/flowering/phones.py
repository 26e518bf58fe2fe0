"""How does a phone join at the desk, and which phones bring notes?"""

from __future__ import annotations

from functools import cache

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from firstsilk.faces.pages.forms import read_form_text, read_form_whole
from firstsilk.work.flowering.devices import list_devices, open_enrolment, revoke_device
from firstsilk.work.occasion import Occasion


def show_phones(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The phones of the station; sent, one more may join with a code that is shown once, or one is shut out."""
    told: dict[str, object] = {"room": "flowering", "on": on}
    if request.method == "POST" and "revoke" in request.POST:
        gone = revoke_device(on, read_form_whole(request, "revoke", 1) or 0)
        messages.success(request, f"Phone {gone.number} ({gone.label}) may send no more. What it sent stays.")
        return redirect("devices")
    if request.method == "POST":
        address = request.build_absolute_uri(reverse("pocket"))
        told |= {"code": open_enrolment(on, read_form_text(request, "label")), "address": address}
        told["picture"] = draw_address(address)
    told["devices"] = list_devices(on)
    response = render(request, "flowering/phones.html", told)
    response["Cache-Control"] = "no-store"
    return response


@cache
def draw_address(address: str) -> SafeString:
    """An address as a QR code, drawn as SVG with a quiet zone of four modules."""
    import numpy as np
    import zxingcpp

    code = zxingcpp.create_barcode(address, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    modules = np.asarray(code.to_image(scale=1, add_quiet_zones=False)) < 128
    size = modules.shape[0] + 8
    path = "".join(f"M{col + 4} {row + 4}h1v1h-1z" for row, col in np.argwhere(modules).tolist())
    says = f"A code that opens {address}"
    return format_html(
        '<svg viewBox="0 0 {} {}" role="img" aria-label="{}"><rect width="100%" height="100%" fill="#fff"/>'
        '<path d="{}" fill="#000"/></svg>',
        size,
        size,
        says,
        path,
    )
