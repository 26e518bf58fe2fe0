"""Who may open a desk page, and on what occasion?

Every address declares which roles may read it and which may change things through it. An address that declares
nothing cannot be made: the functions below are the only way to make one.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils import timezone

from firstsilk.work.occasion import Occasion
from firstsilk.work.station import read_station

View = Callable[..., HttpResponse]


def desk_page(
    address: str, view: View, name: str, read: frozenset[str], change: frozenset[str] = frozenset()
) -> URLPattern:
    """An address at the desk: `read` roles may GET it, `change` roles may POST to it.

    The view is called as ``view(request, on, ...)``.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        account = request.user
        if not account.is_authenticated:
            return redirect_to_login(request.get_full_path())
        may = change if request.method not in ("GET", "HEAD") else read
        role = getattr(account, "role", "")
        if getattr(account, "station_id", None) is None or role not in may:
            return render(request, "no.html", {"title": "Not for this role", "message": _why(role, may)}, status=403)
        return view(request, make_occasion(request), *args, **kwargs)

    guarded.read_roles = read  # type: ignore[attr-defined]
    guarded.change_roles = change  # type: ignore[attr-defined]
    return path(address, guarded, name=name)


def open_page(address: str, view: View, name: str) -> URLPattern:
    """An address that needs no sign-in; there are few, and a test lists them."""

    @wraps(view)
    def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return view(request, *args, **kwargs)

    opened.is_open = True  # type: ignore[attr-defined]
    return path(address, opened, name=name)


def make_occasion(request: HttpRequest) -> Occasion:
    """The occasion of a request: the account's station, the day asked for or the station's own, now, and who."""
    station = read_station(request.user.station.code)  # type: ignore[union-attr]
    now = timezone.now()
    return Occasion(station.code, _asked_day(request) or station.today(now), now, request.user.get_username())


def _asked_day(request: HttpRequest) -> date | None:
    """The day in ``?day=``, for looking at the books as they stood; a day that is none is passed over."""
    try:
        return date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None


def _why(role: str, may: frozenset[str]) -> str:
    wanted = ", ".join(sorted(one.replace("_", " ") for one in may)) or "nobody"
    return f"Your role is {role.replace('_', ' ') or 'none'}. This is for: {wanted}."
