"""Does the sowing calendar show every row once, under its day, on page and paper?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pypdfium2
import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.faces.paper.sowing_calendar import render_sowing_calendar
from firstsilk.science.seed.tags import print_tag, tag_for_serial
from firstsilk.work.nursery.sowing_calendar import CalendarDay, CalendarRow, SowingCalendar
from firstsilk.work.occasion import Basis
from tests.factories import make_line, make_lot, make_row, make_season, make_station, make_target, make_weather, sign_in

DAY = date(2031, 5, 12)


def make_calendar(*counts: int) -> SowingCalendar:
    days, serial = [], 0
    for step, count in enumerate(counts):
        rows = []
        for _ in range(count):
            serial += 1
            place = ((serial - 1) // 20 + 1, (serial - 1) % 20 + 1)
            tag, line = tag_for_serial(serial), f"EK{serial}"
            rows.append(CalendarRow(serial, tag, *place, line, "male", "EK-30", 24, 1, 2, False))
        days.append(CalendarDay(date(2031, 5, 28 + step) if step < 3 else date(2031, 6, step), tuple(rows)))
    return SowingCalendar("Eskerholm", "2031", "Home", tuple(days), Basis())


def read_pages(pdf: bytes) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]


def test_every_row_stands_once_under_its_day_with_all_that_is_needed():
    calendar = make_calendar(3, 40, 1, 2)
    text = "\n".join(read_pages(render_sowing_calendar(calendar, DAY)))
    assert "46 rows, 1,104 kernels, 4 days" in text
    for day in calendar.days:
        assert f"{day.day.day} {day.day:%B} 2031" in text
        for row in day.rows:
            assert text.count(print_tag(row.tag)) == 1
            assert text.count(f"{row.number:04d} ") == 1
    assert text.count("1 of 2") == 46 + 1  # each row, and the line that explains it
    assert "May 2031" in text
    assert "June 2031" in text


def test_the_same_calendar_gives_the_same_bytes():
    calendar = make_calendar(2, 1)
    assert render_sowing_calendar(calendar, DAY) == render_sowing_calendar(calendar, DAY)


def test_long_names_are_broken_and_strange_ones_refused():
    calendar = make_calendar(1)
    (day,) = calendar.days
    long = replace(day, rows=(replace(day.rows[0], line="Averylongname" * 8, lot="A lot with a long name " * 4),))
    assert render_sowing_calendar(replace(calendar, days=(long,)), DAY).startswith(b"%PDF-")
    strange = replace(day, rows=(replace(day.rows[0], line="字"),))
    with pytest.raises(InputRefused):
        render_sowing_calendar(replace(calendar, days=(strange,)), DAY)
    with pytest.raises(InputRefused, match="no sowing day"):
        render_sowing_calendar(replace(calendar, days=()), DAY)


@pytest.fixture
def station():
    made = make_station(held=date(2031, 7, 22))
    make_weather(made, 2027, date(2031, 7, 21))
    season = make_season(made)
    lots = [make_lot(make_line(made, name)) for name in ("E1", "E2")]
    target = make_target(season, 1, lots[0].line, lots[1].line)
    make_row(season, 1, lots[0].line, "female", target, lots[0])
    make_row(season, 2, lots[1].line, "male", None, lots[1], sow_on=date(2031, 5, 14))
    return made


@pytest.mark.django_db
def test_the_command_prints_the_calendar_of_the_books(station, tmp_path, capsys):
    out = tmp_path / "c.pdf"
    assert run(["sowing-calendar", "--season", "2031", "--out", str(out)]) == 0
    assert "2 rows, 48 kernels, 2 days" in "".join(read_pages(out.read_bytes()))


@pytest.mark.django_db
def test_a_season_without_rows_has_no_calendar(station, tmp_path, capsys):
    make_season(station, "2032")
    assert run(["sowing-calendar", "--season", "2032", "--out", str(tmp_path / "c.pdf")]) == 1
    assert "no row with a sowing day" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_pages_of_sowing_are_read_by_all_and_printed_by_the_crew(client, station, role):
    sign_in(client, station, role)
    answer = client.get("/nursery/sowing-dates/?season=2031")
    assert answer.status_code == 200
    assert b"1 cross" in answer.content
    assert b"E1 \xc3\x97 E2" in answer.content
    assert client.get("/nursery/sowing-calendar.pdf?season=2031").status_code == (403 if role == "cooperator" else 200)


@pytest.mark.django_db
def test_the_page_without_rows_or_weather_says_why(client, station):
    make_season(station, "2032")
    sign_in(client, station, "breeder")
    assert b"no plan is fixed" in client.get("/nursery/sowing-dates/?season=2032").content
    from firstsilk.records.models import WeatherDay

    WeatherDay.objects.all().delete()
    assert b"no whole past season" in client.get("/nursery/sowing-dates/?season=2031").content


@pytest.mark.django_db
def test_the_plan_page_takes_the_fields_limits_and_keeps_them_when_it_is_fixed(client, station):
    from firstsilk.records.models import Row
    from firstsilk.work.nursery.plan import Want, add_targets
    from tests.factories import occasion

    on = occasion(date(2031, 7, 22))
    make_season(station, "2032", sow_from=date(2032, 5, 10))
    add_targets(on, "2032", [Want("cross", "E1", "E2", ears=3), Want("self", "E2", ears=2)])
    sign_in(client, station, "breeder")
    limits = {"rows_per_day": "1", "weekdays": "mon,tue,wed,thu,fri", "closed": "2032-05-10", "male_sowings": "2"}
    shown = client.get("/nursery/plan/", {"season": "2032", **limits})
    assert shown.status_code == 200
    for name, value in limits.items():
        assert f'name="{name}" value="{value}"'.encode() in shown.content
    assert b"good ears of crosses can be expected" in shown.content
    assert client.post("/nursery/plan/?season=2032", {"fix": "1", **limits}).status_code == 302
    days = list(Row.objects.filter(season__name="2032").values_list("sow_on", flat=True))
    assert len(days) == len(set(days)) >= 3
    assert all(day.weekday() < 5 and day > date(2032, 5, 10) for day in days)


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "value"), [("closed", "someday"), ("weekdays", "moonday"), ("male_sowings", "9")])
def test_a_limit_that_cannot_be_read_is_said_on_the_page(client, station, name, value):
    from firstsilk.work.nursery.plan import Want, add_targets
    from tests.factories import occasion

    make_season(station, "2032", sow_from=date(2032, 5, 10))
    add_targets(occasion(date(2031, 7, 22)), "2032", [Want("cross", "E1", "E2")])
    sign_in(client, station, "breeder")
    shown = client.get("/nursery/plan/", {"season": "2032", name: value})
    assert shown.status_code == 200
    assert b'class="no"' in shown.content


@pytest.mark.django_db
def test_the_commands_take_the_same_limits(station, capsys):
    from firstsilk.work.nursery.plan import Want, add_targets
    from tests.factories import occasion

    make_season(station, "2032", sow_from=date(2032, 5, 10))
    # Ears for one row: one sowing of a line is on one day, on which one row can be sown.
    add_targets(occasion(date(2031, 7, 22)), "2032", [Want("cross", "E1", "E2", ears=3)])
    words = ["plan", "2032", "--sow-from", "2032-05-10", "--rows-per-day", "1", "--weekdays", "mon,wed"]
    assert run([*words, "--last-safe", "2032-05-26"]) == 0
    told = capsys.readouterr()
    assert "good ears of crosses can be expected" in told.err
    assert told.out.splitlines()[0].endswith("why,sowing,served_frac")
    assert run([*words, "--weekdays", "moonday"]) == 2
    capsys.readouterr()
    assert run(["sowing-dates", "--season", "2031"]) == 0
    told = capsys.readouterr()
    assert told.out.splitlines()[1].startswith("1,cross,E1,E2,2,4,2031-05-12,2031-05-14,")


@pytest.mark.django_db
def test_a_large_plan_is_worked_out_beside_the_pages(client, station, monkeypatch):
    from firstsilk.records.models import Job
    from firstsilk.work.nursery import kept_sowing
    from firstsilk.work.nursery.plan import Want, add_targets
    from tests.factories import occasion

    monkeypatch.setattr(kept_sowing, "MOST_CROSSES_AT_ONCE", 0)
    make_season(station, "2032", sow_from=date(2032, 5, 10))
    add_targets(occasion(date(2031, 7, 22)), "2032", [Want("cross", "E1", "E2")])
    sign_in(client, station, "breeder")
    shown = client.get("/nursery/plan/?season=2032&rows_per_day=9")
    assert b"longer than a page should" in shown.content
    assert b'name="work_out"' in shown.content
    sent = client.post("/nursery/plan/?season=2032&rows_per_day=9", {"work_out": "1"})
    job = Job.objects.get()
    assert sent.status_code == 302
    assert job.kind == "sowing_days"
    assert job.arguments["settings"]["rows_per_day"] == 9
    assert job.arguments["query"] == "season=2032&rows_per_day=9"
    sign_in(client, station, "cooperator")
    assert b'name="work_out"' not in client.get("/nursery/plan/?season=2032").content
