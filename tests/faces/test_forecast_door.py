"""Does `firstsilk forecast` give dates with their spread from plain files, and name every fault of what it is given?"""

from __future__ import annotations

from datetime import date, timedelta

import polars
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.faces.calling import call, one_object, rows_of, weather_csv, write

HEADER = "row,silk_p10,silk_p50,silk_p90,shed_p10,shed_p50,shed_p90"
ASKED = "row,sown,units_to_silk,units_to_shed"
TODAY = "2031-07-15"


def days(first_year=2018, last=date(2031, 7, 15), skip=()):
    """April to December of each year, milder in some; 15 July has 26 °C and 12 °C or so."""
    at = date(first_year, 4, 1)
    while at <= last:
        if at.month >= 4 and at not in skip:
            warmth = 10.0 * (1.0 - abs((at - date(at.year, 7, 20)).days) / 110.0)
            own = at.year * 7 % 5 * 0.4 + at.toordinal() * 11 % 13 * 0.3
            yield at, round(1.0 + warmth + own, 1), round(14.0 + warmth + own, 1)
        at += timedelta(days=1)


WEATHER = weather_csv(days())
ROWS = f"{ASKED}\nA,2031-05-12,1300,1250\nB,2031-05-19,1300,1250\n"


def ask(tmp_path, capsys, rows=ROWS, *options, weather=WEATHER, today=TODAY):
    paths = (write(tmp_path, rows, "rows.csv"), write(tmp_path, weather))
    return call(capsys, "forecast", *paths, "--today", today, *options)


def dates(row, organ):
    return [date.fromisoformat(row[f"{organ}_{share}"]) for share in ("p10", "p50", "p90")]


def test_forecast_gives_the_columns_of_the_door_in_the_order_of_the_file(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, f"{ASKED}\nZ,2031-05-19,1300,1250\nA,2031-05-12,1300,1250\n")
    assert code == 0
    assert err == ""
    assert out.splitlines()[0] == HEADER
    later, earlier = rows_of(out)
    assert (later["row"], earlier["row"]) == ("Z", "A")
    for row in (later, earlier):
        assert dates(row, "silk") == sorted(dates(row, "silk"))
        assert dates(row, "shed") < dates(row, "silk")
    assert dates(earlier, "silk") < dates(later, "silk")
    # Everything is ahead of a season that ended its file on 15 July with about 1,100 units.
    assert date(2031, 7, 15) < dates(earlier, "silk")[1] < date(2031, 8, 10)


def test_same_seed_same_bytes_another_seed_nearly_the_same_dates(tmp_path, capsys):
    first, again = ask(tmp_path, capsys)[1], ask(tmp_path, capsys)[1]
    other = ask(tmp_path, capsys, ROWS, "--seed", "2", "--draws", "400")[1]
    assert first == again
    for one, two in zip(rows_of(first), rows_of(other), strict=True):
        assert all(abs((a - b).days) <= 1 for a, b in zip(dates(one, "silk"), dates(two, "silk"), strict=True))


def test_notes_hold_and_move_the_others(tmp_path, capsys):
    noted = (
        f"{ASKED},sd_units,line,silk_seen,shed_seen,silk_not_yet,shed_not_yet\n"
        "A,2031-05-12,1300,1250,30,L1,2031-07-12,2031-07-10,2031-07-10,\n"
        "B,2031-05-12,1300,1250,30,L1,,,,\n"
        "C,2031-05-12,1300,1250,30,L2,,,2031-07-15,\n"
        "D,2031-05-12,1300,1250,30,L2,,,,\n"
    )
    rows = {row["row"]: row for row in rows_of(ask(tmp_path, capsys, noted)[1])}
    plain_text = "\n".join(line.rsplit(",", 4)[0] + ",,,," for line in noted.splitlines()[1:])
    plain = rows_of(ask(tmp_path, capsys, noted.splitlines()[0] + "\n" + plain_text + "\n")[1])[0]
    assert date(2031, 7, 11) <= dates(rows["A"], "silk")[0] <= dates(rows["A"], "silk")[2] <= date(2031, 7, 12)
    assert dates(rows["A"], "shed") == [date(2031, 7, 10)] * 3
    # B is of the line that came early; C and D share the season with it, and C is not there yet.
    assert dates(rows["B"], "silk")[1] < dates(rows["D"], "silk")[1] < dates(plain, "silk")[1]
    assert dates(rows["C"], "silk")[0] > date(2031, 7, 15)


def test_notes_after_today_are_told_and_not_used(tmp_path, capsys):
    head = f"{ASKED},silk_seen\n"
    noted = head + "A,2031-05-12,1300,1250,2031-07-20\nB,2031-05-12,1300,1250,\n"
    code, out, err = ask(tmp_path, capsys, noted)
    assert code == 0
    assert "1 note after 2031-07-15 not used" in err
    assert out == ask(tmp_path, capsys, head + "A,2031-05-12,1300,1250,\nB,2031-05-12,1300,1250,\n")[1]


def test_weather_after_today_is_not_used(tmp_path, capsys):
    longer = weather_csv([*days(), *((date(2031, 7, 16) + timedelta(days=at), 20, 35) for at in range(20))])
    assert ask(tmp_path, capsys, weather=longer)[1] == ask(tmp_path, capsys)[1]


def test_demand_goes_to_a_file_or_to_standard_output_and_adds_up(tmp_path, capsys):
    rows = f"{ASKED},pollinations\nA,2031-05-12,1300,1250,12\nB,2031-05-19,1300,1250,\nC,2031-05-19,1300,1250,0\n"
    target, table = tmp_path / "demand.csv", tmp_path / "out.csv"
    code, out, _ = ask(tmp_path, capsys, rows, "--demand", target)
    assert code == 0
    assert out.splitlines()[0] == HEADER
    found = rows_of(target.read_text(encoding="utf-8"))
    assert list(found[0]) == ["date", "p10", "p50", "p90"]
    named = [date.fromisoformat(row["date"]) for row in found]
    assert named == [named[0] + timedelta(days=at) for at in range(len(named))]
    # Twelve and one that is not written, none where none is wanted; medians of days lose what lies in their tails.
    assert 6.0 < sum(float(row["p50"]) for row in found) < 16.0
    assert all(float(row["p10"]) <= float(row["p50"]) <= float(row["p90"]) for row in found)
    code, out, _ = ask(tmp_path, capsys, rows, "--demand", "-", "--out", table)
    assert code == 0
    assert out == target.read_text(encoding="utf-8")
    assert table.read_text(encoding="utf-8").splitlines()[0] == HEADER
    # Nothing wanted, no day.
    none = f"{ASKED},pollinations\nA,2031-05-12,1300,1250,0\n"
    assert ask(tmp_path, capsys, none, "--demand", target)[0] == 0
    assert target.read_text(encoding="utf-8") == "date,p10,p50,p90\n"


def test_json_is_one_object_and_the_table_goes_to_its_file(tmp_path, capsys):
    table = tmp_path / "out.csv"
    code, out, _ = ask(tmp_path, capsys, ROWS, "--json", "--out", table)
    told = one_object(out)
    assert code == 0
    assert told["today"] == TODAY
    assert told["past_years"] == list(range(2018, 2031))
    assert told["generated_years"] == 0
    assert told["scale"] == "chu"
    assert told["steady"] is True
    assert set(told["season_later_by_days"]) == {"silk", "shed"}
    plain = ask(tmp_path, capsys)[1]
    assert table.read_text(encoding="utf-8") == plain
    assert [row["silk_p50"] for row in told["rows"]] == [row["silk_p50"] for row in rows_of(plain)]


def test_what_is_never_reached_is_empty_and_null(tmp_path, capsys):
    rows = f"{ASKED}\nA,2031-05-12,1300,1250\nB,2031-05-12,90000,89000\n"
    assert ask(tmp_path, capsys, rows)[1].splitlines()[2] == "B,,,,,,"
    told = one_object(ask(tmp_path, capsys, rows, "--json")[1])
    assert told["rows"][1]["silk_p50"] is None


def test_files_may_be_spreadsheets_parquet_and_fahrenheit(tmp_path, capsys):
    plain = ask(tmp_path, capsys)[1]
    rows, weather = write(tmp_path, ROWS, "rows.csv"), write(tmp_path, WEATHER)
    for kind in ("xlsx", "parquet"):
        pair = [tmp_path / f"{name}.{kind}" for name in ("rows", "weather")]
        for source, target in zip((rows, weather), pair, strict=True):
            frame = polars.read_csv(source, try_parse_dates=True)
            frame.write_excel(target) if kind == "xlsx" else frame.write_parquet(target)
        assert call(capsys, "forecast", *pair, "--today", TODAY)[1] == plain
        table = tmp_path / f"out.{kind}"
        assert ask(tmp_path, capsys, ROWS, "--out", table, "--demand", tmp_path / f"d.{kind}")[0] == 0
        read = polars.read_excel(table) if kind == "xlsx" else polars.read_parquet(table)
        assert [str(each) for each in read["silk_p50"]] == [row["silk_p50"] for row in rows_of(plain)]
    warm = weather_csv(((at, low * 1.8 + 32, high * 1.8 + 32) for at, low, high in days()), "date,tmin_f,tmax_f")
    assert ask(tmp_path, capsys, weather=warm)[1] == plain


def test_units_from_emergence_make_rows_later(tmp_path, capsys):
    sowing = rows_of(ask(tmp_path, capsys)[1])[0]
    code, out, _ = ask(tmp_path, capsys, ROWS, "--counted-from", "emergence")
    assert code == 0
    usual = rows_of(out)[0]
    assert dates(usual, "silk") > dates(sowing, "silk")
    more = rows_of(ask(tmp_path, capsys, ROWS, "--counted-from", "emergence", "--emergence-units", "300")[1])[0]
    assert dates(more, "silk") > dates(usual, "silk")
    none = ask(tmp_path, capsys, ROWS, "--counted-from", "emergence", "--emergence-units", "0")[1]
    assert rows_of(none)[0] == sowing
    assert "not used" in ask(tmp_path, capsys, ROWS, "--emergence-units", "300")[2]


def test_units_that_are_missing_are_taken_from_the_others_and_said(tmp_path, capsys):
    rows = f"{ASKED}\nA,2031-05-12,1300,1250\nB,2031-05-12,1320,\nC,2031-05-12,,1270\nD,2031-05-12,,\n"
    code, out, err = ask(tmp_path, capsys, rows)
    assert code == 0
    assert "no units for D" in err
    a, b, c, d = rows_of(out)
    # B lacks shed and C silk: the others' interval of 50 stands in, so both are the same but for the draws.
    for organ in ("silk", "shed"):
        assert abs((dates(b, organ)[1] - dates(c, organ)[1]).days) <= 1
    wide = [(dates(row, "silk")[2] - dates(row, "silk")[0]).days for row in (a, d)]
    assert wide[1] > wide[0]
    code, out, err = ask(tmp_path, capsys, f"{ASKED}\nA,2031-05-12,,\n")
    assert (code, out) == (1, "")
    assert "no row has units" in err


def test_silk_before_shed_is_taken_and_said(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, f"{ASKED}\nA,2031-05-12,1250,1300\n")
    assert code == 0
    assert "1 row with fewer units to silk than to shed" in err
    assert dates(rows_of(out)[0], "silk") < dates(rows_of(out)[0], "shed")


@pytest.mark.parametrize("today", ["2031-05-01", "2031-05-12", "2031-06-15"])
def test_rows_sown_after_today_have_dates_too(tmp_path, capsys, today):
    code, out, _ = ask(tmp_path, capsys, today=today)
    assert code == 0
    assert all(date(2031, 7, 1) < dates(row, "silk")[1] < date(2031, 8, 31) for row in rows_of(out))


def test_a_season_that_is_over_and_weather_that_stops_in_june(tmp_path, capsys):
    whole = weather_csv(days(last=date(2031, 12, 31)))
    code, out, _ = ask(tmp_path, capsys, weather=whole, today="2031-12-31")
    assert code == 0
    # The weather is known; what is not known is only the row.
    assert all((dates(row, "silk")[2] - dates(row, "silk")[0]).days <= 6 for row in rows_of(out))
    stopped = weather_csv(days(last=date(2031, 6, 15)))
    code, out, err = ask(tmp_path, capsys, weather=stopped)
    assert code == 0
    assert "the last reading is of 2031-06-15, 30 days before 2031-07-15" in err
    assert len(rows_of(out)) == 2


def test_few_years_are_told(tmp_path, capsys):
    code, _, err = ask(tmp_path, capsys, weather=weather_csv(days(first_year=2030)))
    assert code == 0
    assert "only 1 whole past year: the spread of the weather is uncertain" in err
    code, _, err = ask(tmp_path, capsys, weather=weather_csv(days(first_year=2026)))
    assert code == 0
    assert "only 5 whole past years: 25 generated years added" in err


def test_southern_seasons_run_over_new_year(tmp_path, capsys):
    turned = [(at + timedelta(days=184), low, high) for at, low, high in days(last=date(2031, 12, 31))]
    south = weather_csv(at for at in turned if at[0] <= date(2032, 1, 15))
    rows = f"{ASKED}\nA,2031-11-12,1300,1250\n"
    code, out, _ = ask(tmp_path, capsys, rows, weather=south, today="2032-01-15")
    assert code == 0
    assert date(2032, 1, 10) < dates(rows_of(out)[0], "silk")[1] < date(2032, 2, 28)


def test_a_site_is_named_where_there_are_several(tmp_path, capsys):
    one = [(f"home,{at}", low, high) for at, low, high in days()]
    other = [(f"tarn,{at}", low - 3, high - 3) for at, low, high in days()]
    both = weather_csv([*one, *other], "site,date,tmin_c,tmax_c")
    code, _, err = ask(tmp_path, capsys, weather=both)
    assert code == 1
    assert "Name one with --site" in err
    assert ask(tmp_path, capsys, ROWS, "--site", "home", weather=both)[1] == ask(tmp_path, capsys)[1]
    cooler = rows_of(ask(tmp_path, capsys, ROWS, "--site", "tarn", weather=both)[1])[0]
    assert dates(cooler, "silk") > dates(rows_of(ask(tmp_path, capsys)[1])[0], "silk")
    code, out, err = ask(tmp_path, capsys, ROWS, "--site", "nowhere", weather=both)
    assert (code, out) == (1, "")
    assert "there is no site 'nowhere'. Name one of: home, tarn." in err
    _, _, err = ask(tmp_path, capsys, ROWS, "--site", "nowhere")
    assert "there is no site 'nowhere'. It names none; leave --site out." in err


BAD_ROWS = {
    "a row twice": ("", "A,2031-05-12,1300,1250", "line 3", "column row", "'A'", "first on line 2"),
    "no name": ("", ",2031-05-12,1300,1250", "line 3", "column row", "the row is missing"),
    "no sowing": ("", "B,,1300,1250", "line 3", "column sown", "the sowing day is missing"),
    "no date": ("", "B,12 May,1300,1250", "line 3", "column sown", "'12 May'"),
    "no such day": ("", "B,2031-02-30,1300,1250", "line 3", "column sown", "'2031-02-30'"),
    "units beyond all": ("", "B,2031-05-12,1e308,1250", "line 3", "column units_to_silk", "'1e308'", "1,000,000"),
    "pollinations beyond all": (",pollinations", "B,2031-05-12,1300,1250,1e308", "line 3", "column pollinations"),
    "crowding beyond all": (",crowding", "B,2031-05-12,1300,1250,1e308", "line 3", "column crowding", "-10 to 10"),
    "units below 0": ("", "B,2031-05-12,-1300,1250", "line 3", "column units_to_silk", "'-1300'"),
    "units of 0": ("", "B,2031-05-12,1300,0", "line 3", "column units_to_shed", "'0'"),
    "units in words": ("", "B,2031-05-12,many,1250", "line 3", "column units_to_silk", "'many'"),
    "endless units": ("", "B,2031-05-12,inf,1250", "line 3", "column units_to_silk", "'inf'"),
    "sd below 0": (",sd_units", "B,2031-05-12,1300,1250,-2", "line 3", "column sd_units", "'-2'"),
    "ears below 0": (",pollinations", "B,2031-05-12,1300,1250,-1", "line 3", "column pollinations", "'-1'"),
    "seen before sowing": (",silk_seen", "B,2031-05-12,1300,1250,2031-05-01", "line 3", "column silk_seen", "sown on"),
    "looked before sowing": (
        ",shed_not_yet",
        "B,2031-05-12,1300,1250,2031-05-12",
        "line 3",
        "column shed_not_yet",
        "sown on 2031-05-12",
    ),
    "missing after it was seen": (
        ",silk_seen,silk_not_yet",
        "B,2031-05-12,1300,1250,2031-07-10,2031-07-12",
        "line 3",
        "column silk_not_yet",
        "'2031-07-12'",
    ),
    "another season": ("", "B,2032-05-12,1300,1250", "line 3", "column sown", "'2032-05-12'"),
}


@pytest.mark.parametrize("name", BAD_ROWS)
def test_bad_rows_are_refused_in_one_sentence_that_says_where(tmp_path, capsys, name):
    more, line, *told = BAD_ROWS[name]
    target, demand = tmp_path / "out.csv", tmp_path / "demand.csv"
    first = "A,2031-05-12,1300,1250" + "," * more.count(",")
    code, out, err = ask(tmp_path, capsys, f"{ASKED}{more}\n{first}\n{line}\n", "--out", target, "--demand", demand)
    assert (code, out) == (1, "")
    assert not target.exists()
    assert not demand.exists()
    assert len(err.splitlines()) == 1, err
    assert all(part in err for part in ("rows.csv", *told)), err


def test_all_faults_are_named_at_once_and_missing_columns_too(tmp_path, capsys):
    code, _, err = ask(tmp_path, capsys, f"{ASKED}\nA,,1300,1250\nB,2031-05-12,0,x\n")
    assert code == 1
    assert len(err.splitlines()) == 3
    code, _, err = ask(tmp_path, capsys, "row,sown,units_to_silk\nA,2031-05-12,1300\n")
    assert code == 1
    assert "'units_to_shed' is missing" in err
    code, _, err = ask(tmp_path, capsys, f"{ASKED}\n")
    assert code == 1
    assert "rows.csv" in err


BAD_WEATHER = {
    "a hole": (weather_csv(days(skip=(date(2031, 6, 3),))), TODAY, "the weather of 2031-06-03 is missing"),
    "a season that starts late": (
        weather_csv(days(skip=(date(2031, 5, 12),))),
        TODAY,
        "the weather of 2031-05-12 is missing",
    ),
    "no past year": (weather_csv(days(first_year=2031)), TODAY, "no past year"),
    "nothing yet": (WEATHER, "2017-01-01", "there is no day up to 2017-01-01"),
    "a day twice": (WEATHER + "2031-07-15,5,15\n", TODAY, "line"),
    "turned": (WEATHER.replace("2031-07-15,", "2031-07-15,30,12\n2031-07-16,"), TODAY, "tmin"),
    "words": (WEATHER + "2031-07-16,cold,15\n", TODAY, "'cold'"),
    "empty": ("date,tmin_c,tmax_c\n", TODAY, "weather.csv"),
}


@pytest.mark.parametrize("name", BAD_WEATHER)
def test_bad_weather_is_refused_and_nothing_is_written(tmp_path, capsys, name):
    weather, today, told = BAD_WEATHER[name]
    target, demand = tmp_path / "out.csv", tmp_path / "demand.csv"
    code, out, err = ask(tmp_path, capsys, ROWS, "--out", target, "--demand", demand, weather=weather, today=today)
    assert (code, out) == (1, "")
    assert not target.exists()
    assert not demand.exists()
    assert "weather.csv" in err
    assert told in err


@pytest.mark.parametrize(
    "wrong",
    [
        ("--draws", "10"),
        ("--draws", "many"),
        ("--seed", "-1"),
        ("--scale", "kelvin"),
        ("--today", "yesterday"),
        ("--emergence-units", "-3"),
        ("--counted-from", "harvest"),
        ("--demand", "-"),
    ],
)
def test_forecast_used_wrongly_ends_with_2(tmp_path, capsys, wrong):
    code, out, err = ask(tmp_path, capsys, ROWS, *wrong)
    assert (code, out) == (2, "")
    assert wrong[0] in err


def test_one_file_for_both_tables_is_refused(tmp_path, capsys):
    target = tmp_path / "out.csv"
    assert ask(tmp_path, capsys, ROWS, "--demand", target, "--out", target)[0] == 2
    assert not target.exists()
    assert ask(tmp_path, capsys, ROWS, "--demand", tmp_path / "nowhere" / "d.csv")[0] == 1


def test_a_missing_file_is_named(tmp_path, capsys):
    weather = write(tmp_path, WEATHER)
    code, out, err = call(capsys, "forecast", tmp_path / "none.csv", weather, "--today", TODAY)
    assert (code, out) == (1, "")
    assert "none.csv" in err


CELLS = st.one_of(
    st.sampled_from(
        ["", "0", "-1", "1300", "1e308", "nan", "inf", "2031-05-12", "2031-07-10", "2032-01-01", "0001-01-01"]
    ),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters='"\r\n'), max_size=6),
)
COLUMNS = [*ASKED.split(","), "sd_units", "line", "pollinations", "crowding", "silk_seen", "shed_seen", "silk_not_yet"]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.sampled_from(COLUMNS), CELLS), max_size=4))
def test_whatever_stands_in_the_cells_there_is_an_answer_or_a_sentence(tmp_path, capsys, odd):
    usual = {"row": "B", "sown": "2031-05-19", "units_to_silk": "1300", "units_to_shed": "1250"}
    second = ",".join(f'"{(usual | dict(odd)).get(column, "")}"' for column in COLUMNS)
    first = ",".join(usual.get(column, "") for column in COLUMNS).replace("B", "A")
    code, out, err = ask(tmp_path, capsys, ",".join(COLUMNS) + f"\n{first}\n{second}\n")
    assert code in (0, 1)
    assert "Traceback" not in out + err
    assert (len(out.splitlines()) == 3) if code == 0 else (out == "" and "rows.csv" in err)
