"""Does `firstsilk weather` take days, hours and forecasts in, tell them apart, and say what it doubts?"""

from __future__ import annotations

import json

import pytest

from firstsilk.faces.command.main import run
from firstsilk.faces.files.tables import write_table
from firstsilk.invented.weather import simulate_weather
from firstsilk.records.models import WeatherDay, WeatherHour

pytestmark = pytest.mark.django_db

TODAY = "--today=2031-10-01"


def write(folder, text: str, name: str = "weather.csv") -> str:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def hours_csv(header: str, line: str, days=(12,), hours=range(24)) -> str:
    rows = [line.format(day=day, hour=hour, temp=50 + hour) for day in days for hour in hours]
    return "\n".join([header, *rows]) + "\n"


def test_icasa_names_and_several_sites(on, tmp_path, capsys):
    text = "site,W_DATE,TMAX,TMIN,RAIN\nhome,2031-06-01,20,8,1.5\ntarn,2031-06-01,18,7,\n"
    assert run(["weather", write(tmp_path, text), TODAY]) == 0
    assert "Eskerholm home fields: 1 day added" in capsys.readouterr().out
    assert WeatherDay.objects.get(site__code="tarn", date="2031-06-01").tmax_c == 18.0


@pytest.mark.parametrize(
    ("header", "line"),
    [
        ("time,temp_f,rh_pct,rain_mm", "2031-06-{day:02d}T{hour:02d}:00,{temp},80,0.1"),
        ("date,hour,temp_f,rh_pct", "2031-06-{day:02d},{hour},{temp},80"),
        ("site,time,temp_f,rh_pct", "home,2031-06-{day:02d} {hour:02d}:00:00,{temp},80"),
    ],
)
def test_hours_in_fahrenheit_are_found_by_their_columns(on, tmp_path, capsys, header, line):
    assert run(["weather", write(tmp_path, hours_csv(header, line)), TODAY, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["kind"] == "hours"
    assert (told["sites"][0]["hours_added"], told["sites"][0]["days"]["added"]) == (24, 1)
    hour = WeatherHour.objects.get(hour=9, date="2031-06-12")
    assert (hour.temp_c, hour.rh_pct) == (15.0, 80.0)
    day = WeatherDay.objects.get(date="2031-06-12")
    assert (day.tmin_c, day.tmax_c) == (10.0, 22.78)


def test_a_day_with_23_hours_is_named(on, tmp_path, capsys):
    text = hours_csv("time,temp_f", "2031-06-{day:02d}T{hour:02d}:00,{temp}", hours=range(1, 24))
    assert run(["weather", write(tmp_path, text), TODAY, "--hourly"]) == 0
    told = capsys.readouterr()
    assert "line 2: 2031-06-12 has 23 of 24 hours at Eskerholm home fields; its day is not made yet" in told.err
    assert "23 hours added, 0 days made of them" in told.out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,hour,temp_c\n2031-06-12,24,10\n", "line 2, column hour: an hour is 0 to 23"),
        ("date,hour,temp_c\n,3,10\n", "line 2, column date: the date is missing"),
        ("time,temp_c,rh_pct\n2031-06-12T03:00,10,101\n", "column rh_pct: relative humidity lies between 0 and 100"),
        ("time,temp_c\n2031-06-12T03:00,70\n", "column temp_c: no such air temperature"),
        ("time,temp_c,temp_f\n2031-06-12T03:00,10,50\n", "column temp_f: columns 'temp_c' and 'temp_f' are both there"),
        ("hour,temp_c\n3,10\n", "column 'date' is missing"),
        ("time,temp_c\nnoon,10\n", "column time: this is not a time"),
    ],
)
def test_bad_hours_are_named(on, tmp_path, capsys, text, said):
    assert run(["weather", write(tmp_path, text), TODAY]) == 1
    assert said in capsys.readouterr().err
    assert not WeatherHour.objects.exists()


def test_swapped_columns_are_told_once(on, tmp_path, capsys):
    rows = "".join(f"2031-06-{day:02d},20,{day / 2}\n" for day in range(1, 11))
    assert run(["weather", write(tmp_path, "date,tmin_c,tmax_c\n" + rows), TODAY]) == 1
    told = capsys.readouterr().err
    assert "the minimum is above the maximum on 10 of 10 days: the columns are swapped" in told
    assert len(told.strip().splitlines()) == 1


def test_a_forecast_is_stored_as_one(on, tmp_path, capsys):
    rows = "".join(f"2031-10-{day:02d},3,{12 + day}\n" for day in range(1, 6))
    path = write(tmp_path, "date,tmin_c,tmax_c\n" + rows)
    assert run(["weather", path, TODAY]) == 1
    assert "has not come yet" in capsys.readouterr().err
    assert run(["weather", path, TODAY, "--forecast"]) == 0
    assert (
        "4 days of forecast (2031-10-02 to 2031-10-05); 1 not after today, or measured, were passed over"
        in capsys.readouterr().out
    )
    assert WeatherDay.objects.filter(origin="forecast").count() == 4
    hours = write(tmp_path, hours_csv("time,temp_c", "2031-10-{day:02d}T{hour:02d}:00,9", days=(2,)), "h.csv")
    assert run(["weather", hours, TODAY, "--forecast"]) == 1
    assert "A forecast is taken by days" in capsys.readouterr().err


def test_holes_are_filled_when_asked(on, tmp_path, capsys):
    path = write(tmp_path, "date,tmin_c,tmax_c\n2031-06-01,8,20\n2031-06-03,10,24\n2031-06-04,11,22\n")
    assert run(["weather", path, TODAY]) == 0
    assert "2031-06-02 is missing" in capsys.readouterr().err
    assert run(["weather", path, TODAY, "--fill"]) == 0
    assert "1 filled in short holes, as asked" in capsys.readouterr().out
    filled = WeatherDay.objects.get(origin="filled", date="2031-06-02")
    assert (filled.tmin_c, filled.tmax_c) == (9.0, 22.0)


def test_fahrenheit_in_a_celsius_column_stops_until_kept(on, tmp_path, capsys):
    rows = "".join(f"2031-04-{day:02d},{36 + day % 5},{50 + day % 7}\n" for day in range(1, 31))
    path = write(tmp_path, "date,tmin_c,tmax_c\n" + rows)
    assert run(["weather", path, TODAY]) == 1
    told = capsys.readouterr().err
    assert "weather.csv, line 2: 2031-04-01 to 2031-04-30 looks like °F in a column of °C" in told
    assert "Name the columns tmin_f and tmax_f" in told
    assert run(["weather", path, TODAY, "--keep-doubts"]) == 0
    assert "warns:" in capsys.readouterr().err
    assert WeatherDay.objects.filter(date__month=4).count() == 30


def test_generated_years_are_written_the_same_each_time_and_called_generated(on, tmp_path, capsys):
    world = simulate_weather(2, 2029, 2030)
    rows = "".join(
        f"{day},{low},{high},{rain}\n"
        for day, low, high, rain in zip(world.days, world.tmin_c[0], world.tmax_c[0], world.rain_mm[0], strict=True)
    )
    assert run(["weather", write(tmp_path, "date,tmin_c,tmax_c,rain_mm\n" + rows), TODAY]) == 0
    out = [tmp_path / name for name in ("a.csv", "b.csv", "c.csv")]
    for path, seed in zip(out, ("4", "4", "5"), strict=True):
        assert run(["weather-years", "--years", "3", "--seed", seed, TODAY, "--out", str(path)]) == 0
    assert "generated, not measured" in capsys.readouterr().err
    first, again, other = (path.read_text(encoding="utf-8") for path in out)
    assert first == again != other
    lines = first.splitlines()
    assert (lines[0], len(lines)) == ("year,date,tmin_c,tmax_c,rain_mm", 1 + 3 * 365)
    assert run(["weather-years", "--site", "tarn", TODAY]) == 1
    assert "a weather generator needs 150" in capsys.readouterr().err


@pytest.mark.parametrize("suffix", [".xlsx", ".parquet"])
def test_hours_and_days_are_read_from_other_kinds_of_file(on, tmp_path, capsys, suffix):
    hours = [[f"2031-06-12T{hour:02d}:00", 8.0 + hour / 4, 80.0] for hour in range(24)]
    write_table(tmp_path / f"h{suffix}", ("time", "temp_c", "rh_pct"), hours)
    assert run(["weather", str(tmp_path / f"h{suffix}"), TODAY]) == 0
    assert "24 hours added, 1 day made of them" in capsys.readouterr().out
    days = [[f"2031-06-{day:02d}", 8.0, 20.5, 1.0] for day in (13, 14)]
    write_table(tmp_path / f"d{suffix}", ("W_DATE", "TMIN", "TMAX", "RAIN"), days)
    assert run(["weather", str(tmp_path / f"d{suffix}"), TODAY]) == 0
    assert "2 days added" in capsys.readouterr().out
