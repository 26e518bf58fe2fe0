"""Does `firstsilk pollen-window` tell the hours of each day as a range, and refuse bad hours in a clear sentence?"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faces.calling import call, one_object, rows_of, write

HOURS = (Path(__file__).parents[2] / "examples" / "pollen-window" / "hours.csv").read_text(encoding="utf-8")


def ask(tmp_path, capsys, text, *more):
    return call(capsys, "pollen-window", write(tmp_path, text, "hours.csv"), *more)


def test_a_fair_day_has_a_range_in_the_hours_of_practice_and_a_cold_one_none(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, HOURS, "--clock-ahead", "1")
    assert code == 0
    fair, wet, hot, cold = rows_of(out)
    assert fair["start_early"] < "10:30" < fair["start_late"] < "12:00"
    assert "rain" in wet["note"]
    assert "heat ends it" in hot["note"]
    assert (cold["start_early"], cold["usable_min"]) == ("", "")
    assert "no shed expected" in cold["note"]
    assert "heat" in err
    told = one_object(ask(tmp_path, capsys, HOURS, "--json")[1])
    assert told["rows"][0]["start_early"] == "08:45"
    assert told["rows"][3]["start_early"] is None


def test_times_fahrenheit_and_dates_with_hours_tell_the_same(tmp_path, capsys):
    lines = [line.split(",") for line in HOURS.splitlines()]
    other = ["time,temp_f,rh_pct,rain_mm"]
    other += [f"{day}T{int(hour):02d}:00,{float(c) * 1.8 + 32:.3f},{rh},{mm}" for day, hour, c, rh, mm in lines[1:]]
    assert ask(tmp_path, capsys, "\n".join(other) + "\n")[1] == ask(tmp_path, capsys, HOURS)[1]


def test_readings_every_three_hours_make_a_day_and_longer_gaps_do_not(tmp_path, capsys):
    lines = HOURS.splitlines()[:25]
    thin = [lines[0], *lines[1::3]]
    (row,) = rows_of(ask(tmp_path, capsys, "\n".join(thin) + "\n")[1])
    assert row["start_early"]
    thin = [lines[0], *lines[1::8]]
    (row,) = rows_of(ask(tmp_path, capsys, "\n".join(thin) + "\n")[1])
    assert row["start_early"] == ""
    assert "not known" in row["note"]


def test_daily_extremes_give_a_guess_that_says_so(tmp_path, capsys):
    text = "date,tmin_c,tmax_c,rain_mm\n2031-07-23,12,27,0\n2031-07-24,12,27,14\n2031-07-25,12,,\n"
    rows = rows_of(ask(tmp_path, capsys, text)[1])
    assert rows[0]["start_early"] < rows[0]["start_late"] < "12:00"
    assert rows[0]["note"].endswith("humidity guessed from daily extremes")
    assert rows[1]["start_late"] == ""
    assert rows[2]["start_early"] == ""


BAD = {
    "no humidity": ("date,hour,temp_c\n2031-07-23,1,12\n", "column rh_pct", "is missing"),
    "hour": ("date,hour,temp_c,rh_pct\n2031-07-23,25,12,80\n", "line 2", "column hour", "'25'"),
    "no hour": ("date,hour,temp_c,rh_pct\n2031-07-23,,12,80\n", "line 2", "the hour is missing", ""),
    "humidity": ("date,hour,temp_c,rh_pct\n2031-07-23,3,12,180\n", "line 2", "column rh_pct", "'180'"),
    "humidity as share": ("date,hour,temp_c,rh_pct\n2031-07-23,3,12,x\n", "line 2", "column rh_pct", "'x'"),
    "heat": ("date,hour,temp_c,rh_pct\n2031-07-23,3,86,60\n", "line 2", "column temp_c", "'86'"),
    "rain": ("date,hour,temp_c,rh_pct,rain_mm\n2031-07-23,3,16,60,-1\n", "line 2", "column rain_mm", "'-1'"),
    "time": ("time,temp_c,rh_pct\nnoon,16,60\n", "line 2", "column time", "'noon'"),
    "sites": ("site,date,hour,temp_c,rh_pct\na,2031-07-23,3,16,60\nb,2031-07-23,3,16,60\n", "several sites", "", ""),
    "nothing": ("date,hour,temp_c,rh_pct\n", "no line under the header", "", ""),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_hours_are_refused_in_one_sentence_that_says_where(tmp_path, capsys, name):
    text, *told = BAD[name]
    code, out, err = ask(tmp_path, capsys, text)
    assert (code, out) == (1, "")
    assert len(err.splitlines()) == 1
    assert err.startswith("hours.csv")
    assert all(part in err for part in told), err


def test_a_clock_far_ahead_is_wrong_usage(tmp_path, capsys):
    assert ask(tmp_path, capsys, HOURS, "--clock-ahead", "12")[0] == 2
