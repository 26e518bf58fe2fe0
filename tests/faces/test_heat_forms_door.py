"""Does `firstsilk heat` count by every named form and season, name what it did, and never mix units silently?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.science.climate.heat_forms import FORMS
from firstsilk.science.climate.season_rules import RULES
from tests.faces.calling import call, one_object, rows_of, weather_csv, write

FOUR_DAYS = "date,tmin_c,tmax_c\n2031-05-01,4,20\n2031-05-02,8,25\n2031-05-03,2,12\n2031-05-04,18,32\n"
BY_DAY = [form for form in FORMS if form.needs != "hours"]


def numbers(text: str, column: str) -> list[float]:
    return [float(row[column]) for row in rows_of(text)]


def three_years(**frosts: float) -> str:
    """Mild days from 1 April to 31 October of 2029 to 2031, 8 to 22 °C, but for minima on named days."""
    days = []
    for year in (2029, 2030, 2031):
        day = date(year, 4, 1)
        while day <= date(year, 10, 31):
            days.append((day, frosts.get(f"f{day:%Y%m%d}", 8.0), 22.0))
            day += timedelta(days=1)
    return weather_csv(days)


@pytest.mark.parametrize(
    ("form", "daily"),
    [
        ("clamped", [5.0, 7.5, 1.0, 14.0]),
        ("plain", [2.0, 6.5, 0.0, 15.0]),
        ("mean-clamped", [2.0, 6.5, 0.0, 15.0]),
        ("clamped-below", [5.0, 7.5, 1.0, 15.0]),
    ],
)
def test_a_named_form_gives_its_own_units(tmp_path, capsys, form, daily):
    # By hand, also in agronomy_cases.csv: 20/4, 25/8, 12/2 and 32/18 °C by the clamped, method 1 and plain forms.
    code, out, _ = call(capsys, "heat", write(tmp_path, FOUR_DAYS), "--scale", "gdd_c", "--form", form)
    assert code == 0
    assert numbers(out, "daily") == daily


def test_the_form_of_plans_keeps_the_plain_columns_and_any_other_is_named_on_every_line(tmp_path, capsys):
    path = write(tmp_path, FOUR_DAYS)
    _, plain, _ = call(capsys, "heat", path, "--scale", "gdd_c")
    _, named, _ = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "clamped")
    assert plain == named
    assert plain.splitlines()[0] == "date,daily,total"
    for form in BY_DAY:
        scale = form.scales[0]
        _, out, _ = call(capsys, "heat", path, "--scale", scale, "--form", form.name)
        if form.name in ("clamped", "ontario"):
            assert out.splitlines()[0] == "date,daily,total"
        else:
            assert {(row["scale"], row["form"]) for row in rows_of(out)} == {(scale, form.name)}


@pytest.mark.parametrize("form", BY_DAY, ids=lambda form: form.name)
def test_every_form_tells_scale_name_and_source_as_json(tmp_path, capsys, form):
    path = write(tmp_path, FOUR_DAYS)
    _, out, _ = call(capsys, "heat", path, "--scale", form.scales[-1], "--form", form.name, "--json")
    answer = one_object(out)
    assert (answer["scale"], answer["form"], answer["source"]) == (form.scales[-1], form.name, form.source)
    assert len(answer["rows"]) == 4


def test_other_limits_are_named_too_and_corn_heat_units_take_none(tmp_path, capsys):
    path = write(tmp_path, FOUR_DAYS)
    _, out, _ = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "plain", "--lower", "5")
    assert numbers(out, "daily") == [7.0, 11.5, 2.0, 20.0]
    assert {row["lower"] for row in rows_of(out)} == {"5"}
    assert call(capsys, "heat", path, "--scale", "chu", "--lower", "5")[0] == 2
    assert call(capsys, "heat", path, "--scale", "gdd_c", "--lower", "30")[0] == 2


def test_a_double_form_looks_at_the_next_day_even_beyond_the_span(tmp_path, capsys):
    path = write(tmp_path, FOUR_DAYS)
    whole = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "double-triangle")[1]
    cut = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "double-triangle", "--to", "2031-05-02")[1]
    assert numbers(cut, "daily") == numbers(whole, "daily")[:2]


HOURS = "time,temp_c\n" + "".join(
    f"2031-05-{day:02d}T{hour:02d}:00,{(4, 14, 34, 20)[hour // 6]}\n" for day in (1, 2) for hour in range(24)
)


def test_hours_are_counted_one_by_one_or_by_their_mean(tmp_path, capsys):
    path = write(tmp_path, HOURS, "hours.csv")
    # Six hours each of 4, 14, 34 and 20 °C: (0 + 4 + 20 + 10) / 4 = 8.5; the mean is 18.
    _, out, _ = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "hourly")
    assert [(row["daily"], row["form"]) for row in rows_of(out)] == [("8.5", "hourly")] * 2
    _, out, _ = call(capsys, "heat", path, "--scale", "gdd_f", "--form", "hourly-mean")
    assert numbers(out, "total") == [14.4, 28.8]


def test_a_day_with_too_few_hours_is_missing_and_named(tmp_path, capsys):
    lines = HOURS.splitlines()
    third = [line.replace("05-01", "05-03") for line in lines[1:25]]
    path = write(tmp_path, "\n".join([*lines[:41], *third]) + "\n", "hours.csv")
    code, out, err = call(capsys, "heat", path, "--scale", "gdd_c", "--form", "hourly")
    assert (code, out) == (1, "")
    assert "2031-05-02 has 16 hours" in err
    assert "the day 2031-05-02 is missing" in err
    few = write(tmp_path, "\n".join(lines[:10]) + "\n", "few.csv")
    code, _, err = call(capsys, "heat", few, "--scale", "gdd_c", "--form", "hourly")
    assert code == 1
    assert "2031-05-01 has 9 hours" in err


def test_hours_of_corn_heat_units_are_refused_with_the_reason(tmp_path, capsys):
    code, out, err = call(capsys, "heat", write(tmp_path, HOURS), "--scale", "chu", "--form", "hourly")
    assert (code, out) == (1, "")
    assert err.startswith("Corn heat units have no published hourly form")
    assert len(err.splitlines()) == 1


def test_a_season_is_counted_for_each_year_with_its_start_end_and_reason(tmp_path, capsys):
    path = write(tmp_path, three_years(f20290920=-2.0, f20300520=-5.0, f20311002=-3.5))
    _, out, err = call(capsys, "heat", path, "--scale", "gdd_c", "--season", "ontario-frost")
    ends = {(row["season"], row["starts"], row["ends"], row["ended_by"]) for row in rows_of(out)}
    # 2030 had no frost after its spring, and its readings pause for the winter on 31 October.
    assert ends == {
        ("2029", "2029-05-01", "2029-09-19", "frost"),
        ("2030", "2030-05-01", "", ""),
        ("2031", "2031-05-01", "2031-10-01", "frost"),
    }
    assert [row["date"] for row in rows_of(out) if row["season"] == "2030"][-1] == "2030-10-31"
    assert "the season 2030 is open: its readings end on 2030-10-31" in err


def test_a_season_needs_its_days_only_up_to_its_end(tmp_path, capsys):
    text = three_years(f20290920=-2.0, f20300921=-2.0, f20310922=-2.0)
    code, out, _ = call(
        capsys, "heat", write(tmp_path, text), "--scale", "gdd_c", "--season", "ontario-frost", "--json"
    )
    assert code == 0
    seasons = one_object(out)["seasons"]
    # 8/22 °C are 6 degree days: 142, 143 and 144 days from 1 May to the eve of the frost.
    assert [(one["days"], one["total"]) for one in seasons] == [(142, 852.0), (143, 858.0), (144, 864.0)]
    holed = "\n".join(line for line in text.splitlines() if not line.startswith("2030-06-1")) + "\n"
    code, _, err = call(capsys, "heat", write(tmp_path, holed), "--scale", "gdd_c", "--season", "ontario-frost")
    assert code == 1
    assert err.count("\n") == 1
    assert "the days 2030-06-10 to 2030-06-19 are missing" in err
    after = "\n".join(line for line in text.splitlines() if not line.startswith("2030-10-1")) + "\n"
    assert call(capsys, "heat", write(tmp_path, after), "--scale", "gdd_c", "--season", "ontario-frost")[0] == 0


def test_a_season_in_the_south_runs_over_the_new_year_with_its_own_autumn(tmp_path, capsys):
    days = [date(2030, 7, 1) + timedelta(days=at) for at in range(700)]
    frosts = (date(2030, 12, 20), date(2031, 4, 3))
    text = weather_csv([(day, -3.0 if day in frosts else 8.0, 22.0) for day in days])
    command = ["heat", write(tmp_path, text), "--scale", "gdd_c", "--season", "ontario-frost", "--south", "--json"]
    seasons = one_object(call(capsys, *command)[1])["seasons"]
    assert (seasons[0]["season"], seasons[0]["starts"], seasons[0]["ends"]) == (2030, "2030-11-01", "2031-04-02")
    # The frost of December is one of spring; 153 days of 6, that one too: (10 + 22) / 2 - 10.
    assert (seasons[0]["days"], seasons[0]["total"]) == (153, 918.0)
    assert (seasons[1]["starts"], seasons[1]["ends"]) == ("2031-11-01", None)


def test_a_leap_day_is_a_day_like_any_other(tmp_path, capsys):
    days = [date(2032, 2, 27) + timedelta(days=at) for at in range(4)]
    _, out, _ = call(capsys, "heat", write(tmp_path, weather_csv([(day, 8, 22) for day in days])), "--scale", "gdd_c")
    assert [row["date"][5:] for row in rows_of(out)] == ["02-27", "02-28", "02-29", "03-01"]
    assert numbers(out, "total")[-1] == 24.0


def test_weather_that_stops_in_june_leaves_an_open_season_counted_so_far(tmp_path, capsys):
    days = [date(2031, 4, 1) + timedelta(days=at) for at in range(80)]
    path = write(tmp_path, weather_csv([(day, 8, 22) for day in days]))
    code, out, err = call(capsys, "heat", path, "--scale", "gdd_c", "--season", "ontario", "--json")
    (season,) = one_object(out)["seasons"]
    assert code == 0
    assert (season["ends"], season["days"], season["total"]) == (None, 50, 300.0)
    assert "the season 2031 is open: its readings end on 2031-06-19" in err
    assert "rests on 1 year only" in err


def test_a_season_that_began_before_the_file_is_left_out_and_named(tmp_path, capsys):
    lines = three_years(f20290920=-2.0, f20300921=-2.0, f20310922=-2.0).splitlines()
    path = write(tmp_path, "\n".join([lines[0], *(line for line in lines[1:] if line > "2029-06-15")]) + "\n")
    code, out, err = call(capsys, "heat", path, "--scale", "gdd_c", "--season", "ontario-frost")
    assert code == 0
    assert {row["season"] for row in rows_of(out)} == {"2030", "2031"}
    assert "the season 2029 is left out: the file begins on 2029-06-15, after 2029-05-01" in err


def test_a_long_term_mean_of_few_years_is_said_to_be_of_few(tmp_path, capsys):
    _, _, err = call(capsys, "heat", write(tmp_path, three_years()), "--scale", "chu", "--season", "ontario")
    assert "the long-term mean rests on 3 years only" in err


def test_a_start_of_ones_own_takes_the_place_of_the_rules(tmp_path, capsys):
    path = write(tmp_path, three_years(f20290920=-2.0, f20300921=-2.0, f20310922=-2.0))
    command = ["heat", path, "--scale", "gdd_c", "--season", "prairie"]
    assert call(capsys, *command)[0] == 2
    _, out, _ = call(capsys, *command, "--season-start", "05-18")
    assert {row["starts"] for row in rows_of(out)} == {"2029-05-18", "2030-05-18", "2031-05-18"}


@pytest.mark.parametrize(
    "more",
    [
        ("--form", "mine"),
        ("--form", "ontario"),
        ("--season", "quebec"),
        ("--season-start", "05-18"),
        ("--south",),
        ("--season", "federal", "--from", "2031-05-01"),
        ("--season", "federal", "--season-start", "May"),
        ("--form", "hourly", "--gaps", "interpolate"),
    ],
)
def test_words_that_do_not_go_together_end_with_2(tmp_path, capsys, more):
    code, out, err = call(capsys, "heat", write(tmp_path, FOUR_DAYS), "--scale", "gdd_c", *more)
    assert (code, out) == (2, "")
    assert "Error" in err


def test_a_file_without_the_start_of_a_season_is_refused(tmp_path, capsys):
    code, _, err = call(capsys, "heat", write(tmp_path, FOUR_DAYS), "--scale", "gdd_c", "--season", "saskatchewan")
    assert code == 1
    assert "no season starts in this file" in err


def test_forms_and_season_rules_are_listed_with_their_sources_without_a_file(capsys):
    _, out, _ = call(capsys, "heat", "--forms")
    assert [row["form"] for row in rows_of(out)] == [form.name for form in FORMS]
    assert all(row["source"] for row in rows_of(out))
    _, out, _ = call(capsys, "heat", "--seasons")
    assert [row["season"] for row in rows_of(out)] == [rule.name for rule in RULES]
    assert all(row["source"] for row in rows_of(out))
