"""How is a print handed to the browser?"""

from __future__ import annotations

from django.http import HttpResponse


def give_pdf(pdf: bytes, name: str) -> HttpResponse:
    """A PDF that opens in the browser and is saved under this name."""
    return HttpResponse(
        pdf, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )
