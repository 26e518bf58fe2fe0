"""Do `pollinations-needed`, `plants-needed` and `kernels-needed` count what they say, and refuse in one sentence?"""

from __future__ import annotations

import pytest

from firstsilk.science.lineage.chances import plan_plants
from firstsilk.science.nursery.counts import KERNELS_PER_EAR, SUCCESS_FRAC
from firstsilk.science.seed.line_rates import LineCounts, learn_programme, rate_line
from firstsilk.science.seed.pollinations import EarRates, plan_pollinations
from tests.faces.calling import call, one_object, rows_of, write

WISH = "use,line,ears,kernels,success,kernels_per_ear\nu,A,,400,0.676,146\nv,B,3,,0.676,\nw,C,3,400,,\n"
RECORDS = "line,pollinations,good_ears,shelled_ears,kernels\nA,20,12,10,900\nA,5,5,5,600\nD,40,20,18,2000\n"


def pollinate(tmp_path, capsys, wish=WISH, records="", *more):
    files = [write(tmp_path, wish, "need.csv")] + ([write(tmp_path, records, "records.csv")] if records else [])
    return call(capsys, "pollinations-needed", *files, *more)


def test_known_rates_give_the_counts_of_the_planning_table(tmp_path, capsys):
    code, out, err = pollinate(tmp_path, capsys)
    rows = rows_of(out)
    assert code == 0
    # 400 kernels at 0.676 and 146: 4.05 on average; 3 ears at 0.676: 7, as the table of the trade has it.
    assert (rows[0]["on_average"], rows[0]["pollinations"]) == ("4.1", "9")
    assert (rows[1]["pollinations"], rows[1]["rows"]) == ("7", "1")
    assert float(rows[2]["success"]) == SUCCESS_FRAC
    assert float(rows[2]["kernels_per_ear"]) == KERNELS_PER_EAR
    assert all(float(row["chance"]) >= 0.95 for row in rows)
    assert err.startswith("Nothing is on record")
    assert pollinate(tmp_path, capsys)[1] == out


def test_records_of_a_line_are_added_up_and_shrunk(tmp_path, capsys):
    wish = "use,line,kernels\nu,A,1000\nv,C,1000\n"
    rows = rows_of(pollinate(tmp_path, capsys, wish, RECORDS)[1])
    counted = [LineCounts("A", 25, 17, 15, 1500), LineCounts("D", 40, 20, 18, 2000)]
    programme = learn_programme(counted)
    for row, own in zip(rows, (counted[0], LineCounts("C")), strict=True):
        rates = rate_line(own, programme)
        assert float(row["success"]) == pytest.approx(rates.success_frac, abs=5e-5)
        assert int(row["pollinations"]) == plan_pollinations(rates, kernels=1000)
    assert int(rows[1]["pollinations"]) > plan_pollinations(
        EarRates(programme.success_frac, programme.kernels_per_ear), kernels=1000
    )


def test_shelled_ears_are_the_good_ones_where_not_told(tmp_path, capsys):
    wish = "use,line,kernels\nu,A,1000\n"
    told = "line,pollinations,good_ears,shelled_ears,kernels\nA,20,12,12,900\nD,30,10,0,0\n"
    plain = "line,pollinations,good_ears,kernels\nA,20,12,900\nD,30,10,\n"
    assert pollinate(tmp_path, capsys, wish, told)[1] == pollinate(tmp_path, capsys, wish, plain)[1]


def test_json_tells_the_programme(tmp_path, capsys):
    told = one_object(pollinate(tmp_path, capsys, WISH, RECORDS, "--json", "--assurance", "0.8")[1])
    assert told["assurance"] == 0.8
    assert told["programme"]["lines_pollinated"] == 2
    assert told["rows"][0]["line"] == "A"


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ("use,line\nu,A\n", "need.csv, line 1: there is neither a column ears nor a column kernels"),
        ("use,line,ears\nu,A,\n", "need.csv, line 2, column ears: neither ears nor kernels are asked for"),
        ("use,line,ears\n,A,3\n", "need.csv, line 2, column use: the use is missing"),
        ("use,line,ears\nu,A,-3\n", "column ears: ears cannot be below 0 (found: '-3')"),
        ("use,line,ears,success\nu,A,3,67.6\n", "success is a share above 0 and up to 1 (found: '67.6'). Write 0.676."),
        ("use,line,ears,success\nu,A,3,0\n", "success is a share above 0"),
        ("use,line,ears,kernels_per_ear\nu,A,3,9000\n", "kernels per ear lie above 0 and up to 2000"),
        ("use,line,kernels\nu,A,40000000\n", "u, A: more than 100,000 pollinations would be needed"),
    ],
)
def test_bad_wishes_are_refused_in_one_sentence(tmp_path, capsys, wish, says):
    code, out, err = pollinate(tmp_path, capsys, wish)
    assert (code, out) == (1, "")
    assert says in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("records", "says"),
    [
        ("line,good_ears\nA,1\n", "records.csv, line 1, column pollinations: column 'pollinations' is missing"),
        (
            "line,pollinations,good_ears\nA,,1\n",
            "records.csv, line 2, column pollinations: the pollinations are missing",
        ),
        (
            "line,pollinations,good_ears\nA,3,4\n",
            "records.csv, line 2, column good_ears: 4 good ears of 3 pollinations",
        ),
        ("line,pollinations,good_ears,kernels\nA,3,0,50\n", "column kernels: kernels of no ear (found: '50')"),
        ("line,pollinations,good_ears\n,3,1\n", "column line: the line is missing"),
    ],
)
def test_bad_records_are_refused_in_one_sentence(tmp_path, capsys, records, says):
    code, out, err = pollinate(tmp_path, capsys, WISH, records)
    assert (code, out) == (1, "")
    assert says in err
    assert err.count("\n") == 1


def test_plants_are_those_of_the_printed_table(capsys):
    # Sedcole 1977, Crop Science 17:667, p = 1/4 and 1/16 at 95 %, r = 1, 2, 3.
    out = call(capsys, "plants-needed", "--chance", "1/4,0.0625", "--at-least", "1, 2,3")[1]
    assert [row["plants"] for row in rows_of(out)] == ["11", "18", "23", "47", "75", "99"]


def test_kernels_for_those_plants_count_germination_in(capsys):
    (row,) = rows_of(call(capsys, "plants-needed", "--chance", "0.25", "--germination", "0.8")[1])
    assert row["kernels"] == str(plan_plants(0.2, 0.95))


def test_kernels_for_a_plan_are_plants_by_germination_and_a_margin(tmp_path, capsys):
    plan = "use,line,plants,packets,germination\nn,A,18,3,0.8\nm,B,18,,\n"
    code, out, err = call(capsys, "kernels-needed", write(tmp_path, plan, "plan.csv"))
    assert (code, err) == (0, "")
    # Stanford 1988: 18 plants at 0.8 and 20 % more are 27 kernels, at 0.9 they are 24.
    assert [(row["sow_each"], row["sow"], row["kernels"]) for row in rows_of(out)] == [
        ("27", "81", "65"),
        ("24", "24", "22"),
    ]


def test_kernels_with_assurance_are_those_of_the_binomial(tmp_path, capsys):
    # Smallest n with P(Bin(n, 0.9) >= 20) >= 0.95 is 25; for 40 of 0.85 it is 52: exact binomial tails, by hand.
    plan = "use,line,plants,germination\nn,A,20,0.9\nm,B,40,0.85\n"
    out = call(capsys, "kernels-needed", write(tmp_path, plan, "plan.csv"), "--assurance", "0.95")[1]
    assert [row["sow"] for row in rows_of(out)] == ["25", "52"]


def test_what_kernels_needed_gives_is_what_seed_reads(tmp_path, capsys):
    plan = write(tmp_path, "use,line,plants,germination\nn,A,20,0.9\n", "plan.csv")
    need = tmp_path / "need.csv"
    assert call(capsys, "kernels-needed", plan, "--out", need)[0] == 0
    lots = write(tmp_path, "lot,line,kernels,germination\nA1,A,500,0.9\n", "lots.csv")
    (row,) = rows_of(call(capsys, "seed", need, lots)[1])
    # 27 are sown, of which 24.3 germinate: 25 are asked for, and these are 28 of the lot.
    assert (row["kernels"], row["short"]) == ("28", "0")


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        ("use,line\nn,A\n", "plan.csv, line 1, column plants: column 'plants' is missing"),
        ("use,line,plants\nn,A,\n", "plan.csv, line 2, column plants: the plants are missing"),
        ("use,line,plants\nn,A,0\n", "plan.csv, line 2, column plants: no plants"),
        ("use,line,plants\nn,,4\n", "plan.csv, line 2, column line: the line is missing"),
        ("use,line,plants,packets\nn,A,4,0\n", "plan.csv, line 2, column packets: no packets"),
        (
            "use,line,plants,germination\nn,A,4,90\n",
            "germination is a share above 0 and up to 1 (found: '90'). Write 0.9.",
        ),
    ],
)
def test_bad_plans_are_refused_in_one_sentence(tmp_path, capsys, plan, says):
    code, out, err = call(capsys, "kernels-needed", write(tmp_path, plan, "plan.csv"))
    assert (code, out) == (1, "")
    assert says in err
    assert err.count("\n") == 1
