"""How do phones join, take the field list along, and bring their notes? The sync door, version 1.

Nothing that has happened is refused here: a batch that is a batch is always taken, and each of its notes is in the
books or laid aside when the answer comes. The answer is given after the commit. Every no has the shape of all doors.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from functools import wraps
from threading import Lock
from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from ninja import Field, NinjaAPI, Schema
from ninja.decorators import decorate_view
from ninja.errors import AuthenticationError, HttpError, ValidationError
from ninja.parser import Parser
from ninja.security import HttpBearer

from firstsilk.answers import FirstsilkError, InputRefused, StationFault, refuse
from firstsilk.faces.pocket.walk_shape import WalkOut
from firstsilk.science.flowering.notes import FORMAT
from firstsilk.work.flowering.day_close import list_closed_days
from firstsilk.work.flowering.devices import KnownDevice, enrol_device, find_device
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.occasion import Occasion
from firstsilk.work.station import read_station

BATCH_NOTES = 500
"""Notes in one batch at most; a phone sends fewer."""
BODY_BYTES = 4 * 1024 * 1024
"""Bytes of one batch at most: 500 notes of the longest kind fit."""
_IN_TURN = Lock()
"""The books take one writer at a time. Phones that wait in line here come in turn; at the database they come by chance,
and some wait for seconds while others go first."""
LONGEST_TURN_S = 15.0
"""A phone waits 20 s for an answer: one that waited so long in line is told to come again, before it gives up."""


class StrictParser(Parser):
    """JSON to the letter: one object, no NaN, no depth or number that Python cannot hold."""

    def parse_body(self, request: HttpRequest) -> dict[str, Any]:
        """The body as an object; anything else is a refusal."""
        try:
            if len(request.body) > BODY_BYTES:
                raise RequestDataTooBig
            body = json.loads(request.body.decode("utf-8"), parse_constant=_refuse_constant)
        except RequestDataTooBig:
            raise refuse("body_too_large", "This is more than 4 MB.", "Send fewer notes at once.") from None
        except (ValueError, RecursionError):
            raise refuse("body_unreadable", "The body is not JSON in UTF-8.", "Send one JSON object.") from None
        if not isinstance(body, dict):
            raise refuse("body_unreadable", "The body is not a JSON object.", "Send one JSON object.")
        return body


def _refuse_constant(name: str) -> None:
    raise ValueError(name)


class PhoneToken(HttpBearer):
    """The token that a phone got when it joined."""

    def authenticate(self, request: HttpRequest, token: str) -> KnownDevice | None:
        """The phone behind the token; a revoked one is told so."""
        device = find_device(token)
        if device is not None and device.revoked:
            yes_if = "Ask the crew leader for a new code. Notes stay on the phone; it can give them as a file."
            raise refuse("device_revoked", f"Phone {device.number} may no longer send.", yes_if)
        return device


class No(Schema):
    """The one shape of every no: a refusal, or an error."""

    no: str
    code: str
    message: str
    facts: dict[str, str] | None = None
    yes_if: str | None = None
    may_retry: bool | None = None
    findings: list[dict[str, Any]] | None = None


# What is meant, for the description alone: the refusals that answer anything else have codes of their own.
_DEVICE = {"format": "uuid"}
_BATCH_FORMAT = {"const": FORMAT}
_NOTES = {"maxItems": BATCH_NOTES}


class EnrolIn(Schema):
    """The code that the crew leader shows, and the phone's own UUID."""

    code: str = Field(max_length=40)
    device: str = Field(max_length=40, json_schema_extra=_DEVICE)


class EnrolOut(Schema):
    """What a phone gets once."""

    token: str
    number: int
    station: str
    station_name: str
    today: str
    highest_number: int


class BatchIn(Schema):
    """A batch of notes. Each note is judged alone, so that one that cannot be read never blocks the others."""

    format: int = Field(json_schema_extra=_BATCH_FORMAT)
    device: str = Field(max_length=40, json_schema_extra=_DEVICE)
    sent_local: str | None = Field(None, max_length=32)
    sent_offset_min: int | None = None
    highest_number: int | None = Field(None, ge=0, le=2**53)
    app: str | None = Field(None, max_length=24)
    waiting: int | None = Field(None, ge=0, le=2**31 - 1)
    notes: list[Any] = Field(json_schema_extra=_NOTES)


class AsideOut(Schema):
    """One thing laid aside whole, for a person to settle."""

    id: str
    code: str
    reason: str


class ReceiptOut(Schema):
    """What became of the batch, given after the commit. Notes of closed days may be let go, once confirmed."""

    format: int
    stored: list[str]
    already: list[str]
    aside: list[AsideOut]
    gaps: list[list[int]]
    confirmed_to: int
    highest_number: int
    server_time: str
    closed_days: list[str]


def _for_signed_in(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """The description of this door is for people who are signed in, or for a station in debug."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if settings.DEBUG or request.user.is_authenticated:
            return view(request, *args, **kwargs)
        return _answer_no(refuse("sign_in_first", "This description is for people who are signed in.", "Sign in."), 401)

    return guarded


api = NinjaAPI(
    title="firstsilk sync door",
    version="1",
    urls_namespace="pocket-api",
    description=__doc__ or "",
    docs_url=None,
    docs_decorator=_for_signed_in,
    parser=StrictParser(),
)

NOES = {400: No, 401: No, 403: No, 413: No, 422: No, 503: No}

_STATUS = {
    "body_unreadable": 400,
    "body_too_large": 413,
    "batch_too_large": 413,
    "code_unknown": 403,
    "code_expired": 403,
    "device_revoked": 403,
    "device_other": 403,
}


@api.post("/enrol", response={200: EnrolOut, **NOES}, auth=None)
def post_enrol(request: HttpRequest, body: EnrolIn) -> dict[str, object]:
    """Join the station with the code that the crew leader shows."""
    enrolled = enrol_device(body.code, body.device, timezone.now())
    return {**asdict(enrolled), "today": enrolled.today.isoformat()}


@api.get("/walk", response={200: WalkOut, **NOES}, auth=PhoneToken())
@decorate_view(gzip_page)
def get_walk(request: HttpRequest) -> dict[str, object]:
    """Take today's field list along."""
    walk = read_walk(_make_occasion(request))
    rows = [
        {**asdict(row), "males": [{"tag": tag, "number": number} for tag, number in row.males]} for row in walk.rows
    ]
    return {**asdict(walk), "today": walk.today.isoformat(), "rows": rows}


@api.post("/notes", response={200: ReceiptOut, **NOES}, auth=PhoneToken())
def post_notes(request: HttpRequest, body: BatchIn) -> dict[str, object]:
    """Bring notes. Sending them again changes nothing."""
    device = _device_of(request)
    if body.format != FORMAT:
        raise refuse("format_unknown", f"Batch format {body.format} is not known here.", "Open the page once online.")
    if len(body.notes) > BATCH_NOTES:
        raise refuse("batch_too_large", f"This batch holds {len(body.notes)} notes.", f"Send {BATCH_NOTES} at once.")
    if body.device != device.uuid:
        raise refuse("device_other", "This token was given to another phone.", "Ask the crew leader for a new code.")
    on = _make_occasion(request)
    with _wait_in_line():
        receipt = receive_notes(
            on,
            device.uuid,
            body.notes,
            sent_local=body.sent_local,
            sent_offset_min=body.sent_offset_min,
            highest_number=body.highest_number,
            app=body.app,
            waiting=body.waiting,
        )
    return {
        "format": FORMAT,
        "stored": list(receipt.stored),
        "already": list(receipt.already),
        "aside": [asdict(one) for one in receipt.aside],
        "gaps": [list(gap) for gap in receipt.gaps],
        "confirmed_to": receipt.confirmed_to,
        "highest_number": receipt.highest_number,
        "server_time": receipt.received_at,
        "closed_days": [day.isoformat() for day in list_closed_days(on)],
    }


@contextmanager
def _wait_in_line() -> Iterator[None]:
    if not _IN_TURN.acquire(timeout=LONGEST_TURN_S):
        raise StationFault("The station's books are busy. The notes stay on the phone.")
    try:
        yield
    finally:
        _IN_TURN.release()


def _device_of(request: HttpRequest) -> KnownDevice:
    device = request.auth  # type: ignore[attr-defined]
    assert isinstance(device, KnownDevice)
    return device


def _make_occasion(request: HttpRequest) -> Occasion:
    device = _device_of(request)
    now = timezone.now()
    return Occasion(device.station, read_station(device.station).today(now), now, f"phone {device.number}")


def _answer_no(no: FirstsilkError, status: int) -> HttpResponse:
    return JsonResponse(no.as_json(), status=status)


@api.exception_handler(FirstsilkError)
def answer_own_error(request: HttpRequest, error: FirstsilkError) -> HttpResponse:
    """One of our own noes, in the one shape."""
    code = error.refusal.code if isinstance(error, InputRefused) and error.refusal else error.code
    return _answer_no(error, 503 if isinstance(error, StationFault) else _STATUS.get(code, 422))


@api.exception_handler(OperationalError)
def answer_fault(request: HttpRequest, error: OperationalError) -> HttpResponse:
    """The books cannot be reached or are held too long: nothing was stored, and trying again may help."""
    return _answer_no(StationFault("The station's books did not answer. The notes stay on the phone."), 503)


@api.exception_handler(AuthenticationError)
def answer_stranger(request: HttpRequest, error: AuthenticationError) -> HttpResponse:
    """No token, or one that nobody was given."""
    yes_if = "Join with a code from the crew leader. Notes on the phone stay there."
    return _answer_no(refuse("token_unknown", "This phone is not known here.", yes_if), 401)


@api.exception_handler(ValidationError)
def answer_wrong_fields(request: HttpRequest, error: ValidationError) -> HttpResponse:
    """A field of the batch itself that is missing or wrong, named."""
    first = error.errors[0] if error.errors else {}
    field = ".".join(str(part) for part in first.get("loc", ())[2:])
    if not field:
        return _answer_no(refuse("body_unreadable", "There is no body.", "Send one JSON object."), 400)
    message = f"The field {field} cannot be read: {first.get('msg', 'it is wrong')}."
    return _answer_no(refuse("field_wrong", message, "See the description of this door.", field=field), 400)


@api.exception_handler(HttpError)
def answer_other(request: HttpRequest, error: HttpError) -> HttpResponse:
    """What the framework itself refuses; a refusal of our parser's comes wrapped in it."""
    if isinstance(error.__cause__, FirstsilkError):
        return answer_own_error(request, error.__cause__)
    return _answer_no(refuse("request_wrong", str(error)), error.status_code)


def answer_elsewhere(request: HttpRequest, rest: str = "") -> HttpResponse:
    """There is no door at this address."""
    yes_if = "Open the page once online: it may be older than the station."
    return _answer_no(refuse("no_such_door", "There is nothing at this address.", yes_if), 404)


def give_one_shape(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """The view, with a wrong method or address refused in the one shape too; the framework has words of its own."""

    @wraps(view)
    def shaped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            answer = view(request, *args, **kwargs)
        except Http404:
            return answer_elsewhere(request)
        if answer.status_code != 405:
            return answer
        allowed = answer.headers["Allow"]
        no = refuse("method_wrong", f"{request.method} is not answered here.", f"Use {allowed}.")
        shaped_answer = _answer_no(no, 405)
        shaped_answer.headers["Allow"] = allowed
        return shaped_answer

    return shaped
