"""Phones join by a code, and may be shut out."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Device
from firstsilk.work.flowering.devices import enrol_device, find_device, list_devices, open_enrolment, revoke_device
from firstsilk.work.flowering.receive import receive_notes
from tests.work.station_books import NOW, ON, PHONE, make_station, make_wire

pytestmark = pytest.mark.django_db

OTHER = "0195c1a0-0000-7000-8000-0000000000b2"


@pytest.fixture(autouse=True)
def _books() -> None:
    make_station()


def test_code_as_typed_by_a_hasty_thumb_enrols_once() -> None:
    code = open_enrolment(ON, "south")
    enrolled = enrol_device(f" {code.code.lower().replace('1', 'l').replace('0', 'o')} ", OTHER, NOW)
    assert (enrolled.number, enrolled.station, enrolled.highest_number) == (2, "eskerholm", 0)
    found = find_device(enrolled.token)
    assert found is not None
    assert (found.uuid, found.label, found.revoked) == (OTHER, "south", False)
    with pytest.raises(InputRefused) as no:
        enrol_device(code.code, PHONE, NOW)
    assert no.value.refusal is not None
    assert no.value.refusal.code == "code_unknown"


def test_code_after_ten_minutes_is_refused() -> None:
    code = open_enrolment(ON)
    enrol_device(code.code, OTHER, NOW + timedelta(minutes=10))
    late = open_enrolment(ON)
    with pytest.raises(InputRefused, match="ten minutes"):
        enrol_device(late.code, OTHER, NOW + timedelta(minutes=10, seconds=1))


def test_books_hold_neither_code_nor_token() -> None:
    code = open_enrolment(ON)
    place = Device.objects.get(number=code.number)
    plain = code.code.replace("-", "")
    assert place.enrol_code_hash == sha256(plain.encode()).hexdigest()
    enrolled = enrol_device(code.code, OTHER, NOW)
    place.refresh_from_db()
    assert place.token_hash == sha256(enrolled.token.encode()).hexdigest()
    assert place.enrol_code_hash == ""
    assert len(enrolled.token) == 64
    for device in Device.objects.values():
        assert enrolled.token not in map(str, device.values())
        assert plain not in map(str, device.values())


def test_phone_that_joins_again_keeps_its_number_and_its_old_token_dies() -> None:
    first = enrol_device(open_enrolment(ON).code, OTHER, NOW)
    receive_notes(ON, OTHER, [make_wire(1, device=OTHER), make_wire(2, device=OTHER)])
    again = enrol_device(open_enrolment(ON).code, OTHER, NOW)
    assert (again.number, again.highest_number) == (first.number, 2)
    assert find_device(first.token) is None
    # The place that it did not need is given to the next phone: numbers stay dense.
    assert open_enrolment(replace(ON, now=NOW + timedelta(minutes=1))).number == 3


def test_revoked_phone_is_known_as_revoked_and_may_join_again() -> None:
    enrolled = enrol_device(open_enrolment(ON).code, OTHER, NOW)
    assert revoke_device(ON, enrolled.number).state == "revoked"
    found = find_device(enrolled.token)
    assert found is not None
    assert found.revoked
    again = find_device(enrol_device(open_enrolment(ON).code, OTHER, NOW).token)
    assert again is not None
    assert not again.revoked


def test_list_of_devices_says_what_came_and_what_did_not() -> None:
    receive_notes(ON, PHONE, [make_wire(2), make_wire(5)], "2031-07-14T11:33:15.25", 120, highest_number=7)
    (phone,) = list_devices(ON)
    # Notes 6 and 7 are told by the phone alone: that they never came shows before anything later comes.
    assert (phone.n_notes, phone.highest_number, phone.gaps) == (2, 5, ((1, 1), (3, 4), (6, 7)))
    assert (phone.highest_told, phone.n_missing, phone.clock_warns) == (7, 5, True)
    assert phone.last_seen_at == NOW
    # 11:33:15.25 at +120 min is 09:33:15.25 UTC, three minutes ahead of the station's 09:30:15.25.
    assert phone.clock_ahead_s == pytest.approx(180.0)


def test_phone_says_of_itself_its_program_and_what_it_still_holds_and_never_takes_a_number_back() -> None:
    receive_notes(ON, PHONE, [make_wire(1)], highest_number=9, app="pocket 0.2.0", waiting=8)
    (phone,) = list_devices(ON)
    assert (phone.app, phone.waiting, phone.highest_told) == ("pocket 0.2.0", 8, 9)
    receive_notes(ON, PHONE, [make_wire(2)], highest_number=2, waiting=0)
    (phone,) = list_devices(ON)
    assert (phone.app, phone.waiting, phone.highest_told) == ("pocket 0.2.0", 0, 9)


def test_list_of_devices_asks_the_books_as_often_for_two_phones_as_for_twelve() -> None:
    asked = []
    for n in (1, 11):
        for _ in range(n):
            enrol_device(open_enrolment(ON).code, str(uuid4()), NOW)
        with CaptureQueriesContext(connection) as found:
            list_devices(ON)
        asked.append(len(found))
    assert asked[0] == asked[1]


@pytest.mark.parametrize("token", ["", "x", "\ud800"])
def test_token_that_nobody_was_given_finds_nobody(token: str) -> None:
    assert find_device(token) is None
