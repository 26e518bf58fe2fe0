"""Do the lineage pages and commands find lines, tell the history of one, compare kin, and keep a bad line out?"""

from __future__ import annotations

import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.command.main import run
from firstsilk.records.models import Line, Station
from firstsilk.work.accounts import add_account

PASSWORD = "long enough for a test"  # one for all accounts of these tests
PAGES = ("/lineage/", "/lineage/kinship/", "/lineage/line/E1/")
NEW = {"name": "E4", "kind": "line", "stands_for": "family", "method": "cross", "mother": "E1", "father": "E2"}


@pytest.fixture(autouse=True)
def _static_folder(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path


@pytest.fixture
def sign_in(on, client):
    def as_role(role):
        add_account(on, role, PASSWORD, role)
        assert client.login(username=role, password=PASSWORD)
        return client

    return as_role


@pytest.mark.parametrize("page", [*PAGES, "/lineage/new/"])
def test_a_page_without_sign_in_leads_to_the_sign_in(on, client, page):
    assert client.get(page)["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_everyone_signed_in_may_read_and_the_desk_alone_may_add(on, sign_in, role):
    client = sign_in(role)
    assert [client.get(page).status_code for page in PAGES] == [200, 200, 200]
    is_desk = role in ("breeder", "technician")
    assert client.get("/lineage/new/").status_code == (200 if is_desk else 403)
    assert ("Add a line" in client.get("/lineage/").content.decode()) == is_desk
    assert client.post("/lineage/new/", NEW).status_code == (302 if is_desk else 403)
    assert Line.objects.filter(name="E4").exists() == is_desk


def test_the_list_when_searched_shows_those_meant_and_what_it_rests_on(on, sign_in):
    text = sign_in("cooperator").get("/lineage/?text=e3").content.decode()
    assert "2 found" in text
    assert 'href="/lineage/line/E3-1-4/"' in text
    assert 'href="/lineage/line/E1/"' not in text
    assert "Rests on 2 lines" in text


def test_the_list_when_asked_for_by_htmx_is_the_list_alone(on, sign_in):
    text = sign_in("cooperator").get("/lineage/?kind=tester", HTTP_HX_REQUEST="true").content.decode()
    assert "<h1>" not in text
    assert 'href="/lineage/line/E2/"' in text


@pytest.mark.parametrize("page", ["0", "999999", "abc", "", "²"])
def test_a_page_number_that_is_none_when_asked_for_is_no_fault(on, sign_in, page):
    assert sign_in("cooperator").get("/lineage/", {"page": page}).status_code == 200


def test_the_list_asks_the_books_as_often_for_ten_lines_as_for_one(on, sign_in):
    client = sign_in("cooperator")
    station = Station.objects.get()
    Line.objects.bulk_create(Line(station=station, name=f"X{number:03}", method="founder") for number in range(10))
    client.get("/lineage/?text=X001")
    with CaptureQueriesContext(connection) as one:
        client.get("/lineage/?text=X001")
    with CaptureQueriesContext(connection) as ten:
        client.get("/lineage/?text=X0")
    assert len(ten) == len(one)


def test_a_lines_page_shows_its_tree_kin_seed_rows_trials_and_history(on, sign_in):
    text = sign_in("cooperator").get(f"/lineage/line/E3-1-4/?day={on.today}").content.decode()
    assert '<svg class="pedigree"' in text
    assert "Pedigree of E3-1-4: parents to the right, female above male" in text
    assert "Pedigree of E3-1-4: parents below, further in, female before male" in text
    assert text.count("The same as a list") == 1
    assert text.index("♀ E1<") < text.index("♂ E2<")
    assert "<dd>0.750</dd>" in text
    assert 'href="/lineage/kinship/?line=E3-1-4&amp;line=E1&amp;line=E2"' in text
    assert "E3-30" in text
    assert "Trial FIRST-30 at Tarn End: 2 plots." in text
    assert "No analysis has an estimate of it yet." in text
    assert "Rests on 1 lot, 1 nursery row, 2 trial plots" in text


def test_a_line_whose_name_holds_a_slash_has_its_page(on, sign_in):
    client = sign_in("cooperator")
    assert 'href="/lineage/line/E1/E2/"' in client.get("/lineage/").content.decode()
    assert "<h1>E1/E2" in client.get("/lineage/line/E1/E2/").content.decode()


def test_a_lines_name_when_it_holds_signs_of_html_does_no_harm(on, sign_in):
    name = "<b>&E5"
    mother = Line.objects.get(name="E1")
    Line.objects.create(station=mother.station, name=name, method="self", mother=mother, selfings=1)
    text = sign_in("cooperator").get("/lineage/line/%3Cb%3E&E5/").content.decode()
    assert "<b>" not in text
    assert "&lt;b&gt;&amp;E5" in text


def test_a_line_that_is_not_there_is_a_clear_no(on, sign_in):
    answer = sign_in("cooperator").get("/lineage/line/Nobody/")
    assert answer.status_code == 422
    assert "There is no line &#x27;Nobody&#x27; in the books." in answer.content.decode()


def test_kinship_of_lines_ticked_or_written_is_a_table_with_numbers(on, sign_in):
    client = sign_in("cooperator")
    for question in ("?line=E1&line=E3-1-4", "?line=E1,%20E3-1-4", "?line=E1%0AE3-1-4"):
        text = client.get(f"/lineage/kinship/{question}").content.decode()
        assert '<td class="n k8 own">1.00</td><td class="n k4">0.50</td>' in text
        assert "taken as unrelated" in text
        assert ">E1\nE3-1-4</textarea>" in text


@pytest.mark.parametrize(("question", "told"), [("?line=E1", "needs 2 to 40"), ("?line=E1&line=Nobody", "Nobody")])
def test_kinship_that_cannot_be_asked_is_a_clear_no_with_the_names_kept(on, sign_in, question, told):
    answer = sign_in("cooperator").get(f"/lineage/kinship/{question}")
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert "E1" in answer.content.decode()


def test_a_new_line_when_it_cannot_be_keeps_what_was_typed_and_says_every_fault(on, sign_in):
    answer = sign_in("technician").post("/lineage/new/", {**NEW, "mother": "E9", "stands_for": "", "remark": "tall"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "this parent is not in the books" in text
    assert "one plant, a family or a bulk" in text
    assert 'name="remark" value="tall"' in text
    assert Line.objects.count() == 5


@pytest.mark.parametrize("change", [{"selfings": "many"}, {"units_to_silk": "-3"}])
def test_a_new_line_when_a_number_is_none_is_refused(on, sign_in, change):
    assert sign_in("technician").post("/lineage/new/", {**NEW, **change}).status_code == 422
    assert Line.objects.count() == 5


def test_a_new_line_when_added_opens_on_its_own_page(on, sign_in):
    answer = sign_in("breeder").post("/lineage/new/", {**NEW, "is_tester": "on"}, follow=True)
    text = answer.content.decode()
    assert "E4 is in the books: cross." in text
    assert "E1/E2" in text
    assert Line.objects.get(name="E4").is_tester


def test_the_commands_list_lines_and_tell_one(on, capsys):
    assert run(["lines", "--kind", "line", "--today", "2031-10-01"]) == 0
    listed = capsys.readouterr()
    assert [row.split(",")[0] for row in listed.out.splitlines()] == ["line", "E1", "E2", "E3-1", "E3-1-4"]
    assert "Rests on 4 lines" in listed.err
    assert run(["line", "E3-1-4", "--today", "2031-10-01"]) == 0
    said = capsys.readouterr().out
    assert "Inbreeding 0.75." in said
    assert "      E1/E2  cross\n        E1  inbred founder\n        E2  inbred founder" in said
    assert run(["line", "E3-1-4", "--today", "2031-10-01", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["tree"]["female"]["female"]["male"]["name"] == "E2"
    assert run(["line", "Nobody", "--today", "2031-10-01"]) == 1
    assert "There is no line 'Nobody'" in capsys.readouterr().err


def test_a_lines_estimates_when_there_are_some_are_written_in_their_traits_units(on, sign_in):
    from firstsilk.records.models import Estimate, Result

    station, line = Station.objects.get(), Line.objects.get(name="E3-1-4")
    answer = {"versus_checks": {f"blup {line.pk}": [0.0312, 0.01, 0.97]}}
    made = {"made_on": on.today, "made_at": on.now, "version": "1", "inputs_hash": "0", "settings": {"years": [2030]}}
    result = Result.objects.create(station=station, kind="trial_analysis", answer=answer, **made)
    told = {"station": station, "result": result, "line": line, "kind": "blup", "n_plots": 8, "n_sites": 2}
    Estimate.objects.create(trait="erect_frac", value=0.9312, se=0.021, **told)
    text = sign_in("cooperator").get(f"/lineage/line/E3-1-4/?day={on.today}").content.decode()
    assert '<td>plants erect, %</td><td>BLUP</td><td class="n">93.1 ± 2.1</td><td class="n">+3.1</td>' in text
    assert '<td class="n">97 %</td>' in text
