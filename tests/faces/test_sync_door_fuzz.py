"""Does the sync door keep its word? What it describes is what it does, whatever is sent: no fault, one shape of no.

Requests are drawn from the door's own description, and beside it, and go through the whole stack in this process.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import connections
from django.test import Client
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from schemathesis import Case
from schemathesis.checks import not_a_server_error
from schemathesis.config import SchemathesisConfig
from schemathesis.core.transport import Response
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from firstsilk.faces.pocket.api import api
from firstsilk.records.models import Note, NoteAside
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.devices import open_enrolment
from firstsilk.work.occasion import Occasion
from tests.work.station_books import ON, make_station, make_wire

pytestmark = pytest.mark.django_db

DEVICE = "0195c1a0-0000-7000-8000-0000000000c3"
DOOR = "/pocket/api/v1"
REFUSAL = {"no", "code", "message", "facts", "yes_if"}
ERROR = {"no", "code", "message", "may_retry"}

bounded = settings(
    max_examples=200,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(autouse=True)
def _keep_books_open(monkeypatch) -> None:
    """A served request closes the books before and after; here they are the test's own, within its transaction."""
    monkeypatch.setattr(connections["default"], "close_if_unusable_or_obsolete", lambda: None)


@pytest.fixture
def now_on() -> Occasion:
    """An occasion on the machine's own clock, since the door reads it."""
    make_station()
    return replace(ON, now=datetime.now(UTC))


@pytest.fixture
def token(client: Client, now_on: Occasion) -> str:
    body = {"code": open_enrolment(now_on, "south").code, "device": DEVICE}
    answer = client.post(f"{DOOR}/enrol", body, content_type="application/json")
    return str(answer.json()["token"])


# A batch of too many notes is told as 413, which is no usual answer to a wrong field.
known = SchemathesisConfig.from_dict(
    {"checks": {"negative_data_rejection": {"expected-statuses": ["400", "401", "403", "413", "422"]}}}
)
CONFORM = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
described = schemathesis.openapi.from_dict(json.loads(json.dumps(api.get_openapi_schema())), config=known)
described.app = get_wsgi_application()


def check_shape_of_no(answer: Response) -> None:
    """Every no is a refusal with what would make it yes, or an error that says whether to try again."""
    if answer.status_code == 200:
        return
    body = answer.json()
    if body["no"] == "refusal":
        assert set(body) == REFUSAL, body
        assert all(isinstance(fact, str) for fact in body["facts"].values())
    else:
        assert body["no"] == "error", body
        assert set(body) - {"findings"} == ERROR
        assert isinstance(body["may_retry"], bool)
    assert body["code"]
    assert body["message"]
    assert "Traceback" not in answer.text


@described.parametrize()
@seed(20310714)
@bounded
def test_door_whatever_is_sent_answers_as_it_describes(case: Case, token: str) -> None:
    check_shape_of_no(case.call_and_validate(headers={"Authorization": f"Bearer {token}"}))


texts = st.text(max_size=40)
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)


@st.composite
def wires(draw: st.DrawFn) -> object:
    """A note as a phone sends it, whole or with one field damaged or gone; now and then something else."""
    wire: dict[str, object] = make_wire(draw(st.integers(1, 9)), device=DEVICE)
    damage = draw(st.sampled_from(["none", "none", "one field", "no field", "more", "all"]))
    name = draw(st.sampled_from(sorted(wire)))
    if damage == "one field":
        wire[name] = draw(anything)
    elif damage == "no field":
        del wire[name]
    elif damage == "more":
        wire[draw(texts)] = draw(anything)
    return draw(anything) if damage == "all" else wire


@seed(20310714)
@bounded
@given(
    notes=st.lists(wires(), max_size=6),
    clock=st.none() | texts | st.datetimes().map(datetime.isoformat),
    offset=st.none() | st.integers(),
    highest=st.none() | st.integers(0, 2**53),
)
def test_batch_of_whatever_notes_is_taken_whole(
    token: str, now_on: Occasion, notes: list[object], clock: str | None, offset: int | None, highest: int | None
) -> None:
    batch = {"format": 1, "device": DEVICE, "notes": notes, "sent_offset_min": offset, "highest_number": highest}
    if clock is not None:
        batch["sent_local"] = clock[:32]
    before = Note.objects.count()
    case = described[f"{DOOR}/notes"]["POST"].Case(body=batch, media_type="application/json")
    answer = case.call_and_validate(headers={"Authorization": f"Bearer {token}"}, checks=CONFORM)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert len(body["stored"]) + len(body["already"]) + len(body["aside"]) == len(notes)
    assert Note.objects.count() == before + len(body["stored"])
    assert verify_chain(now_on).ok


def test_yes_of_each_door_is_as_described(token: str, now_on: Occasion) -> None:
    headers = {"Authorization": f"Bearer {token}"}
    joins = {"code": open_enrolment(now_on, "north").code, "device": "0195c1a0-0000-7000-8000-0000000000c4"}
    brings = {"format": 1, "device": DEVICE, "notes": [make_wire(1, device=DEVICE), None]}
    for path, method, body in (("enrol", "POST", joins), ("walk", "GET", None), ("notes", "POST", brings)):
        given = {} if body is None else {"body": body, "media_type": "application/json"}
        answer = described[f"{DOOR}/{path}"][method].Case(**given).call_and_validate(headers=headers, checks=CONFORM)
        assert answer.status_code == 200, answer.text
    assert (Note.objects.count(), NoteAside.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("method", "path", "status", "code"),
    [
        ("get", "notes", 405, "method_wrong"),
        ("put", "enrol", 405, "method_wrong"),
        ("delete", "walk", 405, "method_wrong"),
        ("post", "nowhere", 404, "no_such_door"),
        ("get", "", 404, "no_such_door"),
    ],
)
def test_wrong_method_or_address_is_refused_in_the_one_shape(
    client: Client, method: str, path: str, status: int, code: str
) -> None:
    answer = getattr(client, method)(f"{DOOR}/{path}")
    assert answer.status_code == status
    assert set(answer.json()) == REFUSAL
    assert answer.json()["code"] == code
    assert answer.has_header("Allow") == (status == 405)
    assert client.post("/pocket/api/v2/notes").json()["code"] == "no_such_door"
