"""Do the climate page and its commands show the season, and do they take weather whole or not at all?"""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.command.main import run
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.work.accounts import add_account

PASSWORD = "long enough for a test"  # one for all accounts of these tests
PAGE = "/climate/"


@pytest.fixture
def season(on):
    """The small station with ten past years and this season up to 24 September, warmer than the middle year."""
    home = Site.objects.get(code="home")
    WeatherDay.objects.all().delete()
    for year in range(2021, 2032):
        warmer = 8.5 if year == 2031 else year - 2020.0
        first, last = date(year, 4, 1), date(year, 9, 24) if year == 2031 else date(year, 11, 15)
        days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
        WeatherDay.objects.bulk_create(
            WeatherDay(
                station=home.station,
                site=home,
                date=day,
                tmin_c=-3.0 if day.month in (4, 10, 11) else 8.0,
                tmax_c=14.0 + warmer,
            )
            for day in days
        )
    return on


@pytest.fixture(autouse=True)
def _static_folder(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path


@pytest.fixture
def sign_in(on, client):
    def as_role(role):
        add_account(on, role, PASSWORD, role)
        assert client.login(username=role, password=PASSWORD)
        return client

    return as_role


def seen_on(on) -> str:
    return f"{PAGE}?day={on.today}"


def send(client, on, text, name="days.csv", site="home"):
    return client.post(seen_on(on), {"site": site, "file": SimpleUploadedFile(name, text.encode())})


def test_the_page_without_sign_in_leads_to_the_sign_in(on, client):
    answer = client.get(PAGE)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


def test_the_page_shows_the_season_in_sentences_a_picture_its_table_and_what_it_rests_on(season, sign_in):
    text = sign_in("cooperator").get(seen_on(season)).content.decode()
    assert "than the middle of 10 past years by that date" in text
    assert "days ahead" in text
    assert '<figure class="chart" role="img" aria-label="Eskerholm home fields had' in text
    assert "The same as a table, week by week" in text
    assert "24 Sep (last counted)" in text
    assert "Rests on 147 days of this season" in text
    assert "Last reading 7 days old (24 September 2031): Eskerholm home fields." in text


def test_the_page_shows_frost_dates_and_that_none_came_yet(season, sign_in):
    text = sign_in("cooperator").get(seen_on(season)).content.decode()
    # Every past year froze first on 1 October and last on 30 April.
    assert "<td>1 Oct</td><td>1 Oct</td><td>1 Oct</td><td>10 of 10</td><td>not yet</td>" in text
    assert "<td>30 Apr</td><td>30 Apr</td><td>30 Apr</td><td>10 of 10</td><td>30 Apr</td>" in text


def test_the_page_of_a_site_without_weather_says_so(season, sign_in):
    text = sign_in("cooperator").get(f"{seen_on(season)}&site=tarn").content.decode()
    assert "No reading is in the books: Tarn End." in text


def test_the_page_of_an_unknown_site_is_a_clear_no(season, sign_in):
    answer = sign_in("cooperator").get(f"{PAGE}?site=nowhere")
    assert answer.status_code == 422
    assert "There is no site &#x27;nowhere&#x27;" in answer.content.decode()


@pytest.mark.parametrize(
    ("role", "status"), [("breeder", 302), ("technician", 302), ("crew_leader", 403), ("cooperator", 403)]
)
def test_weather_may_be_added_by_the_desk_alone(season, sign_in, role, status):
    client = sign_in(role)
    assert ("Add weather" in client.get(seen_on(season)).content.decode()) == (status == 302)
    assert send(client, season, "date,tmin_c,tmax_c\n2031-09-25,8,20\n").status_code == status
    assert WeatherDay.objects.filter(date=date(2031, 9, 25)).exists() == (status == 302)


def test_weather_when_added_is_told_with_the_hole_it_leaves(season, sign_in):
    client = sign_in("technician")
    send(client, season, "date,tmin_c,tmax_c\n2031-09-24,8,22.5\n2031-09-27,8,20\n")
    text = client.get(seen_on(season)).content.decode()
    assert "Eskerholm home fields: 1 day added, 1 there already." in text
    assert "2031-09-25 to 2031-09-26 are missing" in text


def test_a_bad_file_when_sent_shows_every_finding_and_changes_nothing(season, sign_in):
    before = WeatherDay.objects.count()
    answer = send(
        sign_in("technician"), season, "date,tmin_c,tmax_c\n2031-09-25,8,20\n2031-09-24,8,3O\n2031-09-26,22,20\n"
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Nothing was added." in text
    assert "2 findings" in text
    assert "<code>3O</code>" in text
    assert "days.csv" in text
    assert "the minimum is above the maximum" in text
    assert WeatherDay.objects.count() == before


def test_another_value_for_a_day_in_the_books_when_sent_is_shown_with_its_line(season, sign_in):
    answer = send(sign_in("technician"), season, "date,tmin_c,tmax_c\n2031-09-25,8,20\n2031-09-24,8,20\n")
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "the books hold another value for 2031-09-24 at Eskerholm home fields: 22.5" in text
    assert '<td class="n">3</td><td>tmax_c</td><td><code>20</code></td>' in text
    assert not WeatherDay.objects.filter(date=date(2031, 9, 25)).exists()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xff\xfe\x00bad", "not UTF-8"),
        (b"", "empty"),
        (b"day,low\n1,2\n", "column &#x27;date&#x27; is missing"),
    ],
)
def test_a_file_that_is_no_table_when_sent_is_a_clear_no(season, sign_in, content, told):
    answer = sign_in("technician").post(PAGE, {"site": "home", "file": SimpleUploadedFile("x.csv", content)})
    assert answer.status_code == 422
    assert told in answer.content.decode()


def test_no_file_when_sent_is_a_clear_no(season, sign_in):
    answer = sign_in("technician").post(PAGE, {"site": "home"})
    assert answer.status_code == 422
    assert "No file was chosen." in answer.content.decode()


def test_the_page_asks_the_books_as_often_for_ten_sites_as_for_two(season, sign_in):
    client = sign_in("cooperator")
    client.get(seen_on(season))
    with CaptureQueriesContext(connection) as two:
        client.get(seen_on(season))
    station = Station.objects.get()
    Site.objects.bulk_create(
        Site(station=station, code=f"s{number}", name=f"S{number}", latitude=50, longitude=0) for number in range(8)
    )
    with CaptureQueriesContext(connection) as ten:
        client.get(seen_on(season))
    assert len(ten) == len(two)


def test_the_command_season_says_what_the_page_says(season, capsys):
    assert run(["season", "--today", "2031-10-01"]) == 0
    said = capsys.readouterr().out
    assert "than the middle of 10 past years by that date" in said
    assert "the last reading is 7 days old (24 Sep 2031)" in said
    assert run(["season", "--today", "2031-10-01", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["counted_to"], told["years"], told["scale"]) == ("2031-09-24", 10, "chu")
    assert told["rows"][0]["date"] == "2031-05-01"


def test_the_command_weather_adds_days_once_and_refuses_a_change(season, capsys, tmp_path):
    file = tmp_path / "days.csv"
    file.write_text("site,date,tmin_f,tmax_f\nhome,2031-09-25,46.4,68\ntarn,2031-09-25,44.6,64.4\n")
    assert run(["weather", str(file), "--today", "2031-10-01"]) == 0
    assert "1 day added" in capsys.readouterr().out
    assert WeatherDay.objects.get(site__code="tarn", date=date(2031, 9, 25)).tmax_c == pytest.approx(18.0)
    assert run(["weather", str(file), "--today", "2031-10-01"]) == 0
    assert "0 days added, 1 there already" in capsys.readouterr().out
    file.write_text("site,date,tmin_f,tmax_f\nhome,2031-09-25,46.4,70\n")
    assert run(["weather", str(file), "--today", "2031-10-01"]) == 1
    assert "days.csv, line 2, column tmax_c" in capsys.readouterr().err
