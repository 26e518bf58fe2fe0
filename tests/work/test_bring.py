"""Does a brought station stand in the books as its tables say, and can it be brought again and added to?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.station import read_station_files
from firstsilk.records.models import Line, Lot, Movement, Note, Plot, PlotRecord, Row, Season, Site, Station, WeatherDay
from firstsilk.science.flowering.rows import read_row_states
from firstsilk.work.bring.store import bring_station, check_against_books
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.notes import read_notes

pytestmark = pytest.mark.django_db


def tables_of(files):
    return read_station_files({name: text.encode() for name, text in files.items()})


def counts_of(brought):
    return {counted.table: (counted.new, counted.added, counted.same) for counted in brought.counts}


def test_a_station_when_brought_stands_in_the_books_as_its_tables_say(on):
    station = Station.objects.get()
    assert (station.code, station.name, station.scale) == ("esker", "Eskerholm Growers' Cooperative", "chu")
    assert [(site.code, site.is_home) for site in Site.objects.order_by("code")] == [("home", True), ("tarn", False)]
    day = WeatherDay.objects.get(site__code="home", date=date(2031, 5, 13))
    assert (day.tmin_c, day.tmax_c, day.rain_mm, day.origin) == (5.0, 16.4, 2.5, "measured")
    grandchild = Line.objects.get(name="E3-1-4")
    assert grandchild.mother.mother.mother.name == "E1"
    assert grandchild.mother.mother.father.name == "E2"
    lot = Lot.objects.get(name="E1-30")
    assert (lot.line.name, lot.germination_frac, lot.origin) == ("E1", 0.94, "rows")
    assert len(lot.tag) == 8
    opening = Movement.objects.get(lot=lot)
    assert (opening.kernels, opening.reason, opening.moved_on) == (1200, "opening", on.today)
    assert Season.objects.get().name == "2031"


def test_what_was_seen_in_rows_when_brought_is_told_by_notes_and_the_chain_holds(on):
    row = Row.objects.get(number=1)
    state = read_row_states(read_notes(on, [row.tag]), on.today)[row.tag]
    assert (state.sown_on, state.silk_on, state.shed_on) == (date(2031, 5, 12), date(2031, 7, 26), date(2031, 7, 24))
    assert (state.stand, state.ears_picked, state.kernels) == (21, 14, 2900)
    assert Note.objects.count() == 6 + 2
    assert set(Note.objects.values_list("source", flat=True)) == {"file"}
    assert verify_chain(on).ok


def test_a_plot_when_brought_yields_what_its_weight_moisture_and_area_give(on):
    # 7.12 kg at 24.1 % on 7.6 m²: 7.12 x 75.9 / 84.5 x 10000 / 7.6, reckoned by hand.
    record = PlotRecord.objects.get(plot__number=101)
    assert record.yield_kg_ha_15_5 == pytest.approx(8414.95, abs=0.005)
    assert record.plot.trial.design == "as_brought"
    assert record.plot.trial.reps == 2
    assert record.plot.trial.plot_area_m2 == 7.6
    assert Plot.objects.filter(is_check=True).count() == 2


def test_a_folder_when_brought_twice_changes_nothing(on, small_station):
    before = {model: model.objects.count() for model in (Line, Lot, Movement, Note, Plot, PlotRecord, Row, WeatherDay)}
    brought = bring_station(on, tables_of(small_station))
    assert brought.n_new == 0
    assert counts_of(brought)["rows"] == (0, 0, 3)
    assert before == {model: model.objects.count() for model in before}


def test_a_folder_when_brought_again_by_an_occasion_without_a_station_finds_it(on, new_occasion, small_station):
    assert bring_station(new_occasion, tables_of(small_station)).n_new == 0
    assert Station.objects.count() == 1


def test_new_rows_when_brought_are_added_and_what_was_empty_is_filled(on, small_station):
    small_station["rows.csv"] = small_station["rows.csv"].replace(
        "2031,2,2,1,E2,E2-30,male,25,2031-05-12,23,,,,", "2031,2,2,1,E2,E2-30,male,25,2031-05-12,23,2031-07-29,,,"
    ) + ("2031,4,4,1,E1,E1-30,self,20,,,,,,\n")
    small_station["weather.csv"] = small_station["weather.csv"].replace("6.2,18.8,\n", "6.2,18.8,7.5\n")
    small_station["lines.csv"] += "E9,line,family,dh,E1/E2,,,DH,,0,0,,\n"
    counts = counts_of(bring_station(on, tables_of(small_station)))
    assert counts["rows"] == (1, 1, 2)
    assert counts["notes"] == (1, 0, 0)
    assert counts["weather"] == (0, 1, 3)
    assert counts["lines"] == (1, 0, 5)
    assert WeatherDay.objects.get(site__code="home", date=date(2031, 5, 14)).rain_mm == 7.5
    assert Line.objects.get(name="E9").mother.name == "E1/E2"


def test_a_later_file_alone_when_the_station_is_in_the_books_is_enough(on):
    brought = bring_station(on, tables_of({"weather.csv": "site,date,tmin_f,tmax_f\nhome,2031-05-15,41,59\n"}))
    assert counts_of(brought)["weather"] == (1, 0, 0)
    day = WeatherDay.objects.get(date=date(2031, 5, 15))
    assert (day.tmin_c, day.tmax_c) == pytest.approx((5.0, 15.0))
    assert "no table of plots" in brought.basis.as_text()


CHANGES = [
    ("station.csv", "50.4,Etc", "51.4,Etc", "latitude", "50.4"),
    ("sites.csv", "Tarn End", "Tarn Top", "name", "Tarn End"),
    ("weather.csv", "home,2031-05-13,5.0", "home,2031-05-13,5.1", "tmin_c", "5"),
    ("lines.csv", "E3-1,line,family,self,E1/E2", "E3-1,line,family,self,E1", "mother", "E1/E2"),
    ("lines.csv", "South,1,0,1330", "South,1,0,1331", "units_to_silk", "1330"),
    ("lots.csv", "2030,1200,0.94", "2030,1300,0.94", "kernels", "1200"),
    ("lots.csv", "2030,1200,0.94", "2030,1200,0.95", "germination", "0.94"),
    ("rows.csv", "2031-07-26", "2031-07-27", "silk", "2031-07-26"),
    ("rows.csv", "24,14,2900", "24,15,2900", "ears", "14"),
    ("plots.csv", "102,1,1,1,2,E3-1-4", "102,1,1,1,2,E3-1", "entry", "E3-1-4"),
    ("plots.csv", "7.6,3.4,22.0,60", "7.6,3.5,22.0,60", "weight_kg", "3.4"),
]


@pytest.mark.parametrize(("file", "old", "new", "column", "kept"), CHANGES)
def test_a_changed_row_when_brought_again_stops_and_says_what_the_books_hold(
    on, small_station, file, old, new, column, kept
):
    assert old in small_station[file]
    small_station[file] = small_station[file].replace(old, new)
    notes = Note.objects.count()
    with pytest.raises(InputRefused) as refused:
        bring_station(on, tables_of(small_station))
    found = [finding for finding in refused.value.findings if finding.code == "differs_from_books"]
    assert found
    assert (found[0].place.file, found[0].place.column) == (file, column)
    assert repr(kept) in found[0].as_text()
    assert Note.objects.count() == notes


def test_a_check_when_it_looks_against_the_books_writes_nothing(db, new_occasion, small_station):
    found = check_against_books(new_occasion, tables_of(small_station))
    assert [finding.code for finding in found] == ["derived_by_name"]
    assert Station.objects.count() == 0


def test_a_second_station_when_brought_is_kept_apart_and_warned_of(on, new_occasion, small_station):
    small_station["station.csv"] = small_station["station.csv"].replace("esker,", "other,")
    brought = bring_station(new_occasion, tables_of(small_station))
    assert [finding.code for finding in brought.findings] == ["station_new", "derived_by_name"]
    assert Line.objects.filter(name="E1").count() == 2
    assert bring_station(replace(new_occasion, station="other"), tables_of(small_station)).n_new == 0


def test_a_lot_made_from_lots_when_brought_answers_from_where(on):
    lots = "lot,line,kind,origin,origin_text,year,kernels\nE1-31,E1,blend,lots,E1-30; E2-30,2031,300\n"
    bring_station(on, tables_of({"lots.csv": lots}))
    origins = Lot.objects.get(name="E1-31").origins.select_related("parent_lot")
    assert sorted((origin.parent_lot.name, origin.share_frac) for origin in origins) == [("E1-30", 0.5), ("E2-30", 0.5)]


def test_brought_days_are_doubted_and_take_the_place_of_a_forecast(on, small_station, new_occasion):
    from firstsilk.faces.files.station import read_station_files
    from firstsilk.records.models import WeatherDay
    from firstsilk.work.bring.store import bring_station

    WeatherDay.objects.filter(date="2031-05-13", site__code="home").update(origin="forecast", tmax_c=9.0)
    small_station["weather.csv"] += "home,2031-05-15,6.0,40.5,\nhome,2031-05-16,6.1,18.2,\n"
    tables = read_station_files({name: text.encode() for name, text in small_station.items()})
    brought = bring_station(new_occasion, tables)
    (finding,) = [one for one in brought.findings if one.code == "spike"]
    assert (finding.place.file, finding.place.line, finding.stops) == ("weather.csv", 6, False)
    stored = WeatherDay.objects.get(date="2031-05-13", site__code="home")
    assert (stored.tmax_c, stored.origin) == (16.4, "measured")
