"""Does `firstsilk crew` give workers by day, and refuse bad demand in one clear sentence?"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faces.calling import call, one_object, rows_of, write

DEMAND = "date,p10,p50,p90\n2031-07-20,1,84,168\n2031-07-21,50,3550,4000\n2031-07-22,0,0,3\n"


def ask(tmp_path, capsys, *more, text=DEMAND):
    return call(capsys, "crew", write(tmp_path, text, "demand.csv"), *more)


def test_crew_divides_rounds_up_and_keeps_its_columns(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, "--per-hour", "15", "--hours", "7", "--efficiency", "0.8")
    assert code == 0
    assert out.splitlines() == [
        "date,workers_p50,workers_p90,hours,note",
        "2031-07-20,1,2,7,",
        "2031-07-21,43,48,7,",
        "2031-07-22,0,1,7,",
    ]
    assert "Heat" in err
    assert "minors" in err
    assert ask(tmp_path, capsys)[1] == out


def test_crew_puts_days_in_order_before_it_counts_the_first_ones(tmp_path, capsys):
    lines = DEMAND.splitlines()
    turned = "\n".join([lines[0], *reversed(lines[1:])]) + "\n"
    for more in ((), ("--beginners", "0.6")):
        assert ask(tmp_path, capsys, *more, text=turned)[1] == ask(tmp_path, capsys, *more)[1]


def test_beginners_are_slower_on_their_first_working_days_only(tmp_path, capsys):
    rows = rows_of(ask(tmp_path, capsys, "--beginners", "0.6", "--beginner-days", "1")[1])
    assert [row["workers_p50"] for row in rows] == ["2", "43", "0"]
    assert rows[0]["note"] == "beginners at 60 % of the pace"
    none = ask(tmp_path, capsys, "--beginners", "0.6", "--beginner-days", "0")[1]
    assert none == ask(tmp_path, capsys)[1]


def test_first_days_shorten_the_hours(tmp_path, capsys):
    rows = rows_of(ask(tmp_path, capsys, "--first-days", "us-20")[1])
    assert [row["hours"] for row in rows] == ["1.4", "2.8", "4.2"]
    assert [row["workers_p50"] for row in rows] == ["5", "106", "0"]


def test_weather_takes_hours_off_by_its_day_or_by_past_years(tmp_path, capsys):
    weather = (
        "date,tmin_c,tmax_c,rain_mm\n2030-07-18,12,24,0\n2030-07-19,12,24,4\n2030-07-20,12,24,0\n2030-07-22,12,24,0\n"
        "2031-07-20,12,24,5\n2031-07-21,12,24,12\n"
    )
    path = write(tmp_path, weather)
    rows = rows_of(ask(tmp_path, capsys, "--weather", path)[1])
    # Wet by forecast: half; heavy rain: none; then the mean of four days of the year before, one of them wet: 3.5 / 4.
    assert [row["hours"] for row in rows] == ["3.5", "0", "6.125"]
    assert [row["workers_p50"] for row in rows] == ["2", "", "0"]
    assert rows[0]["note"] == "3.5 h lost to rain or heat"
    assert rows[1]["note"] == "7 h lost to rain or heat; nobody can work; what falls due waits"
    told = one_object(ask(tmp_path, capsys, "--weather", path, "--json")[1])
    assert told["rows"][1]["workers_p50"] is None
    assert told["peak"] == {"date": "2031-07-20", "workers_p50": 2, "workers_p90": 4}


def test_weather_of_several_sites_is_refused_and_one_without_rain_is_told(tmp_path, capsys):
    two = write(tmp_path, "site,date,tmin_c,tmax_c\na,2031-07-20,9,20\nb,2031-07-20,9,20\n")
    code, _, err = ask(tmp_path, capsys, "--weather", two)
    assert code == 1
    assert "several sites: a, b" in err
    dry = write(tmp_path, "date,tmin_f,tmax_f\n2031-07-20,70,106\n")
    code, out, err = ask(tmp_path, capsys, "--weather", dry)
    assert code == 0
    assert "no column rain_mm" in err
    assert rows_of(out)[0]["hours"] == "2.5"


BAD = {
    "a day twice": ("2031-07-20,1,2,3\n2031-07-20,1,2,3\n", "line 3", "column date", "first on line 2"),
    "negative": ("2031-07-20,1,-2,3\n", "line 2", "column p50", "'-2'"),
    "missing": ("2031-07-20,1,2,\n", "line 2", "column p90", "p90 is missing"),
    "no number": ("2031-07-20,1,many,3\n", "line 2", "column p50", "'many'"),
    "no date": (",1,2,3\n", "line 2", "column date", "the date is missing"),
    "out of order": ("2031-07-20,1,5,3\n", "line 2", "column p90", "p10 <= p50 <= p90"),
    "nothing": ("", "demand.csv", "no line under the header"),
}


@pytest.mark.parametrize("name", BAD)
def test_crew_refuses_bad_demand_in_one_sentence_that_says_where(tmp_path, capsys, name):
    lines, *told = BAD[name]
    target = tmp_path / "out.csv"
    code, out, err = ask(tmp_path, capsys, "--out", target, text="date,p10,p50,p90\n" + lines)
    assert (code, out) == (1, "")
    assert not target.exists()
    assert len(err.splitlines()) == 1
    assert all(part in err for part in told), err


def test_crew_refuses_a_table_without_its_columns(tmp_path, capsys):
    code, _, err = ask(tmp_path, capsys, text="date,p50\n2031-07-20,3\n")
    assert code == 1
    assert "'p10' is missing" in err


@pytest.mark.parametrize(
    "wrong",
    [
        ("--per-hour", "0"),
        ("--per-hour", "nan"),
        ("--hours", "25"),
        ("--hours", "0"),
        ("--efficiency", "1.2"),
        ("--efficiency", "80"),
        ("--beginners", "0"),
        ("--beginners", "60"),
        ("--beginner-days", "-1"),
        ("--first-days", "half"),
    ],
)
def test_crew_used_wrongly_ends_with_2(tmp_path, capsys, wrong):
    code, out, err = ask(tmp_path, capsys, *wrong)
    assert (code, out) == (2, "")
    assert wrong[0] in err


def test_crew_takes_what_the_forecast_door_writes(tmp_path, capsys):
    example = Path(__file__).parents[2] / "examples" / "forecast"
    demand = tmp_path / "demand.csv"
    rows, weather = example / "rows.csv", example / "weather.csv"
    assert call(capsys, "forecast", rows, weather, "--today", "2031-07-18", "--demand", demand)[0] == 0
    code, out, _ = call(capsys, "crew", demand)
    assert code == 0
    assert len(rows_of(out)) == len(rows_of(demand.read_text(encoding="utf-8"))) > 10
    assert max(int(row["workers_p90"]) for row in rows_of(out)) >= 1


def test_a_number_beyond_all_is_a_slip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    demand = write(tmp_path, "date,p10,p50,p90\n2031-07-01,1,2,1e308\n", "demand.csv")
    code, out, err = call(capsys, "crew", demand)
    assert (code, out) == (1, "")
    assert "demand.csv, line 2, column p90" in err
