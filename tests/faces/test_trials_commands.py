"""Can the year of trials be walked from the command line: lay out, pack, data in, analyse, choose, plan?"""

from __future__ import annotations

import json

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import PlotRecord, Target, Trial, Verdict
from tests.trial_cast import add_hybrids, add_lines, make_grown_cast, make_station

pytestmark = pytest.mark.django_db
TODAY = ["--today", "2031-12-01"]


@pytest.fixture
def cast():
    made = make_station()
    add_hybrids(made, add_lines(made, 4), kernels=900)
    return made


def ask(capsys, *words):
    """Run a command with --json; its exit code and its object."""
    code = run([*words, "--json", *TODAY])
    return code, json.loads(capsys.readouterr().out)


def lay_out(tmp_path, name="FIRST-31", kernels="75"):
    (tmp_path / "entries.csv").write_text("entry,check\nS-T/N00,0\nN-T/S01,0\nCHECK-1,1\n")
    told = ["--entries", str(tmp_path / "entries.csv"), "--site", "tarn", "--year", "2031", "--reps", "2"]
    return run(["trial", name, *told, "--kernels-per-plot", kernels, *TODAY])


def test_a_trial_is_laid_out_packed_and_printed(cast, tmp_path, capsys):
    assert lay_out(tmp_path) == 0
    assert capsys.readouterr().out.splitlines()[0].startswith("number,tag,rep,block,field_row,field_col,entry")
    code, packets = ask(capsys, "packets", "FIRST-31")
    assert (code, packets["reserved_kernels"], len(packets["rows"])) == (0, 450, 6)
    assert [row["plot"] for row in packets["rows"]] == [1, 2, 3, 4, 5, 6]
    code, packets = ask(capsys, "packets", "FIRST-31", "--pack")
    assert (packets["reserved_kernels"], packets["packed_kernels"]) == (0, 450)
    assert run(["packets", "FIRST-31", "--out", str(tmp_path / "p.pdf"), *TODAY]) == 0
    assert (tmp_path / "p.pdf").read_bytes().startswith(b"%PDF-")


def test_short_seed_is_one_sentence_with_exit_one_and_no_trial(cast, tmp_path, capsys):
    assert lay_out(tmp_path, kernels="800") == 1
    told = capsys.readouterr()
    assert "S-T/N00: 1600 kernels wanted, 900 free, 700 missing" in told.err
    assert told.out == ""
    assert not Trial.objects.exists()


def test_plot_data_goes_in_once(cast, tmp_path, capsys):
    lay_out(tmp_path)
    capsys.readouterr()
    path = tmp_path / "data.csv"
    path.write_text("plot,weight_kg,moisture_pct\n1,7.1,22\n2,7.2,60\n")
    code, first = ask(capsys, "plots", str(path), "--trial", "FIRST-31")
    assert (code, first["stored"], first["yields"]) == (0, 2, 2)
    assert [row["code"] for row in first["rows"]] == ["moisture_odd"]
    code, again = ask(capsys, "plots", str(path), "--trial", "FIRST-31")
    assert (again["stored"], again["known_before"]) == (0, 2)


def test_the_trial_may_be_named_in_the_file(cast, tmp_path, capsys):
    lay_out(tmp_path)
    path = tmp_path / "data.csv"
    path.write_text("trial,plot,weight_kg,moisture_pct\nFIRST-31,1,7.1,22\n")
    assert run(["plots", str(path), *TODAY]) == 0
    path.write_text("plot,weight_kg,moisture_pct\n1,7.1,22\n")
    assert run(["plots", str(path), *TODAY]) == 1
    assert "--trial" in capsys.readouterr().err


def test_a_bad_file_names_file_line_column_and_value_and_stores_nothing(cast, tmp_path, capsys):
    lay_out(tmp_path)
    path = tmp_path / "data.csv"
    path.write_text("plot,weight_kg,moisture_pct\n1,7.1,22\n2,seven,22\n")
    assert run(["plots", str(path), "--trial", "FIRST-31", *TODAY]) == 1
    told = capsys.readouterr().err
    assert "data.csv, line 3, column weight_kg: this is not a number (found: 'seven')" in told
    assert not PlotRecord.objects.exists()


def test_testcrosses_say_what_to_do_and_why(cast, capsys):
    code, found = ask(capsys, "testcross", "--year", "2032")
    assert code == 0
    assert {row["line"]: row["tester"] for row in found["rows"]} == {
        "N00": "S-T", "N02": "S-T", "S01": "N-T", "S03": "N-T",
    }  # fmt: skip
    assert found["not_considered"]


def test_from_plots_to_verdicts_to_the_next_plan(capsys, tmp_path):
    make_grown_cast(10)
    code, analysed = ask(capsys, "analyse", "--years", "2031")
    assert code == 0
    assert [one["trait"] for one in analysed["analyses"]] == ["yield_kg_ha_15_5", "moisture_pct", "erect_frac"]
    assert analysed["analyses"][0]["basis"]["used"][0] == ["plots", 96]
    code, shown = ask(capsys, "analyse", "--show", "--trait", "moisture_pct")
    assert {row["kind"] for row in shown["rows"]} == {"blue", "blup", "gca"}
    code, proposed = ask(capsys, "choose", "--year", "2031", "--go-on", "3", "--wait", "3")
    assert code == 0
    assert not Verdict.objects.exists()
    assert all(row["reason"].startswith("Yields ") for row in proposed["rows"])
    code, accepted = ask(capsys, "choose", "--year", "2031", "--go-on", "3", "--wait", "3", "--accept")
    assert [row["decided"] for row in accepted["rows"]] == [row["verdict"] for row in proposed["rows"]]
    assert Verdict.objects.count() == 10
    code, plan = ask(capsys, "next-plan", "--year", "2031")
    assert (code, plan["season"], len(plan["new_numbers"])) == (0, "2032", Target.objects.count())
    assert ask(capsys, "next-plan", "--year", "2031")[1]["new_numbers"] == []


def test_own_verdicts_come_from_a_table_and_need_reasons(capsys, tmp_path):
    make_grown_cast(4)
    run(["analyse", "--trait", "yield_kg_ha_15_5", *TODAY])
    path = tmp_path / "verdicts.csv"
    path.write_text("line,verdict\nN00,stop\nN02,go_on\nS01,wait\n")
    settings = ["--year", "2031", "--go-on", "0", "--wait", "0"]
    assert run(["choose", *settings, "--verdicts", str(path), *TODAY]) == 1
    assert "N02: the figures propose stop, you decide go on" in capsys.readouterr().err
    path.write_text("line,verdict,reason\nN00,stop,\nN02,go_on,stands best\n")
    assert run(["choose", *settings, "--verdicts", str(path), *TODAY]) == 0
    assert dict(Verdict.objects.values_list("line__name", "verdict")) == {"N00": "stop", "N02": "go_on"}


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["analyse", "--years", "last"], 2),
        (["choose", "--accept", "--verdicts", "x.csv"], 2),
        (["packets", "nothing"], 1),
        (["trial", "nothing"], 1),
        (["plots", "nothing.csv", "--trial", "T"], 1),
        (["analyse", "--show"], 1),
    ],
)
def test_wrong_usage_is_two_and_a_refusal_is_one(cast, words, code, capsys):
    assert run([*words, *TODAY]) == code
    assert "Traceback" not in capsys.readouterr().err
