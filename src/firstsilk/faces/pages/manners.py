"""What does every page share? The station's name and day, and how a no is shown."""

from __future__ import annotations

from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from firstsilk import __version__
from firstsilk.answers import FirstsilkError, InputRefused
from firstsilk.faces.pages.desk import make_occasion
from firstsilk.work.station import read_station

ROOMS: tuple[tuple[str, str], ...] = (
    ("climate", "Climate"),
    ("lineage", "Lineage"),
    ("nursery", "Nursery"),
    ("flowering", "Flowering"),
    ("seed", "Seed"),
    ("trials", "Trials"),
    ("analysis", "Analysis"),
    ("choice", "Choice"),
)


class NoMiddleware:
    """Shows a refusal, findings or an error as a page with one clear sentence, never as a fault."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Turn one of our own errors into a page, and books that do not answer; anything else stays a fault."""
        if isinstance(exception, OperationalError):
            # The usual page would ask the books who is signed in.
            return HttpResponse(render_to_string("500.html", {"books": True}), status=503)
        if not isinstance(exception, FirstsilkError):
            return None
        refused = isinstance(exception, InputRefused)
        told = {
            "title": "That cannot be done as asked" if refused else "Something went wrong",
            "message": "" if getattr(exception, "findings", ()) else str(exception),
            "findings": getattr(exception, "findings", ()),
            "may_retry": exception.may_retry,
        }
        return render(request, "no.html", told, status=422 if refused else 500)


def describe_station(request: HttpRequest) -> dict[str, object]:
    """What every template may say: the station, its day, the rooms, who is signed in."""
    account = getattr(request, "user", None)
    if account is None or not account.is_authenticated or getattr(account, "station_id", None) is None:
        return {"rooms": (), "version": __version__}
    on = make_occasion(request)
    return {
        "station": read_station(on.station),
        "today": on.today,
        "rooms": ROOMS,
        "version": __version__,
        "role": account.role,
        "role_name": account.get_role_display(),
    }
