"""Does `firstsilk frost` give frost dates by probability, north and south, by each method?"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from datetime import date, timedelta

import polars
import pytest

from tests.faces.calling import call, one_object, rows_of, weather_csv, write


def steady_year(year: int, frosts: Sequence[date] = (), low: float = 5.0) -> list[tuple[date, object, object]]:
    """Every day of a year at one minimum, but -3 °C on the frost days."""
    every = [date(year, 1, 1) + timedelta(days=step) for step in range((date(year + 1, 1, 1) - date(year, 1, 1)).days)]
    return [(day, -3.0 if day in frosts else low, 20.0) for day in every]


AUTUMN = (251, 258, 262, 263, 266, 268, 270, 271, 275, 284)
"""Days of year with published quantiles, see tests/outside/agronomy_cases.csv (frost_pctl_*)."""


def day_in(year: int, day_of_year: int) -> date:
    return (date(2001, 1, 1) + timedelta(days=day_of_year - 1)).replace(year=year)


def years_with(days_of_year, start=2031, extra=0):
    """Whole years, one frost in each, then `extra` years without."""
    days = []
    for step, day_of_year in enumerate(days_of_year):
        days += steady_year(start + step, [day_in(start + step, day_of_year)])
    for step in range(extra):
        days += steady_year(start + len(days_of_year) + step)
    return weather_csv(days)


def of_event(text, event):
    return [row for row in rows_of(text) if row["event"] == event]


@pytest.mark.parametrize(("quantile", "p10", "p90"), [("7", 257.3, 275.9), ("6", 251.7, 283.1), ("5", 254.5, 279.5)])
def test_frost_by_percentile_gives_the_published_quantiles(tmp_path, capsys, quantile, p10, p90):
    # The ten years hold leap years, so this also shows that the day is that of a common year.
    path = write(tmp_path, years_with(AUTUMN))
    code, out, err = call(capsys, "frost", path, "--quantile", quantile, "--probability", "0.1,0.9")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == "event,probability,date_of_year,day_of_year,years,years_with_event"
    early, late = of_event(out, "first_autumn")
    assert float(early["day_of_year"]) == pytest.approx(p10, abs=0.01)
    assert float(late["day_of_year"]) == pytest.approx(p90, abs=0.01)
    assert (early["probability"], early["years"], early["years_with_event"]) == ("0.1", "10", "10")


def test_frost_names_the_nearest_date_of_a_common_year(tmp_path, capsys):
    _, out, _ = call(capsys, "frost", write(tmp_path, years_with(AUTUMN)))
    rows = of_event(out, "first_autumn")
    assert [row["probability"] for row in rows] == ["0.1", "0.5", "0.9"]
    # 257.3 is 14 September; 267 is 24 September; 275.9 is nearest to 276, 3 October.
    assert [row["date_of_year"] for row in rows] == ["09-14", "09-24", "10-03"]


def test_frost_by_a_normal_law_uses_mean_and_deviation_of_the_years(tmp_path, capsys):
    _, out, _ = call(capsys, "frost", write(tmp_path, years_with(AUTUMN)), "--method", "normal")
    expected = [266.8 + z * 9.1748 for z in (-1.2816, 0.0, 1.2816)]
    ours = [float(row["day_of_year"]) for row in of_event(out, "first_autumn")]
    assert ours == pytest.approx(expected, abs=0.002)


def test_frost_by_the_mixed_method_looks_at_the_share_of_years_with_a_frost(tmp_path, capsys):
    path = write(tmp_path, years_with(AUTUMN[:8], extra=2))
    _, out, _ = call(capsys, "frost", path, "--method", "mixed", "--probability", "0.4,0.79,0.8,0.9")
    rows = of_event(out, "first_autumn")
    assert {(row["years"], row["years_with_event"]) for row in rows} == {("10", "8")}
    assert float(rows[0]["day_of_year"]) == pytest.approx(statistics.mean(AUTUMN[:8]))
    assert float(rows[1]["day_of_year"]) > float(rows[0]["day_of_year"])
    # A chance that the share of years does not reach has no date.
    assert [(row["date_of_year"], row["day_of_year"]) for row in rows[2:]] == [("", ""), ("", "")]


def test_frost_in_spring_gives_the_chance_that_it_comes_on_or_after_the_date(tmp_path, capsys):
    spring = (100, 110, 120, 130, 140)
    path = write(tmp_path, years_with(spring))
    _, out, _ = call(capsys, "frost", path, "--probability", "0.1,0.5,0.9")
    ours = [float(row["day_of_year"]) for row in of_event(out, "last_spring")]
    assert ours == pytest.approx([136.0, 120.0, 104.0])
    _, out, _ = call(capsys, "frost", path, "--probability", "0.1,0.9", "--method", "normal")
    late, early = (float(row["day_of_year"]) for row in of_event(out, "last_spring"))
    assert late > 120.0 > early


def test_frost_takes_the_first_of_autumn_and_the_last_of_spring(tmp_path, capsys):
    frosts = [date(2031, month, day) for month, day in ((4, 1), (5, 10), (6, 30), (7, 1), (9, 20), (10, 1))]
    path = write(tmp_path, weather_csv(steady_year(2031, frosts)))
    _, out, _ = call(capsys, "frost", path, "--probability", "0.5")
    assert [(row["event"], row["date_of_year"]) for row in rows_of(out)] == [
        ("first_autumn", "07-01"),
        ("last_spring", "06-30"),
    ]


def test_frost_in_the_south_swaps_the_halves_of_the_year(tmp_path, capsys):
    frosts = [date(2031, month, day) for month, day in ((3, 20), (4, 1), (9, 20), (10, 15))]
    path = write(tmp_path, weather_csv(steady_year(2031, frosts)))
    _, out, _ = call(capsys, "frost", path, "--south", "--probability", "0.5")
    assert [(row["event"], row["date_of_year"]) for row in rows_of(out)] == [
        ("first_autumn", "03-20"),
        ("last_spring", "10-15"),
    ]


def test_frost_on_29_february_counts_as_28_february(tmp_path, capsys):
    path = write(tmp_path, weather_csv(steady_year(2032, [date(2032, 2, 29)])))
    _, out, _ = call(capsys, "frost", path, "--probability", "0.5")
    row = of_event(out, "last_spring")[0]
    assert (row["date_of_year"], row["day_of_year"]) == ("02-28", "59")


def test_frost_at_the_threshold_is_a_frost_and_just_above_it_is_none(tmp_path, capsys):
    for low, found in (("-2.0", "1"), ("-1.9", "0")):
        path = write(tmp_path, f"date,tmin_c,tmax_c\n2031-09-20,{low},9\n")
        _, out, _ = call(capsys, "frost", path)
        assert {row["years_with_event"] for row in of_event(out, "first_autumn")} == {found}


def test_frost_of_a_fahrenheit_file_meets_a_celsius_threshold_exactly(tmp_path, capsys):
    path = write(tmp_path, "date,tmin_f,tmax_f\n2031-09-20,26.6,50\n")
    _, out, _ = call(capsys, "frost", path, "--threshold", "-3")
    assert of_event(out, "first_autumn")[0]["date_of_year"] == "09-20"


def test_frost_that_never_came_has_no_date_and_is_null_in_json(tmp_path, capsys):
    path = write(tmp_path, weather_csv(steady_year(2031)))
    for method in ("percentile", "normal", "mixed"):
        _, out, _ = call(capsys, "frost", path, "--method", method, "--json")
        answer = one_object(out)
        assert answer["method"] == method
        assert {row["day_of_year"] for row in answer["rows"]} == {None}
        assert {(row["years"], row["years_with_event"]) for row in answer["rows"]} == {(1, 0)}


def test_frost_names_years_of_which_many_days_are_unknown(tmp_path, capsys):
    text = weather_csv(steady_year(2031, [date(2031, 9, 20)])) + "2032-07-01,5,20\n2032-07-02,,20\n"
    code, out, err = call(capsys, "frost", write(tmp_path, text))
    assert code == 0
    assert "first_autumn" in err
    assert "2032" in err
    assert "2031" not in err
    assert {(row["years"], row["years_with_event"]) for row in of_event(out, "first_autumn")} == {("2", "1")}
    assert {row["years"] for row in of_event(out, "last_spring")} == {"1"}


def test_frost_keeps_sites_apart(tmp_path, capsys):
    text = "site,date,tmin_c,tmax_c\nhill,2031-09-10,-3,9\nvale,2031-09-25,-3,9\nhill,2032-09-12,-3,9\n"
    _, out, _ = call(capsys, "frost", write(tmp_path, text), "--probability", "0.5")
    assert out.splitlines()[0].startswith("site,event,")
    assert [(row["site"], row["date_of_year"], row["years"]) for row in of_event(out, "first_autumn")] == [
        ("hill", "09-11", "2"),
        ("vale", "09-25", "1"),
    ]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("2031-09-20,20,10", "line 2, column tmin_c"),
        ("2031-09-20,1,10\n2031-09-20,1,10", "line 3, column date"),
        ("2031-09-20,cold,10", "line 2, column tmin_c"),
        ("20 Sept,1,10", "line 2, column date"),
        ("2031-09-20,-99,10", "line 2, column tmin_c"),
    ],
)
def test_frost_refuses_bad_weather_in_one_sentence_that_says_where(tmp_path, capsys, line, told):
    path, target = write(tmp_path, f"date,tmin_c,tmax_c\n{line}\n"), tmp_path / "out.csv"
    code, out, err = call(capsys, "frost", path, "--out", target)
    assert (code, out) == (1, "")
    assert not target.exists()
    assert err.startswith(f"weather.csv, {told}")
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ("--probability", "0"),
        ("--probability", "0.1,1.5"),
        ("--probability", "often"),
        ("--probability", "nan"),
        ("--method", "guess"),
        ("--quantile", "4"),
        ("--threshold", "cold"),
        ("--threshold", "nan"),
    ],
)
def test_frost_used_wrongly_ends_with_2(tmp_path, capsys, arguments):
    path = write(tmp_path, "date,tmin_c,tmax_c\n2031-09-20,-3,10\n")
    code, out, err = call(capsys, "frost", path, *arguments)
    assert (code, out) == (2, "")
    assert "Error" in err


@pytest.mark.parametrize("suffix", ["xlsx", "parquet"])
def test_frost_reads_and_writes_spreadsheets_and_parquet(tmp_path, capsys, suffix):
    frame = polars.read_csv(years_with(AUTUMN).encode(), try_parse_dates=True)
    source, target = tmp_path / f"weather.{suffix}", tmp_path / f"frost.{suffix}"
    (frame.write_excel if suffix == "xlsx" else frame.write_parquet)(source)
    code, out, _ = call(capsys, "frost", source, "--out", target)
    assert (code, out) == (0, "")
    written = polars.read_excel(target) if suffix == "xlsx" else polars.read_parquet(target)
    assert written["day_of_year"].to_list()[:3] == pytest.approx([257.3, 267.0, 275.9])
    assert written["date_of_year"].to_list()[:3] == ["09-14", "09-24", "10-03"]
    assert written["day_of_year"].to_list()[3:] == [None] * 3


def test_frost_run_twice_gives_the_same_bytes(tmp_path, capsys):
    path = write(tmp_path, years_with(AUTUMN))
    assert call(capsys, "frost", path, "--json") == call(capsys, "frost", path, "--json")


def test_frost_with_a_spread_keeps_the_fixed_columns_and_adds_the_band(tmp_path, capsys):
    path = write(tmp_path, years_with(AUTUMN))
    _, plain, _ = call(capsys, "frost", path)
    code, out, err = call(capsys, "frost", path, "--spread", "500")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == plain.splitlines()[0] + ",low,high,low_day_of_year,high_day_of_year,no_date"
    cut = ["\n".join(line.rsplit(",", 5)[0] for line in out.splitlines()), plain.rstrip("\n")]
    assert cut[0] == cut[1]
    for row in of_event(out, "first_autumn"):
        assert float(row["low_day_of_year"]) < float(row["day_of_year"]) < float(row["high_day_of_year"])
        assert row["low"] < row["date_of_year"] < row["high"]
        assert row["no_date"] == "0"
    assert {(row["low"], row["high"], row["no_date"]) for row in of_event(out, "last_spring")} == {("", "", "500")}


def test_frost_with_a_spread_and_a_seed_gives_the_same_bytes_and_another_seed_others(tmp_path, capsys):
    path = write(tmp_path, years_with(AUTUMN))
    asked = ("frost", path, "--spread", "100", "--method", "normal", "--json")
    assert call(capsys, *asked) == call(capsys, *asked, "--seed", "1")
    assert call(capsys, *asked)[1] != call(capsys, *asked, "--seed", "2")[1]
    answer = one_object(call(capsys, *asked)[1])
    assert (answer["spread"], answer["spread_level"], answer["seed"]) == (100, 0.8, 1)


def test_frost_with_a_spread_but_one_year_has_no_band(tmp_path, capsys):
    path = write(tmp_path, years_with(AUTUMN[:1]))
    _, out, _ = call(capsys, "frost", path, "--spread", "100")
    assert {(row["low"], row["high"], row["no_date"]) for row in rows_of(out)} == {("", "", "")}


@pytest.mark.parametrize("wrong", [("--spread", "-1"), ("--spread", "many"), ("--spread", "9", "--spread-level", "1")])
def test_frost_with_a_spread_that_cannot_be_ends_with_2(tmp_path, capsys, wrong):
    code, out, err = call(capsys, "frost", write(tmp_path, "date,tmin_c,tmax_c\n2031-09-20,-3,10\n"), *wrong)
    assert (code, out) == (2, "")
    assert "Error" in err
