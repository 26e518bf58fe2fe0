"""Can a technician bring tables in from a browser, whole or not at all?"""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from firstsilk.records.models import Line, Station
from firstsilk.work.accounts import add_account

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough secret"


@pytest.fixture
def desk(on) -> Client:
    add_account(on, "technician", PASSWORD, "technician")
    client = Client()
    client.login(username="technician", password=PASSWORD)
    return client


def send(desk: Client, do: str, **files: str):
    uploads = [SimpleUploadedFile(f"{name}.csv", text.encode()) for name, text in files.items()]
    return desk.post(reverse("bring"), {"do": do, "tables": uploads})


NEW_LINE = "line,kind,stands_for,method\nEK900,line,family,founder_inbred\n"


def test_table_sent_to_be_checked_is_not_stored(desk) -> None:
    answer = send(desk, "check", lines=NEW_LINE)
    assert answer.status_code == 200
    assert "Nothing was stored" in answer.content.decode()
    assert not Line.objects.filter(name="EK900").exists()


def test_table_sent_to_be_brought_is_in_the_books_once(desk) -> None:
    assert send(desk, "bring", lines=NEW_LINE).status_code == 200
    assert send(desk, "bring", lines=NEW_LINE).status_code == 200
    assert Line.objects.filter(name="EK900").count() == 1


def test_bad_cell_stops_all_files_and_is_shown_with_its_place(desk) -> None:
    before = Line.objects.count()
    bad = "lot,line,kind,origin,year,kernels\nL1,EK900,bulk,received,2030,many\n"
    answer = send(desk, "bring", lines=NEW_LINE, lots=bad)
    page = answer.content.decode()
    assert answer.status_code == 422
    for part in ("lots.csv", "kernels", "many", "stops"):
        assert part in page
    assert Line.objects.count() == before


def test_tables_of_another_station_are_refused(desk) -> None:
    other = "station,name,latitude,time_zone,scale\nelsewhere,Elsewhere,49,UTC,chu\n"
    sites = "site,name,latitude,longitude,elevation_m,home\nfar,Far,49,-40,10,1\n"
    assert send(desk, "bring", station=other, sites=sites).status_code == 422
    assert not Station.objects.filter(code="elsewhere").exists()


def test_nothing_sent_is_a_clear_no(desk) -> None:
    answer = desk.post(reverse("bring"), {"do": "bring"})
    assert answer.status_code == 422
    assert "No file was sent" in answer.content.decode()


def test_blank_table_comes_back_as_a_file_and_an_unknown_one_does_not(desk) -> None:
    answer = desk.get(reverse("blank-table", args=["lines"]))
    assert answer["Content-Disposition"] == 'attachment; filename="lines.csv"'
    assert answer.content.decode().startswith("line,kind,stands_for,method")
    assert desk.get(reverse("blank-table", args=["nothing"])).status_code == 404
