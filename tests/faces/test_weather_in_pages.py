"""Can the desk send hours, forecasts and doubted days, and set from where weather comes by itself?"""

from __future__ import annotations

import os
import subprocess
import sys
import time

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import WeatherDay, WeatherFeed, WeatherHour
from firstsilk.work.accounts import add_account
from firstsilk.work.climate.feeds import Look, add_feed, note_look
from tests.small_station import SMALL_STATION

pytestmark = pytest.mark.django_db
PASSWORD = "long enough for a test"  # one for all accounts of these tests
PAGE, FEEDS = "/climate/", "/climate/feeds/"
DAY = "?day=2031-10-01"


@pytest.fixture
def sign_in(on, client, settings, tmp_path):
    settings.STATIC_ROOT = tmp_path

    def as_role(role):
        add_account(on, role, PASSWORD, role)
        assert client.login(username=role, password=PASSWORD)
        return client

    return as_role


def send(client, text: str, **ticks: str):
    file = SimpleUploadedFile("sent.csv", text.encode())
    return client.post(f"{PAGE}{DAY}", {"site": "home", "file": file, **ticks})


def test_hours_sent_at_the_desk_make_a_day(on, sign_in):
    client = sign_in("technician")
    rows = "".join(f"2031-06-12,{hour},{10 + hour / 2},80\n" for hour in range(24))
    assert send(client, "date,hour,temp_c,rh_pct\n" + rows).status_code == 302
    text = client.get(f"{PAGE}{DAY}").content.decode()
    assert "24 hours added, 1 day made of them" in text
    assert WeatherHour.objects.count() == 24
    assert WeatherDay.objects.get(date="2031-06-12").tmax_c == 21.5


def test_a_forecast_is_dashed_and_said(on, sign_in):
    client = sign_in("breeder")
    may = "".join(f"2031-05-{day:02d},8,20\n" for day in range(1, 12))
    assert send(client, "date,tmin_c,tmax_c\n" + may).status_code == 302
    answer = client.post(
        f"{PAGE}?day=2031-05-14",
        {
            "site": "home",
            "forecast": "on",
            "file": SimpleUploadedFile("f.csv", b"date,tmin_c,tmax_c\n2031-05-15,9,21\n2031-05-16,9,22\n"),
        },
    )
    assert answer.status_code == 302
    text = client.get(f"{PAGE}?day=2031-05-14").content.decode()
    assert "2 days of forecast (2031-05-15 to 2031-05-16)" in text
    assert "Forecast, not measured:" in text
    assert "<caption>Forecast, not measured</caption>" in text
    assert 'stroke-dasharray="3,3"' in text


def test_doubted_days_stop_until_they_are_kept(on, sign_in):
    client = sign_in("technician")
    rows = "".join(f"2031-04-{day:02d},{36 + day % 5},{50 + day % 7}\n" for day in range(1, 31))
    answer = send(client, "date,tmin_c,tmax_c\n" + rows)
    assert answer.status_code == 422
    assert "looks like °F in a column of °C" in answer.content.decode()
    assert not WeatherDay.objects.filter(date__month=4).exists()
    assert send(client, "date,tmin_c,tmax_c\n" + rows, keep_doubts="on").status_code == 302
    assert WeatherDay.objects.filter(date__month=4).count() == 30


def test_holes_are_filled_with_a_tick(on, sign_in):
    client = sign_in("technician")
    text = "date,tmin_c,tmax_c\n2031-06-01,8,20\n2031-06-03,10,24\n"
    send(client, text)
    assert not WeatherDay.objects.filter(origin="filled").exists()
    send(client, text, fill="on")
    assert WeatherDay.objects.get(origin="filled").tmin_c == 9.0


@pytest.mark.parametrize(("role", "status"), [("breeder", 200), ("technician", 200), ("crew_leader", 403)])
def test_the_desk_alone_sees_where_weather_comes_from(on, sign_in, role, status):
    client = sign_in(role)
    assert client.get(FEEDS).status_code == status
    sent = client.post(FEEDS, {"do": "add", "site": "home", "place": "https://weather.example/d.csv?key=s3cret"})
    assert (sent.status_code == 302) == (status == 200)
    assert WeatherFeed.objects.exists() == (status == 200)
    if status == 200:
        text = client.get(FEEDS).content.decode()
        assert "https://weather.example/d.csv?…" in text
        assert "s3cret" not in text


def test_a_feed_is_stopped_started_and_looked_at(on, sign_in):
    client = sign_in("technician")
    client.post(FEEDS, {"do": "add", "site": "tarn", "place": "https://weather.example/d.csv"})
    feed = WeatherFeed.objects.get()
    assert (feed.site.code, feed.set_by) == ("tarn", "technician")
    client.post(FEEDS, {"do": "stop", "feed": str(feed.pk)})
    assert not WeatherFeed.objects.get().is_on
    assert client.post(FEEDS, {"do": "look", "feed": str(feed.pk)}).status_code == 422
    client.post(FEEDS, {"do": "start", "feed": str(feed.pk)})
    assert WeatherFeed.objects.get().is_on
    assert client.post(FEEDS, {"do": "look", "feed": str(feed.pk)}).status_code == 302
    for bad in ({"do": "stop", "feed": "9999"}, {"do": "stop", "feed": "x"}, {"do": "dance", "feed": "1"}, {}):
        assert client.post(FEEDS, bad).status_code == 422


@pytest.mark.parametrize(
    "place", ["/etc", "file:///etc/passwd", "http://me:pw@host/", "", "x" * 600, "https://h/" + "x" * 600]
)
def test_a_place_that_may_not_be_is_a_clear_no(on, sign_in, place):
    answer = sign_in("breeder").post(FEEDS, {"do": "add", "site": "home", "place": place})
    assert answer.status_code == 422
    assert "Nothing was changed." in answer.content.decode()
    assert not WeatherFeed.objects.exists()


def test_a_place_that_failed_is_among_what_needs_doing(on, sign_in):
    client = sign_in("technician")
    assert "places of weather that failed" not in client.get("/").content.decode()
    feed = add_feed(on, "home", "address", "https://weather.example/d.csv")
    note_look(feed, on.now, Look("The address answered with 404.", failed=True))
    text = client.get("/").content.decode()
    assert "places of weather that failed" in text
    assert 'href="/climate/feeds/"' in text


def test_as_many_queries_for_one_feed_as_for_ten(on, sign_in):
    client = sign_in("breeder")
    counts = []
    for number in range(10):
        add_feed(on, "home", "address", f"https://weather.example/{number}.csv")
        if number in (0, 9):
            with CaptureQueriesContext(
                connection,
            ) as queries:
                assert client.get(FEEDS).status_code == 200
            counts.append(len(queries))
    assert counts[0] == counts[1]


def run_command(home, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "FIRSTSILK_HOME": str(home), **more}
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    command = [sys.executable, "-c", "from firstsilk.faces.command.main import main; main()", *arguments]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False, timeout=120)


def test_the_watcher_takes_days_in_by_itself_and_ends_with_its_parent(tmp_path):
    home, tables, watched = (tmp_path / name for name in ("home", "tables", "watched"))
    for made in (tables, watched):
        made.mkdir()
    for name, text in SMALL_STATION.items():
        (tables / name).write_text(text, encoding="utf-8")
    assert run_command(home, "bring", str(tables), "--today", "2031-10-01").returncode == 0
    assert run_command(home, "feed", "add", str(watched), "--site", "home").returncode == 0
    (watched / "days.csv").write_text("date,tmin_c,tmax_c\n2021-06-01,8,20\n", encoding="utf-8")
    os.utime(watched / "days.csv", (time.time() - 60, time.time() - 60))
    # A parent that lives until it is told to end, as the server does.
    parent = subprocess.Popen(
        [
            sys.executable,
            "-c",
            (
                "import sys; from firstsilk.faces.command.watcher import start_watcher; "
                "print(start_watcher().pid, flush=True); sys.stdin.read()"
            ),
        ],
        env={**os.environ, "FIRSTSILK_HOME": str(home), "DJANGO_SETTINGS_MODULE": "firstsilk.station.settings"},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        watcher = int(parent.stdout.readline())
        said, ends = "", time.monotonic() + 60
        while "1 day added" not in said and time.monotonic() < ends:
            time.sleep(1)
            said = run_command(home, "feed", "list").stdout
        assert "days.csv: Eskerholm home fields: 1 day added." in said
    finally:
        parent.kill()
        parent.communicate()
    ends = time.monotonic() + 20
    while is_alive(watcher) and time.monotonic() < ends:
        time.sleep(0.2)
    assert not is_alive(watcher)


def is_alive(process: int) -> bool:
    """Whether a process runs; one that ended and was not yet buried does not."""
    try:
        with open(f"/proc/{process}/stat", encoding="utf-8") as told:
            return told.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False
