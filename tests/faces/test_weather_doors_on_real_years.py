"""Do the weather doors agree with slow plain twins on four real years of daily records?"""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest

from tests.faces.calling import call, rows_of, weather_csv, write


def seattle_days() -> list[tuple[date, float, float]]:
    """Daily minima and maxima of Seattle, 2012-2015 (the `vega_datasets` package; NOAA records)."""
    package = pytest.importorskip("vega_datasets")
    path = Path(package.__file__).parent / "_data" / "seattle-weather.csv"
    if not path.is_file():
        pytest.skip("the vega_datasets package here does not carry the Seattle series")
    with path.open(encoding="utf-8", newline="") as file:
        return [
            (date.fromisoformat(row["date"].replace("/", "-")[:10]), float(row["temp_min"]), float(row["temp_max"]))
            for row in csv.DictReader(file)
        ]


def slow_units(low: float, high: float, scale: str) -> float:
    """Heat units the long way, one day at a time."""
    if scale == "chu":
        day = 3.33 * (high - 10) - 0.084 * (high - 10) ** 2
        night = 1.8 * (low - 4.4)
        return (max(day, 0) + max(night, 0)) / 2
    if scale == "gdd_f":
        low, high = low * 9 / 5 + 32, high * 9 / 5 + 32
    base, top = (10, 30) if scale == "gdd_c" else (50, 86)
    return (sorted((base, low, top))[1] + sorted((base, high, top))[1]) / 2 - base


@pytest.mark.parametrize("scale", ["chu", "gdd_c", "gdd_f"])
def test_heat_of_four_seattle_years_agrees_with_the_slow_twin(tmp_path, capsys, scale):
    days = seattle_days()
    code, out, _ = call(capsys, "heat", write(tmp_path, weather_csv(days)), "--scale", scale)
    assert code == 0
    total = 0.0
    rows = rows_of(out)
    assert len(rows) == len(days) == 1461
    for (day, low, high), row in zip(days, rows, strict=True):
        units = slow_units(low, high, scale)
        total += units
        assert date.fromisoformat(row["date"]) == day
        assert float(row["daily"]) == pytest.approx(units, abs=1e-8)
        assert float(row["total"]) == pytest.approx(total, abs=1e-7)


def slow_quantile(values, share):
    """Quantile type 7 the long way."""
    ordered = sorted(values)
    at = share * (len(ordered) - 1)
    below = int(at)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (at - below) * (ordered[above] - ordered[below])


def test_frost_of_four_seattle_years_agrees_with_the_slow_twin(tmp_path, capsys):
    days = seattle_days()
    path = write(tmp_path, weather_csv(days))
    code, out, _ = call(capsys, "frost", path, "--threshold", "0")
    assert code == 0
    autumn, spring = {}, {}
    for day, low, _ in days:
        common = 59 if (day.month, day.day) == (2, 29) else date(2001, day.month, day.day).timetuple().tm_yday
        if low <= 0 and day.month >= 7:
            autumn.setdefault(day.year, common)
        elif low <= 0:
            spring[day.year] = common
    assert len(autumn) == len(spring) == 4
    for event, found in (("first_autumn", autumn), ("last_spring", spring)):
        for row in (row for row in rows_of(out) if row["event"] == event):
            share = float(row["probability"]) if event == "first_autumn" else 1 - float(row["probability"])
            assert float(row["day_of_year"]) == pytest.approx(slow_quantile(found.values(), share))
            assert (row["years"], row["years_with_event"]) == ("4", "4")
