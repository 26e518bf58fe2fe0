"""What does every page share? The station's name and date, and how a no is shown."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class NoMiddleware:
    """Shows each of the three kinds of no as a page, never as a fault."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)


def describe_station(request: HttpRequest) -> dict[str, object]:
    """What every template may say about the station."""
    return {}
