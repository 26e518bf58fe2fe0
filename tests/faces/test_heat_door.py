"""Does `firstsilk heat` give the heat units, and refuse bad weather in one clear sentence?"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import polars
import pytest

from tests.faces.calling import call, one_object, rows_of, write

FIVE_DAYS = (
    "date,tmin_c,tmax_c\n2031-05-01,10,20\n2031-05-02,10,25\n2031-05-03,14,28\n2031-05-04,6,9\n2031-05-05,15,30\n"
)


def numbers(text: str, column: str) -> list[float]:
    return [float(row[column]) for row in rows_of(text)]


def test_heat_of_five_days_gives_daily_units_and_their_running_total(tmp_path, capsys):
    code, out, err = call(capsys, "heat", write(tmp_path, FIVE_DAYS), "--scale", "chu")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == "date,daily,total"
    assert numbers(out, "daily") == [17.49, 20.565, 25.002, 1.44, 26.04]
    assert numbers(out, "total") == [17.49, 38.055, 63.057, 64.497, 90.537]


@pytest.mark.parametrize(("scale", "total"), [("chu", 90.537), ("gdd_c", 36.0), ("gdd_f", 64.8)])
def test_heat_in_each_scale_ends_at_its_own_total(tmp_path, capsys, scale, total):
    # Worked by hand: gdd_c 5 + 7.5 + 11 + 0 + 12.5, gdd_f 1.8 times that.
    _, out, _ = call(capsys, "heat", write(tmp_path, FIVE_DAYS), "--scale", scale)
    assert numbers(out, "total")[-1] == total


def test_heat_of_a_fahrenheit_file_gives_the_published_sum(tmp_path, capsys):
    # 25.5 + 11 + 6.5 = 43, Waushara Argus 2018.
    text = "date,tmin_f,tmax_f\n2031-05-01,65,90\n2031-05-02,46,72\n2031-05-03,42,63\n"
    _, out, _ = call(capsys, "heat", write(tmp_path, text), "--scale", "gdd_f")
    assert numbers(out, "daily") == [25.5, 11.0, 6.5]
    assert numbers(out, "total") == [25.5, 36.5, 43.0]


def test_heat_converts_a_fahrenheit_file_for_a_celsius_scale(tmp_path, capsys):
    celsius = write(tmp_path, "date,tmin_c,tmax_c\n2031-05-01,10,25\n", "c.csv")
    fahrenheit = write(tmp_path, "date,tmin_f,tmax_f\n2031-05-01,50,77\n", "f.csv")
    for scale in ("chu", "gdd_c"):
        assert (
            call(capsys, "heat", celsius, "--scale", scale)[1] == call(capsys, "heat", fahrenheit, "--scale", scale)[1]
        )


def test_heat_takes_the_names_of_the_icasa_standard(tmp_path, capsys):
    text = FIVE_DAYS.replace("date,tmin_c,tmax_c", "W_DATE,TMIN,TMAX")
    _, out, _ = call(capsys, "heat", write(tmp_path, text), "--scale", "chu")
    assert numbers(out, "total")[-1] == 90.537


def test_heat_restarts_the_total_at_each_site_and_keeps_their_order(tmp_path, capsys):
    text = "site,date,tmin_c,tmax_c\nzeta,2031-05-02,10,25\nalfa,2031-05-01,15,30\nzeta,2031-05-01,10,20\n"
    _, out, _ = call(capsys, "heat", write(tmp_path, text), "--scale", "chu")
    assert out.splitlines() == [
        "site,date,daily,total",
        "zeta,2031-05-01,17.49,17.49",
        "zeta,2031-05-02,20.565,38.055",
        "alfa,2031-05-01,26.04,26.04",
    ]


def test_heat_from_and_to_cut_the_span_and_start_the_total_there(tmp_path, capsys):
    path = write(tmp_path, FIVE_DAYS)
    _, out, _ = call(capsys, "heat", path, "--scale", "chu", "--from", "2031-05-02", "--to", "2031-05-04")
    assert [row["date"] for row in rows_of(out)] == ["2031-05-02", "2031-05-03", "2031-05-04"]
    assert numbers(out, "total") == [20.565, 45.567, 47.007]


def test_heat_ignores_a_gap_outside_the_span(tmp_path, capsys):
    path = write(tmp_path, FIVE_DAYS + "2031-05-09,10,20\n")
    assert call(capsys, "heat", path, "--scale", "chu", "--to", "2031-05-05")[0] == 0


def test_heat_refuses_missing_days_with_their_dates_lines_and_repair(tmp_path, capsys):
    text = "date,tmin_c,tmax_c\n2031-05-01,10,20\n2031-05-03,14,28\n2031-05-04,,9\n2031-05-08,15,30\n"
    code, out, err = call(capsys, "heat", write(tmp_path, text), "--scale", "chu")
    assert (code, out) == (1, "")
    lines = err.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("weather.csv, line 2, column date: the day 2031-05-02 is missing after this line")
    assert "line 4, column tmin_c: the days 2031-05-04 to 2031-05-07 are missing" in lines[1]
    assert all("--gaps interpolate" in line for line in lines)


def test_heat_fills_missing_days_in_a_straight_line_and_names_them(tmp_path, capsys):
    text = "date,tmin_c,tmax_c\n2031-05-01,10,20\n2031-05-03,14,28\n2031-05-04,6,9\n"
    path = write(tmp_path, text)
    code, out, err = call(capsys, "heat", path, "--scale", "chu", "--gaps", "interpolate", "--json")
    whole = write(tmp_path, text.replace("2031-05-03", "2031-05-02,12,24\n2031-05-03"), "whole.csv")
    _, expected, _ = call(capsys, "heat", whole, "--scale", "chu", "--json")
    assert code == 0
    assert "1 missing day filled" in err
    answer = one_object(out)
    assert answer["filled"] == [{"date": "2031-05-02"}]
    assert answer["rows"] == one_object(expected)["rows"]


def test_heat_cannot_fill_before_the_first_or_after_the_last_known_day(tmp_path, capsys):
    path = write(tmp_path, FIVE_DAYS)
    for option, day in (("--from", "2031-04-30"), ("--to", "2031-05-06")):
        code, out, err = call(capsys, "heat", path, "--scale", "chu", "--gaps", "interpolate", option, day)
        assert (code, out) == (1, "")
        assert f"the day {day} is missing" in err


def test_heat_refuses_a_filled_temperature_that_crosses_a_given_one(tmp_path, capsys):
    text = "date,tmin_c,tmax_c\n2031-05-01,2,6\n2031-05-02,9,\n2031-05-03,2,6\n"
    code, _, err = call(capsys, "heat", write(tmp_path, text), "--scale", "chu", "--gaps", "interpolate")
    assert code == 1
    assert "line 3" in err
    assert "2031-05-02" in err


BAD = {
    "a day twice": ("2031-05-01,10,20\n2031-05-02,10,25\n2031-05-01,9,20\n", "line 4", "column date", "2031-05-01"),
    "crossed": ("2031-05-01,20,10\n", "line 2", "column tmin_c", "'20'"),
    "not a number": ('2031-05-01,"10,5",20\n', "line 2", "column tmin_c", "10.5"),
    "not a date": ("01.05.2031,10,20\n", "line 2", "column date", "01.05.2031"),
    "no date": (",10,20\n", "line 2", "column date", "the date is missing"),
    "sentinel": ("2031-05-01,-999,20\n", "line 2", "column tmin_c", "'-999'"),
    "fahrenheit in a celsius column": ("2031-05-01,50,86\n", "line 2", "column tmax_c", "'86'"),
    "infinite": ("2031-05-01,10,inf\n", "line 2", "column tmax_c", "'inf'"),
    "no days": ("", "weather.csv", "no day", "one line for each day"),
    "too many cells": ("2031-05-01,10,20,7\n", "line 2", "4 cells", "'7'"),
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("gaps", ["refuse", "interpolate"])
def test_heat_refuses_bad_weather_in_one_sentence_that_says_where(tmp_path, capsys, name, gaps):
    lines, *told = BAD[name]
    path = write(tmp_path, "date,tmin_c,tmax_c\n" + lines)
    target = tmp_path / "out.csv"
    code, out, err = call(capsys, "heat", path, "--scale", "chu", "--gaps", gaps, "--out", target)
    assert (code, out) == (1, "")
    assert not target.exists()
    assert err.startswith("weather.csv")
    assert len(err.splitlines()) == 1
    assert all(part in err for part in told), err


def test_heat_names_every_fault_at_once_and_as_json_too(tmp_path, capsys):
    path = write(tmp_path, "date,tmin_c,tmax_c\n2031-05-01,x,20\n2031-05-02,30,20\n2031-05-02,1,2\n")
    code, out, err = call(capsys, "heat", path, "--scale", "chu", "--json")
    assert code == 1
    assert len(err.splitlines()) == 3
    findings = one_object(out)["findings"]
    assert [(finding["code"], finding["line"]) for finding in findings] == [
        ("not_a_number", 2),
        ("crossed", 3),
        ("day_twice", 4),
    ]


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("date,tmin_c", "'tmax_c' is missing"),
        ("day,tmin_c,tmax_c", "'date' is missing"),
        ("date,low,high", "'tmin_c' is missing"),
        ("date,tmin_f,tmax_c", "both there|is missing"),
        ("date,tmin_c,tmin_c", "appears twice"),
    ],
)
def test_heat_refuses_a_header_without_the_columns_it_needs(tmp_path, capsys, header, told):
    path = write(tmp_path, header + "\n2031-05-01" + ",10" * header.count(",") + "\n")
    code, _, err = call(capsys, "heat", path, "--scale", "chu")
    assert code == 1
    assert any(part in err for part in told.split("|")), err


def test_heat_refuses_a_file_with_both_units(tmp_path, capsys):
    path = write(tmp_path, "date,tmin_c,tmax_c,tmin_f,tmax_f\n2031-05-01,10,20,50,68\n")
    code, _, err = call(capsys, "heat", path, "--scale", "chu")
    assert code == 1
    assert "both there" in err


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("--scale", "chu", "--from", "2031-05-04", "--to", "2031-05-02"),
        ("--scale", "bdd"),
        ("--scale", "chu", "--from", "May"),
        ("--scale", "chu", "--gaps", "guess"),
        ("--scale", "chu", "--colour", "red"),
    ],
)
def test_heat_used_wrongly_ends_with_2_and_says_how(tmp_path, capsys, arguments):
    code, out, err = call(capsys, "heat", write(tmp_path, FIVE_DAYS), *arguments)
    assert (code, out) == (2, "")
    assert "Error" in err


def test_heat_of_no_file_ends_with_1(tmp_path, capsys):
    code, _, err = call(capsys, "heat", tmp_path / "absent.csv", "--scale", "chu")
    assert code == 1
    assert "absent.csv" in err


@pytest.mark.parametrize("suffix", ["xlsx", "parquet"])
def test_heat_reads_and_writes_spreadsheets_and_parquet(tmp_path, capsys, suffix):
    frame = polars.read_csv(FIVE_DAYS.encode(), try_parse_dates=True)
    source, target = tmp_path / f"weather.{suffix}", tmp_path / f"units.{suffix}"
    (frame.write_excel if suffix == "xlsx" else frame.write_parquet)(source)
    code, out, _ = call(capsys, "heat", source, "--scale", "chu", "--out", target)
    assert (code, out) == (0, "")
    written = polars.read_excel(target) if suffix == "xlsx" else polars.read_parquet(target)
    assert written.columns == ["date", "daily", "total"]
    assert written["total"].to_list() == [17.49, 38.055, 63.057, 64.497, 90.537]
    assert [str(day)[:10] for day in written["date"]] == [f"2031-05-0{day}" for day in range(1, 6)]


def test_heat_with_out_and_json_gives_both(tmp_path, capsys):
    path, target = write(tmp_path, FIVE_DAYS), tmp_path / "units.csv"
    code, out, _ = call(capsys, "heat", path, "--scale", "chu", "--out", target, "--json")
    answer = one_object(out)
    assert code == 0
    assert answer["scale"] == "chu"
    assert [row["total"] for row in answer["rows"]] == numbers(target.read_text(encoding="utf-8"), "total")


def test_heat_run_twice_gives_the_same_bytes_whatever_the_order_of_lines(tmp_path, capsys):
    head, *lines = FIVE_DAYS.splitlines()
    first, turned = write(tmp_path, FIVE_DAYS), write(tmp_path, "\n".join([head, *lines[::-1]]) + "\n", "turned.csv")
    results = [call(capsys, "heat", path, "--scale", "gdd_f")[1] for path in (first, first, turned)]
    assert results[0] == results[1] == results[2]


def test_heat_as_an_installed_command_reads_standard_input(tmp_path):
    command = [str(Path(sys.executable).with_name("firstsilk")), "heat", "-", "--scale", "chu"]
    done = subprocess.run(command, input=FIVE_DAYS, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("2031-05-05,26.04,90.537\n")
