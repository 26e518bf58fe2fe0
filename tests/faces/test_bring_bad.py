"""Does every kind of bad cell and bad file name file, line, column, value and repair, and leave the books alone?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date

import pytest
import xlsxwriter
from django.apps import apps
from django.db.models import Model
from django.db.models.query import QuerySet

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.faces.files.station import read_station_files, read_station_folder
from firstsilk.faces.files.tables import csv_text, read_table, write_table
from firstsilk.work.bring.store import bring_station, check_against_books
from firstsilk.work.bring.tables import StationTables
from firstsilk.work.occasion import StopAsked

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Bad:
    """One fault: in `file`, `old` is written as `new`; the finding must stand at line and column and say all this."""

    code: str
    file: str
    old: str
    new: str
    line: int | None
    column: str
    value: str
    repair: str
    stops: bool = True


BAD = [
    # cells
    Bad("not_a_number", "weather.csv", "13,5.0,16.4", '13,"5,0",16.4', 3, "tmin_c", "5,0", "with a point: 5.0"),
    Bad("not_a_number", "weather.csv", "13,5.0,16.4", "13,n/a,16.4", 3, "tmin_c", "n/a", "Leave the cell empty"),
    Bad("not_a_number", "weather.csv", "16.4,2.5", "16.4,2.5 mm", 3, "rain_mm", "2.5 mm", "Write 2.5; the unit"),
    Bad("not_a_number", "lots.csv", "2030,1200,", "2030,12OO,", 2, "kernels", "12OO", "Write 1200: a letter"),
    Bad("not_a_number", "lots.csv", "2030,1200,", '2030,"1,200",', 2, "kernels", "1,200", "Write 1200, without"),
    Bad("not_a_number", "lots.csv", "1200,0.94", "1200,94%", 2, "germination", "94%", "as a share: 0.94"),
    Bad("not_a_number", "weather.csv", "13,5.0,16.4", "13,inf,16.4", 3, "tmin_c", "inf", "plain number"),
    Bad("not_whole", "rows.csv", "E2-30,male,25,", "E2-30,male,25.5,", 3, "kernels", "25.5", "Write 26"),
    Bad("not_a_date", "rows.csv", "23,,,,", "23,18.07.2031,,,", 3, "silk", "18.07.2031", "Write 2031-07-18"),
    Bad("not_a_date", "rows.csv", "23,,,,", "23,07/18/2031,,,", 3, "silk", "07/18/2031", "Write 2031-07-18"),
    Bad(
        "not_a_date", "rows.csv", "23,,,,", "23,6/7/2031,,,", 3, "silk", "6/7/2031", "2031-07-06 if the day comes first"
    ),
    Bad("not_a_date", "rows.csv", "23,,,,", "23,48046,,,", 3, "silk", "48046", "write 2031-07-17"),
    Bad("not_a_date", "rows.csv", "23,,,,", "23,2031-7-8,,,", 3, "silk", "2031-7-8", "Write 2031-07-08"),
    Bad("not_a_date", "rows.csv", "23,,,,", "23,2031-02-30,,,", 3, "silk", "2031-02-30", "year-month-day"),
    Bad("not_a_season", "rows.csv", "2031,2,2,1", "31w,2,2,1", 3, "season", "31w", "Write 2031W"),
    Bad("not_a_choice", "rows.csv", "E2-30,male", "E2-30,mael", 3, "purpose", "mael", "Did you mean 'male'?"),
    Bad("not_a_choice", "lots.csv", "bulk,rows", "bulk,unknown", 2, "origin", "unknown", "received"),
    Bad("not_a_choice", "lines.csv", "E1,line", "E1,Line", 2, "kind", "Line", "Did you mean 'line'?"),
    Bad("not_yes_or_no", "plots.csv", "E1/E2,1,7.6,7", "E1/E2,yes,7.6,7", 2, "check", "yes", "Write 1"),
    Bad("not_a_code", "sites.csv", "tarn,", "tarn end,", 3, "site", "tarn end", "Write 'tarn-end'"),
    Bad("cell_empty", "lots.csv", "bulk,rows", "bulk,", 2, "origin", "", "for example: rows"),
    Bad("too_long", "lines.csv", "S7,North", f"S7,{'N' * 41}", 2, "group", "N" * 41, "Shorten it"),
    Bad("unseen_sign", "lots.csv", "E1-30,E1", "E1\u200b-30,E1", 2, "lot", "E1\u200b-30", "Write 'E1-30'"),
    Bad("spaces_at_end", "lots.csv", "E1-30,E1,", "E1-30,E1 ,", 2, "line", "E1", "Write 'E1'", stops=False),
    # limits
    Bad("out_of_range", "lots.csv", "1200,0.94", "1200,94", 2, "germination", "94", "Write 0.94"),
    Bad("out_of_range", "weather.csv", "13,5.0,16.4", "13,-999,16.4", 3, "tmin_c", "-999", "Leave the cell empty"),
    Bad("out_of_range", "weather.csv", "16.4,2.5", "16.4,-2.5", 3, "rain_mm", "-2.5", "check the sign"),
    Bad(
        "out_of_range", "sites.csv", "50.9,-1.6", "-101.6,50.9", 3, "latitude", "-101.6", "exchanged with the longitude"
    ),
    Bad("out_of_range", "plots.csv", "3.4,22.0", "-3.4,22.0", 3, "weight_kg", "-3.4", "cannot be below 0"),
    Bad("out_of_range", "plots.csv", "3.4,22.0", "3.4,122", 3, "moisture_pct", "122", "0 to 99.99", stops=True),
    Bad("out_of_range", "plots.csv", "FIRST,tarn,2030,102", "FIRST,tarn,30,102", 3, "year", "30", "Write 2030"),
    Bad("out_of_range", "rows.csv", "E2-30,male,25,", "E2-30,male,-25,", 3, "kernels", "-25", "cannot be below 0"),
    Bad("unlikely", "plots.csv", "3.4,22.0", "3.4,6", 3, "moisture_pct", "6", "8 to 45", stops=False),
    Bad("unlikely", "plots.csv", "3.4,22.0", "3.4,0.22", 3, "moisture_pct", "0.22", "Write 22", stops=False),
    Bad("unlikely", "plots.csv", "7.6,3.4", "7.6,34", 3, "weight_kg", "34", "kg/ha, which is unlikely", stops=False),
    # weather
    Bad("tmin_above_tmax", "weather.csv", "5.0,16.4", "16.4,5.0", 3, "tmin_c", "16.4", "tmin_c 5, tmax_c 16.4"),
    Bad("day_twice", "weather.csv", "2031-05-13", "2031-05-12", 3, "date", "2031-05-12", "Remove one"),
    Bad(
        "looks_fahrenheit", "weather.csv", ",13.7,", ",56.7,", 5, "tmax_c", "56.7", "Call the columns tmin_f and tmax_f"
    ),
    Bad("site_unknown", "weather.csv", "tarn,", "tran,", 5, "site", "tran", "Did you mean 'tarn'?"),
    Bad(
        "days_missing",
        "weather.csv",
        "home,2031-05-14",
        "home,2031-05-17",
        4,
        "date",
        "2031-05-17",
        "no weather for 2031-05-14 to 2031-05-16 (3 days)",
        stops=False,
    ),
    Bad("day_left_out", "weather.csv", "5.0,16.4", ",16.4", 3, "tmin_c", "", "2031-05-13 lacks", stops=False),
    # lines
    Bad("line_twice", "lines.csv", "E2,line", "E1,line", 3, "line", "E1", "Keep one row"),
    Bad("names_alike", "lines.csv", "E2,line", "e1,line", 3, "line", "e1", "Write 'E1' if it is the same"),
    Bad("parent_has_no_row", "lines.csv", "cross,E1,E2", "cross,E1,E 2", 4, "father", "E 2", "Did you mean 'E2'?"),
    Bad("parent_has_no_row", "lines.csv", "self,E3-1,", "self,e3-1,", 6, "mother", "e3-1", "Did you mean 'E3-1'?"),
    Bad("mother_missing", "lines.csv", "self,E3-1,", "self,,", 6, "mother", "", "Name the line"),
    Bad("parent_missing", "lines.csv", "cross,E1,E2", "cross,E1,", 4, "father", "", "Name it", stops=False),
    Bad(
        "pedigree_loop",
        "lines.csv",
        "founder_inbred,,,,S7,N",
        "dh,E3-1-4,,,S7,N",
        2,
        "mother",
        "E3-1-4",
        "E1 <- E3-1-4 <- E3-1 <- E1/E2 <- E1",
    ),
    Bad(
        "generation_odd",
        "lines.csv",
        "self,E3-1,,1,S2",
        "self,E3-1,,1,S3",
        6,
        "generation",
        "S3",
        "S2 would follow",
        stops=False,
    ),
    Bad(
        "units_unusual",
        "lines.csv",
        "1290,1265",
        "690,680",
        2,
        "units_to_silk",
        "690",
        "it would be usual for gdd_c",
        stops=False,
    ),
    Bad(
        "silk_far_from_shed",
        "lines.csv",
        "1290,1265",
        "1290,265",
        2,
        "units_to_silk",
        "1290",
        "Check both",
        stops=False,
    ),
    # lots and rows
    Bad("lot_twice", "lots.csv", "E2-30,E2", "e1-30,E2", 3, "lot", "e1-30", "Keep one"),
    Bad("line_unknown", "lots.csv", "E3-30,E3-1-4", "E3-30,E3-14", 4, "line", "E3-14", "Did you mean 'E3-1-4'?"),
    Bad(
        "in_future",
        "lots.csv",
        "rows of 2030,2030,1200",
        "rows of 2030,2032,1200",
        2,
        "year",
        "2032",
        "2031",
        stops=False,
    ),
    Bad("lot_unknown", "rows.csv", "E2,E2-30", "E2,E2_30", 3, "lot", "E2_30", "Did you mean 'E2-30'?"),
    Bad("lot_of_other_line", "rows.csv", "E2,E2-30", "E2,E1-30", 3, "lot", "E1-30", "lot of line 'E1'"),
    Bad("row_twice", "rows.csv", "2031,2,2,1", "2031,1,2,1", 3, "row", "1", "in line 2"),
    Bad("place_taken", "rows.csv", "2031,2,2,1", "2031,2,1,1", 3, "field_col", "1", "row 1 (line 2) stands at"),
    Bad("before_sowing", "rows.csv", "23,,,,", "23,2031-05-01,,,", 3, "silk", "2031-05-01", "before the row was sown"),
    Bad(
        "other_season",
        "rows.csv",
        "2031-05-12,23",
        "2013-05-12,23",
        3,
        "sown",
        "2013-05-12",
        "Did you mean 2031-05-12?",
    ),
    Bad(
        "in_future",
        "rows.csv",
        "23,,,,",
        "23,2031-10-08,,,",
        3,
        "silk",
        "2031-10-08",
        "today is 2031-10-01",
        stops=False,
    ),
    Bad("more_than_stock", "rows.csv", "self,25,,", "self,155,,", 4, "kernels", "155", "which has 150", stops=False),
    Bad("more_plants_than_kernels", "rows.csv", "12,23,", "12,28,", 3, "stand", "28", "25 kernels sown", stops=False),
    # trials
    Bad("plot_twice", "plots.csv", "2030,102,", "2030,101,", 3, "plot", "101", "in line 2"),
    Bad("place_taken", "plots.csv", "102,1,1,1,2", "102,1,1,1,1", 3, "field_col", "1", "plot 101 (line 2)"),
    Bad("entry_unknown", "plots.csv", "1,2,E3-1-4", "1,2,E3-1-40", 3, "entry", "E3-1-40", "Did you mean 'E3-1-4'?"),
    Bad("trial_torn", "plots.csv", "tarn,2030,102", "home,2030,102", 3, "site", "home", "Write tarn, or name"),
    Bad(
        "check_torn",
        "plots.csv",
        "E1/E2,1,7.6,6.9",
        "E1/E2,0,7.6,6.9",
        5,
        "check",
        "0",
        "a check in line 2",
        stops=False,
    ),
    Bad(
        "yield_unknown", "plots.csv", "3.4,22.0", "3.4,", 3, "moisture_pct", "", "no yield can be reckoned", stops=False
    ),
    # the station and its sites
    Bad(
        "time_zone_unknown",
        "station.csv",
        "Etc/UTC",
        "Europe/Vienne",
        2,
        "time_zone",
        "Europe/Vienne",
        "'Europe/Vienna'",
    ),
    Bad("home_missing", "sites.csv", "240,1", "240,0", 2, "home", "", "Write 1 for the home site"),
    Bad("home_twice", "sites.csv", "310,0", "310,1", 3, "home", "1", "Write 0"),
    Bad("site_twice", "sites.csv", "tarn,", "HOME,", 3, "site", "HOME", "in line 2"),
    # columns and whole files
    Bad("column_missing", "lines.csv", "line,kind", "lien,kind", 1, "line", "lien", "Rename 'lien' to 'line'"),
    Bad("column_unknown", "weather.csv", "rain_mm", "rain", 1, "rain", "rain", "Did you mean 'rain_mm'?", stops=False),
    Bad("column_twice", "lots.csv", "origin_text", "origin", 1, "origin", "", "Rename one"),
    Bad("temperature_columns", "weather.csv", "tmax_c", "tmax_f", 1, "tmin_c", "tmin_c, tmax_f", "Keep one whole pair"),
    Bad("too_many_cells", "sites.csv", "Tarn End,", "Tarn, End,", 3, "", "0", "quotation marks"),
    Bad("file_unreadable", "lots.csv", "rows of 2030", '"rows" of 2030', 2, "", "", "Check the quotation marks"),
]


def as_bytes(files):
    return {name: text.encode() for name, text in files.items()}


def count_books():
    return {model.__name__: model.objects.count() for model in apps.get_app_config("records").get_models()}


def spoil(files, bad):
    assert bad.old in files[bad.file], "the fault must be put in somewhere"
    files[bad.file] = files[bad.file].replace(bad.old, bad.new, 1)


def find_told(findings, bad):
    """The finding of this fault; every part of it must be in its one sentence."""
    told = [one for one in findings if (one.code, one.place.line, one.place.column) == (bad.code, bad.line, bad.column)]
    assert told, [finding.as_text() for finding in findings]
    text = told[0].as_text()
    assert told[0].place.file == bad.file
    assert told[0].value == bad.value
    assert told[0].stops is bad.stops
    assert text.startswith(f"{bad.file}, line {bad.line}")
    for part in (f"column {bad.column}" if bad.column else "", repr(bad.value) if bad.value else "", bad.repair):
        assert part in text
    return told[0]


@pytest.mark.parametrize("bad", BAD, ids=[f"{bad.code}-{bad.file}-{bad.new[:24]}" for bad in BAD])
def test_a_fault_when_brought_is_named_whole_and_leaves_the_books_alone(bad, small_station, new_occasion, tmp_path):
    spoil(small_station, bad)
    for name, text in small_station.items():
        (tmp_path / name).write_bytes(text.encode())
    tables = read_station_folder(tmp_path)
    before = count_books()
    if bad.stops:
        with pytest.raises(InputRefused) as refused:
            bring_station(new_occasion, tables)
        find_told(refused.value.findings, bad)
        assert count_books() == before
    else:
        brought = bring_station(new_occasion, tables)
        find_told(brought.findings, bad)
        assert [finding for finding in brought.findings if finding.stops] == []


@pytest.mark.parametrize("bad", [bad for bad in BAD if bad.stops][::4], ids=lambda bad: f"{bad.code}-{bad.new[:24]}")
def test_a_fault_when_the_station_is_in_the_books_leaves_them_alone(bad, small_station, on):
    spoil(small_station, bad)
    before = count_books()
    with pytest.raises(InputRefused):
        bring_station(on, read_station_files(as_bytes(small_station)))
    assert count_books() == before


def test_the_kinds_of_fault_tried_are_more_than_thirty():
    assert len({bad.code for bad in BAD}) >= 30
    assert len(BAD) >= 60


def test_many_faults_at_once_are_all_named(small_station, new_occasion):
    wanted = [bad for bad in BAD if bad.code in ("not_a_date", "not_a_choice", "mother_missing", "cell_empty")]
    chosen = {bad.file + str(bad.line): bad for bad in wanted}
    for bad in chosen.values():
        spoil(small_station, bad)
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, read_station_files(as_bytes(small_station)))
    assert len(chosen) >= 4
    for bad in chosen.values():
        find_told(refused.value.findings, bad)


def test_two_loops_when_they_do_not_touch_are_both_named(small_station, new_occasion):
    small_station["lines.csv"] += "A,line,,dh,B,,,,,,,,\nB,line,,dh,A,,,,,,,,\nC,line,,dh,C,,,,,,,,\n"
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, read_station_files(as_bytes(small_station)))
    loops = [finding.message for finding in refused.value.findings if finding.code == "pedigree_loop"]
    assert len(loops) == 2
    assert "A <- B <- A" in loops[0]
    assert "C <- C" in loops[1]


def test_a_loop_through_the_books_when_brought_is_named(small_station, new_occasion, on):
    lines = "line,kind,method,mother,father\nE9,line,dh,E3-1-4,\nE1,line,,E9,\n"
    with pytest.raises(InputRefused) as refused:
        bring_station(on, read_station_files({"lines.csv": lines.encode()}))
    assert {finding.code for finding in refused.value.findings} >= {"pedigree_loop"}


FILES = [
    ("station.csv", None, "station_missing", "Add station.csv"),
    ("sites.csv", None, "sites_missing", "Add sites.csv"),
    ("station.csv", b"station,name,latitude\n", "station_missing", "Add station.csv"),
    ("lots.csv", b"", "file_unreadable", "The first line must name the columns"),
    ("lots.csv", b"lot,line\nE1,Z\xfcrich\n", "file_unreadable", "Save the file as CSV UTF-8"),
    ("lots.csv", b"PK\x03\x04\x00\x00", "file_unreadable", "Save the table as CSV UTF-8"),
    ("lots.csv", b"lot;line;kind\nE1-30;E1;bulk\n", "parted_otherwise", "Save the table as CSV with commas"),
    ("lots.xlsx", b"not a spreadsheet", "table_twice", "Keep one of lots.csv and lots.xlsx"),
]


@pytest.mark.parametrize(("file", "content", "code", "repair"), FILES)
def test_a_bad_file_when_brought_is_named_and_leaves_the_books_alone(
    file, content, code, repair, small_station, new_occasion
):
    files = as_bytes(small_station)
    files[file] = content
    if content is None:
        del files[file]
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, read_station_files(files))
    told = [finding for finding in refused.value.findings if finding.code == code]
    assert told
    assert told[0].place.file == file
    assert repair in told[0].as_text()
    assert sum(count_books().values()) == 0


def test_a_byte_that_is_not_utf8_when_brought_is_named_with_its_line(small_station, new_occasion):
    files = {**as_bytes(small_station), "lots.csv": b"lot,line\nE1,E1\nE2,Z\xfcrich\n"}
    told = [one for one in read_station_files(files).findings if one.code == "file_unreadable"]
    assert (told[0].place.file, told[0].place.line) == ("lots.csv", 3)


def test_a_table_that_cannot_be_read_when_others_name_its_rows_makes_no_further_noise(small_station, new_occasion):
    files = {**as_bytes(small_station), "lines.csv": b"\xff"}
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, read_station_files(files))
    assert [finding.code for finding in refused.value.findings] == ["file_unreadable"]


def test_a_file_that_is_no_table_when_brought_warns_and_offers_the_nearest(small_station, new_occasion):
    files = {**as_bytes(small_station), "wether.csv": b"a\n", "holiday.jpg": b"", "Lines.CSV": b"a\n"}
    del files["lines.csv"]
    files["Lines.CSV"] = small_station["lines.csv"].encode()
    brought = bring_station(new_occasion, read_station_files(files))
    told = {finding.place.file: finding for finding in brought.findings if finding.code == "file_unknown"}
    assert set(told) == {"wether.csv", "holiday.jpg"}
    assert "Did you mean weather.csv?" in told["wether.csv"].as_text()


def test_a_spreadsheet_when_a_cell_is_bad_names_it_as_a_csv_does(small_station, new_occasion, tmp_path):
    spoil(small_station, Bad("", "rows.csv", "E2-30,male", "E2-30,mael", 3, "", "", ""))
    for name, text in small_station.items():
        (tmp_path / name).write_text(text)
        table = read_table(tmp_path / name)
        (tmp_path / name).unlink()
        cells = [[row.cells[column] for column in table.columns] for row in table.rows]
        write_table((tmp_path / name).with_suffix(".xlsx"), table.columns, cells)
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, read_station_folder(tmp_path))
    bad = Bad("not_a_choice", "rows.xlsx", "", "", 3, "purpose", "mael", "Did you mean 'male'?")
    find_told(refused.value.findings, bad)
    assert sum(count_books().values()) == 0


def test_spreadsheets_when_numbers_are_numbers_bring_the_same_station_as_csv(small_station, new_occasion, on, tmp_path):
    def typed(text):
        try:
            return float(text)
        except ValueError:
            return text

    for name, text in small_station.items():
        (tmp_path / name).write_text(text)
        table = read_table(tmp_path / name)
        (tmp_path / name).unlink()
        cells = [[typed(row.cells[column]) for column in table.columns] for row in table.rows]
        write_table((tmp_path / name).with_suffix(".xlsx"), table.columns, cells)
    brought = bring_station(on, read_station_folder(tmp_path))
    assert brought.n_new == 0
    assert brought.findings == ()


def test_a_spreadsheet_when_its_dates_are_dates_is_read_as_the_days_they_show(small_station, new_occasion, tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "weather.xlsx"), {"default_date_format": "dd.mm.yyyy"}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["site", "date", "tmin_c", "tmax_c"])
        sheet.write_row(1, 0, ["home", date(2031, 5, 18), 6.5, 17])
    files = {**as_bytes(small_station), "weather.xlsx": (tmp_path / "weather.xlsx").read_bytes()}
    del files["weather.csv"]
    tables = read_station_files(files)
    assert [one.code for one in bring_station(new_occasion, tables).findings] == ["derived_by_name"]
    assert [(day.date, day.tmin_c, day.tmax_c) for day in tables.weather] == [(date(2031, 5, 18), 6.5, 17.0)]


@pytest.mark.parametrize(("owner", "method", "least"), [(QuerySet, "bulk_create", 10), (Model, "save", 6)])
def test_a_fault_at_any_step_of_storing_leaves_nothing(owner, method, least, small_station, new_occasion, monkeypatch):
    tables = read_station_files(as_bytes(small_station))
    original = getattr(owner, method)
    done, last = 0, 10**6

    def fail_after_last(self, *args, **kwargs):
        nonlocal done
        done += 1
        if done > last:
            raise OSError("the disk is full")
        return original(self, *args, **kwargs)

    with monkeypatch.context() as patch:
        patch.setattr(owner, method, fail_after_last)
        check_against_books(new_occasion, tables)
        steps = done
        assert steps >= least
        for last in range(steps):
            done = 0
            with pytest.raises(OSError, match="the disk is full"):
                bring_station(new_occasion, tables)
            assert done == last + 1
            assert sum(count_books().values()) == 0
    assert bring_station(new_occasion, tables).n_new > 0


def test_somebody_who_asks_to_stop_while_storing_leaves_nothing(small_station, new_occasion):
    heard = []

    def stop_at_rows(share, message):
        heard.append((share, message))
        if "rows" in message:
            raise StopAsked

    with pytest.raises(StopAsked):
        bring_station(new_occasion, read_station_files(as_bytes(small_station)), stop_at_rows)
    assert [share for share, _ in heard] == sorted(share for share, _ in heard)
    assert sum(count_books().values()) == 0


def test_tables_of_nothing_when_brought_ask_for_the_station(new_occasion):
    with pytest.raises(InputRefused) as refused:
        bring_station(new_occasion, StationTables(absent=("station", "sites")))
    assert {finding.code for finding in refused.value.findings} == {"station_missing", "sites_missing"}


def write_folder(folder, files):
    folder.mkdir()
    for name, text in files.items():
        (folder / name).write_bytes(text.encode())
    return str(folder)


def test_the_command_when_a_cell_is_bad_prints_each_finding_and_ends_with_one(small_station, tmp_path, capsys):
    spoil(small_station, Bad("", "lots.csv", "1200,0.94", "1200,94", 2, "", "", ""))
    spoil(small_station, Bad("", "rows.csv", "E2-30,male", "E2-30,mael", 3, "", "", ""))
    folder = write_folder(tmp_path / "mine", small_station)
    assert run(["bring", folder, "--today", "2031-10-01"]) == 1
    told = capsys.readouterr()
    warned, *stopped = told.err.splitlines()
    assert warned.startswith("warns: lines.csv, line 6, column line: by its name this is a family from plant 4 of E3-1")
    assert len(stopped) == 2
    assert stopped[0].startswith("stops: lots.csv, line 2, column germination: ")
    assert told.out == "2 findings stop, 1 warn. Nothing was written.\n"
    assert run(["bring", folder, "--json", "--today", "2031-10-01"]) == 1
    shape = json.loads(capsys.readouterr().out)
    assert shape["no"] == "error"
    assert [finding["column"] for finding in shape["findings"]] == ["line", "germination", "purpose"]
    assert sum(count_books().values()) == 0


def test_the_command_when_all_is_well_brings_the_station_and_again_changes_nothing(small_station, tmp_path, capsys):
    folder = write_folder(tmp_path / "mine", small_station)
    assert run(["bring", folder, "--check-only", "--today", "2031-10-01"]) == 0
    assert sum(count_books().values()) == 0
    assert run(["bring", folder, "--json", "--today", "2031-10-01"]) == 0
    shape = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert shape["counts"]["rows"] == {"new": 3, "added_to": 0, "there_already": 0}
    assert run(["bring", folder, "--today", "2031-10-01"]) == 0
    assert "rows                  0 new" in capsys.readouterr().out


def test_the_command_when_there_is_no_folder_says_so(tmp_path, capsys):
    assert run(["bring", str(tmp_path / "nowhere")]) == 1
    assert "there is no such folder" in capsys.readouterr().err


@pytest.mark.parametrize("flag", [[], ["--xlsx"]])
def test_blank_tables_when_written_hold_one_example_row_each_and_are_never_written_over(flag, tmp_path, capsys):
    folder = tmp_path / "blank"
    assert run(["blank-tables", str(folder), *flag]) == 0
    tables = read_station_folder(folder)
    codes = {finding.code for finding in tables.findings}
    assert codes == {"example_row"}
    assert len(tables.findings) == 7
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run(["blank-tables", str(folder)]) == 1
    assert "would be written over" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_the_example_rows_when_renamed_make_a_station_without_a_finding(new_occasion):
    from firstsilk.faces.files.station import blank_table
    from firstsilk.work.bring.layouts import LAYOUTS

    files = {}
    for layout in LAYOUTS:
        columns, example = blank_table(layout.name)
        text = csv_text(columns, [example]).replace("ESK101", "ESK102").replace("xample", "xercise")
        files[f"{layout.name}.csv"] = text.replace("2031-05-18", "2031-05-19").replace("EXAMPLE", "E").encode()
    brought = bring_station(new_occasion, read_station_files(files))
    assert brought.findings == ()
    assert brought.n_new == 12 + 5
