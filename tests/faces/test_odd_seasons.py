"""What does each door of the season ahead do with odd weather and odd rows? As docs/odd-seasons.md says."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from firstsilk.invented.weather import SITES, InventedWeather, simulate_weather
from tests.faces.calling import call, one_object, rows_of, weather_csv, write

TODAY = date(2031, 7, 20)
LINES = "line,units_to_silk,units_to_shed\nEK201,1250,1200\nEK202,1300,1250\n"
CROSSES = "cross,female,male\na,EK201,EK202\n"
HYBRIDS = "hybrid,units_to_black_layer,units_to_silk\nESK 1,2300,1250\n"
ROWS = "row,sown,units_to_silk,units_to_shed,line\n1,2031-05-12,1250,1200,EK201\n2,2031-05-19,1300,1250,EK202\n"
Capsys = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def weather() -> InventedWeather:
    return simulate_weather(3, 2021, 2031, SITES[:1])


def _write_days(
    folder: Path, weather: InventedWeather, keep: Callable[[date], bool], shift_days: int = 0, least_c: float = -60.0
) -> Path:
    told = zip(weather.days, weather.tmin_c[0].tolist(), weather.tmax_c[0].tolist(), strict=True)
    days = [
        (day + timedelta(days=shift_days), f"{max(low, least_c):.1f}", f"{max(high, least_c):.1f}")
        for day, low, high in told
        if day <= TODAY and keep(day)
    ]
    return write(folder, weather_csv(days))


def _forecast(folder: Path, capsys: Capsys, days: Path, rows: str = ROWS, today: str = "2031-07-20") -> tuple:
    return call(capsys, "forecast", write(folder, rows, "rows.csv"), days, "--today", today)


def _nick(folder: Path, capsys: Capsys, days: Path, start: str = "2031-05-12", end: str = "2031-06-05") -> tuple:
    crosses, lines = write(folder, CROSSES, "crosses.csv"), write(folder, LINES, "lines.csv")
    return call(capsys, "nick", crosses, lines, days, "--sow-from", start, "--sow-to", end)


def _ripen(folder: Path, capsys: Capsys, days: Path, *more: str) -> tuple:
    return call(capsys, "ripen", write(folder, HYBRIDS, "hybrids.csv"), days, "--sown", "2031-05-14", *more)


def test_missing_seasons_are_left_out_and_said(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: day.year not in (2024, 2027, 2028))
    code, out, err = _forecast(tmp_path, capsys, days)
    assert code == 0
    assert "only 7 whole past years" in err
    assert all(row["silk_p50"] for row in rows_of(out))
    code, out, err = _nick(tmp_path, capsys, days)
    assert code == 0
    assert rows_of(out)[0]["years"] == "7"
    code, out, err = _ripen(tmp_path, capsys, days)
    assert code == 0
    assert rows_of(out)[0]["years"] == "7"
    assert "2024, 2027, 2028" in err


def test_a_file_of_summers_before_sowing_goes_by_past_years_alone(
    tmp_path: Path, capsys: Capsys, weather: InventedWeather
) -> None:
    summers = _write_days(tmp_path, weather, lambda day: 5 <= day.month <= 10 and day.year < 2031)
    code, out, err = _forecast(tmp_path, capsys, summers, today="2031-03-01")
    assert code == 0
    assert "there is no reading from 2031-05-12 on: the season goes by past years alone." in err
    whole = _write_days(tmp_path, weather, lambda day: day < date(2031, 3, 2))
    others = rows_of(_forecast(tmp_path, capsys, whole, today="2031-03-01")[1])
    for row, other in zip(rows_of(out), others, strict=True):
        for name in ("silk_p50", "shed_p50"):
            # Draws fall otherwise, and only whole years let further ones be generated; a season spreads by some 8 days.
            apart = date.fromisoformat(row[name]) - date.fromisoformat(other[name])
            assert abs(apart.days) <= 3
    assert _nick(tmp_path, capsys, _write_days(tmp_path, weather, lambda day: 5 <= day.month <= 10))[0] == 0


def test_one_year_is_used_and_said_to_be_little(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: day.year >= 2030)
    code, out, err = _forecast(tmp_path, capsys, days)
    assert code == 0
    assert "only 1 whole past year: the spread of the weather is uncertain" in err
    code, out, err = _nick(tmp_path, capsys, days)
    assert (code, rows_of(out)[0]["years"]) == (0, "1")
    assert "little" in err
    code, out, err = _ripen(tmp_path, capsys, days)
    assert (code, rows_of(out)[0]["years"]) == (0, "1")
    assert "only 1 year counted" in err


def test_no_past_year_is_refused_or_gives_nothing(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: day.year == 2031)
    code, out, err = _forecast(tmp_path, capsys, days)
    assert (code, out) == (1, "")
    assert "no past year" in err
    code, out, err = _nick(tmp_path, capsys, days)
    assert (code, out) == (1, "")
    assert "past year" in err
    code, out, err = _ripen(tmp_path, capsys, days)
    row = rows_of(out)[0]
    assert (code, row["years"], row["p_ripe_before_killing_frost"], row["median_black_layer_date"]) == (0, "0", "", "")


def test_southern_dates_run_over_new_year(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    """The same weather half a year later, sown half a year later, gives the same days half a year later."""
    here = _write_days(tmp_path, weather, lambda day: True)
    north = rows_of(_forecast(tmp_path, capsys, here)[1])
    south = _write_days(tmp_path, weather, lambda day: True, shift_days=-184)
    rows = ROWS.replace("2031-05-12", "2030-11-09").replace("2031-05-19", "2030-11-16")
    code, out, _ = _forecast(tmp_path, capsys, south, rows, "2031-01-17")
    assert code == 0
    for one, other in zip(north, rows_of(out), strict=True):
        moved = date.fromisoformat(other["silk_p50"]) + timedelta(days=184)
        # The generated years beside the ten own ones are others.
        assert abs((moved - date.fromisoformat(one["silk_p50"])).days) <= 1
    assert _nick(tmp_path, capsys, south, "2030-11-10", "2030-12-05")[0] == 0
    assert _ripen(tmp_path, capsys, south, "--south")[0] == 0


def test_leap_day_as_sowing_day(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: True)
    rows = "row,sown,units_to_silk,units_to_shed\n1,2028-02-29,1250,1200\n"
    code, out, _ = _forecast(tmp_path, capsys, days, rows, "2028-06-20")
    assert code == 0
    assert rows_of(out)[0]["silk_p50"].startswith("2028-0")
    assert _nick(tmp_path, capsys, days, "2028-02-29", "2028-03-20")[0] == 0


def test_a_row_sown_twice_is_refused_by_line(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: True)
    code, out, err = _forecast(tmp_path, capsys, days, ROWS.replace("\n2,", "\n1,"))
    assert (code, out) == (1, "")
    assert "rows.csv, line 3, column row" in err
    assert "there twice, first on line 2" in err


def test_a_line_never_seen_stands_at_the_mean_with_a_wide_spread(
    tmp_path: Path, capsys: Capsys, weather: InventedWeather
) -> None:
    days = _write_days(tmp_path, weather, lambda day: True)
    rows = ROWS + "3,2031-05-19,,,EK299\n"
    # Near flowering, where the weather to come no longer hides what is not known of the line.
    code, out, err = _forecast(tmp_path, capsys, days, rows, "2031-07-12")
    assert code == 0
    assert "no units for 3" in err
    spans = [(date.fromisoformat(row["silk_p90"]) - date.fromisoformat(row["silk_p10"])).days for row in rows_of(out)]
    assert spans[2] > max(spans[:2])
    write(tmp_path, "cross,female,male\na,EK201,EK299\n", "crosses.csv")
    lines = write(tmp_path, LINES, "lines.csv")
    told = ("--sow-from", "2031-05-12", "--sow-to", "2031-06-05")
    code, out, err = call(capsys, "nick", tmp_path / "crosses.csv", lines, days, *told)
    assert (code, out) == (1, "")
    assert "crosses.csv, line 2, column male" in err
    assert "EK299" in err


def test_silk_before_shed_is_taken_as_it_stands(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    days = _write_days(tmp_path, weather, lambda day: True)
    code, out, err = _forecast(tmp_path, capsys, days, ROWS.replace("1250,1200", "1200,1260"), "2031-06-20")
    assert code == 0
    assert "1 row with fewer units to silk than to shed" in err
    row = rows_of(out)[0]
    assert row["silk_p50"] < row["shed_p50"]


def test_a_frost_free_site_has_no_frost_date_and_ripens_by_its_units(
    tmp_path: Path, capsys: Capsys, weather: InventedWeather
) -> None:
    days = _write_days(tmp_path, weather, lambda day: True, least_c=4.0)
    code, out, _ = call(capsys, "frost", days)
    assert code == 0
    first = [row for row in rows_of(out) if row["event"] == "first_autumn"]
    assert {(row["date_of_year"], row["years_with_event"]) for row in first} == {("", "0")}
    code, out, _ = call(
        capsys, "ripen", write(tmp_path, HYBRIDS, "hybrids.csv"), days, "--sown", "2031-05-14", "--json"
    )
    assert code == 0
    row = one_object(out)["rows"][0]
    # Eight of ten years gather the units before the year ends; where it freezes, two do so in time.
    assert row["p_ripe_before_killing_frost"] == 0.8
    assert row["moisture_at_frost_pct"] is None


def test_weather_that_stops_in_june(tmp_path: Path, capsys: Capsys, weather: InventedWeather) -> None:
    """This year's: the age is said and the ensemble goes on from there, wider. Past years': they are no whole years."""
    whole = rows_of(_forecast(tmp_path, capsys, _write_days(tmp_path, weather, lambda day: True))[1])
    days = _write_days(tmp_path, weather, lambda day: day <= date(2031, 6, 12))
    code, out, err = _forecast(tmp_path, capsys, days)
    assert code == 0
    assert "the last reading is of 2031-06-12, 38 days before 2031-07-20" in err
    for known, guessed in zip(whole, rows_of(out), strict=True):
        assert guessed["silk_p10"] <= known["silk_p10"]
        assert guessed["silk_p90"] >= known["silk_p90"]
    past = _write_days(tmp_path, weather, lambda day: day.year == 2031 or (day.month, day.day) <= (6, 12))
    assert _forecast(tmp_path, capsys, past)[0] == 1
    assert _nick(tmp_path, capsys, past)[0] == 1
    code, out, err = _ripen(tmp_path, capsys, past)
    assert (code, rows_of(out)[0]["years"]) == (0, "0")
