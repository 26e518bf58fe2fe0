"""A phone's file comes in once, whole, by command and by page; what is no note in it is laid aside."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from firstsilk.records.models import Device, Note, NoteAside
from firstsilk.work.flowering.chain import verify_chain
from tests.faces.calling import call
from tests.factories import make_station as make_other
from tests.factories import occasion, sign_in
from tests.work.station_books import ON, PHONE, make_station, make_wire

pytestmark = pytest.mark.django_db

DAY = ("--today", "2031-07-14")


def as_file(*wires: object) -> str:
    return "".join(json.dumps(wire, ensure_ascii=False) + "\n" for wire in wires)


def test_file_of_a_phone_is_brought_once_by_command(tmp_path: Path, capsys) -> None:
    make_station()
    file = tmp_path / "notes-2031-07-14.ndjson"
    file.write_text(as_file(make_wire(1), make_wire(2), {**make_wire(3), "value": "9"}) + "half a li\n")
    code, _, told = call(capsys, "bring-notes", file, *DAY)
    assert (code, told) == (
        0,
        "2 notes are new in the books, 0 were there already, 2 laid aside for a person to settle.\n",
    )
    code, _, told = call(capsys, "bring-notes", file, *DAY)
    assert "0 notes are new in the books, 2 were there already" in told
    assert (Note.objects.count(), NoteAside.objects.count(), verify_chain(ON).ok) == (2, 2, True)
    # The phone itself was not met.
    assert Device.objects.get(uuid=PHONE).last_seen_at is None


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no note in this file"),
        (b"\xff\xfe\x00", "no text"),
        (b"date,tmin\n2031-07-01,4\n", "line 1: this is no note"),
    ],
)
def test_file_that_holds_no_notes_is_told_in_one_sentence(tmp_path: Path, capsys, content: bytes, says: str) -> None:
    make_station()
    file = tmp_path / "notes.ndjson"
    file.write_bytes(content)
    code, _, told = call(capsys, "bring-notes", file, *DAY)
    assert code == 1
    assert says in told
    assert told.count("\n") == 1
    assert NoteAside.objects.count() == 0


def test_file_that_is_not_there_is_told(tmp_path: Path, capsys) -> None:
    code, _, told = call(capsys, "bring-notes", tmp_path / "none.ndjson", *DAY)
    assert code == 1
    assert "No such file" in told


def test_file_of_a_phone_is_brought_on_the_page_by_the_crew_alone(client) -> None:
    station = make_other(held=date(2031, 7, 14))
    sent = {"notes": SimpleUploadedFile("notes.ndjson", as_file(make_wire(1)).encode())}
    sign_in(client, station, "cooperator")
    assert client.post("/flowering/phones/", sent).status_code == 403
    sign_in(client, station, "crew_leader")
    sent = {"notes": SimpleUploadedFile("notes.ndjson", as_file(make_wire(1)).encode())}
    assert "1 note is new" in client.post("/flowering/phones/", sent, follow=True).content.decode()
    assert verify_chain(occasion(date(2031, 7, 14))).n == 1
