"""Does the page Success and set show what the notes tell, count a wish, and say no in a sentence?"""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.work.seed.success import read_success
from tests.factories import make_line, make_row, make_season, make_station, occasion, sign_in, take_note

pytestmark = pytest.mark.django_db
ON = occasion(date(2031, 10, 1))


@pytest.fixture
def station():
    made = make_station(held=ON.today)
    season = make_season(made)
    for number, name in enumerate(("E1", "E2", "F9"), 1):
        _grow(season, number, make_line(made, name))
    return made


def _grow(season, number, line):
    row = make_row(season, number, line)
    take_note(ON, row, "pollinated", 8, date(2031, 7, 25), detail="self")
    take_note(ON, row, "ears_picked", 5 + number % 3)
    take_note(ON, row, "shelled", 600)


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_every_role_may_read_it(client, station, role):
    sign_in(client, station, role)
    assert client.get("/seed/success/").status_code == 200


def test_lines_stand_with_their_counts_and_without_a_wish_nothing_is_needed(client, station):
    sign_in(client, station, "breeder")
    page = client.get("/seed/success/?text=e").content.decode()
    assert "E1" in page
    assert "E2" in page
    assert "F9" not in page
    assert "Pollinations needed" not in page
    assert "No line with pollinations" in client.get("/seed/success/?text=zzz").content.decode()


def test_a_wish_is_counted_as_the_work_counts_it(client, station):
    sign_in(client, station, "breeder")
    page = client.get("/seed/success/?kernels=1,000&ears=2&assurance=0.9").content.decode()
    for one in read_success(ON, "", 2, 1000, 0.9).lines:
        assert f"<strong>{one.pollinations}</strong>" in page
    assert '<option value="0.9" selected>' in page


@pytest.mark.parametrize("wish", ["kernels=many", "ears=-3", "ears=2.5", "kernels=999999999", "kernels=99999999"])
def test_a_wish_that_cannot_be_is_refused_in_a_sentence(client, station, wish):
    sign_in(client, station, "breeder")
    answer = client.get(f"/seed/success/?{wish}")
    assert answer.status_code == 422
    assert "wished" in answer.content.decode()


def test_questions_to_the_books_do_not_grow_with_lines(client, station):
    sign_in(client, station, "breeder")
    counted = []
    for more in (1, 12):
        for number in range(len(counted), more):
            _grow(make_season(station, f"{2000 + number}"), 1, make_line(station, f"G{number}"))
        client.get("/seed/success/?ears=3")  # seasons that are over are counted once
        with CaptureQueriesContext(connection) as caught:
            assert client.get("/seed/success/?ears=3").status_code == 200
        counted.append(len(caught))
    assert counted[0] == counted[1]
