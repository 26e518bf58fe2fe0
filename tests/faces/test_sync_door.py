"""The sync door: what a phone sends is stored once, whole, and every no has one shape."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable

import pytest
from django.db import OperationalError
from django.test import Client

from firstsilk.records.models import Note, NoteAside
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.devices import open_enrolment, revoke_device
from firstsilk.work.occasion import Occasion
from tests.work.station_books import ON, make_station, make_wire

pytestmark = pytest.mark.django_db

DEVICE = "0195c1a0-0000-7000-8000-0000000000c3"
DOOR = "/pocket/api/v1/"
Send = Callable[..., tuple[int, dict[str, object]]]


@pytest.fixture(autouse=True)
def _static_folder(settings, tmp_path) -> None:
    settings.STATIC_ROOT = tmp_path


@pytest.fixture
def now_on() -> Occasion:
    """An occasion on the machine's own clock, since the door reads it."""
    from dataclasses import replace
    from datetime import UTC, datetime

    return replace(ON, now=datetime.now(UTC))


@pytest.fixture
def token(client: Client, now_on: Occasion) -> str:
    make_station()
    body = {"code": open_enrolment(now_on, "south").code, "device": DEVICE}
    answer = client.post(f"{DOOR}enrol", body, content_type="application/json")
    assert answer.status_code == 200
    assert set(answer.json()) == {"token", "number", "station", "station_name", "today", "highest_number"}
    return str(answer.json()["token"])


@pytest.fixture
def send(client: Client, token: str) -> Send:
    def send_notes(*notes: object, headers: dict[str, str] | None = None, **more: object):
        batch = {"format": 1, "device": DEVICE, "notes": list(notes), **more}
        headers = {"Authorization": f"Bearer {token}"} if headers is None else headers
        answer = client.post(f"{DOOR}notes", json.dumps(batch), content_type="application/json", headers=headers)
        return answer.status_code, answer.json()

    return send_notes


def _wire(number: int, **given: object) -> dict[str, object]:
    return make_wire(number, device=DEVICE, **given)


def _is_no(answer: dict[str, object], code: str) -> bool:
    return answer["no"] == "refusal" and answer["code"] == code and bool(answer["message"])


def test_notes_sent_twice_and_in_parts_are_stored_once(send: Send) -> None:
    one, two, three = (_wire(number) for number in (1, 2, 3))
    status, first = send(one, two, highest_number=3)
    assert (status, first["stored"], first["already"]) == (200, [one["id"], two["id"]], [])
    assert (first["gaps"], first["confirmed_to"]) == ([[3, 3]], 2)
    _, second = send(two, three, one, three)
    assert (second["stored"], second["already"]) == ([three["id"]], [two["id"], one["id"], three["id"]])
    assert (second["gaps"], second["confirmed_to"], second["format"]) == ([], 3, 1)
    assert list(Note.objects.order_by("position").values_list("device_number", flat=True)) == [1, 2, 3]
    assert verify_chain(ON).ok


def test_empty_batch_tells_what_never_came(send: Send) -> None:
    send(_wire(2), _wire(5))
    status, answer = send(highest_number=9)
    assert (status, answer["gaps"], answer["confirmed_to"]) == (200, [[1, 1], [3, 4], [6, 9]], 0)


def test_what_has_happened_is_never_refused(send: Send) -> None:
    odd = [
        _wire(1, tag="ZZZZZZZZ"),
        _wire(2, kind="danced", detail="slowly"),
        _wire(3, taken_local="2099-01-01T00:00:00"),
        _wire(4, taken_local="1999-01-01T00:00:00"),
        _wire(5, value="many", kind="pollinated"),
        _wire(6, replaces="0195c1a0-0000-7000-8000-00000000dead"),
        _wire(7, practice=True, value="œ “\\u0000” \u2028 🌽"),
    ]
    _, answer = send(*odd)
    assert answer["stored"] == [wire["id"] for wire in odd]
    assert answer["aside"] == []


@pytest.mark.parametrize(
    ("damage", "code"),
    [
        (lambda wire: {**wire, "value": "2031-07-15"}, "check_sum_wrong"),
        (lambda wire: {**wire, "check_sum": "00000000"}, "check_sum_wrong"),
        (lambda wire: {**wire, "format": 2}, "format_unknown"),
        (lambda wire: {name: wire[name] for name in wire if name != "tag"}, "field_missing"),
        (lambda wire: {**wire, "number": "1"}, "field_wrong"),
        (lambda wire: {**wire, "number": True}, "field_wrong"),
        (lambda wire: {**wire, "value": "x" * 2001}, "field_wrong"),
        (lambda wire: {**wire, "id": "x"}, "field_wrong"),
        (lambda wire: {**wire, "offset_min": 10**9}, "field_wrong"),
        (lambda wire: {**wire, "value": "\ud83c"}, "field_wrong"),
        (lambda wire: _wire(1, value="a\0b"), "field_wrong"),
        (lambda wire: _wire(1, plant=2**40), "field_wrong"),
        (lambda wire: _wire(1, source="telegraph"), "field_wrong"),
        (lambda wire: 7, "not_a_note"),
        (lambda wire: None, "not_a_note"),
        (lambda wire: [wire], "not_a_note"),
    ],
)
def test_note_that_cannot_be_read_is_laid_aside_whole_and_blocks_nobody(send: Send, damage, code: str) -> None:
    bad = damage(_wire(1))
    status, answer = send(bad, _wire(2))
    assert (status, answer["stored"]) == (200, [_wire(2)["id"]])
    assert [one["code"] for one in answer["aside"]] == [code]
    assert json.loads(NoteAside.objects.get().raw) == bad
    _, again = send(bad)
    assert [one["code"] for one in again["aside"]] == [code]
    assert NoteAside.objects.count() == 1


def test_same_id_with_another_body_is_laid_aside_and_the_first_stays(send: Send) -> None:
    first = _wire(1)
    other = _wire(1, value="2031-07-16")
    assert first["id"] == other["id"]
    send(first)
    _, answer = send(other, _wire(2))
    assert [(one["id"], one["code"]) for one in answer["aside"]] == [(first["id"], "id_clash")]
    assert answer["stored"] == [_wire(2)["id"]]
    assert Note.objects.get(uuid=first["id"]).value == "2031-07-14"
    # Within one batch too.
    _, within = send(_wire(3), _wire(3, value="2031-07-17"))
    assert (within["stored"], [one["code"] for one in within["aside"]]) == ([_wire(3)["id"]], ["id_clash"])


def test_note_laid_aside_is_no_gap(send: Send) -> None:
    _, answer = send(_wire(1), {**_wire(2), "check_sum": "00000000"}, _wire(3))
    assert (answer["gaps"], answer["confirmed_to"]) == ([], 3)


def test_door_without_a_good_token_is_shut(send: Send, client: Client) -> None:
    for headers in ({}, {"Authorization": "Bearer x"}, {"Authorization": "Basic eDp5"}):
        status, answer = send(_wire(1), headers=headers)
        assert status == 401
        assert _is_no(answer, "token_unknown")
        assert client.get(f"{DOOR}walk", headers=headers).status_code == 401
    assert not Note.objects.exists()


def test_door_after_the_phone_was_revoked_is_shut(send: Send, now_on: Occasion) -> None:
    send(_wire(1))
    revoke_device(now_on, 2)
    status, answer = send(_wire(2))
    assert status == 403
    assert _is_no(answer, "device_revoked")
    assert Note.objects.count() == 1


def test_token_of_one_phone_does_not_open_for_another(send: Send) -> None:
    status, answer = send(_wire(1), device="0195c1a0-0000-7000-8000-0000000000d4")
    assert status == 403
    assert _is_no(answer, "device_other")


def test_code_used_once_is_refused_the_second_time(client: Client, now_on: Occasion) -> None:
    make_station()
    body = {"code": open_enrolment(now_on).code, "device": DEVICE}
    assert client.post(f"{DOOR}enrol", body, content_type="application/json").status_code == 200
    answer = client.post(f"{DOOR}enrol", body, content_type="application/json")
    assert answer.status_code == 403
    assert _is_no(answer.json(), "code_unknown")


@pytest.mark.parametrize("path", ["enrol", "notes"])
@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'"x"', b"null", b'{"notes": NaN}', b"\xff\xfe", b"[" * 100_000])
def test_body_that_is_no_json_object_is_refused_in_the_one_shape(
    client: Client, token: str, path: str, body: bytes
) -> None:
    headers = {"Authorization": f"Bearer {token}"}
    answer = client.post(f"{DOOR}{path}", body, content_type="application/json", headers=headers)
    assert answer.status_code == 400
    assert _is_no(answer.json(), "body_unreadable")


@pytest.mark.parametrize(
    "wrong", [{"notes": "x"}, {"notes": None}, {"highest_number": -1}, {"sent_offset_min": "x"}, {"device": 7}]
)
def test_batch_with_a_wrong_field_is_refused_naming_it(send: Send, wrong: dict[str, object]) -> None:
    (field,) = wrong
    status, answer = send(**wrong)
    assert status == 400
    assert _is_no(answer, "field_wrong")
    assert answer["facts"] == {"field": field}


@pytest.mark.parametrize(("clock", "offset"), [("yesterday", 0), ("2031-07-14T10:00:00", 10**15), ("", -1)])
def test_clock_that_cannot_be_read_does_not_hold_the_notes_up(send: Send, clock: str, offset: int) -> None:
    status, answer = send(_wire(1), sent_local=clock, sent_offset_min=offset)
    assert (status, len(answer["stored"])) == (200, 1)


def test_batch_that_is_too_large_is_refused_whole(send: Send) -> None:
    status, answer = send(*[None] * 501)
    assert status == 413
    assert _is_no(answer, "batch_too_large")
    status, answer = send("x" * (4 * 1024 * 1024))
    assert status == 413
    assert _is_no(answer, "body_too_large")
    assert not NoteAside.objects.exists()


def test_books_that_do_not_answer_are_told_as_a_fault_that_may_pass(send: Send, monkeypatch) -> None:
    def fail(*args: object, **more: object) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr("firstsilk.faces.pocket.api.receive_notes", fail)
    status, answer = send(_wire(1))
    assert status == 503
    assert (answer["no"], answer["code"], answer["may_retry"]) == ("error", "station_fault", True)


def test_phone_that_waits_too_long_in_line_is_told_to_come_again(send: Send, monkeypatch) -> None:
    from firstsilk.faces.pocket import api

    monkeypatch.setattr(api, "LONGEST_TURN_S", 0.01)
    with api._IN_TURN:
        status, answer = send(_wire(1))
    assert (status, answer["code"], answer["may_retry"]) == (503, "station_fault", True)
    assert Note.objects.count() == 0
    assert send(_wire(1))[0] == 200


def test_phone_is_told_which_days_are_closed_and_the_highest_of_its_numbers_here(send: Send, now_on: Occasion) -> None:
    from dataclasses import replace
    from datetime import timedelta

    from firstsilk.work.flowering.day_close import close_day

    assert send(_wire(4), app="pocket 0.2.0", waiting=3, highest_number=9)[1]["closed_days"] == []
    today = now_on.now.date()
    for back in (2, 1, 40):
        close_day(replace(now_on, today=today - timedelta(days=back)), "phones are in")
    _, answer = send()
    assert answer["closed_days"] == [(today - timedelta(days=back)).isoformat() for back in (2, 1)]
    assert answer["highest_number"] == 4


def test_batch_of_a_later_format_is_refused(send: Send) -> None:
    status, answer = send(_wire(1), format=2)
    assert status == 422
    assert _is_no(answer, "format_unknown")


def test_field_list_carries_no_pedigree_and_no_result(client: Client, token: str) -> None:
    from firstsilk.records.models import Line, Row, Season, Site, Station, Target
    from firstsilk.work.shelf import take_tags

    station = Station.objects.get()
    site = Site.objects.create(station=station, code="home", name="Home", latitude=54.0, longitude=10.0, is_home=True)
    season = Season.objects.create(station=station, name="2031", year=2031, site=site)
    line = Line.objects.create(station=station, name="EH-1", pedigree="SECRET/CROSS", remark="SECRET")
    target = Target.objects.create(station=station, season=season, number=1, kind="self", female=line, ears_wanted=2)
    (tag,) = take_tags(station, "row", 1)
    place = {"number": 1, "field_row": 1, "field_col": 1}
    Row.objects.create(station=station, season=season, tag=tag, line=line, target=target, purpose="self", **place)
    answer = client.get(f"{DOOR}walk", headers={"Authorization": f"Bearer {token}"})
    assert "SECRET" not in answer.content.decode()
    (row,) = answer.json()["rows"]
    packed = client.get(f"{DOOR}walk", headers={"Authorization": f"Bearer {token}", "Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert json.loads(gzip.decompress(packed.content)) == answer.json()
    assert (row["tag"], row["number"], row["line"], row["make"], row["next"]) == (
        tag,
        1,
        "EH-1",
        "self",
        "shoot_bagged",
    )


def test_description_of_the_door_is_for_people_who_are_signed_in(client: Client, django_user_model) -> None:
    answer = client.get(f"{DOOR}openapi.json")
    assert answer.status_code == 401
    assert _is_no(answer.json(), "sign_in_first")
    client.force_login(django_user_model.objects.create_user("ann", password="a long enough word"))
    paths = client.get(f"{DOOR}openapi.json").json()["paths"]
    assert set(paths) == {f"{DOOR}enrol", f"{DOOR}walk", f"{DOOR}notes"}


def test_page_and_its_files_open_without_a_sign_in_and_set_no_cookie(client: Client) -> None:
    worker = client.get("/pocket/sw.js")
    names = json.loads(worker.content.decode().split("const NAMES = ")[1].split(";")[0])
    assert names[0] == "/pocket/"
    assert len(names) > 10
    for name in names:
        answer = client.get(name)
        assert answer.status_code == 200, name
        assert not answer.cookies, name
    page = client.get("/pocket/").content.decode()
    assert "<script>" not in page
    assert "http" not in page
    assert client.get("/pocket/own/nothing.js").status_code == 404
