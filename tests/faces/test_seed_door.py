"""Does `firstsilk seed` take the fewest and oldest lots, tell what is short, and refuse bad tables in one sentence?"""

from __future__ import annotations

import pytest

from tests.faces.calling import call, one_object, rows_of, write
from tests.factories import make_line, make_lot, make_station

NEED = "use,line,kernels\ntrial,A,100\n"
LOTS = "lot,line,kernels,germination\nA1,A,50,0.9\nA2,A,200,0.8\nA3,A,300,1\n"


def ask(tmp_path, capsys, need=NEED, lots=LOTS, *more):
    return call(capsys, "seed", write(tmp_path, need, "need.csv"), write(tmp_path, lots, "lots.csv"), *more)


def test_one_lot_does_so_the_oldest_of_those_that_do_gives(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys)
    assert (code, err) == (0, "")
    assert out == "use,line,lot,kernels,short\ntrial,A,A2,125,0\n"
    assert ask(tmp_path, capsys)[1] == out


def test_where_no_lot_does_alone_two_do_the_oldest_of_them_whole(tmp_path, capsys):
    rows = rows_of(ask(tmp_path, capsys, NEED.replace("100", "340"))[1])
    assert [(row["lot"], row["kernels"]) for row in rows] == [("A1", "50"), ("A3", "295")]
    rows = rows_of(ask(tmp_path, capsys, NEED.replace("100", "346"))[1])
    assert [(row["lot"], row["kernels"]) for row in rows] == [("A2", "200"), ("A3", "186")]


def test_age_is_the_order_of_the_table_or_as_made_or_year_tells(tmp_path, capsys):
    for column, newest, oldest in (("made", "2031-10-02", "2031"), ("year", "2031", "2030"), ("made", "2031", "1999")):
        lots = f"lot,line,kernels,germination,{column}\nA1,A,500,1,{newest}\nA2,A,500,1,{oldest}\n"
        assert rows_of(ask(tmp_path, capsys, NEED, lots)[1])[0]["lot"] == "A2"
    lots = "lot,line,kernels,germination\nA1,A,500,1\nA2,A,500,1\n"
    assert rows_of(ask(tmp_path, capsys, NEED, lots)[1])[0]["lot"] == "A1"


def test_promised_kernels_are_left_alone(tmp_path, capsys):
    lots = "lot,line,kernels,promised,germination\nA1,A,150,80,1\nA2,A,20,90,1\nA3,A,60,,1\n"
    rows = rows_of(ask(tmp_path, capsys, NEED, lots)[1])
    assert [(row["lot"], row["kernels"], row["short"]) for row in rows] == [("A1", "70", "0"), ("A3", "30", "0")]


@pytest.mark.django_db
def test_what_lots_writes_can_be_given_as_lots(tmp_path, capsys):
    station = make_station()
    make_lot(make_line(station, "A"), 500, year=2030, germination_frac=0.8, germination_seeds=50)
    make_lot(make_line(station, "B"), 500, year=2029, germination_frac=None)
    lots = tmp_path / "lots.csv"
    assert call(capsys, "lots", "--today", "2031-06-01", "--out", lots)[0] == 0
    code, out, err = call(capsys, "seed", write(tmp_path, NEED, "need.csv"), lots, "--untested", "0.9")
    assert (code, rows_of(out)[0]["lot"], rows_of(out)[0]["kernels"]) == (0, "A-30", "125")
    assert "from 50 seeds: not an official test" in err


def test_needs_are_served_in_their_order_and_short_is_told(tmp_path, capsys):
    need = "use,line,kernels\nfirst,A,400\nsecond,A,100\nthird,B,7\n"
    code, out, err = ask(tmp_path, capsys, need)
    assert code == 0
    taken = ["first,A,A2,200,0", "first,A,A3,240,0", "second,A,A1,50,0", "second,A,A3,55,0", "third,B,,0,7"]
    assert out.splitlines()[1:] == taken
    need = need.replace("second,A,100", "second,A,120")
    code, out, err = ask(tmp_path, capsys, need)
    assert out.splitlines()[3:5] == ["second,A,A1,50,15", "second,A,A3,60,15"]
    assert err.splitlines() == [
        "second: 15 germinating kernels of A are missing.",
        "third: 7 germinating kernels of B are missing: there is no lot of it.",
    ]


def test_json_tells_the_same_and_the_cautions(tmp_path, capsys):
    lots = "lot,line,kernels,germination,germination_seeds\nA1,A,500,0.9,60\n"
    told = one_object(ask(tmp_path, capsys, NEED, lots, "--json")[1])
    assert told["uses"] == 1
    assert told["uses_short"] == 0
    assert told["rows"][0]["kernels"] == 112
    assert told["rows"][0]["germination_low"] < 0.9 < told["rows"][0]["germination_high"]
    (caution,) = told["cautions"]
    assert caution.startswith("Lot A1: Germination from 60 seeds: not an official test.")


def test_four_hundred_seeds_need_no_caution(tmp_path, capsys):
    lots = "lot,line,kernels,germination,germination_seeds\nA1,A,500,0.9,400\n"
    assert ask(tmp_path, capsys, NEED, lots)[2] == ""


def test_a_lot_without_a_test_is_refused_unless_said_what_to_take_it_for(tmp_path, capsys):
    lots = LOTS.replace("0.8", "")
    code, out, err = ask(tmp_path, capsys, NEED, lots)
    assert (code, out) == (1, "")
    assert "lots.csv, line 3, column germination: the germination is missing" in err
    code, out, err = ask(tmp_path, capsys, NEED, lots, "--untested", "0.5")
    assert out.endswith("trial,A,A2,200,0\n")
    assert err == "Lot A2: no germination test; taken as 0.5.\n"
    assert ask(tmp_path, capsys, NEED, lots, "--untested", "1.5")[0] == 2


def test_nothing_asked_is_nothing_taken_and_no_lot_is_no_fault(tmp_path, capsys):
    assert rows_of(ask(tmp_path, capsys, NEED.replace("100", "0"))[1])[0]["kernels"] == "0"
    code, out, _ = ask(tmp_path, capsys, NEED, "lot,line,kernels,germination\n")
    assert (code, out.splitlines()[1]) == (0, "trial,A,,0,100")


@pytest.mark.parametrize(
    ("need", "says"),
    [
        ("use,line\na,A\n", "need.csv, line 1, column kernels: column 'kernels' is missing"),
        ("use,line,kernels\n", "need.csv: there is no line under the header"),
        ("use,line,kernels\n,A,5\n", "need.csv, line 2, column use: the use is missing"),
        ("use,line,kernels\na,,5\n", "need.csv, line 2, column line: the line is missing"),
        ("use,line,kernels\na,A,\n", "need.csv, line 2, column kernels: the kernels are missing"),
        ("use,line,kernels\na,A,-5\n", "column kernels: kernels cannot be below 0 (found: '-5')"),
        ("use,line,kernels\na,A,2.5\n", "column kernels: a whole number is wanted here (found: '2.5')"),
        ("use,line,kernels\na,A,many\n", "column kernels: this is not a number (found: 'many')"),
        ("use,line,kernels\na,A,60000000\n", "more than 50,000,000 kernels"),
        ("use,line,kernels\na,A,5\na,A,6\n", "need.csv, line 3, column line: line A for a is there twice"),
    ],
)
def test_bad_needs_are_refused_in_one_sentence(tmp_path, capsys, need, says):
    code, out, err = ask(tmp_path, capsys, need)
    assert (code, out) == (1, "")
    assert says in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("lots", "says"),
    [
        ("lot,line,kernels\nA1,A,5\n", "lots.csv, line 1, column germination: column 'germination' is missing"),
        (LOTS.replace("0.9", "92"), "germination is a share from 0 to 1 (found: '92'). Write 0.92."),
        (LOTS.replace("0.9", "-0.1"), "germination is a share from 0 to 1 (found: '-0.1'). Write 0.92 for 92 %."),
        (LOTS.replace("A3", "A1"), "lots.csv, line 4, column lot: lot A1 is there twice, first on line 2"),
        (LOTS.replace("A3,", ","), "lots.csv, line 4, column lot: the lot is missing"),
        (LOTS.replace("50", "-50"), "kernels cannot be below 0 (found: '-50'). Count them, and write what is there."),
        ("lot,line,kernels,germination,made\nA1,A,5,1,soon\n", "column made: this is not a date (found: 'soon')"),
        ("lot,line,kernels,germination,made\nA1,A,5,1,\n", "column made: when the lot was made is missing"),
        ("lot,line,kernels,germination,year\nA1,A,5,1,0031\n", "column year: the year must lie in"),
        ("lot,line,kernels,germination,germination_seeds\nA1,A,5,1,0\n", "a test has from 1 to"),
    ],
)
def test_bad_lots_are_refused_in_one_sentence(tmp_path, capsys, lots, says):
    code, out, err = ask(tmp_path, capsys, NEED, lots)
    assert (code, out) == (1, "")
    assert says in err
    assert err.count("\n") == 1


def test_both_tables_from_standard_input_are_refused(capsys):
    code, out, err = call(capsys, "seed", "-", "-")
    assert (code, out) == (1, "")
    assert err.startswith("Both tables are asked of standard input.")
