"""Does the page read a pedigree, and do page and command add a line with the plant that it comes from?"""

from __future__ import annotations

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import Line
from firstsilk.work.accounts import add_account

PASSWORD = "long enough for a test"  # one for all accounts of these tests
NEW = {"name": "E3-1-5", "kind": "line", "stands_for": "family", "method": "self", "mother": "E3-1", "selfings": "1"}


@pytest.fixture
def signed_in(on, client, settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    add_account(on, "breeder", PASSWORD, "breeder")
    assert client.login(username="breeder", password=PASSWORD)
    return client


def tell(name):
    line = Line.objects.get(name=name)
    return line.derived_from.name if line.derived_from else "", line.derived_plant, line.derived_generation


def test_page_when_a_pedigree_is_typed_then_it_is_told(signed_in):
    text = signed_in.get("/lineage/written/?text=(A/B)-3-1-B-B").content.decode()
    assert "<code>(A/B)-3-1-B*2</code> stands for a bulk from plant 1 of (A/B)-3 (F2)" in text
    assert "0.9375" in text
    assert "A, B are taken as inbred and unrelated" in text
    assert "Read it" in signed_in.get("/lineage/written/").content.decode()


def test_page_when_it_cannot_be_read_then_the_character_stands_above_what_was_typed(signed_in):
    answer = signed_in.get("/lineage/written/?text=(A/B)-03")
    assert answer.status_code == 422
    assert "character 7" in answer.content.decode()
    assert 'value="(A/B)-03"' in answer.content.decode()


def test_line_when_added_on_the_page_then_the_plant_is_read_from_its_name_and_told(signed_in):
    text = signed_in.post("/lineage/new/", NEW | {"generation": "S2"}, follow=True).content.decode()
    assert "by its name it is a family from plant 5 of E3-1 (S1), and is written so" in text
    assert 'a family from plant 5 of <a href="/lineage/line/E3-1/">E3-1</a> (S1)' in text
    assert tell("E3-1-5") == ("E3-1", "5", "S1")


def test_line_when_the_plant_is_told_then_the_name_does_not_count(signed_in):
    told = {"derived_from": "E3-1", "derived_plant": "17", "derived_generation": "S1"}
    signed_in.post("/lineage/new/", NEW | told | {"generation": "S2"})
    assert tell("E3-1-5") == ("E3-1", "17", "S1")


def test_line_when_it_comes_from_a_line_that_is_not_there_then_refused(signed_in):
    answer = signed_in.post("/lineage/new/", NEW | {"derived_from": "E9"})
    assert answer.status_code == 422
    assert not Line.objects.filter(name="E3-1-5").exists()


def test_command_when_a_line_is_added_then_it_tells_from_which_plant(on, capsys):
    asked = ["--stands-for", "family", "--method", "self", "--mother", "E3-1", "--generation", "S2"]
    assert run(["add-line", "E3-1-5", *asked]) == 0
    told = capsys.readouterr()
    assert told.out == "E3-1-5 is in the books: selfed.\n"
    assert "a family from plant 5 of E3-1 (S1)" in told.err
    assert run(["line", "E3-1-5"]) == 0
    assert "stands for a family from plant 5 of E3-1 (S1)." in capsys.readouterr().out


def test_command_when_the_line_is_there_then_refused_with_exit_one(on, capsys):
    assert run(["add-line", "E3-1", "--stands-for", "family"]) == 1
    assert "is in the books already" in capsys.readouterr().err
