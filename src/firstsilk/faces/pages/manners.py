"""What does every page share? The station's name and day, and how a no is shown."""

from __future__ import annotations

from collections.abc import Callable

from django.db import DataError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from firstsilk import __version__
from firstsilk.answers import FirstsilkError, InputRefused, refuse
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
        # The sync door has its own parser; it is asked by no form.
        if not request.path.startswith("/pocket/") and _holds_code_0(request):
            no = refuse("sign_unfit", "This holds a sign with the code 0, which is none.", "Type it anew.")
            return self.process_exception(request, no) or HttpResponse(status=422)
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Turn one of our own errors into a page, and books that do not answer; anything else stays a fault."""
        if isinstance(exception, OperationalError):
            # The usual page would ask the books who is signed in.
            return HttpResponse(render_to_string("500.html", {"books": True}), status=503)
        if isinstance(exception, DataError):
            exception = refuse("too_large", "A text or number here is larger than the books can hold.", "Shorten it.")
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


def _holds_code_0(request: HttpRequest) -> bool:
    """Whether a typed text or the address holds what PostgreSQL cannot store, and SQLite should not."""
    asked = [request.GET] if request.method in ("GET", "HEAD") else [request.GET, request.POST]
    typed = (text for part in asked for name, texts in part.lists() for text in (name, *texts))
    return "\0" in request.path or any("\0" in text for text in typed)


def describe_station(request: HttpRequest) -> dict[str, object]:
    """What every template may say: the station, its day, the rooms, who is signed in."""
    account = getattr(request, "user", None)
    if account is None or not account.is_authenticated or getattr(account, "station_id", None) is None:
        return {"rooms": (), "version": __version__}
    on = make_occasion(request)
    station = read_station(on.station)
    own_day = station.today(on.now)
    return {
        "station": station,
        "today": on.today,
        "own_day": own_day if own_day != on.today else None,
        "rooms": ROOMS,
        "version": __version__,
        "role": account.role,
        "role_name": account.get_role_display(),
    }
