"""Does `firstsilk ripening` say what the page says, as sentences, tables and one object?"""

from __future__ import annotations

import pytest

from tests.faces.calling import call, one_object, rows_of
from tests.faces.test_ripening_page import station  # noqa: F401 - a fixture

pytestmark = pytest.mark.usefixtures("station")
SPRING = ("--today", "2031-05-01")


def test_command_ripening_tells_groups_basis_and_what_was_not_considered(capsys):
    code, out, err = call(capsys, "ripening", *SPRING)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert len(lines) == 5
    assert "in 90 % of the past years." in lines[0]
    assert lines[3].startswith("Rests on 6 hybrids")
    assert lines[4].startswith("Not considered: ")


def test_command_ripening_gives_each_table(capsys, tmp_path):
    _, out, _ = call(capsys, "ripening", *SPRING, "--by", "hybrid")
    rows = rows_of(out)
    assert [(row["hybrid"], row["p_ripe"]) for row in rows][:2] == [("H1", "1"), ("H2", "0.8")]
    assert rows[0]["units_left"] == ""
    _, out, _ = call(capsys, "ripening", *SPRING, "--by", "sowing", "--sown", "05-20")
    assert "2031-05-20" in {row["sown"] for row in rows_of(out)}
    _, out, _ = call(capsys, "ripening", *SPRING, "--by", "site")
    assert [row["site"] for row in rows_of(out)] == ["Home fields"] * 3
    target = tmp_path / "groups.csv"
    _, out, _ = call(capsys, "ripening", *SPRING, "--out", target)
    assert "past years" in out
    assert [row["group"] for row in rows_of(target.read_text())] == ["early", "middle", "late"]
    _, out, _ = call(capsys, "ripening", *SPRING, "--out", "-")
    assert out == target.read_text()


def test_command_ripening_gives_one_object(capsys):
    _, out, _ = call(capsys, "ripening", "--today", "2031-10-20", "--json")
    answer = one_object(out)
    assert answer["frost_on"] == "2031-09-14"
    assert answer["unknown"] == ["H7"]
    assert answer["years"] == [2026, 2027, 2028, 2029, 2030]
    assert [row["p_ripe_now"] for row in answer["rows"]] == [1.0, 0.5, 0.0]


def test_command_ripening_takes_units_of_a_hybrid_in_no_books(capsys):
    _, out, _ = call(capsys, "ripening", *SPRING, "--units", "1232.4", "--json")
    assert one_object(out)["rows"][3]["group"] == "as asked"


@pytest.mark.parametrize("wrong", [("--site", "mars"), ("--units", "-5"), ("--sown", "soon"), ("--harvest", "13-40")])
def test_command_ripening_refuses_what_is_not_there_in_one_sentence(capsys, wrong):
    code, out, err = call(capsys, "ripening", *SPRING, *wrong)
    assert (code, out) == (1, "")
    assert len(err.splitlines()) == 1


def test_command_ripening_used_wrongly_ends_with_2(capsys):
    assert call(capsys, "ripening", "--by", "moon")[0] == 2
