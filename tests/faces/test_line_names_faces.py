"""Do pages and commands write other names down and merge two records, for those who may, and say why not?"""

from __future__ import annotations

import json

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import LineMerge, LineName
from firstsilk.work.accounts import add_account

PASSWORD = "long enough for a test"  # one for all accounts of these tests
PAIR = {"kept": "E1", "gone": "E2", "reason": "one ear, two books"}
DAY = ("--today", "2031-10-01")


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


def test_another_name_when_written_at_the_desk_finds_the_line(on, sign_in):
    client = sign_in("technician")
    answer = client.post("/lineage/names/", {"line": "E1", "name": "Old North", "remark": "ours"}, follow=True)
    text = answer.content.decode()
    assert "Old North is another name of E1." in text
    assert "<h1>E1" in text
    assert '<li>Old North <span class="quiet">ours</span>' in text
    assert "<h1>E1" in client.get("/lineage/line/Old North/").content.decode()
    assert "Old North" in client.get("/lineage/names/").content.decode()
    assert 'href="/lineage/line/E1/"' in client.get("/lineage/?text=old").content.decode()


def test_another_name_when_it_cannot_be_keeps_what_was_typed(on, sign_in):
    answer = sign_in("breeder").post("/lineage/names/", {"line": "E2", "name": "E1", "remark": "tall"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "the name of a line in the books (E1)" in text
    assert 'name="remark" value="tall"' in text
    assert not LineName.objects.exists()


@pytest.mark.parametrize("role", ["technician", "crew_leader", "cooperator"])
def test_who_is_no_breeder_may_not_merge_and_sees_no_link(on, sign_in, role):
    client = sign_in(role)
    assert client.get("/lineage/merge/").status_code == 403
    assert client.post("/lineage/merge/", PAIR).status_code == 403
    assert "Merge another record" not in client.get("/lineage/line/E1/").content.decode()
    assert not LineMerge.objects.exists()


def test_two_records_stand_side_by_side_before_they_are_merged_and_a_merge_can_be_undone(on, sign_in):
    client = sign_in("breeder")
    seen = client.get("/lineage/merge/?kept=E1&gone=E2").content.decode()
    assert "They contradict each other in group (North, South). A reason is needed." in seen
    assert "Merge E2 into E1</button>" in seen
    assert not LineMerge.objects.exists()
    refused = client.post("/lineage/merge/", {**PAIR, "reason": ""})
    assert refused.status_code == 422
    assert "contradict each other in group (North, South)" in refused.content.decode()
    merged = client.post("/lineage/merge/", PAIR, follow=True).content.decode()
    assert "E2 is merged into E1." in merged
    then = client.get("/lineage/line/E1/?day=2031-10-01").content.decode()
    assert 'E2-30</a> <span class="mark">E2</span>' in then
    assert "Stands for" in merged
    gone = client.get("/lineage/line/E2/").content.decode()
    assert 'one line with <a href="/lineage/line/E1/">E1</a>' in gone
    assert '<span class="mark">now E1</span>' in client.get("/lineage/").content.decode()
    undone = client.post("/lineage/merge/", {"undo": "E2"}, follow=True).content.decode()
    assert "E2 stands by itself again." in undone
    assert "was found to be one line" not in undone


def test_a_merge_that_makes_a_loop_is_told_before_it_is_asked(on, sign_in):
    text = sign_in("breeder").get("/lineage/merge/?kept=E1&gone=E3-1-4").content.decode()
    assert "E3-1-4 from E3-1 from E1/E2 from E1" in text
    assert "Merge E3-1-4 into E1</button>" not in text


def test_the_commands_write_names_and_merge_and_undo(on, capsys):
    assert run(["line-names", "E1", "--add", "Old North", "--remark", "ours", *DAY]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines()[1].startswith("Old North,E1,ours,2031-10-01,command")
    assert "Old North is another name of E1." in said.err
    assert run(["line-names", "E2", "--add", "old north", *DAY]) == 1
    assert "another name of E1" in capsys.readouterr().err
    assert run(["merge-lines", "E1", "E2", "--look", "--json", *DAY]) == 0
    assert json.loads(capsys.readouterr().out)["no"] is None
    assert run(["merge-lines", "E1", "E2", *DAY]) == 1
    assert "group (North, South)" in capsys.readouterr().err
    assert run(["merge-lines", "Old North", "E2", "--reason", "one ear", *DAY]) == 0
    assert capsys.readouterr().out.splitlines()[1].startswith("E1,E2,one ear,2031-10-01,command")
    assert run(["line", "E1", *DAY]) == 0
    assert "[E2]" in capsys.readouterr().out
    assert run(["merge-lines", "--undo", "E2", *DAY]) == 0
    assert "E2 stands by itself again" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [["line-names", "--add", "X"], ["merge-lines", "E1"], ["merge-lines", "E1", "E2", "--undo", "E2"]]
)
def test_the_commands_refuse_half_a_question(on, words):
    assert run(words) == 2
